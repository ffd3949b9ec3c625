"""Risk by date and the last safe date, tabulated over thresholds and tolerances: what a page without a server needs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from scalemodel.decision.alarms import find_alarms
from scalemodel.decision.band import days_ahead, span_ahead
from scalemodel.decision.deferral import CROSSINGS, last_day_within, status_of
from scalemodel.decision.forecast import Forecast, Threshold, find_threshold
from scalemodel.decision.status import Status
from scalemodel.model.grading import GRADE_COUNT

TOLERANCES = (
    *(percent / 100 for percent in (1, 2, 3, 4, 5, 6, 7, 8, 9, 10)),
    *(percent / 100 for percent in (12, 14, 16, 18, 20, 25, 30, 35, 40, 45, 50)),
)
"""Tolerances that can be tried, beside the stated one."""

WAITS_SHOWN = 4
"""Days are shown up to so many times the deferral, so that it stays apart from today."""


@dataclass(frozen=True)
class RiskCurve:
    """One threshold: the risk on each of the table's days, and how long each tolerance lets the descale wait.

    Attributes
    ----------
    threshold : Threshold
    risks : tuple of float, as long as `RiskTable.days`
    waits : tuple of int or None, as long as `RiskTable.tolerances`
        The last day after as_of on which the risk is within the tolerance; None where it is past already, and
        `RiskTable.horizon_days` where it is so beyond the horizon; None throughout where a look raised an alarm at
        this threshold.
    statuses : tuple of Status, as long as `RiskTable.tolerances`
    """

    threshold: Threshold
    risks: tuple[float, ...]
    waits: tuple[int | None, ...]
    statuses: tuple[Status, ...]


@dataclass(frozen=True)
class RiskTable:
    """Risk by day for some thresholds, the lowest first; ``threshold`` and ``tolerance`` point at the stated ones."""

    as_of: date
    horizon_days: int
    days: tuple[int, ...]
    tolerances: tuple[float, ...]
    curves: tuple[RiskCurve, ...]
    threshold: int
    tolerance: int

    @property
    def own(self) -> RiskCurve:
        """The curve of the stated threshold."""
        return self.curves[self.threshold]

    def until(self, curve: RiskCurve, tolerance: int) -> date | None:
        """The last safe date, as `defer_until` gives it: None for every status but "within"."""
        dated = curve.statuses[tolerance] is Status.WITHIN
        return self.as_of + timedelta(days=curve.waits[tolerance]) if dated else None


def tabulate(forecast: Forecast, threshold: Threshold, tolerance: float, horizon_days: int) -> RiskTable:
    """Risk by day for every grade as the threshold and the stated one, and the last safe day at many tolerances.

    Parameters are those of `scalemodel.decision.deferral.defer_until`; every wait is what it gives for that threshold
    and tolerance.
    """
    facts = forecast.posterior.facts
    by_amount = {t.mg_cm2: t for t in (find_threshold(facts, grade) for grade in range(1, GRADE_COUNT))}
    by_amount[threshold.mg_cm2] = threshold
    tolerances = tuple(sorted({*TOLERANCES, tolerance}))
    days = days_ahead(shown_ahead(forecast, threshold, tolerance, horizon_days))
    curves = []
    for one in sorted(by_amount.values(), key=lambda t: t.mg_cm2):
        risk = RiskByDay(forecast, one)
        alarmed = bool(find_alarms(forecast, one.mg_cm2))
        waits = [None if alarmed else last_day_within(risk, level, horizon_days) for level in tolerances]
        statuses = tuple(status_of(alarmed, wait, horizon_days) for wait in waits)
        curves.append(RiskCurve(one, tuple(risk(day) for day in days), tuple(waits), statuses))
    return RiskTable(
        facts.as_of,
        horizon_days,
        tuple(days),
        tolerances,
        tuple(curves),
        sorted(by_amount).index(threshold.mg_cm2),
        tolerances.index(tolerance),
    )


class RiskByDay:
    """The risk of one threshold by day after as_of, each day reckoned once."""

    def __init__(self, forecast: Forecast, threshold: Threshold) -> None:
        self.forecast, self.mg_cm2 = forecast, threshold.mg_cm2
        self.known: dict[int, float] = {}

    def __call__(self, day: int) -> float:
        if day not in self.known:
            self.known[day] = self.forecast.risk(self.mg_cm2, day)[0]
        return self.known[day]


def shown_ahead(forecast: Forecast, threshold: Threshold, tolerance: float, horizon_days: int) -> int:
    """Days ahead to show: past an even chance and past the deferral, and to nine in ten if that does not crush them."""
    even, nearly_sure = (span_ahead(forecast, threshold, horizon_days, level) for level in CROSSINGS[1:])
    wait = last_day_within(RiskByDay(forecast, threshold), tolerance, horizon_days)
    return min(nearly_sure, max(even, WAITS_SHOWN * (wait or 0))) if wait else nearly_sure
