"""A change of water that is planned: a record of a day to come, known from the day on which it was made."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.basis import basis_of
from scalemodel.logbook.records import Fill
from scalemodel.logbook.store import Logbook
from scalemodel.words.account import assumptions_of
from tests.builders import day, history, look

FACTS = history(look(90, 0, 1), look(180, 1), look(270, 1))


def planned(*changes, **question):
    fills = tuple(Fill("urn", day(360 + days), water) for days, water in changes)
    return api.prepare(replace(FACTS, planned_fills=fills), particles=100, **question)


def test_growth_is_that_of_the_one_water_and_then_of_the_other():
    plain, soft, both = planned(), planned(water="soft").forecast, planned((30, "soft"), (92, "tap")).forecast
    tap = plain.forecast
    assert np.array_equal(both.growth_after(30), tap.growth_after(30))
    between = tap.growth_after(30) + soft.growth_after(92) - soft.growth_after(30)
    assert both.growth_after(92) == pytest.approx(between)
    assert both.growth_after(400) == pytest.approx(between + tap.growth_after(400) - tap.growth_after(92))
    rows = both.growth_after(np.array([10, 50, 400]))
    assert np.array_equal(rows, np.stack([both.growth_after(d) for d in (10, 50, 400)]))


def test_the_sooner_the_softer_water_the_longer_the_descale_can_wait():
    waits = [planned((days, "soft")).last_safe for days in (600, 60, 20, 1)]
    assert waits == sorted(waits)
    assert waits[0] == planned().last_safe < waits[-1] <= planned(water="soft").last_safe


def test_what_is_stated_now_holds_and_what_is_planned_is_said():
    case = planned((30, "soft"))
    assert f"from {day(390)} on: soft, as planned" in assumptions_of(basis_of(case.forecast))
    assert planned((30, "soft"), water="tap").forecast.plan.later == ()


def test_cycles_to_come_are_of_the_last_planned_water():
    case, soft = planned((30, "soft")), planned(water="soft")
    assert np.array_equal(case.forecast.settled_growth_a_day, soft.forecast.growth_a_day)


def test_a_plan_is_known_from_the_day_of_its_entry():
    moment = [day(360)]
    with Logbook.in_memory(today=lambda: moment[0]) as book:
        for record in (FACTS.boiler, *FACTS.waters, *FACTS.water_tests, *FACTS.fills):
            book.add(record)
        number = book.add(Fill("urn", day(400), "soft"))
        assert book.facts("urn", day(360)).planned_fills == (Fill("urn", day(400), "soft"),)
        assert book.facts("urn", day(100)).planned_fills == ()  # written down long after
        moment[0] = day(410)
        now = book.facts("urn", day(410))
        assert now.planned_fills == ()
        assert now.fills[-1] == Fill("urn", day(400), "soft")
        book.strike(number, "it was put off")
        assert book.facts("urn", day(410)).fills == FACTS.fills


def test_a_trial_goes_back_to_what_is_planned():
    case = planned((30, "soft"))
    answer = api.trial(case, "tap", 10)
    assert answer.defer_until == answer.staying_until == case.defer_until
    assert api.trial(case, "tap", 60).defer_until <= case.as_of + timedelta(days=case.last_safe)
