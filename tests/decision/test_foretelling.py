"""Looks foretold from what was known before them, and what has changed since."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.change import (
    answered_on,
    arrays_of,
    change_of,
    find_change,
    forecast_since,
    is_suspect,
    left_out,
    since_then,
)
from scalemodel.decision.foretelling import (
    FORETELLING_PARTICLES,
    Foretold,
    as_known_on,
    before_look,
    chances_of,
    foretell,
    looks_in_order,
    told_of,
)
from scalemodel.decision.sequential import FEWEST, Direction
from scalemodel.inference.posterior import solve
from scalemodel.logbook.records import WALL, BoilerFacts, Descale, Fill, Inspection, Use, WaterTest
from scalemodel.model.habits import as_read
from scalemodel.validation.other_worlds import SOUND, URN, draw_luck, empty_facts, live


@pytest.fixture(scope="module")
def facts() -> BoilerFacts:
    return live(draw_luck(1, 4), SOUND).facts


def monthly(*grades, after=()):
    """Looks a month apart from February 2024 on, as foretold as ``chances`` say."""
    days = [date(2024, 2, 1) + timedelta(days=30 * k) for k in range(len(grades))]
    looks = [Inspection(URN.boiler, day, WALL, g, g) for day, g in zip(days, grades, strict=True)]
    chances = np.array([0.02, 0.13, 0.7, 0.13, 0.02])
    return [Foretold(look, n + 1, chances, False) for n, look in enumerate(looks)]


def test_what_was_known_on_a_day_holds_nothing_later(facts):
    day = facts.inspections[6].date
    known = as_known_on(facts, day)
    assert known.as_of == day
    assert known.inspections == facts.inspections[:7]
    assert all(use.to_date <= day for use in known.uses)
    assert len(known.uses) < len(facts.uses)
    assert all(descale.date <= day for descale in known.descales)
    assert as_known_on(facts, facts.as_of) == facts


def test_a_look_is_foretold_from_the_records_of_the_day_before_and_itself_says_nothing(facts):
    index = 6
    look = looks_in_order(facts)[index]
    known = before_look(facts, index)
    assert known.as_of == look.date
    assert known.inspections[:-1] == facts.inspections[:index]
    assert (known.inspections[-1].grade_low, known.inspections[-1].grade_high) == (0, 4)
    other = replace(facts, inspections=(*facts.inspections[:index], replace(look, grade_low=4, grade_high=4)))
    assert before_look(other, index) == known  # what it shows does not enter its forecast


def test_a_forecast_is_that_of_the_question_asked_on_the_day_before(facts):
    """The same chance of a grade 3 or worse as by the posterior as of that day, carried on to the day of the look."""
    index = 9
    told = foretell(facts, seed=3)[index]
    known = before_look(facts, index)
    again = chances_of(solve(known, 4, 500), known.inspections[-1])
    assert told.chances.sum() == pytest.approx(1.0)
    assert told.chances == pytest.approx(again, abs=0.06)  # 500 and 2000 draws of other seeds


def test_looks_before_anything_was_known_are_left_out(facts):
    tested = replace(facts, water_tests=(replace(facts.water_tests[0], date=facts.inspections[3].date),))
    told = foretell(tested, seed=3, particles=50)
    assert len(told) == len(facts.inspections) - 4  # the test counts from the day after it


def test_looks_of_a_day_are_foretold_one_from_the_other_and_those_after_a_descale_know_of_it():
    day = date(2024, 9, 1)
    before = Inspection(URN.boiler, day, WALL, 2, 2)
    after = Inspection(URN.boiler, day, WALL, 0, 0, after_descale=True)
    facts = replace(
        empty_facts("soft"),
        uses=(Use(URN.boiler, URN.installed_on, date(2024, 8, 1), litres=90.0),),
        inspections=(after, before),
        descales=(Descale(URN.boiler, day),),
        look_numbers=(2, 1),
    )
    assert [(record, occasion) for _, record, occasion in told_of(facts)] == [(1, False), (2, True)]
    first, second = (before_look(facts, index) for index in (0, 1))
    assert first.descales == ()
    assert second.descales == facts.descales
    assert second.inspections[0] == before
    told = foretell(facts, seed=1, particles=100)
    assert told[1].chances[2:].sum() < told[0].chances[2:].sum() - 0.1  # cleaned


def test_the_chances_left_out_are_those_of_a_solve_without_the_look(facts):
    case = api.prepare(facts, seed=2, particles=500)
    quick = left_out(case.forecast)
    assert quick.sum(axis=1) == pytest.approx(np.ones(len(quick)))
    for index in (3, 8):
        blank = replace(facts.inspections[index], grade_low=0, grade_high=4)
        others = (*facts.inspections[:index], blank, *facts.inspections[index + 1 :])
        slow = solve(replace(facts, inspections=others), 2, 500)
        assert quick[index] == pytest.approx(chances_of(slow, blank), abs=0.08)


def test_looks_as_foretold_are_no_change_and_looks_that_run_worse_are_one(facts):
    usual = monthly(*[2, 2, 1, 2, 3, 2, 2, 2, 1, 2, 2, 3, 2, 2])
    assert find_change(usual, facts) is None
    worse = monthly(*[2, 2, 1, 2, 2, 2, 2, 3, 3, 4, 3, 4, 3, 3])
    found = find_change(worse, facts)
    assert found.direction is Direction.WORSE
    assert found.since == worse[7].look.date
    assert found.evidence >= 100.0
    assert found.since <= found.told_on <= worse[-1].look.date
    assert found.looks == 7
    milder = find_change(monthly(*[2, 2, 3, 2, 2, 2, 2, 1, 1, 0, 1, 0, 1, 1]), facts)
    assert milder.direction is Direction.MILDER


def test_an_alarm_stands_until_the_water_is_tested_or_another_is_taken(facts):
    looks = monthly(*[2, 2, 1, 2, 2, 2, 2, 3, 3, 4, 3, 4, 3, 3, 2, 2])
    raised = find_change(looks, facts)
    later = raised.told_on + timedelta(days=1)
    water = facts.fills[0].water
    assert find_change(looks, replace(facts, water_tests=(*facts.water_tests, WaterTest(water, later)))) is None
    assert find_change(looks, replace(facts, fills=(*facts.fills, Fill(URN.boiler, later, "other")))) is None
    elsewhere = replace(facts, water_tests=(*facts.water_tests, WaterTest("another", later)))
    assert find_change(looks, elsewhere) == raised
    assert answered_on(elsewhere) == [facts.water_tests[0].date]


def test_since_then_the_boiler_begins_with_the_last_look_before_the_change(facts):
    since = facts.inspections[9].date
    begun = since_then(facts, since)
    assert begun.boiler.installed_on == facts.inspections[8].date
    assert begun.boiler.start == "unknown"
    assert begun.inspections == facts.inspections[8:]
    assert all(use.from_date >= begun.boiler.installed_on for use in begun.uses)
    assert since_then(facts, facts.inspections[0].date) is facts  # nothing lies before it


def test_growth_as_since_then_is_learned_from_those_records_alone(facts):
    """Twice the growth from the tenth look on: as since then it is quicker than of a boiler without the change."""
    cut = facts.inspections[8].date
    doubled = replace(
        facts,
        inspections=tuple(
            replace(e, grade_low=min(4, e.grade_low + (e.date > cut)), grade_high=min(4, e.grade_high + (e.date > cut)))
            for e in facts.inspections
        ),
    )
    case = api.prepare(doubled, seed=5, particles=250)
    later = forecast_since(case.forecast, doubled.inspections[9].date)
    assert later.posterior.facts.inspections == as_read(doubled).inspections[8:]
    sound = forecast_since(api.prepare(facts, seed=5, particles=250).forecast, facts.inspections[9].date)
    assert np.median(later.growth_a_day) > 1.1 * np.median(sound.growth_a_day)
    assert later.posterior.facts.as_of == facts.as_of


def test_with_few_looks_nothing_is_asked(facts):
    few = replace(facts, inspections=facts.inspections[: FEWEST - 1])
    case = api.prepare(few, seed=1, particles=100)
    assert change_of(case.forecast) is None
    assert case.since_then is None
    assert api.defer(case).change is None


def test_what_is_suspected_is_foretold_and_only_then_an_alarm(facts):
    case = api.prepare(facts, seed=1, particles=100)
    told = foretell(facts, 1, FORETELLING_PARTICLES) if is_suspect(case.forecast) else []
    assert case.change == (find_change(told, facts) if told else None)
    chances, low, high, _ = arrays_of(monthly(2, 1))
    assert chances.shape == (2, 5)
    assert (low.tolist(), high.tolist()) == ([2, 1], [2, 1])


def test_looks_that_end_otherwise_than_they_began_are_suspected(facts):
    """A question that has to be quick suspects looks that run worse at the end, and not those that fit."""
    case = api.prepare(facts, seed=1, particles=150)
    assert not is_suspect(case.forecast)
    last = facts.inspections[-4].date
    turned = tuple(replace(e, grade_low=0, grade_high=0) if e.date >= last else e for e in facts.inspections)
    assert is_suspect(api.prepare(replace(facts, inspections=turned), seed=1, particles=150).forecast)
