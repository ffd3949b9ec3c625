"""What a question costs, counted: a steady stand-in for time, that no busy machine moves."""

from contextlib import contextmanager
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision import look_value
from scalemodel.decision.asking import forget
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.inspection_value import LOOK_DATES, value_looks
from scalemodel.inference.posterior import solve
from scalemodel.inference.smc import HAMILTONIAN_FROM
from scalemodel.logbook.csv_folder import import_folder
from scalemodel.logbook.records import Absence, Boiler, Inspection
from scalemodel.logbook.store import Logbook
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.sheared import ShearedTarget
from tests.builders import schedule

DEMO = Path(__file__).parents[1] / "data" / "demo"
DAY = date(2026, 11, 1)

STATEMENTS = 15
"""Begin, one a kind of record, one for what was amended and when, one for what things are called, end."""

EVALUATIONS = {"hall-urn": 55.0, "mill-brew": 100.0}
"""Likelihoods a particle that a ``defer`` may take: half as many again as it took when this was written."""


@pytest.fixture
def book():
    with Logbook.in_memory(lambda: DAY) as book:
        import_folder(book, DEMO)
        yield book


@contextmanager
def statements(book):
    """Gathers every statement that SQLite runs."""
    said = []
    book._connection.set_trace_callback(said.append)
    yield said
    book._connection.set_trace_callback(None)


def test_facts_are_one_snapshot_in_few_statements(book):
    with statements(book) as said:
        book.facts("hall-urn", DAY)
    assert len(said) == STATEMENTS
    assert sum(" FROM boiler AS " in one for one in said) == 1
    assert (said[0], said[-1]) == ("BEGIN", "ROLLBACK")


def test_facts_take_no_more_statements_for_more_records_or_an_earlier_day(book):
    for month in range(1, 10):
        book.add(Inspection("hall-urn", date(2026, month, 27), "wall", 1, 3), again=True, sure=True)
    number = book.add(Absence("hall-urn", date(2026, 12, 1), date(2026, 12, 9)))
    book.amend(number, {"note": "holidays"})
    for day in (DAY, date(2026, 6, 1)):
        with statements(book) as said:
            book.facts("hall-urn", day)
        assert len(said) == STATEMENTS


def count_particles(monkeypatch, *methods):
    """Gathers how many particles every call of a method of what is sampled is given."""
    counted = []

    def counting(method):
        def counted_method(self, *given):
            counted.append(given[0].shape[1] if isinstance(given[0], np.ndarray) else given[1].shape[1])
            return method(self, *given)

        return counted_method

    for owner, name in methods:
        monkeypatch.setattr(owner, name, counting(getattr(owner, name)))
    return counted


EVALUATE, TURN = (ShearedTarget, "evaluate"), (ShearedTarget, "evaluate_with_gradient")
RECKON = (BoilerModel, "parameters_of")


@pytest.mark.parametrize("boiler", EVALUATIONS)
def test_a_deferral_counts_all_its_likelihoods_and_takes_few(book, boiler, monkeypatch):
    counted = count_particles(monkeypatch, EVALUATE, TURN)
    asked = api.prepare(book.facts(boiler, DAY))
    posterior, evaluated = asked.forecast.posterior, sum(counted)
    assert evaluated == pytest.approx(posterior.info.evaluations * posterior.x.shape[1])
    assert posterior.info.evaluations < EVALUATIONS[boiler]
    defer_until(asked)
    assert sum(counted) == evaluated


def test_another_question_about_the_same_records_draws_nothing(book, monkeypatch):
    counted = count_particles(monkeypatch, EVALUATE)
    facts = book.facts("hall-urn", DAY)
    first = api.defer(facts, particles=100)
    evaluated = sum(counted)
    careful = api.defer(book.facts("hall-urn", DAY), particles=100, tolerance=0.02)
    assert sum(counted) == evaluated > 0
    assert careful.tolerance == 0.02
    forget()
    again = api.defer(facts, particles=100)
    assert (again.defer_until, again.risk_now) == (first.defer_until, first.risk_now)
    assert sum(counted) > evaluated


@pytest.mark.parametrize("looks", [4, 60])
def test_the_sampler_reckons_the_law_once_to_draw_from_the_prior_and_once_an_evaluation(looks, monkeypatch):
    """By slices and by Hamiltonian moves: what is monitored comes with the likelihood, and costs no pass of its own."""
    facts = schedule(Boiler("urn", 0.8, 93.0, date(2025, 1, 1), area_cm2=500.0), looks, 20, 20.0, 0.05)
    passes = count_particles(monkeypatch, RECKON)
    drawn = solve(facts, particles=50)
    assert (drawn.model.dim >= HAMILTONIAN_FROM) == (looks == 60)
    assert not drawn.info.gentle
    assert sum(passes) == pytest.approx((1.0 + drawn.info.evaluations) * drawn.count)


def test_what_follows_a_look_is_reckoned_once_a_day_whoever_looks(book, monkeypatch):
    """Once a day that is tried, once for what the best look may find, and on the days of two looks."""
    reckoned, survival = [], look_value.survival
    monkeypatch.setattr(look_value, "survival", lambda *given: reckoned.append(1) or survival(*given))
    looks = value_looks(api.prepare(book.facts("loft-brew", DAY), particles=100))
    days_of_pairs = len({one.date for one in looks.options if one.pair_value is not None})
    assert len({(one.site, one.method) for one in looks.options}) > days_of_pairs > 0
    assert LOOK_DATES < len(reckoned) <= LOOK_DATES + 1 + days_of_pairs * (1 + look_value.PAIR_DATES)
