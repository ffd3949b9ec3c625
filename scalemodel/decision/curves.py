"""Risk by date and the last safe date, tabulated over thresholds and tolerances: what a page without a server needs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

from scalemodel.decision.case import CROSSINGS, Case, status_of
from scalemodel.decision.deposit_by_date import days_ahead, span_ahead
from scalemodel.decision.forecast import Threshold, find_threshold
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


def tabulate(case: Case) -> RiskTable:
    """Risk by day for every grade as the threshold and the stated one, and the last safe day at many tolerances.

    Every wait is what `scalemodel.decision.deferral.defer_until` gives for that threshold and tolerance.
    """
    by_amount = {t.mg_cm2: t for t in (find_threshold(case.facts, grade) for grade in range(1, GRADE_COUNT))}
    by_amount[case.mg_cm2] = case.threshold
    tolerances = tuple(sorted({*TOLERANCES, case.tolerance}))
    days = days_ahead(shown_ahead(case))
    curves = []
    for one in sorted(by_amount.values(), key=lambda t: t.mg_cm2):
        asked = case if one is case.threshold else replace(case, threshold=one, _kept={})
        alarmed = bool(asked.standing.alarms)
        waits = [None if alarmed else asked.last_day_within(level) for level in tolerances]
        statuses = tuple(status_of(alarmed, wait, case.horizon_days) for wait in waits)
        curves.append(RiskCurve(one, tuple(asked.risk(day) for day in days), tuple(waits), statuses))
    return RiskTable(
        as_of=case.as_of,
        horizon_days=case.horizon_days,
        days=tuple(days),
        tolerances=tolerances,
        curves=tuple(curves),
        threshold=sorted(by_amount).index(case.mg_cm2),
        tolerance=tolerances.index(case.tolerance),
    )


def shown_ahead(case: Case) -> int:
    """Days ahead to show: past an even chance and past the deferral, and to nine in ten if that does not crush them."""
    even, nearly_sure = (span_ahead(case, level) for level in CROSSINGS[1:])
    wait = case.last_safe
    return min(nearly_sure, max(even, WAITS_SHOWN * (wait or 0))) if wait else nearly_sure
