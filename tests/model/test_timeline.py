"""From records to intervals: litres, waters, same-day order, unrecorded time."""

import dataclasses
from datetime import timedelta

import numpy as np
import pytest

from scalemodel.errors import EvidenceError, UnknownNameError
from scalemodel.logbook.records import Descale, Fill, Use
from scalemodel.model.timeline import build_timeline, check_site
from scalemodel.model.use import USE_LOG_SD_FLOOR, use_plan
from tests.builders import START, day, history, look


def test_litres_are_kept_whatever_the_looks():
    bare = build_timeline(history(look(100, 1)))
    many = build_timeline(history(*(look(n, 1) for n in (3, 50, 100, 101, 233, 359))))
    whole = 360 * 0.43
    for line in (bare, many):
        total = line.recorded_l.sum() + line.tail_recorded_l.sum()
        assert total == pytest.approx(whole)
        assert line.planned_l.sum() + line.tail_planned_l.sum() == pytest.approx(0.0)
        assert line.unrecorded_days == 0


def test_a_water_change_inside_an_interval_splits_its_litres():
    facts = history(look(100, 1), fills=(Fill("urn", START, "tap"), Fill("urn", day(40), "soft")))
    line = build_timeline(facts)
    assert line.waters == ("tap", "soft")
    tap = [span.water == "tap" for span in line.spans]
    assert line.recorded_l[0, tap].sum() == pytest.approx(40 * 0.43)
    assert line.recorded_l[0].sum() == pytest.approx(100 * 0.43)


def test_litres_are_told_apart_by_the_epochs_of_a_water():
    """One test on the first day, a year of use: the path has knots at half years, and epochs begin between them."""
    line = build_timeline(history(look(100, 1), days=360))
    path = line.paths["tap"]
    assert [knot - START.toordinal() for knot in path.knots] == [0, 180, 360]
    assert [edge - START.toordinal() for edge in path.edges] == [90, 270]
    assert line.spans == (("tap", 0), ("tap", 1), ("tap", 2))
    np.testing.assert_allclose(line.recorded_l[0], [90 * 0.43, 10 * 0.43, 0.0])
    np.testing.assert_allclose(line.tail_recorded_l, [0.0, 170 * 0.43, 90 * 0.43])


def test_unrecorded_time_is_filled_at_the_mean_rate():
    uses = (Use("urn", day(0), day(100), litres=50.0), Use("urn", day(200), day(300), litres=50.0))
    line = build_timeline(history(look(250, 1), uses=uses))
    assert line.plan.litres_per_day == pytest.approx(0.5)
    assert line.recorded_l.sum() == pytest.approx(75.0)
    assert line.planned_l.sum() == pytest.approx(50.0)
    assert line.tail_planned_l.sum() == pytest.approx(30.0)
    assert line.unrecorded_days == 160


def test_months_written_with_their_last_day_leave_no_gap():
    uses = (Use("urn", day(0), day(30), litres=31.0), Use("urn", day(31), day(61), litres=31.0))
    line = build_timeline(history(days=61, uses=uses))
    assert line.unrecorded_days == 0


def test_same_day_order_look_descale_look():
    facts = history(
        look(100, 3), look(100, 0, after_descale=True), descales=(Descale("urn", day(100)), Descale("urn", day(100)))
    )
    line = build_timeline(facts)
    assert [step for step, _ in line.steps] == ["grow", "descale", "descale"]
    before, after = (state for state, _ in line.looks)
    assert line.state_dates[before] == line.state_dates[after] == day(100)
    assert (before, after) == (1, 3)


def test_a_look_on_the_day_of_installation_sees_the_start():
    line = build_timeline(history(look(0, 0)))
    assert line.looks[0][0] == 0
    assert line.intervals == 0


def test_plan_takes_the_last_year_only():
    uses = (Use("urn", day(0), day(100), litres=1000.0), Use("urn", day(400), day(500), litres=50.0))
    assert use_plan(uses).litres_per_day == pytest.approx(0.5)


def test_steady_use_is_surer_than_erratic_use():
    steady = tuple(Use("urn", day(30 * k), day(30 * k + 30), litres=15.0) for k in range(12))
    erratic = tuple(dataclasses.replace(u, litres=5.0 + 20 * (k % 2)) for k, u in enumerate(steady))
    assert use_plan(steady).log_sd == pytest.approx(USE_LOG_SD_FLOOR)
    assert use_plan(erratic).log_sd > use_plan(steady).log_sd


def test_what_is_missing_is_said_with_its_remedy():
    with pytest.raises(EvidenceError, match="record some or state litres_per_day"):
        build_timeline(history(uses=()))
    with pytest.raises(EvidenceError, match="record a fill or state water"):
        build_timeline(history(fills=()))
    line = build_timeline(history(uses=(), fills=()), litres_per_day=0.5, water="tap")
    assert line.tail_planned_l.sum() == pytest.approx(180.0)


def test_first_fill_after_installation_is_said():
    line = build_timeline(history(fills=(Fill("urn", START + timedelta(days=9), "tap"),)))
    assert "before the first fill" in line.notes[0]


def test_sites():
    facts = history()
    assert check_site(facts, None) == "wall"
    assert check_site(facts, "element") == "element"
    with pytest.raises(UnknownNameError, match="did you mean 'chamber'"):
        check_site(facts, "chambre")


@pytest.mark.parametrize("span", [2, 7, 28])
def test_a_record_written_with_its_last_day_gives_the_right_rate(span):
    uses = tuple(Use("urn", day(k), day(k + span - 1), litres=0.5 * span) for k in range(0, 336, span))
    assert use_plan(uses).litres_per_day == pytest.approx(0.5, rel=0.03 if span < 28 else 0.01)
    assert use_plan(uses).log_sd < 0.17


def test_single_days_apart_are_not_joined():
    uses = tuple(Use("urn", day(k), day(k), litres=1.0) for k in range(0, 100, 2))
    line = build_timeline(history(days=100, uses=uses))
    assert line.unrecorded_days == 50


def test_idle_months_count_in_the_spread():
    idle, nearly = (
        tuple(Use("urn", day(30 * k), day(30 * k + 30), litres=30.0 if k % 2 else low) for k in range(12))
        for low in (0.0, 0.001)
    )
    assert use_plan(idle).log_sd == pytest.approx(use_plan(nearly).log_sd, rel=1e-3)
    assert use_plan(idle).log_sd > 1.3 * USE_LOG_SD_FLOOR
