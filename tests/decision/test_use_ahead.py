"""Risk and deferral where use is not the same every day: absences ahead and seasons."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.basis import basis_of
from scalemodel.decision.deposit_by_date import future_band, past_band, risk_by_day
from scalemodel.logbook.records import Absence, Use
from scalemodel.words.account import assumptions_of
from tests.builders import day, history, look

SEEN = (look(90, 0, 1), look(180, 1), look(270, 1))
AWAY = Absence("urn", day(380), day(440))


@pytest.fixture(scope="module")
def plain():
    return api.prepare(history(*SEEN), particles=150)


@pytest.fixture(scope="module")
def absent():
    return api.prepare(history(*SEEN, absences=(AWAY,)), particles=150)


def test_a_coming_absence_changes_nothing_before_it_and_stands_still_within(plain, absent):
    before, after, threshold = plain.forecast, absent.forecast, plain.threshold
    assert np.array_equal(before.posterior.x, after.posterior.x)
    for days in (0, 7, 20):
        assert after.risk(threshold.mg_cm2, days) == before.risk(threshold.mg_cm2, days)
    still = {after.risk(threshold.mg_cm2, days)[0] for days in (20, 50, 80)}
    assert len(still) == 1
    assert after.risk(threshold.mg_cm2, 300) == before.risk(threshold.mg_cm2, 240)
    assert np.array_equal(after.deposit_draws(160), before.deposit_draws(100))


def test_risk_never_falls_and_curves_are_drawn(absent):
    forecast = absent.forecast
    dates, risks = risk_by_day(absent, 400)
    assert (np.diff(risks) >= 0.0).all()
    band = future_band(forecast, 400)
    assert len(band.dates) == len(dates)
    assert (np.diff(past_band(forecast).p50[:20]) >= 0.0).all()


def test_the_descale_can_wait_as_many_days_longer_as_the_absence_takes(plain, absent):
    from scalemodel.decision.deferral import defer_until

    early = defer_until(plain)
    assert early.defer_until > AWAY.from_date
    later = defer_until(absent)
    assert later.defer_until - early.defer_until == AWAY.to_date - AWAY.from_date
    assert later.crossing["p50"] - early.crossing["p50"] == AWAY.to_date - AWAY.from_date


def test_growth_takes_many_days_at_once(absent):
    forecast = absent.forecast
    days = np.array([0, 30, 200])
    rows = forecast.growth_after(days)
    assert np.array_equal(rows, np.stack([forecast.growth_after(d) for d in days]))


def test_a_stated_rate_keeps_the_absence_but_no_season():
    facts = history(*SEEN, absences=(AWAY,))
    forecast = api.prepare(facts, particles=100, litres_per_day=0.8).forecast
    assert forecast.plan.use.season is None
    assert forecast.use_days(80) == 20.0
    assert "absence ahead, with nothing drawn: from 2026-01-16 until 2026-03-17" in assumptions_of(basis_of(forecast))


def test_absences_past_and_running_are_said():
    facts = history(*SEEN, absences=(Absence("urn", day(350), day(370)), Absence("urn", day(10), day(15))))
    said = assumptions_of(basis_of(api.prepare(facts, particles=100).forecast))
    assert "15 days of absence so far: nothing drawn where no use is on record" in said
    assert "absence ahead, with nothing drawn: from 2025-12-27 until 2026-01-06" in said


def test_a_season_moves_growth_within_the_year_but_not_over_it():
    facts = history(*SEEN, days=1095, uses=())
    first = facts.boiler.installed_on
    uses = []
    for n in range(0, 1080, 30):
        busy = 3.0 if (first + timedelta(n + 15)).month in (12, 1, 2) else 1.0
        uses.append(Use("urn", first + timedelta(n), first + timedelta(n + 30), litres=9.0 * busy))
    case = api.prepare(replace(facts, uses=tuple(uses)), particles=100)
    forecast = case.forecast
    assert facts.as_of == date(2028, 1, 1)
    assert forecast.use_days(366) == pytest.approx(366, abs=2)
    assert forecast.use_days(60) > 75
    risks = [case.risk(d) for d in range(0, 800, 13)]
    assert (np.diff(risks) >= 0.0).all()
    assert any("use by season" in line for line in assumptions_of(basis_of(forecast)))
