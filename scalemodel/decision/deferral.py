"""How long a descale can safely be deferred: the last date on which the risk is within the tolerance."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from scalemodel.decision.account import (
    assumptions_of,
    doubted_sentences,
    evidence_of,
    find_set_aside,
    unanswered_alarms,
)
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.residue import Residue, residues_of
from scalemodel.errors import BadValueError
from scalemodel.inference.draws import r_hat
from scalemodel.logbook.records import BoilerFacts
from scalemodel.wording import percent

HORIZON_DAYS = 1460
CROSSINGS = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class DepositNow:
    """The deposit at the site on ``as_of`` [mg/cm2]."""

    mean: float
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True)
class Engine:
    """How the answer was computed; ``capped`` says that the sweeps ended at their cap."""

    particles: int
    levels: int
    sweeps: int
    r_hat: float
    seconds: float
    capped: bool
    refused: int


@dataclass(frozen=True)
class Deferral:
    """How long the descale of one boiler can be deferred.

    ``defer_until`` is None with a ``reason`` that begins "already past" or "beyond the horizon".
    ``crossing`` holds the first dates on which the risk is at least 10, 50 and 90 %: ``as_of`` itself where it is so
    already, None where it is not so within the horizon. ``alarms`` are looks that were set aside and show more scale
    than all else, to be checked first.
    """

    boiler: str
    as_of: date
    site: str
    threshold_mg_cm2: float
    threshold_words: str
    tolerance: float
    risk_now: float
    defer_until: date | None
    reason: str | None
    mc_error_days: float | None
    crossing: dict[str, date | None]
    deposit_now_mg_cm2: DepositNow
    horizon_days: int
    assumptions: tuple[str, ...]
    evidence: tuple[str, ...]
    alarms: tuple[str, ...]
    residue: tuple[Residue, ...]
    engine: Engine

    def to_frame(self):
        """The answer as a pandas DataFrame of one row."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "boiler": self.boiler,
                    "defer_until": self.defer_until,
                    "risk_now": self.risk_now,
                    "p50": self.crossing["p50"],
                    "deposit_now_mg_cm2": self.deposit_now_mg_cm2.mean,
                    "r_hat": self.engine.r_hat,
                }
            ]
        )


def check_tolerance(facts: BoilerFacts, tolerance: float | None) -> float:
    """The stated tolerance, else the boiler's own.

    Raises
    ------
    BadValueError
        If it is not between 0.001 and 0.9.
    """
    tolerance = facts.boiler.tolerance if tolerance is None else tolerance
    if not 0.001 <= tolerance <= 0.9:
        raise BadValueError("tolerance", tolerance, "a probability between 0.001 and 0.9, such as 0.1")
    return tolerance


def check_horizon(horizon_days: int | None) -> int:
    """The stated horizon [days], else four years; BadValueError if it is not 1 to 36500."""
    horizon_days = HORIZON_DAYS if horizon_days is None else horizon_days
    if not 1 <= horizon_days <= 36500 or horizon_days != int(horizon_days):
        raise BadValueError("horizon days", horizon_days, "a whole number of days, 1 to 36500")
    return int(horizon_days)


def last_day_within(risk, level: float, horizon_days: int) -> int | None:
    """The last whole day in [0, horizon] on which the rising function ``risk(day)`` is at most ``level``.

    None where day 0 is above it already; ``horizon_days`` where the whole horizon is within it.

    >>> last_day_within(lambda day: day / 100, 0.1, 50)
    10
    """
    if risk(0) > level:
        return None
    low, high = 0, horizon_days + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if risk(middle) <= level else (low, middle)
    return low


def first_day_at(risk, level: float, horizon_days: int) -> int | None:
    """The first whole day in [0, horizon] on which the rising function ``risk(day)`` is at least ``level``, or None.

    >>> first_day_at(lambda day: day / 100, 0.1, 50)
    10
    """
    if risk(0) >= level:
        return 0
    low, high = 0, horizon_days + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if risk(middle) >= level else (middle, high)
    return high if high <= horizon_days else None


def deferral_days(forecast: Forecast, threshold: Threshold, tolerance: float, horizon_days: int) -> int | None:
    """Days from ``as_of`` to the last day within the tolerance (None: past already), at most the horizon."""
    return last_day_within(lambda day: forecast.risk(threshold.mg_cm2, day)[0], tolerance, horizon_days)


def error_in_days(forecast: Forecast, threshold: Threshold, day: int) -> float | None:
    """Monte Carlo standard error of a crossing day: the risk's error over its slope [days]."""
    (before, _), (after, _) = (forecast.risk(threshold.mg_cm2, d) for d in (max(0, day - 3), day + 3))
    slope = (after - before) / (day + 3 - max(0, day - 3))
    return forecast.risk(threshold.mg_cm2, day)[1] / slope if slope > 0.0 else None


def defer_until(forecast: Forecast, threshold: Threshold, tolerance: float, horizon_days: int) -> Deferral:
    """How long the descale can be deferred at the stated tolerance.

    Parameters
    ----------
    forecast : Forecast
    threshold : Threshold
    tolerance : float
        The risk that the owner accepts, in (0, 1).
    horizon_days : int
        How far to look ahead [days].

    Returns
    -------
    Deferral
    """
    posterior = forecast.posterior
    facts, as_of = posterior.facts, posterior.facts.as_of

    def risk(day: int) -> float:
        return forecast.risk(threshold.mg_cm2, day)[0]

    now = risk(0)
    day = last_day_within(risk, tolerance, horizon_days)
    reason, until, error = None, None, None
    if day is None:
        reason = f"already past: the risk is {percent(now)} now, above the tolerance of {percent(tolerance)}"
    elif day >= horizon_days:
        end = risk(horizon_days)
        reason = f"beyond the horizon: the risk is {percent(end)} on {as_of + timedelta(days=horizon_days)}"
    else:
        until, error = as_of + timedelta(days=day), error_in_days(forecast, threshold, day)
    days = {f"p{level * 100:.0f}": first_day_at(risk, level, horizon_days) for level in CROSSINGS}
    deposit = forecast.deposit_draws(0)
    quantiles = np.quantile(deposit, (0.1, 0.5, 0.9))
    agreed = forecast.risk_draws(threshold.mg_cm2, horizon_days if day is None else day)
    info, set_aside = posterior.info, find_set_aside(posterior)
    return Deferral(
        facts.boiler.boiler,
        as_of,
        forecast.site,
        threshold.mg_cm2,
        threshold.words,
        tolerance,
        now,
        until,
        reason,
        error,
        {key: None if d is None else as_of + timedelta(days=d) for key, d in days.items()},
        DepositNow(float(deposit.mean()), *map(float, quantiles)),
        horizon_days,
        assumptions_of(forecast),
        evidence_of(facts) + doubted_sentences(set_aside),
        unanswered_alarms(posterior, set_aside),
        residues_of(posterior),
        Engine(
            posterior.count,
            info.levels,
            info.sweeps,
            r_hat(posterior.by_population(agreed)),
            posterior.seconds,
            info.capped,
            info.refused,
        ),
    )
