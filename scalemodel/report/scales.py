"""One set of scales for the pages and the figures: dates, risk, deposit, and where looks of one day stand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import log, log10
from typing import TYPE_CHECKING

from scalemodel.model.grading import HOUSE_GRADING, Grading

if TYPE_CHECKING:
    from scalemodel.logbook.records import Inspection

RISK_TICKS = (0.0, 0.25, 0.5, 0.75, 1.0)

LINEAR_HEIGHT = 1.0 / log(10.0)
"""In decades; makes the scale equally steep on both sides of that point."""

TOP_MG_CM2 = 60.0
"""The scale of the deposit reaches this far, or further where something drawn does."""

DECADES_MG_CM2 = (100.0, 1000.0, 10000.0)
"""What is written at the scale above the last cut point."""

SIDE_STEP = 7.0
"""Looks of one day stand so far apart, in px on a page, in pt on a figure."""

MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120, 240)


@dataclass(frozen=True)
class DepositScale:
    """Heights of deposits up to ``top`` [mg/cm2]: linear up to the first cut point, logarithmic above.

    ``grading`` says where each grade begins, and how thick a deposit is.
    """

    top: float
    grading: Grading = HOUSE_GRADING

    @classmethod
    def for_drawing(cls, *mg_cm2: float, grading: Grading = HOUSE_GRADING) -> DepositScale:
        """The scale on which such deposits are drawn, with room above them.

        >>> DepositScale.for_drawing(6.0).top, DepositScale.for_drawing(6.0, 80.0).top
        (60.0, 120.0)
        """
        return cls(max(TOP_MG_CM2, 1.5 * float(max(*mg_cm2, grading.cut_points_mg_cm2[-1]))), grading)

    @property
    def linear_below(self) -> float:
        """The first cut point [mg/cm2]: below it the scale is linear down to 0, above it logarithmic."""
        return self.grading.cut_points_mg_cm2[0]

    @property
    def whole(self) -> float:
        """The height of all of it, in decades."""
        return LINEAR_HEIGHT + log10(self.top / self.linear_below)

    @property
    def grades(self) -> tuple[tuple[float, float], ...]:
        """The deposits between which each grade lies [mg/cm2]."""
        return tuple(pairwise((0.0, *self.grading.cut_points_mg_cm2, self.top)))

    @property
    def ticks(self) -> tuple[float, ...]:
        """The deposits that are written at the scale [mg/cm2]."""
        return tuple(t for t in (0.0, *self.grading.cut_points_mg_cm2, *DECADES_MG_CM2) if t <= self.top)

    def share(self, mg_cm2: float) -> float:
        """Height of a deposit as a share, 0 to 1.

        >>> DepositScale(60.0).share(0.0), round(DepositScale(60.0).share(60.0), 12)
        (0.0, 1.0)
        """
        if mg_cm2 <= self.linear_below:
            return LINEAR_HEIGHT * max(0.0, mg_cm2) / self.linear_below / self.whole
        return (LINEAR_HEIGHT + log10(min(mg_cm2, self.top) / self.linear_below)) / self.whole

    def middle(self, low: float, high: float) -> float:
        """The deposit half-way up between two [mg/cm2].

        >>> round(DepositScale(60.0).middle(1.0, 4.0), 12), DepositScale(60.0).middle(0.0, 0.2)
        (2.0, 0.1)
        """
        height = (self.share(low) + self.share(high)) / 2 * self.whole
        if height <= LINEAR_HEIGHT:
            return self.linear_below * height / LINEAR_HEIGHT
        return self.linear_below * 10.0 ** (height - LINEAR_HEIGHT)


def side_by_side(looks: Iterable[Inspection], since: date) -> Iterator[tuple[Inspection, float]]:
    """Every look from a day on, and how far beside its day it stands: those of one day before those after a descale."""
    by_day: dict[date, list[Inspection]] = {}
    for look in sorted(looks, key=lambda look: look.after_descale):
        if look.date >= since:
            by_day.setdefault(look.date, []).append(look)
    for together in by_day.values():
        for k, look in enumerate(together):
            yield look, SIDE_STEP * (k - (len(together) - 1) / 2)


def date_ticks(first: date, last: date, most: int) -> list[tuple[date, str]]:
    """Round dates with their words: first days of months, at most so many; days where a month has too few.

    >>> [words for _, words in date_ticks(date(2026, 11, 1), date(2027, 6, 1), 5)]
    ['2026-11', '2027-01', '2027-03', '2027-05']
    >>> [words for _, words in date_ticks(date(2026, 11, 1), date(2026, 12, 1), 5)]
    ['11-01', '11-08', '11-15', '11-22', '11-29']
    """
    if (last - first).days < 75:
        step = next(s for s in (7, 14, 28) if (last - first).days / s <= most or s == 28)
        days = [first + timedelta(days=d) for d in range(0, (last - first).days + 1, step)]
        return [(day, f"{day:%m-%d}") for day in days]
    months = range(first.year * 12 + first.month - (first.day == 1), last.year * 12 + last.month)
    found = [date(m // 12, m % 12 + 1, 1) for m in months]
    for step in MONTH_STEPS:
        kept = [day for day in found if (day.year * 12 + day.month - 1) % step == 0]
        if len(kept) <= most:
            break
    words = "{:%Y}" if step >= 12 else "{:%Y-%m}"
    return [(day, words.format(day)) for day in kept]
