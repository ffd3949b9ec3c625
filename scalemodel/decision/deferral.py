"""How long a descale can safely be deferred: the last date on which the risk is within the tolerance."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from scalemodel.decision.alarms import Alarm, find_alarms
from scalemodel.decision.basis import Basis, basis_of
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.residue import Residue, residues_of
from scalemodel.decision.status import Status
from scalemodel.errors import BadValueError
from scalemodel.inference.draws import r_hat
from scalemodel.logbook.records import TOLERANCE, BoilerFacts

HORIZON_DAYS = 1460
CROSSINGS = (0.1, 0.5, 0.9)

R_HAT_LIMIT = 1.05
"""Above this the populations of draws do not agree well enough to lean on a date (R-hat: 1.00 where they agree)."""


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

    @property
    def settled(self) -> bool:
        """Whether the populations agree, within the sweeps that they were given."""
        return not self.capped and self.r_hat <= R_HAT_LIMIT


@dataclass(frozen=True)
class Deferral:
    """How long the descale of one boiler can be deferred.

    ``defer_until`` is None for every ``status`` but "within". ``risk_at_horizon`` is the risk ``horizon_days`` after
    ``as_of``. ``crossing`` holds the first dates on which the risk is at least 10, 50 and 90 %: ``as_of`` itself where
    it is so already, None where it is not so within the horizon; and None with an unanswered alarm, as no date is to
    be had then. ``basis`` is what the answer rests on; `scalemodel.words.answer` says it all in words.
    """

    boiler: str
    as_of: date
    site: str
    threshold_mg_cm2: float
    threshold_words: str
    tolerance: float
    status: Status
    alarms: tuple[Alarm, ...]
    risk_now: float
    risk_at_horizon: float
    defer_until: date | None
    mc_error_days: float | None
    crossing: dict[str, date | None]
    deposit_now_mg_cm2: DepositNow
    horizon_days: int
    residue: tuple[Residue, ...]
    engine: Engine
    basis: Basis = field(repr=False, compare=False)

    @property
    def sharp(self) -> bool:
        """Whether chance moves the date by no more than it may; True where there is no date."""
        if self.defer_until is None or self.mc_error_days is None:
            return True
        return self.mc_error_days <= allowed_error((self.defer_until - self.as_of).days)

    def to_frame(self):
        """The answer as a pandas DataFrame of one row; ``alarm`` is what must be looked at again, if anything."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "boiler": self.boiler,
                    "status": str(self.status),
                    "alarm": "; ".join(alarm.seen for alarm in self.alarms),
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
        If it is not one that the logbook would take.
    """
    tolerance = facts.boiler.tolerance if tolerance is None else tolerance
    if not TOLERANCE.holds(tolerance):
        raise BadValueError(
            "tolerance", tolerance, f"a probability between {TOLERANCE.low:g} and {TOLERANCE.high:g}, such as 0.1"
        )
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


SHARP_DAYS, SHARP_SHARE = 3.0, 0.03
"""The random error of a date is to be at most so many days, or this share of the wait, whichever is more."""


def allowed_error(days: float) -> float:
    """How large the random error of a date ``days`` ahead may be [days].

    >>> allowed_error(10), allowed_error(400)
    (3.0, 12.0)
    """
    return max(SHARP_DAYS, SHARP_SHARE * days)


def error_in_days(forecast: Forecast, threshold: Threshold, day: int) -> float | None:
    """Monte Carlo standard error of a crossing day: the risk's error over its slope [days]."""
    (before, _), (after, _) = (forecast.risk(threshold.mg_cm2, d) for d in (max(0, day - 3), day + 3))
    slope = (after - before) / (day + 3 - max(0, day - 3))
    return forecast.risk(threshold.mg_cm2, day)[1] / slope if slope > 0.0 else None


class Standing(NamedTuple):
    """How a boiler stands: its status, the alarms behind it, and the last day within the tolerance by the risk alone.

    ``day`` counts from as_of: None where the risk is past it already, the horizon where it never comes to it.
    """

    status: Status
    alarms: tuple[Alarm, ...]
    day: int | None

    def bound(self) -> int | None:
        """The last day [days from as_of] that no advice without a look may pass; None where there is no end to it."""
        return {Status.WITHIN: self.day, Status.BEYOND: None}.get(self.status, 0)


def standing_of(forecast: Forecast, threshold: Threshold, tolerance: float, horizon_days: int) -> Standing:
    """How a boiler stands; parameters as for `defer_until`."""
    alarms = find_alarms(forecast, threshold.mg_cm2)
    day = last_day_within(lambda d: forecast.risk(threshold.mg_cm2, d)[0], tolerance, horizon_days)
    return Standing(status_of(bool(alarms), day, horizon_days), alarms, day)


def status_of(alarmed: bool, day: int | None, horizon_days: int) -> Status:
    """The status from whether there is an alarm and the last day within the tolerance (None: past already)."""
    if alarmed:
        return Status.LOOK_AGAIN
    if day is None:
        return Status.PAST
    return Status.BEYOND if day >= horizon_days else Status.WITHIN


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
    status, alarms, day = standing = standing_of(forecast, threshold, tolerance, horizon_days)
    dated = status is Status.WITHIN
    deposit = forecast.deposit_draws(0)
    quantiles = np.quantile(deposit, (0.1, 0.5, 0.9))
    return Deferral(
        boiler=facts.boiler.boiler,
        as_of=as_of,
        site=forecast.site,
        threshold_mg_cm2=threshold.mg_cm2,
        threshold_words=threshold.words,
        tolerance=tolerance,
        status=status,
        alarms=alarms,
        risk_now=forecast.risk(threshold.mg_cm2, 0)[0],
        risk_at_horizon=forecast.risk(threshold.mg_cm2, horizon_days)[0],
        defer_until=as_of + timedelta(days=day) if dated else None,
        mc_error_days=error_in_days(forecast, threshold, day) if dated else None,
        crossing=_crossings(standing, forecast, threshold, horizon_days),
        deposit_now_mg_cm2=DepositNow(float(deposit.mean()), *map(float, quantiles)),
        horizon_days=horizon_days,
        residue=residues_of(posterior),
        engine=_engine(forecast, threshold, horizon_days if day is None else day),
        basis=basis_of(forecast),
    )


def _crossings(
    standing: Standing, forecast: Forecast, threshold: Threshold, horizon_days: int
) -> dict[str, date | None]:
    """The first dates at each level, by its name; none with an alarm."""
    names = {level: f"p{level * 100:.0f}" for level in CROSSINGS}
    if standing.alarms:
        return dict.fromkeys(names.values())
    days = {
        name: first_day_at(lambda d: forecast.risk(threshold.mg_cm2, d)[0], level, horizon_days)
        for level, name in names.items()
    }
    as_of = forecast.posterior.facts.as_of
    return {name: None if day is None else as_of + timedelta(days=day) for name, day in days.items()}


def _engine(forecast: Forecast, threshold: Threshold, day: int) -> Engine:
    """How the answer was computed; R-hat is that of the risk on a day."""
    posterior, info = forecast.posterior, forecast.posterior.info
    agreed = forecast.risk_draws(threshold.mg_cm2, day)
    return Engine(
        posterior.count,
        info.levels,
        info.sweeps,
        r_hat(posterior.by_population(agreed)),
        posterior.seconds,
        info.capped,
        info.refused,
    )
