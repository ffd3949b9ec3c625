"""Deposit and risk by date, as far back and ahead as a person wants to see them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import ceil, inf

import numpy as np

from scalemodel.decision.case import CROSSINGS, Case
from scalemodel.decision.forecast import Forecast
from scalemodel.decision.middle import EIGHT_TENTHS
from scalemodel.inference.posterior import Posterior
from scalemodel.logbook.records import BoilerFacts, Fill, Inspection
from scalemodel.model import unknowns
from scalemodel.model.grading import HOUSE_GRADING, Grading
from scalemodel.model.inverse_gaussian import draw_growth
from scalemodel.model.timeline import Ledger

POINTS = 160
"""About so many dates a curve."""

SHORTEST_DAYS = 30
"""No forecast is shown for fewer days, unless the horizon is nearer."""

PAST_TO_AHEAD, PAST_DAYS = 4, 730
"""The past is shown whole up to so many times the days ahead, or so many days, whichever is more."""


@dataclass(frozen=True)
class DepositBand:
    """Deposit at a site by date: the middle eight tenths and the median of the draws.

    Attributes
    ----------
    dates : tuple of date, length T; the day of a descale stands twice, before and after it
    p10, p50, p90 : arrays (T,) [mg/cm2]
    """

    dates: tuple[date, ...]
    p10: np.ndarray
    p50: np.ndarray
    p90: np.ndarray


def _band(points: list[tuple[date, np.ndarray]]) -> DepositBand:
    quantiles = [np.quantile(draws, EIGHT_TENTHS) for _, draws in points]
    return DepositBand(tuple(day for day, _ in points), *np.transpose(quantiles))


class _Growth:
    """Mean growth of each draw between any two days of the past (C P,) [mg/cm2]."""

    def __init__(self, forecast: Forecast) -> None:
        posterior = forecast.posterior
        line = posterior.model.timeline
        self.ledger = Ledger(_filled(posterior), line.plan)
        self.planned = np.exp(line.plan.log_sd * posterior.unknown(unknowns.USE))
        self.per_litre = forecast.per_litre_of_spans()

    def between(self, start: date, end: date) -> np.ndarray:
        recorded, planned = self.ledger.between(start.toordinal(), end.toordinal())
        return recorded @ self.per_litre + (planned @ self.per_litre) * self.planned


def _filled(posterior: Posterior) -> BoilerFacts:
    """The records, with the water that was stated where no fill is on record."""
    facts = posterior.facts
    if facts.fills:
        return facts
    water = posterior.model.timeline.waters[0]
    return replace(facts, fills=(Fill(facts.boiler.boiler, facts.boiler.installed_on, water),))


def past_band(forecast: Forecast, first: date | None = None) -> DepositBand:
    """The site's deposit from installation, or from ``first``, to ``as_of``.

    At the states of the timeline these are the quantiles of the posterior itself. Between two states each
    draw is at its expectation given both ends, which for increments of one irregularity is a straight line in
    mean growth; after the last state the growth is drawn.

    Parameters
    ----------
    forecast : Forecast
    first : date, optional
        Nothing earlier is returned.

    Returns
    -------
    DepositBand
        At every state, on ``as_of``, and on evenly spaced days between.
    """
    posterior, growth = forecast.posterior, _Growth(forecast)
    line, states, as_of = posterior.model.timeline, posterior.deposits_at(forecast.site), posterior.facts.as_of
    first = line.state_dates[0] if first is None else first
    step = max(1, (as_of - first).days // POINTS)
    points = [(line.state_dates[0], states[0])]
    for k, (kind, _) in enumerate(line.steps):
        start, end = line.state_dates[k], line.state_dates[k + 1]
        if kind == "grow" and end > first:
            whole = growth.between(start, end)
            grown = (states[k + 1] - states[k]) / np.where(whole > 0.0, whole, inf)
            within = _days_within(start, end, step)
            points += [(day, states[k] + grown * growth.between(start, day)) for day in within]
        points.append((end, states[k + 1]))
    start = line.state_dates[-1]
    if as_of > start:
        tail = [*_days_within(start, as_of, step), as_of]
        points += [(day, states[-1] + _drawn(forecast, growth.between(start, day))) for day in tail]
    return _band([(day, forecast.relative * draws) for day, draws in points if day >= first])


def _drawn(forecast: Forecast, mean: np.ndarray) -> np.ndarray:
    """Growth with a mean (C P,) [mg/cm2], on the random numbers that `Forecast.deposit_draws` uses."""
    return draw_growth(forecast.posterior.fresh("deposit"), mean, forecast.irregularity)


def _days_within(start: date, end: date, step: int) -> list[date]:
    """Every ``step``-th day after ``start`` and before ``end``."""
    return [start + timedelta(days=d) for d in range(step, (end - start).days, step)]


def future_band(forecast: Forecast, ahead_days: int) -> DepositBand:
    """The site's deposit from ``as_of`` to ``ahead_days`` later, if nothing is done [mg/cm2]."""
    as_of = forecast.posterior.facts.as_of
    return _band([(as_of + timedelta(days=d), forecast.deposit_draws(d)) for d in days_ahead(ahead_days)])


def risk_by_day(case: Case, ahead_days: int) -> tuple[tuple[date, ...], np.ndarray]:
    """Dates from ``as_of`` to ``ahead_days`` later, and the risk of scale past the threshold on each (T,)."""
    days = days_ahead(ahead_days)
    return tuple(case.date_of(day) for day in days), np.array([case.risk(day) for day in days])


def days_ahead(ahead_days: int) -> list[int]:
    """About `POINTS` whole days from as_of to ``ahead_days`` later, evenly spread."""
    return np.unique(np.linspace(0, ahead_days, POINTS + 1).round().astype(int)).tolist()


def span_ahead(case: Case, level: float = CROSSINGS[-1]) -> int:
    """Days ahead to show: a little past the crossing of a level, at least a month, never past the horizon."""
    last = case.first_day_at(level)
    if last is None:
        return case.horizon_days
    return min(case.horizon_days, max(SHORTEST_DAYS, ceil(1.1 * last)))


def first_shown(facts: BoilerFacts, ahead_days: int) -> date:
    """The first day to show: the installation, unless so long a past would crush the days ahead.

    >>> from scalemodel.logbook.records import Boiler
    >>> first_shown(BoilerFacts(Boiler("k", 1.0, 93.0, date(2000, 1, 1)), date(2026, 1, 1)), 90)
    datetime.date(2024, 1, 2)
    """
    longest = timedelta(days=max(PAST_DAYS, PAST_TO_AHEAD * ahead_days))
    return max(facts.boiler.installed_on, facts.as_of - longest)


def graded_range(look: Inspection, grading: Grading = HOUSE_GRADING) -> tuple[float, float]:
    """The deposits that a look's grades nominally cover [mg/cm2]; the highest grade has no upper end.

    >>> graded_range(Inspection("k", date(2026, 1, 1), "wall", 1, 2))
    (0.3, 6.0)
    >>> graded_range(Inspection("k", date(2026, 1, 1), "wall", 0, 4))
    (0.0, inf)
    """
    bounds = grading.bounds_mg_cm2
    return bounds[look.grade_low], bounds[look.grade_high + 1]
