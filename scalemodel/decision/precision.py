"""More draws until chance no longer moves the date: how sharp it must be, and how much work that may cost."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

from scalemodel.decision.deferral import allowed_error, deferral_days, error_in_days
from scalemodel.decision.forecast import Forecast, Threshold

MOST_WORK = 4e7
"""Particles x coordinates x passes that a date may cost beyond the first draws: some three seconds of one core."""

MOST_DRAWS = 24_000
"""No posterior grows beyond so many draws: its questions must stay quick, and its memory small."""


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
        if error is None or error <= allowed_error(day):
            return forecast
        drawn = forecast.posterior.count
        sets = ceil((1.1 * (error / allowed_error(day)) ** 2 - 1.0) * drawn / first.count)
        price = first.info.passes / first.info.sweeps * first.info.final_sweeps * first.count * first.model.dim
        sets = min(sets, int(budget / price), (MOST_DRAWS - drawn) // first.count)
        if sets < 1:
            return forecast
        budget -= sets * price
        forecast = Forecast(forecast.posterior.continued(sets, progress), forecast.plan, forecast.site)
    return forecast
