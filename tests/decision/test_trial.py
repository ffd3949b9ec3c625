"""A trial on another water: its risk, and what a look at its end would teach."""

from datetime import timedelta

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.forecast import Forecast
from scalemodel.decision.trial import days_ahead, last_within, plan_trial, spreads, usual_look, window, windows
from scalemodel.decision.water_plan import for_some_days, on_water, supplies_for
from scalemodel.errors import BadValueError
from tests.builders import day, history, look

FACTS = history(look(90, 0, 1, site="chamber"), look(180, 1, site="chamber"), look(270, 1))


@pytest.fixture(scope="module")
def asked():
    return api.prepare(FACTS, particles=400)


@pytest.fixture(scope="module")
def trial(asked):
    return plan_trial(asked, supplies_for(FACTS, ("soft",), ())[0], 120)


def test_the_risk_at_the_end_is_that_of_the_forecast(asked, trial):
    forecast, threshold = asked.forecast, asked.threshold
    soft = on_water(forecast, supplies_for(FACTS, ("soft",), ())[0])
    assert (trial.trying.risk_at_end, trial.trying.risk_mc_error) == soft.risk(threshold.mg_cm2, 120)
    assert trial.staying.risk_at_end == forecast.risk(threshold.mg_cm2, 120)[0]
    assert trial.trying.risk_at_end < trial.staying.risk_at_end
    assert (trial.until, trial.look_site, trial.look_method) == (day(480), "chamber", "eye")


def test_a_trial_of_the_present_water_is_staying(asked):
    same = plan_trial(asked, asked.forecast.plan.supply, 60)
    assert same.trying == same.staying
    assert same.defer_until == same.staying_until == asked.defer_until


def test_a_softer_water_for_some_days_lets_the_descale_wait_longer_the_more_days(asked):
    (soft,) = supplies_for(FACTS, ("soft",), ())
    trials = [plan_trial(asked, soft, days) for days in (1, 30, 92, 3000)]
    until = [one.defer_until for one in trials[:3]]
    assert asked.defer_until <= until[0] < until[1] < until[2]
    whole = asked.under(on_water(asked.forecast, soft))
    assert trials[3].defer_until == whole.defer_until


def test_a_trial_and_back_is_growth_on_the_one_water_and_then_the_other(asked):
    (soft,) = supplies_for(FACTS, ("soft",), ())
    there, back = on_water(asked.forecast, soft), for_some_days(asked.forecast, soft, 92)
    assert back.growth_after(50) == pytest.approx(there.growth_after(50))
    late = there.growth_after(92) + asked.forecast.growth_after(300) - asked.forecast.growth_after(92)
    assert back.growth_after(300) == pytest.approx(late)


def test_a_look_teaches_and_never_unteaches(trial):
    for arm in (trial.trying, trial.staying):
        assert sum(shown.probability for shown in arm.shown) == pytest.approx(1.0)
        assert arm.sd_after_look_days <= arm.sd_days
        assert arm.narrower == pytest.approx(1.0 - arm.after_look_days / arm.window_days)
        assert arm.narrower_mc_error < 0.1


def test_a_worse_grade_leaves_fewer_days(trial):
    days = [shown.defer_until for shown in trial.trying.shown[:4]]
    known = [d for d in days if d is not None]
    assert known == sorted(known, reverse=True)
    assert all(d >= trial.until for d in known)


def test_after_the_look_is_the_posterior_with_that_look(asked):
    """Weighed draws against solving again with the look on record, where little time passes (a trial of a day)."""
    arm = plan_trial(asked, asked.forecast.plan.supply, 1).staying
    later = {}
    for grade in (0, 1):
        facts = history(*FACTS.inspections, look(361, grade, site="chamber"), days=361)
        later[grade] = api.defer(facts, particles=400).defer_until
    for grade, answer in later.items():
        told = arm.shown[grade].defer_until
        weight = arm.shown[grade].probability
        assert abs((told - answer).days) < 0.2 * (answer - day(361)).days + 10, (grade, weight)


def test_a_look_that_tells_nothing_changes_nothing_and_one_that_tells_all_leaves_least():
    rng = np.random.default_rng(2)
    ahead = days_ahead()
    passed = (ahead[:, None] >= rng.gamma(4.0, 100.0, 500)).astype(float)
    blind = np.full((5, 500), 0.2)
    before, after = windows(passed, blind, ahead)
    assert after == pytest.approx(before)
    assert spreads(passed, blind, ahead)[1] == pytest.approx(spreads(passed, blind, ahead)[0])
    before, after = windows(passed, np.eye(500), ahead)
    assert after < 0.1 * before
    assert spreads(passed, np.eye(500), ahead)[1] < 0.1 * spreads(passed, np.eye(500), ahead)[0]


def test_windows_by_hand():
    ahead = np.array([0.0, 10.0, 20.0, 30.0])
    assert window(np.array([0.0, 0.0, 0.0, 0.05]), ahead) == 0.0
    assert window(np.array([0.2, 0.5, 0.95, 1.0]), ahead) == pytest.approx(10.0 + 10.0 * 0.4 / 0.45)
    assert last_within(np.array([0.0, 0.2, 0.4, 0.4]), ahead, 0.1) == 5
    assert last_within(np.array([0.3, 0.4, 0.4, 0.4]), ahead, 0.1) is None


def test_spread_of_a_known_law():
    """Exponential crossing days of mean 200: the sd is 200 too, but for what lies past the last day counted."""
    ahead = days_ahead()
    passed = -np.expm1(-ahead / 200.0)[:, None]
    assert spreads(passed, np.ones((1, 1)), ahead)[0] == pytest.approx(200.0, rel=0.01)
    assert window(passed[:, 0], ahead) == pytest.approx(200.0 * (np.log(10.0) + np.log(0.9)), rel=0.01)


def test_the_usual_look():
    assert usual_look(FACTS) == ("chamber", "eye")
    assert usual_look(history()) == ("wall", "eye")


@pytest.mark.parametrize("days", [0, -3, 3651])
def test_the_length_of_a_trial(asked, days):
    with pytest.raises(BadValueError, match="1 to 3650"):
        plan_trial(asked, asked.forecast.plan.supply, days)


def test_by_the_public_function():
    one = api.trial(FACTS, "soft", 30, particles=100)
    two = api.trial(FACTS, "soft:0.99,tap:0.01", 30, particles=100)
    assert one.until == FACTS.as_of + timedelta(days=30)
    assert two.trying.risk_at_end == pytest.approx(one.trying.risk_at_end, abs=0.05)
    assert isinstance(api.prepare(FACTS, particles=100).forecast, Forecast)
