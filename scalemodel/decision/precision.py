"""More draws until chance no longer moves the date: how sharp it must be, and how much work that may cost."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

from scalemodel.decision.deferral import deferral_days, error_in_days
from scalemodel.decision.forecast import Forecast, Threshold

SHARP_DAYS, SHARP_SHARE = 3.0, 0.03
"""The random error of a date is to be at most so many days, or this share of the wait, whichever is more."""

MOST_WORK = 4e7
"""Particles x coordinates x passes that a date may cost beyond the first draws: some three seconds of one core."""

MOST_DRAWS = 24_000
"""No posterior grows beyond so many draws: its questions must stay quick, and its memory small."""


def sharp_enough(error_days: float | None, days: float) -> bool:
    """Whether the random error of a date ``days`` ahead is within what is asked of it [days]; None cannot be told.

    >>> sharp_enough(2.9, 10), sharp_enough(4.0, 10), sharp_enough(11.0, 400)
    (True, False, True)
    """
    return error_days is None or error_days <= max(SHARP_DAYS, SHARP_SHARE * days)


def sharpened(
    forecast: Forecast,
    threshold: Threshold,
    tolerance: float,
    horizon_days: int,
    progress: Callable[[float], None] = lambda share: None,
) -> Forecast:
    """The forecast from as many draws as its date needs, within `MOST_WORK` and `MOST_DRAWS`.

    The error falls with the root of the draws; what it turns out to be is looked at again, at most three times. What is
    spent follows from the records and the seed alone, never from a clock, so that the same question has one answer.
    """
    first = forecast.posterior
    budget = MOST_WORK
    for _ in range(3):
        day = deferral_days(forecast, threshold, tolerance, horizon_days)
        if day is None or day >= horizon_days:
            return forecast
        error = error_in_days(forecast, threshold, day)
        if sharp_enough(error, day):
            return forecast
        drawn = forecast.posterior.count
        sets = ceil((1.1 * (error / max(SHARP_DAYS, SHARP_SHARE * day)) ** 2 - 1.0) * drawn / first.count)
        price = first.info.passes / first.info.sweeps * first.info.final_sweeps * first.count * first.model.dim
        sets = min(sets, int(budget / price), (MOST_DRAWS - drawn) // first.count)
        if sets < 1:
            return forecast
        budget -= sets * price
        forecast = Forecast(forecast.posterior.continued(sets, progress), forecast.plan, forecast.site)
    return forecast
