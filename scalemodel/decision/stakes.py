"""What a decision turns on: the price of a descale and of a strip-down, and what a day's wait is worth."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from scalemodel.decision.deferral import last_day_within
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.logbook.records import Prices
from scalemodel.model.growth import survival

STRIP_DOWN_BOUNDS = (0.2, 2.0)
"""Without its price, a strip-down costs what makes the tolerance the best stopping point, within these descales over
the tolerance: 2 to 20 at 10 %."""

LONGEST_INTERVAL_DAYS = 7300
INTEGRAL_STEPS = 24


class Stakes(NamedTuple):
    """What the decision turns on, in ``unit``: money, or descales; the days' worth by renewal-reward."""

    descale: float
    strip_down: float
    day: float
    day_above: float
    interval_days: int
    priced: bool
    notes: tuple[str, ...]


def descale_price(prices: Prices | None) -> float:
    """Money that one descale costs: materials, hours at their price, wear; 0 where nothing is on record."""
    if prices is None:
        return 0.0
    hours = (prices.descale_hours or 0.0) * (prices.hour_cost or 0.0)
    return (prices.descale_materials or 0.0) + hours + (prices.descale_wear or 0.0)


class Interval(NamedTuple):
    """A clean boiler's interval at the tolerance [days], mean share of it above, slope of risk at its end [1/day]."""

    days: int
    above: float
    slope: float


def find_stakes(forecast: Forecast, threshold: Threshold, tolerance: float, deferral_days: int | None) -> Stakes:
    """The prices on record, else descales as the unit; and what a day is worth.

    ``deferral_days`` is the last day within the tolerance, None where it is past already or beyond the horizon.
    """
    prices = max(forecast.posterior.facts.prices, key=lambda p: p.from_date, default=None)
    descale = descale_price(prices)
    priced, notes = descale > 0.0, []
    if not priced:
        descale = 1.0
        notes.append(
            "no price of a descale is on record: values are in days by which the descale can wait, and looks at the "
            "easiest site are taken as free"
        )
    clean = clean_interval(forecast, threshold, tolerance)
    strip_down = (prices.strip_down or 0.0) if prices and priced else 0.0
    if strip_down <= 0.0:
        slope = clean.slope
        if deferral_days:
            slope = slope_at(lambda d: forecast.risk(threshold.mg_cm2, d)[0], deferral_days)
        multiple = implied_strip_down(clean, slope, tolerance)
        strip_down = multiple * descale
        notes.append(
            f"no price of a strip-down is on record: taken as {multiple:.2g} times that of a descale, as the risk of "
            f"{tolerance:.0%} that you accept implies"
        )
    day = (descale + strip_down * (tolerance + clean.above)) / clean.days
    worth = (
        f"a day's wait saves {day:.2g}" if priced else f"{descale / day:.0f} days of waiting save what a descale costs"
    )
    notes.append(
        f"{worth}: the long-run cost of descaling every {clean.days} days, as the risk that you accept would have it "
        "from clean; above the threshold each such interval costs another strip-down"
    )
    return Stakes(descale, strip_down, day, strip_down / clean.days, clean.days, priced, tuple(notes))


def implied_strip_down(clean: Interval, slope: float, tolerance: float) -> float:
    """The price of a strip-down, in descales, at which the tolerance is the best stopping point.

    The loss stops falling where ``c_f (slope + tolerance / t) = g``, and g holds c_f too, so
    ``c_f = 1 / (t slope - share above)``; kept within bounds, since a flat risk would make it endless.

    >>> implied_strip_down(Interval(100, 0.04, 0.0), 0.0024, 0.1)
    5.0
    """
    low, high = (bound / tolerance for bound in STRIP_DOWN_BOUNDS)
    excess = clean.days * slope - clean.above
    return min(max(1.0 / excess, low), high) if excess > 0.0 else high


def slope_at(risk, day: int) -> float:
    """Central difference of a risk by day [1/day]."""
    step = max(1, day // 10)
    return (risk(day + step) - risk(day - step)) / (2 * step)


def clean_interval(forecast: Forecast, threshold: Threshold, tolerance: float) -> Interval:
    """When a clean boiler would come to the tolerance, under the present beliefs and plan of use."""

    def passed(age: float) -> float:
        room = threshold.mg_cm2 / forecast.relative
        return float(survival(room, age * forecast.growth_a_day, forecast.irregularity).mean())

    age = max(1, last_day_within(passed, tolerance, LONGEST_INTERVAL_DAYS))
    ages = np.linspace(0.0, age, INTEGRAL_STEPS + 1)
    chances = np.array([passed(a) for a in ages])
    return Interval(age, float(running_integral(chances, ages)[-1] / age), slope_at(passed, age))


def running_integral(values: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Trapezoids from the first place on, along the first axis; the same shape as ``values``, 0 first.

    >>> running_integral(np.array([0.0, 1.0, 1.0]), np.array([0.0, 2.0, 3.0]))
    array([0., 1., 2.])
    """
    steps = np.diff(places).reshape(-1, *[1] * (values.ndim - 1))
    whole = np.zeros_like(values)
    np.cumsum(0.5 * (values[1:] + values[:-1]) * steps, axis=0, out=whole[1:])
    return whole
