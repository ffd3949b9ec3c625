"""Tabulated curves against the questions that they stand for, asked one by one."""

from dataclasses import replace
from itertools import pairwise

import pytest

from scalemodel import api
from scalemodel.decision.curves import TOLERANCES, tabulate
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.status import Status
from scalemodel.model.priors import CUT_POINTS_MG_CM2
from tests.builders import history, look

FACTS = history(look(90, 1), look(180, 1, 2), look(300, 2), days=310)


@pytest.fixture(scope="module")
def question():
    return api.prepare(FACTS, particles=100, tolerance=0.13, threshold_um=45.0)


@pytest.fixture(scope="module")
def table(question):
    return tabulate(question)


def test_every_wait_is_what_the_deferral_says(table, question):
    for curve in table.curves:
        for k, tolerance in enumerate(table.tolerances):
            answer = defer_until(replace(question, threshold=curve.threshold, tolerance=tolerance, _kept={}))
            assert table.until(curve, k) == answer.defer_until
            assert curve.statuses[k] is answer.status
            assert (curve.waits[k] is None) == (answer.status in (Status.PAST, Status.LOOK_AGAIN))


def test_every_risk_is_the_forecast_s(table, question):
    forecast = question.forecast
    for curve in table.curves:
        again = [forecast.risk(curve.threshold.mg_cm2, day)[0] for day in table.days]
        assert list(curve.risks) == pytest.approx(again, abs=1e-12)


def test_the_stated_ones_are_among_them(table, question):
    threshold, tolerance = question.threshold, question.tolerance
    assert table.own.threshold == threshold
    assert table.tolerances[table.tolerance] == tolerance
    assert sorted({*TOLERANCES, tolerance}) == list(table.tolerances)
    assert [c.threshold.mg_cm2 for c in table.curves] == sorted([*CUT_POINTS_MG_CM2, threshold.mg_cm2])


def test_a_grade_that_is_the_stated_amount_keeps_the_stated_words():
    table = tabulate(api.prepare(FACTS, particles=100, threshold_um=30.0))
    assert [c.threshold.words for c in table.curves].count("30 um of scale") == 1
    assert len(table.curves) == len(CUT_POINTS_MG_CM2)


def test_more_tolerance_waits_longer_and_a_higher_threshold_too(table):
    longest = table.horizon_days + 1
    waits = [[-1 if w is None else min(w, longest) for w in curve.waits] for curve in table.curves]
    assert all(a <= b for row in waits for a, b in pairwise(row))
    assert all(a <= b for lower, higher in pairwise(waits) for a, b in zip(lower, higher, strict=True))
    assert waits[0][0] < waits[-1][-1]


@pytest.mark.parametrize("tolerance", [0.001, 0.1, 0.9])
@pytest.mark.parametrize("horizon", [1, 40, 1460])
def test_the_days_hold_the_deferral(tolerance, horizon):
    question = api.prepare(FACTS, particles=100, tolerance=tolerance, horizon_days=horizon)
    table = tabulate(question)
    assert table.days[0] == 0
    assert table.days[-1] <= horizon
    wait = table.own.waits[table.tolerance]
    assert wait is None or wait <= table.days[-1]


def test_a_clean_boiler_that_is_hardly_used_is_beyond_every_horizon():
    facts = history(look(90, 0), days=100, litres_per_day=0.001, tds=30.0)
    table = tabulate(api.prepare(facts, particles=100, horizon_days=50))
    assert table.until(table.own, table.tolerance) is None
    assert table.own.waits[table.tolerance] == 50
