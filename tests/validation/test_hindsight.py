"""Hindsight: each look against its forecast, rivals, ranks, stated risks, dates, weighed scale, and the fleet."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from scalemodel.decision.foretelling import Foretold
from scalemodel.decision.sequential import Direction, moved
from scalemodel.logbook.records import WALL, Descale, Inspection
from scalemodel.validation.forecasts_right import Pit, p_value, pit_band, pit_of, reliability_of
from scalemodel.validation.hindsight import hindsight
from scalemodel.validation.hindsight_fleet import (
    AFTER_DESCALE,
    SINCE_TEST,
    fleet_hindsight,
    is_after_descale,
    pooled_looks,
    pools,
    water_on,
)
from scalemodel.validation.other_worlds import SOUND, URN, draw_luck, live
from scalemodel.validation.rivals import doses_of, last_grade_again, litres_times_meter
from scalemodel.validation.weighing import weighings


@pytest.fixture(scope="module")
def facts():
    return live(draw_luck(1, 4), SOUND).facts


@pytest.fixture(scope="module")
def seen(facts):
    return hindsight(facts, seed=3, particles=80)


def test_every_look_is_held_against_its_forecast(facts, seen):
    assert [one.date for one in seen.looks] == [look.date for look in facts.inspections]
    for one in seen.looks:
        assert sum(one.probabilities) == pytest.approx(1.0)
        assert one.stated_risk == pytest.approx(sum(one.probabilities[3:]))
        assert one.p_value == pytest.approx(p_value(np.array(one.probabilities), int(one.grade), int(one.grade)))
        assert one.severe == (int(one.grade) >= 3)
        assert one.defer_until is None or one.defer_until >= one.date
    assert len(seen.evidence) == len(seen.looks)
    assert seen.untold == 0
    frame = seen.to_frame()
    assert list(frame["p4"]) == [one.probabilities[4] for one in seen.looks]


def test_the_same_seed_gives_the_same_hindsight_in_one_process_or_two(facts, seen):
    few = replace(facts, inspections=facts.inspections[:3], as_of=facts.inspections[3].date)
    assert hindsight(few, seed=9, particles=60, jobs=2).looks == hindsight(few, seed=9, particles=60).looks
    watched = []
    hindsight(few, seed=9, particles=60, progress=watched.append)
    assert watched == [1 / 3, 2 / 3, 1.0]


def test_the_score_is_the_mean_log_probability_of_what_was_seen(seen):
    own = [np.log(one.probabilities[int(one.grade)]) for one in seen.looks]
    assert seen.score.model == pytest.approx(np.mean(own))
    assert all(s < 0.0 for s in (seen.score.prior, seen.score.litres, seen.score.last_grade))


def test_on_sound_boilers_the_model_beats_its_rivals(seen):
    """Two dozen looks of two boilers: the mean score is better than that of each rival."""
    found = [seen, hindsight(live(draw_luck(0, 21), SOUND).facts, seed=1, particles=60)]
    looks = np.array([len(one.looks) for one in found])
    assert looks.sum() >= 24
    for rival in ("last_grade", "litres", "prior"):
        better = [one.score.model - getattr(one.score, rival) for one in found]
        assert looks @ better > 0.0, rival


def test_the_last_grade_again_learns_how_often_it_is_right(facts):
    looks = list(facts.inspections)
    chances = list(last_grade_again(facts, looks))
    assert all(one.sum() == pytest.approx(1.0) for one in chances)
    assert chances[0][0] == 0.5  # a clean start, nothing learned yet
    assert chances[1].argmax() == looks[0].grade_low or chances[1].max() < 0.5
    after = next(k for k, look in enumerate(looks) if is_after_descale(facts, look))
    assert chances[after][0] > 1.0 / 5.0 - 0.2  # bare metal expected again
    again = list(last_grade_again(facts, looks[:2]))
    assert np.array_equal(again, chances[:2])


def test_litres_times_the_meter_reading_start_again_at_a_descale(facts):
    doses = doses_of(facts)
    ordered = [doses[id(look)] for look in facts.inspections]
    after = [is_after_descale(facts, look) for look in facts.inspections]
    for k in range(1, len(ordered)):
        assert (ordered[k] < ordered[k - 1]) == after[k] or after[k]
    chances = list(litres_times_meter(facts, facts.inspections))
    assert len(chances) == len(facts.inspections)
    assert all(one.sum() == pytest.approx(1.0) for one in chances)


def test_a_p_value_is_twice_the_smaller_tail_and_a_range_is_never_more_surprising_than_its_likeliest_grade():
    chances = np.array([0.5, 0.3, 0.15, 0.04, 0.01])
    assert p_value(chances, 4, 4) == pytest.approx(0.02)
    assert p_value(chances, 3, 4) == pytest.approx(0.1)
    assert p_value(chances, 0, 4) == 1.0
    for low in range(5):
        for high in range(low, 5):
            assert p_value(chances, low, high) >= max(p_value(chances, g, g) for g in range(low, high + 1)) - 1e-12


def made(chances, grades):
    """Looks a month apart with forecasts of one's own."""
    days = [date(2024, 2, 1) + timedelta(days=30 * k) for k in range(len(grades))]
    return [
        Foretold(Inspection(URN.boiler, day, WALL, int(g), int(g)), None, c, False)
        for day, g, c in zip(days, grades, chances, strict=True)
    ]


def test_ranks_of_right_forecasts_stay_in_their_band_and_those_of_wrong_ones_do_not():
    """The band holds 95 of 100 by construction: 380 of 400 with a binomial error of 4.4."""
    rng = np.random.default_rng(3)
    inside = off = 0
    for _ in range(400):
        chances = rng.dirichlet(np.ones(5), size=20)
        grades = (rng.random((20, 1)) > chances.cumsum(axis=1)[:, :-1]).sum(axis=1)
        worse = moved(chances, 1.0)
        inside += pit_of(made(chances, grades)).inside
        off += not pit_of(made(moved(worse, -2.0), grades)).inside
    assert abs(inside - 380) < 20
    assert off > 300
    assert pit_band(10) == pytest.approx(0.409, abs=0.006)  # Massey 1951, table 1: n = 10 at 5 %
    assert pit_band(20) == pytest.approx(0.294, abs=0.006)  # the same table, n = 20
    assert isinstance(pit_of(made(chances[:1], grades[:1])), Pit)
    assert pit_of([]) is None


def test_stated_risks_are_counted_by_bin():
    bins = reliability_of(np.array([0.01, 0.02, 0.3, 0.4, 0.9]), np.array([False, True, False, True, True]))
    assert [(b.low, b.looks, b.happened) for b in bins] == [(0.0, 2, 0.5), (0.2, 2, 0.5), (0.5, 1, 1.0)]
    assert bins[0].stated == pytest.approx(0.015)


def test_dates_that_would_have_been_given_are_held_against_what_was_found(facts, seen):
    for one in seen.dates:
        end = min([one.defer_until, *(d.date for d in facts.descales if d.date >= one.given_on)])
        found = [look.grade_low >= 3 for look in facts.inspections if one.given_on <= look.date <= end]
        assert one.passed == (any(found) if found else None)
    assert any(one.passed is not None for one in seen.dates)


def test_weighed_scale_is_held_against_what_was_foretold(facts):
    descale = facts.descales[0]
    assert weighings(facts, 1, 60) == ()
    few, many = (
        weighings(replace(facts, descales=(replace(descale, scale_recovered_g=g), *facts.descales[1:])), 1, 60)[0]
        for g in (0.001, 50.0)
    )
    assert (few.p10, few.p50, few.p90) == (many.p10, many.p50, many.p90)
    assert few.p10 < few.p50 < few.p90
    assert few.p_value < 0.1
    assert many.p_value < 0.01
    middle = replace(facts, descales=(replace(descale, scale_recovered_g=round(few.p50, 3)), *facts.descales[1:]))
    assert weighings(middle, 1, 60)[0].p_value > 0.9


def test_without_looks_or_without_evidence_there_is_nothing_to_look_back_on(facts):
    none = hindsight(replace(facts, inspections=()))
    assert (none.looks, none.score, none.change, none.pit, none.evidence) == ((), None, None, None, ())
    untested = replace(facts, inspections=facts.inspections[:2], water_tests=())
    assert hindsight(untested, particles=60).untold == 2


def test_a_change_of_thirty_boilers_is_told_where_that_of_one_is_not():
    """Looks worse than foretold from the fifth month on: one boiler hardly tells, the water of thirty does."""
    rng = np.random.default_rng(8)
    fleet, alone = {}, 0
    empty = live(draw_luck(1, 4), SOUND).facts
    for n in range(30):
        chances = rng.dirichlet(np.full(5, 2.0), size=9)
        truth = np.vstack([chances[:5], moved(chances[5:], 1.0)])
        grades = (rng.random((9, 1)) > truth.cumsum(axis=1)[:, :-1]).sum(axis=1)
        told = made(chances, grades)
        fleet[f"urn {n}"] = empty, told
        alone += pools({"one": (empty, told)}, lambda facts, one: "x", pooled_looks)[0].change is not None
    (water,) = pools(fleet, lambda facts, one: water_on(facts, one.look.date), pooled_looks)
    assert water.boilers == 30
    assert water.looks == 270
    assert water.change.direction is Direction.WORSE
    assert abs((water.change.since - date(2024, 6, 30)).days) <= 35
    assert alone <= 1


def test_a_fleet_is_looked_back_on_boiler_by_boiler_and_by_what_they_share(facts):
    few = [
        replace(one, boiler=replace(one.boiler, boiler=f"urn {n}"), inspections=tuple(
            replace(look, inspector="Ana" if k % 2 else "") for k, look in enumerate(one.inspections[-4:])
        ))
        for n, one in enumerate(live(draw_luck(n, 4), SOUND).facts for n in (1, 4))
    ]  # fmt: skip
    found = fleet_hindsight(few, seed=2, particles=60)
    assert [one.boiler for one in found.boilers] == ["urn 0", "urn 1"]
    assert found.boilers[0].looks == hindsight(few[0], seed=2, particles=60).looks
    # of each boiler's four looks three are those that it learns from
    assert [(p.name, p.boilers, p.looks) for p in found.waters] == [("middling", 2, 2)]
    assert [(p.name, p.looks) for p in found.inspectors] == [("Ana", 2)]
    assert {p.name for p in found.kinds} <= {AFTER_DESCALE, SINCE_TEST}
    assert next(p for p in found.kinds if p.name == SINCE_TEST).looks == 2
    assert list(found.to_frame()["boiler"]) == ["urn 0", "urn 1"]


def test_the_first_look_after_a_descale_is_known():
    day = date(2024, 5, 1)
    looks = [
        Inspection(URN.boiler, day, WALL, 2, 2),
        Inspection(URN.boiler, day, WALL, 0, 0, after_descale=True),
        Inspection(URN.boiler, date(2024, 6, 1), WALL, 0, 0),
    ]
    facts = replace(live(draw_luck(1, 4), SOUND).facts, inspections=tuple(looks), descales=(Descale(URN.boiler, day),))
    assert [is_after_descale(facts, look) for look in looks] == [False, True, False]
    without = replace(facts, inspections=(looks[0], looks[2]))
    assert [is_after_descale(without, look) for look in without.inspections] == [False, True]
