"""The risk by date: the probability that scale has passed the threshold by each of some dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta

from scalemodel.decision.case import Answer, Case
from scalemodel.decision.horizon import FARTHEST_DAYS
from scalemodel.errors import BadValueError, Remedy
from scalemodel.frames import table


@dataclass(frozen=True)
class RiskPoint:
    """Probability that scale has passed the threshold by a date, with its Monte Carlo standard error."""

    date: date
    probability: float
    mc_error: float


@dataclass(frozen=True, kw_only=True, repr=False)
class Risk(Answer):
    """Risk by date for one boiler and site."""

    points: tuple[RiskPoint, ...]

    def to_frame(self):
        """The points as a pandas DataFrame: date (a Timestamp), probability, mc_error, and what was asked beside."""
        asked = {one.name: getattr(self, one.name) for one in fields(Answer)}
        points = [{"date": p.date, "probability": p.probability, "mc_error": p.mc_error} | asked for p in self.points]
        return table(points, ["date", "probability", "mc_error", *asked], ("date", "as_of"))


def risk_on(case: Case, dates: Sequence[date]) -> Risk:
    """Probability of scale past the threshold by each date.

    Raises
    ------
    BadValueError
        If a date is earlier than ``as_of`` or more than 100 years later.
    """
    points = []
    for day in dates:
        if not case.as_of <= day <= case.as_of + timedelta(days=FARTHEST_DAYS):
            raise BadValueError(
                "date", day, (f"a date from {case.as_of} on, within 100 years", Remedy("", "earlier day"))
            )
        points.append(RiskPoint(day, *case.risk_and_error((day - case.as_of).days)))
    return Risk(**case.head, points=tuple(points))
