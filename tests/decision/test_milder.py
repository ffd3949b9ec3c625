"""No look may give a later date than a milder one: the weights of milder readings, and that they decide."""

from dataclasses import replace

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.milder import LEAST_SHARE, milder_weights, milder_weights_of
from tests.builders import history, look


def test_weights_are_those_of_the_milder_grade_over_the_grade_on_record():
    by_grade = np.array([[0.6, 0.2, 0.1], [0.3, 0.5, 0.3], [0.1, 0.3, 0.6]])
    two, one = by_grade[2], by_grade[1]
    found = milder_weights_of(by_grade, 2, 2)
    np.testing.assert_allclose(found[0], (one / two) / (one / two).sum())
    np.testing.assert_allclose(found.sum(axis=1), 1.0)
    ranges = milder_weights_of(by_grade, 1, 2)  # 1-2 as 0-1
    np.testing.assert_allclose(ranges[0] * ((1 - two) / (1 - by_grade[0])).sum(), (1 - two) / (1 - by_grade[0]))
    assert len(milder_weights_of(by_grade, 0, 2)) == 0


def test_a_reading_that_hardly_a_draw_would_bear_is_left_out():
    by_grade = np.full((2, 1000), [[0.0], [1.0]])
    by_grade[:, 0] = 0.5
    assert len(milder_weights_of(by_grade, 1, 1)) == 0
    share = int(2 * LEAST_SHARE * 1000)
    by_grade[:, :share] = 0.5
    assert len(milder_weights_of(by_grade, 1, 1)) == 1


def test_weighing_gives_what_a_new_solve_with_the_milder_look_gives():
    """Risks within 0.02: five standard errors of both."""
    facts = history(look(90, 1), look(180, 1), look(270, 2), days=300, tds=150.0)
    case = api.prepare(facts, particles=1000)
    (milder, *_) = milder_weights(case.forecast)
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
    vars(held)["milder"] = (heavier / heavier.sum())[None]
    assert held.held_by_milder
    assert held.last_safe < case.last_safe
    assert held.deciding_risk(held.last_safe) <= held.tolerance < held.deciding_risk(held.last_safe + 1)
    assert api.defer(held).defer_until < api.defer(case).defer_until
    assert api.risk(held, [case.date_of(60)]).points == api.risk(case, [case.date_of(60)]).points
