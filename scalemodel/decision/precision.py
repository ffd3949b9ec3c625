"""More draws until chance no longer moves the date: how sharp it must be, and how much work that may cost."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

from scalemodel.decision.case import Case
from scalemodel.decision.forecast import Forecast

MOST_WORK = 4e7
"""Particles x coordinates x passes that a date may cost beyond the first draws: some three seconds of one core."""

MOST_DRAWS = 24_000
"""No posterior grows beyond so many draws: its questions must stay quick, and its memory small."""


SHARP_DAYS, SHARP_SHARE = 3.0, 0.03
"""The random error of a date is to be at most so many days, or this share of the wait, whichever is more."""


def allowed_error(days: float) -> float:
    """How large the random error of a date ``days`` ahead may be [days].

    >>> allowed_error(10), allowed_error(400)
    (3.0, 12.0)
    """
    return max(SHARP_DAYS, SHARP_SHARE * days)


def error_in_days(case: Case, day: int) -> float | None:
    """Monte Carlo standard error of a crossing day: the risk's error over its slope [days]."""
    before, after = max(0, day - 3), day + 3
    slope = (case.risk(after) - case.risk(before)) / (after - before)
    return case.risk_and_error(day)[1] / slope if slope > 0.0 else None


def sharpened(case: Case, progress: Callable[[float], None] = lambda share: None) -> Forecast:
    """The case's forecast from as many draws as its date needs, within `MOST_WORK` and `MOST_DRAWS`.

    The error falls with the root of the draws; what it turns out to be is looked at again, at most three times. What is
    spent follows from the records and the seed alone, never from a clock, so that the same question has one answer.
    """
    first = case.forecast.posterior
    budget = MOST_WORK
    for _ in range(3):
        day, posterior = case.last_safe, case.forecast.posterior
        if day is None or day >= case.horizon_days:
            break
        error = error_in_days(case, day)
        if error is None or error <= allowed_error(day):
            break
        sets = ceil((1.1 * (error / allowed_error(day)) ** 2 - 1.0) * posterior.count / first.count)
        price = first.info.evaluations / first.info.sweeps * first.info.final_sweeps * first.count * first.model.dim
        sets = min(sets, int(budget / price), (MOST_DRAWS - posterior.count) // first.count)
        if sets < 1:
            break
        budget -= sets * price
        wider = Forecast(posterior.continued(sets, progress), case.forecast.plan, case.forecast.site)
        case = case.under(wider)
    return case.forecast
