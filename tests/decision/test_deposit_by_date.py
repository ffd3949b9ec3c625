"""Deposit and risk by date as the figures show them."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.deposit_by_date import (
    SHORTEST_DAYS,
    first_shown,
    future_band,
    graded_range,
    past_band,
    risk_by_day,
    span_ahead,
)
from scalemodel.logbook.records import Descale, Use
from tests.builders import day, history, look

SEEN = (look(90, 1), look(180, 1, 2), look(270, 1, 2, site="chamber"))
DESCALED = history(*SEEN, descales=(Descale("urn", day(200)),))


def quantiles(draws):
    return np.quantile(draws, (0.1, 0.5, 0.9))


def at(band, k):
    return np.array([band.p10[k], band.p50[k], band.p90[k]])


@pytest.mark.parametrize("site", ["wall", "chamber"])
def test_the_band_is_the_posterior_at_the_states(site):
    forecast = api.prepare(DESCALED, site=site).forecast
    posterior, band = forecast.posterior, past_band(forecast)
    dates = np.array(band.dates)
    for k, state in enumerate(posterior.model.timeline.state_dates):
        (places,) = np.nonzero(dates == state)
        expected = quantiles(forecast.relative * posterior.deposits_at(site)[k])
        assert any(np.allclose(at(band, p), expected) for p in places)
    assert band.dates[0] == day(0)
    assert band.p90[0] == 0.0


def test_a_descale_drops_the_band_on_its_day_and_nothing_else_lowers_it():
    band = past_band(api.prepare(DESCALED).forecast)
    assert list(band.dates) == sorted(band.dates)
    before, after = (k for k, d in enumerate(band.dates) if d == day(200))
    assert after == before + 1
    assert np.all(at(band, after) < 0.7 * at(band, before))
    for values in (band.p10, band.p50, band.p90):
        grown = np.delete(np.diff(values), before)
        assert np.all(grown >= -0.02 * values.max())


def test_past_and_forecast_meet_and_the_forecast_is_that_of_the_drawn_deposits():
    forecast = api.prepare(DESCALED).forecast
    past, future = past_band(forecast), future_band(forecast, 400)
    assert past.dates[-1] == future.dates[0] == DESCALED.as_of
    np.testing.assert_allclose(at(past, -1), at(future, 0))
    assert future.dates[-1] == DESCALED.as_of + timedelta(days=400)
    np.testing.assert_allclose(at(future, -1), quantiles(forecast.deposit_draws(400)))


def test_between_looks_the_deposit_follows_the_litres():
    """Nine tenths of the water drawn in the first half of an interval bring nine tenths of its growth.

    Within what the water may have moved between the halves, a hundredth or two.
    """
    uses = (Use("urn", day(0), day(50), litres=90.0), Use("urn", day(50), day(100), litres=10.0))
    forecast = api.prepare(history(look(100, 1, 2), days=100, uses=uses)).forecast
    band = past_band(forecast)
    half, end = band.dates.index(day(50)), band.dates.index(day(100))
    np.testing.assert_allclose(at(band, half), 0.9 * at(band, end), rtol=0.02)


def test_an_interval_without_water_stays_level():
    uses = (Use("urn", day(0), day(50), litres=20.0), Use("urn", day(50), day(100), litres=0.0))
    band = past_band(api.prepare(history(look(50, 1), look(100, 1), days=100, uses=uses)).forecast)
    level = [k for k, d in enumerate(band.dates) if d >= day(50)]
    assert len(level) > 40
    assert np.ptp(band.p50[level]) == 0.0
    assert np.all(np.isfinite(band.p90))


def test_a_stated_water_and_rate_stand_in_for_records():
    facts = history(look(60, 1), days=100, fills=(), uses=())
    forecast = api.prepare(facts, water="tap", litres_per_day=0.43).forecast
    past, future = past_band(forecast), future_band(forecast, 30)
    np.testing.assert_allclose(at(past, -1), at(future, 0))


def test_the_risk_shown_is_the_risk_asked_for():
    dates, risks = risk_by_day(api.prepare(DESCALED), 500)
    assert dates[0] == DESCALED.as_of
    assert np.all(np.diff(risks) >= 0.0)
    k = len(dates) // 2
    asked = api.risk(DESCALED, [dates[k]]).points[0].probability
    assert risks[k] == pytest.approx(asked, abs=1e-12)


def test_the_span_ends_a_little_past_the_last_crossing_or_at_the_horizon():
    question = api.prepare(DESCALED)
    last = (defer_until(question).crossing["p90"] - DESCALED.as_of).days
    assert last < span_ahead(question) <= 1.1 * last + 1
    assert span_ahead(replace(question, horizon_days=last - 5)) == last - 5
    past = api.prepare(history(*SEEN, look(350, 4), look(352, 4), look(354, 4)), threshold_grade=1)
    assert span_ahead(past) == SHORTEST_DAYS
    assert span_ahead(replace(past, horizon_days=10)) == 10


def test_a_long_past_is_cut_where_it_would_crush_the_forecast():
    assert first_shown(DESCALED, 30) == day(0)
    old = replace(DESCALED, as_of=day(5000))
    assert first_shown(old, 30) == day(5000 - 730)
    assert first_shown(old, 1000) == day(1000)
    forecast = api.prepare(DESCALED).forecast
    whole, cut = past_band(forecast), past_band(forecast, day(180))
    assert cut.dates[0] == day(180)
    np.testing.assert_allclose(at(cut, -1), at(whole, -1))


def test_graded_ranges_cover_all_deposits():
    edges = [graded_range(look(1, g)) for g in range(5)]
    assert edges == [(0.0, 0.3), (0.3, 1.5), (1.5, 6.0), (6.0, 25.0), (25.0, np.inf)]
