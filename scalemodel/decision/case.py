"""One case: a boiler's forecast, and the question that is laid on it; everything that is decided starts here.

The risk by date is asked for over and over (the last safe day, the crossings, the alarms, a figure), so it is kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property
from typing import NamedTuple, TypeVar

import numpy as np

from scalemodel.decision.alarms import Alarm, find_alarms
from scalemodel.decision.change import Change, change_of, forecast_since
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.milder import milder_readings
from scalemodel.decision.status import Status
from scalemodel.logbook.records import BoilerFacts

Kept = TypeVar("Kept")

CROSSINGS = (0.1, 0.5, 0.9)
"""The risks whose first dates are told."""


def last_day_within(risk: Callable[[int], float], level: float, horizon_days: int) -> int | None:
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


def first_day_at(risk: Callable[[int], float], level: float, horizon_days: int) -> int | None:
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


class Standing(NamedTuple):
    """How a boiler stands: its status, the alarms behind it, and the last day within the tolerance by the risk alone.

    ``day`` counts from as_of: None where the risk is past it already, the horizon where it never comes to it. Where
    something has changed it is the earlier of that by all records and that by those since then.
    """

    status: Status
    alarms: tuple[Alarm, ...]
    day: int | None
    horizon_days: int

    @property
    def last_safe(self) -> int | None:
        """The last day within the tolerance by the risk alone, 0 where it is past; None beyond the horizon."""
        return 0 if self.day is None else None if self.day >= self.horizon_days else self.day


def status_of(alarmed: bool, day: int | None, horizon_days: int) -> Status:
    """The status from whether there is an alarm and the last day within the tolerance (None: past already)."""
    if alarmed:
        return Status.LOOK_AGAIN
    if day is None:
        return Status.PAST
    return Status.BEYOND if day >= horizon_days else Status.WITHIN


@dataclass(frozen=True, kw_only=True, repr=False)
class Answer:
    """What every result begins with: the boiler, the day of the question, and what was asked.

    Attributes
    ----------
    boiler : str
    as_of : date
        The day on which the question was asked.
    site : str
    threshold_mg_cm2 : float [mg/cm2]
    threshold_words : str
        The threshold as it was stated.
    tolerance : float
        The risk that the owner accepts, in (0, 1).
    """

    boiler: str
    as_of: date
    site: str
    threshold_mg_cm2: float
    threshold_words: str
    tolerance: float

    def __repr__(self) -> str:
        """A line: what was asked, and its status and date where it has them."""
        told = [str(said) for name in ("status", "defer_until") if (said := getattr(self, name, None)) is not None]
        asked = _asked(self.boiler, self.as_of, self.site, self.threshold_mg_cm2, self.tolerance)
        return f"<{type(self).__name__} of {asked}{': ' if told else ''}{' until '.join(told)}>"


def _asked(boiler: str, as_of: date, site: str, mg_cm2: float, tolerance: float) -> str:
    return f"{boiler!r} as of {as_of}, {mg_cm2:g} mg/cm2 at the {site}, tolerance {tolerance:g}"


@dataclass(frozen=True, eq=False, repr=False)
class Case:
    """A forecast and a question: the threshold, the tolerance in (0, 1), and how far to look ahead [days]."""

    forecast: Forecast
    threshold: Threshold
    tolerance: float
    horizon_days: int
    _kept: dict = field(default_factory=dict)

    def __repr__(self) -> str:
        asked = _asked(self.facts.boiler.boiler, self.as_of, self.forecast.site, self.mg_cm2, self.tolerance)
        return f"<Case of {asked}, horizon {self.horizon_days} days>"

    def kept(self, key: object, make: Callable[[], Kept]) -> Kept:
        """What ``make`` gives, made once for this case."""
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]

    @property
    def facts(self) -> BoilerFacts:
        return self.forecast.posterior.facts

    @property
    def as_of(self) -> date:
        return self.facts.as_of

    @property
    def mg_cm2(self) -> float:
        """The threshold [mg/cm2]."""
        return self.threshold.mg_cm2

    @property
    def head(self) -> dict[str, object]:
        """The fields of `Answer`, by name."""
        return {
            "boiler": self.facts.boiler.boiler,
            "as_of": self.as_of,
            "site": self.forecast.site,
            "threshold_mg_cm2": self.mg_cm2,
            "threshold_words": self.threshold.words,
            "tolerance": self.tolerance,
        }

    def risk_and_error(self, day: float) -> tuple[float, float]:
        """The probability that scale has passed the threshold ``day`` days from as_of, with its Monte Carlo error."""
        return self.kept(("risk", float(day)), lambda: self.forecast.risk(self.mg_cm2, day))

    def risk(self, day: float) -> float:
        """The probability that scale has passed the threshold ``day`` days from as_of; it never falls."""
        return self.risk_and_error(day)[0]

    @cached_property
    def milder(self) -> tuple[tuple[Case, np.ndarray], ...]:
        """This question with the latest look read milder: cases, and weights of each one's draws (V, S).

        See `scalemodel.decision.milder`.
        """
        return tuple(
            (self if forecast is self.forecast else self.under(forecast), weights)
            for forecast, weights in milder_readings(self.forecast)
        )

    def risk_by_all(self, day: float) -> float:
        """`risk`, or what it would be with the latest look milder, where that is more."""

        def by_milder() -> list[float]:
            return [
                float(risk)
                for case, weights in self.milder
                for risk in weights @ case.forecast.risk_draws(self.mg_cm2, day)
            ]

        return max(self.risk(day), *self.kept(("milder", float(day)), by_milder), 0.0)

    def deciding_risk(self, day: float) -> float:
        """`risk_by_all`, or where something has changed that by the records since then alone, where it is more."""
        return max(case.risk_by_all(day) for case in (self, self.since_then) if case is not None)

    def last_day_within(self, level: float) -> int | None:
        """The last day with a deciding risk of at most ``level``; see `last_day_within`."""
        return last_day_within(self.deciding_risk, level, self.horizon_days)

    def first_day_at(self, level: float) -> int | None:
        """The first day with a risk of at least ``level``; see `first_day_at`."""
        return first_day_at(self.risk, level, self.horizon_days)

    @cached_property
    def last_safe(self) -> int | None:
        """The last day within the tolerance by the risk alone: None past it already, the horizon if never past.

        The risk is the deciding one, so that a worse latest look never gives a later day.
        """
        return self.last_day_within(self.tolerance)

    @cached_property
    def last_by_all(self) -> int | None:
        """The same by all records, whether or not something has changed."""
        return last_day_within(self.risk_by_all, self.tolerance, self.horizon_days)

    @property
    def held_by_milder(self) -> bool:
        """Whether the last safe day is earlier than by the records as they are, for a milder latest look's sake."""
        return self.last_by_all != last_day_within(self.risk, self.tolerance, self.horizon_days)

    @cached_property
    def standing(self) -> Standing:
        """How the boiler stands."""
        alarms, day = find_alarms(self.forecast, self.mg_cm2), self.last_safe
        return Standing(status_of(bool(alarms), day, self.horizon_days), alarms, day, self.horizon_days)

    @cached_property
    def change(self) -> Change | None:
        """What has changed, by looks that run worse or milder than foretold; None where nothing is known to have."""
        return change_of(self.forecast)

    @cached_property
    def since_then(self) -> Case | None:
        """The same question with growth learned from the records since the change alone; None without a change."""
        return None if self.change is None else self.under(forecast_since(self.forecast, self.change.since))

    @property
    def defer_until(self) -> date | None:
        """The last date within the tolerance; None for every status but "within"."""
        return self.date_of(self.standing.day) if self.standing.status is Status.WITHIN else None

    def under(self, forecast: Forecast) -> Case:
        """The same question about another forecast."""
        return Case(forecast, self.threshold, self.tolerance, self.horizon_days)

    def date_of(self, day: int | None) -> date | None:
        """The date so many days from as_of; None of None."""
        return None if day is None else self.as_of + timedelta(days=int(day))
