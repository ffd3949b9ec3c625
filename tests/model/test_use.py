"""Use to come and unrecorded: the rate, the months, the days of absence."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scalemodel.logbook.records import Absence, Use
from scalemodel.model.timeline import build_timeline
from scalemodel.model.use import UsePlan, day_weights, find_season, months_of, use_plan
from tests.builders import START, day, history, look

YEARS = 3


def monthly(rate, years=YEARS, first=date(2022, 1, 1), step=30):
    """Stretches of ``step`` days with rate(middle of the stretch) [L/day]."""
    days = range(0, 365 * years, step)
    return tuple(
        Use(
            "k", first + timedelta(n), first + timedelta(n + step), litres=step * rate(first + timedelta(n + step // 2))
        )
        for n in days
    )


def away(first: int, last: int) -> Absence:
    return Absence("urn", day(first), day(last))


# ---- the months


def test_a_season_is_found_and_shrunken():
    rng = np.random.default_rng(4)

    def rate(on):
        summer = 2.0 if on.month in (6, 7, 8) else 1.0
        return summer * np.exp(0.15 * rng.standard_normal())

    season = np.array(find_season(list(monthly(rate))))
    assert season[[5, 6, 7]].min() > 1.25 > season[[0, 1, 2, 3, 10, 11]].max()
    assert season[6] / season[0] < 2.0
    lengths = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    assert season @ lengths / lengths.sum() == pytest.approx(1.0)


def test_noise_is_hardly_taken_for_a_season():
    rng = np.random.default_rng(5)
    worst = []
    for _ in range(40):
        season = find_season(list(monthly(lambda on: np.exp(0.2 * rng.standard_normal()))))
        worst.append(0.0 if season is None else float(np.abs(np.log(season)).max()))
    assert np.median(worst) < 0.06
    assert np.mean(worst) < 0.1


def test_a_trend_from_year_to_year_is_no_season():
    season = find_season(list(monthly(lambda on: 1.0 + (on.year - 2022))))
    assert max(season) < 1.15


@pytest.mark.parametrize("years", [1, 1.9])
def test_less_than_two_years_tell_no_season(years):
    uses = monthly(lambda on: 3.0 if on.month == 7 else 1.0, years=1, step=30)
    uses += tuple(u for u in monthly(lambda on: 1.0, first=date(2023, 1, 1), years=1) if years > 1)[:10]
    assert find_season(list(uses)) is None
    assert use_plan(uses).steady


def test_steady_use_and_long_stretches_tell_no_season():
    assert find_season(list(monthly(lambda on: 0.7))) is None
    assert find_season(list(monthly(lambda on: 3.0 if on.month < 7 else 1.0, step=73))) is None


def test_a_closed_month_is_a_season():
    season = find_season(list(monthly(lambda on: 0.0 if on.month == 8 else 1.0)))
    assert season[7] < 0.3
    assert min(np.delete(season, 7)) > 0.7


def test_the_rate_is_that_of_the_year_though_only_the_season_is_on_record():
    """Two flat years with a busy July; the last record year covers July alone, so its rate is set level."""
    busy = monthly(lambda on: 3.0 if on.month == 7 else 1.0)
    plan = use_plan(busy)
    whole = 365 * plan.litres_per_day
    ahead = plan.litres_per_day * plan.weights(date(2025, 1, 1).toordinal(), 365).sum()
    assert ahead == pytest.approx(whole, rel=0.01)


# ---- absences


def test_days_of_absence_inside_a_record_leave_the_rate_of_the_others():
    uses = (Use("urn", day(0), day(30), litres=20.0),)
    assert use_plan(uses, None, (away(10, 20),)).litres_per_day == pytest.approx(1.0)
    assert use_plan(uses, None, (away(0, 40),)).litres_per_day == pytest.approx(20 / 30)


def test_unrecorded_days_of_absence_are_not_filled():
    uses = (Use("urn", day(0), day(100), litres=50.0),)
    plain = build_timeline(history(uses=uses, days=200))
    line = build_timeline(history(uses=uses, days=200, absences=(away(120, 150), away(190, 260))))
    assert plain.tail_planned_l.sum() == pytest.approx(50.0)
    assert line.tail_planned_l.sum() == pytest.approx(30.0)
    assert (plain.unrecorded_days, line.unrecorded_days) == (100, 60)


def test_a_record_across_an_absence_was_drawn_on_its_other_days():
    uses = (Use("urn", day(0), day(100), litres=50.0),)
    line = build_timeline(history(look(50, 1), uses=uses, days=100, absences=(away(0, 50),)))
    assert line.recorded_l.sum() == 0.0
    assert line.tail_recorded_l.sum() == pytest.approx(50.0)


def test_a_record_within_an_absence_stands():
    uses = (Use("urn", day(0), day(100), litres=50.0),)
    line = build_timeline(history(uses=uses, days=100, absences=(away(0, 200),)))
    assert line.tail_recorded_l.sum() == pytest.approx(50.0)
    assert line.plan.litres_per_day == pytest.approx(0.5)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.lists(st.integers(0, 400), min_size=2, max_size=6, unique=True),
    st.lists(st.integers(-50, 450), min_size=2, max_size=4, unique=True),
)
def test_all_that_is_on_record_is_kept_and_no_day_counts_twice(cuts, gone):
    cuts, gone = sorted(cuts), sorted(gone)
    uses = tuple(Use("urn", day(a), day(b), litres=float(b - a)) for a, b in zip(cuts[::2], cuts[1::2], strict=False))
    absences = tuple(Absence("urn", day(a), day(b)) for a, b in zip(gone[::2], gone[1::2], strict=False))
    line = build_timeline(history(look(200, 1), uses=uses, days=410, absences=absences))
    assert line.recorded_l.sum() + line.tail_recorded_l.sum() == pytest.approx(sum(u.litres for u in uses))
    planned = line.planned_l.sum() + line.tail_planned_l.sum()
    assert planned == pytest.approx(line.unrecorded_days * line.plan.litres_per_day)


def test_months_and_weights():
    assert months_of(date(1970, 1, 31).toordinal(), 2).tolist() == [0, 1]
    assert UsePlan(1.0, 0.2, "x").weights(START.toordinal(), 3).tolist() == [1.0, 1.0, 1.0]
    assert day_weights(START.toordinal(), 3, None, (away(-5, 2),)).tolist() == [0.0, 0.0, 1.0]


def test_after_a_year_of_absence_the_whole_record_tells():
    use = Use("urn", date(2023, 1, 1), date(2026, 1, 1), litres=300.0)
    gone = Absence("urn", date(2024, 6, 1), date(2026, 1, 1))
    plan = use_plan((use,), None, (gone,))
    drawn_on = (date(2024, 6, 1) - date(2023, 1, 1)).days
    assert plan.litres_per_day == pytest.approx(300.0 / drawn_on)
    assert np.isfinite(plan.log_sd)
