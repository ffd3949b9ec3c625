"""No look may give a later date than a milder one: the weights of milder readings, and that they decide."""

from dataclasses import replace

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.milder import LEAST_DRAWS, milder_readings, weights_of_readings
from tests.builders import history, look


def rows(by_grade, low, high):
    """Weights of the readings that are heard."""
    told = by_grade[low : high + 1].sum(axis=0)
    return [row for _, row in weights_of_readings(by_grade / told, low, high) if row is not None]


def test_weights_are_those_of_the_milder_grade_over_the_grade_on_record():
    by_grade = np.array([[0.6, 0.2, 0.1], [0.3, 0.5, 0.3], [0.1, 0.3, 0.6]]).repeat(200, axis=1)
    two, one = by_grade[2], by_grade[1]
    found = rows(by_grade, 2, 2)
    np.testing.assert_allclose(found[0], (one / two) / (one / two).sum())
    np.testing.assert_allclose(np.sum(found, axis=1), 1.0)
    ranges = rows(by_grade, 1, 2)  # 1-2 as 0-1
    np.testing.assert_allclose(ranges[0] * ((1 - two) / (1 - by_grade[0])).sum(), (1 - two) / (1 - by_grade[0]))
    assert len(rows(by_grade, 0, 2)) == 0


def test_a_reading_that_hardly_a_draw_would_bear_is_left_out():
    by_grade = np.full((2, 1000), [[0.0], [1.0]])
    by_grade[:, 0] = 0.5
    assert len(rows(by_grade, 1, 1)) == 0
    by_grade[:, : 2 * LEAST_DRAWS] = 0.5
    assert len(rows(by_grade, 1, 1)) == 1
    assert list(weights_of_readings(np.zeros((2, 5)), 1, 1)) == [(1, None)]


def surprised(grade):
    """A boiler of mild looks and a last one that nobody foretold."""
    mild = [look(30 * k, 0) for k in range(1, 9)]
    return history(*mild, look(270, grade), days=300, tds=60.0)


def test_a_surprise_is_read_milder_in_every_way():
    """Risks within 0.03 of new solves with the milder look, whichever draws bear it."""
    case = api.prepare(surprised(4), particles=500)
    readings = [(one, row) for one, rows in case.milder for row in rows]
    assert len(readings) == 4
    posteriors = [one.forecast.posterior for one, _ in case.milder]
    assert posteriors[0] is case.forecast.posterior
    assert case.forecast.posterior.without(8) in posteriors
    risks = sorted(float(row @ one.forecast.risk_draws(case.mg_cm2, 120)) for one, row in readings)
    solved = sorted(api.prepare(surprised(grade), particles=500).risk(120) for grade in range(4))
    np.testing.assert_allclose(risks, solved, atol=0.03)
    assert case.risk_by_all(120) == max(case.risk(120), *risks)


def test_what_was_foretold_asks_for_no_new_draws():
    case = api.prepare(history(look(90, 1), look(180, 1), look(270, 2), days=300, tds=150.0), particles=250)
    assert all(one is case for one, _ in case.milder)
    assert not case.forecast.posterior._instead


def test_weighing_gives_what_a_new_solve_with_the_milder_look_gives():
    """Risks within 0.02: five standard errors of both."""
    facts = history(look(90, 1), look(180, 1), look(270, 2), days=300, tds=150.0)
    case = api.prepare(facts, particles=1000)
    ((_, (milder, *_)), *_) = milder_readings(case.forecast)
    as_one = replace(facts, inspections=(*facts.inspections[:2], look(270, 1)))
    solved = api.prepare(as_one, particles=1000)
    for days in (30, 120):
        weighed = milder @ case.forecast.risk_draws(case.mg_cm2, days)
        assert weighed == pytest.approx(solved.risk(days), abs=0.02)


def test_the_deciding_risk_is_never_less_than_the_records_own_and_the_date_follows_it():
    """With looks that agree nothing is held; where the milder reading is made the riskier one, the date is earlier."""
    case = api.prepare(history(look(90, 1), look(180, 1), look(270, 1), days=300, tds=60.0), particles=250)
    assert not case.held_by_milder
    assert all(case.deciding_risk(day) == case.risk(day) for day in (0, 30, 200))
    held = case.under(case.forecast)
    risky = held.forecast.risk_draws(held.mg_cm2, 60)
    heavier = 0.5 + risky
    vars(held)["milder"] = ((held, (heavier / heavier.sum())[None]),)
    assert held.held_by_milder
    assert held.last_safe < case.last_safe
    assert held.deciding_risk(held.last_safe) <= held.tolerance < held.deciding_risk(held.last_safe + 1)
    assert api.defer(held).defer_until < api.defer(case).defer_until
    assert api.risk(held, [case.date_of(60)]).points == api.risk(case, [case.date_of(60)]).points
