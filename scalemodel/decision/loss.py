"""One decision model: what descaling on a day costs this boiler, as it stands, and what a day's wait is worth to it.

Draw i has a deposit D_i, a growth a day of use lambda_i, a dispersion nu_i, a margin ``room_i - D_i`` up to the
threshold and a residue rho_i of the next descale; u(d) are days of use until day d. Scale past the threshold is found
out at the descale, or by a look:

    F_i(d) = P(growth until d >= room_i - D_i)        A_i(d) = integral of F_i over u from 0 to d
    L(d)   = mean of C [F_i(d) + kappa A_i(d)] - (1 - rho_i) g_i u(d)            loss of "descale on day d, no look"

C is what passing the threshold costs. ``g_i``, what a day's wait is worth, is counted by draw, since what is unknown of
a boiler stays with it from cycle to cycle: a fresh cycle of t days of use costs
``[c_d + C (F0_i(t) + kappa A0_i(t))] / t`` a day; t* is the age with the least mean, up to the age t_tol at which a
fresh cycle comes to the tolerance, and g_i is the cost at t*; ``kappa = 1 / t_tol``. With the state forgotten this is
age replacement (Barlow & Proschan 1965).

The tolerance is a bound that no advice without a look passes. One that is stricter than the price of a strip-down is a
higher price: C is at least the least at which the cheapest day is not after the last safe one. Without prices a descale
counts one, and losses are told in days of waiting.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from scalemodel.decision.deferral import last_day_within
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.renewal import Cycles, cycles_of
from scalemodel.logbook.records import Prices
from scalemodel.model.growth import survival

MOST_STRIP_DOWN = 2.0
"""A strip-down never counts more than so many descales over the tolerance, however flat the risk is."""

LONGEST_INTERVAL_DAYS = 7300
AGES, PLAN_STEPS = 40, 80
MOST_DRAWS = 8_000
"""So many draws weigh a decision; more would move its days by less than the grid of days does."""


def descale_price(prices: Prices | None) -> float:
    """Money that one descale costs: materials, hours at their price, wear; 0 where nothing is on record."""
    if prices is None:
        return 0.0
    hours = (prices.descale_hours or 0.0) * (prices.hour_cost or 0.0)
    return (prices.descale_materials or 0.0) + hours + (prices.descale_wear or 0.0)


def running_integral(values: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Trapezoids from the first place on, along the first axis; the same shape as ``values``, 0 first.

    >>> running_integral(np.array([0.0, 1.0, 1.0]), np.array([0.0, 2.0, 3.0]))
    array([0., 1., 2.])
    """
    steps = np.diff(places).reshape(-1, *[1] * (values.ndim - 1))
    whole = np.zeros_like(values)
    np.cumsum(0.5 * (values[1:] + values[:-1]) * steps, axis=0, out=whole[1:])
    return whole


class FreshCycle(NamedTuple):
    """Cycles from just after a descale: ages (m,) [days of use] up to that of the tolerance, and by draw (m, S).

    ``burden`` is ``F0_i(t) + kappa A0_i(t)``: strip-downs to be expected, and their like for days above the threshold.
    """

    ages: np.ndarray
    burden: np.ndarray
    kappa: float

    def best(self, descale: float, failure: float) -> int:
        """The index of the age t* whose mean cost a day is least."""
        return int(np.argmin((descale + failure * self.burden.mean(axis=1)) / self.ages))

    def day(self, descale: float, failure: float) -> np.ndarray:
        """g_i, what a day costs each draw in the long run at t* (S,)."""
        at = self.best(descale, failure)
        return (descale + failure * self.burden[at]) / self.ages[at]


def fresh_cycle(cycles: Cycles, tolerance: float) -> FreshCycle:
    """Cycles of ages up to that at which a fresh one comes to the tolerance."""

    def passed(age: float) -> float:
        return float(cycles.passed(np.array([float(age)])).mean())

    longest = max(1, last_day_within(passed, tolerance, LONGEST_INTERVAL_DAYS) or 1)
    ages = np.geomspace(max(1.0, longest / AGES), longest, AGES) if longest > 1 else np.array([1.0])
    kappa = 1.0 / longest
    return FreshCycle(ages, cycles.passed(ages) + kappa * (ages[:, None] - cycles.lived(ages)), kappa)


class Stakes(NamedTuple):
    """What the decision turns on, in money or, without prices, in descales.

    Attributes
    ----------
    descale, failure : float
        c_d and C.
    kappa : float
        Strip-downs that a day of use above the threshold counts [1/day].
    worth : array (S,)
        ``(1 - rho_i) g_i``: what a day of use more before the descale saves each draw.
    cycle_days : float
        t*, the age at which a boiler like this would be descaled from clean [days of use].
    priced : bool
        Whether a descale has a price on record.
    implied : bool
        Whether C follows from the tolerance rather than from the price of a strip-down.
    bound : bool
        Whether C stands at `MOST_STRIP_DOWN`.
    """

    descale: float
    failure: float
    kappa: float
    worth: np.ndarray
    cycle_days: float
    priced: bool
    implied: bool
    bound: bool

    @property
    def day(self) -> float:
        """What a day of waiting is worth, on average."""
        return float(self.worth.mean())


class Losses:
    """L(d) of one boiler on a grid of plan days, dense near today, that holds the last safe one.

    Attributes
    ----------
    days, use : arrays (A,)
        Days from as_of, and days of use until then.
    passed, above : arrays (A, S)
        F_i and A_i, for `forecast` draws thinned to at most `MOST_DRAWS`.
    stakes : Stakes
    last : int or None
        The last safe day [days from as_of]; None where the horizon comes first.
    """

    def __init__(
        self,
        forecast: Forecast,
        threshold: Threshold,
        tolerance: float,
        horizon_days: int,
        last: int | None,
        also: tuple[int, ...] = (),
    ) -> None:
        self.forecast, self.tolerance, self.last = forecast, tolerance, last
        self.draws = forecast.posterior.thinned(MOST_DRAWS)
        spread = np.rint(horizon_days * np.linspace(0.0, 1.0, PLAN_STEPS + 1) ** 2)
        self.days = np.unique([*spread, last or 0, *(min(day, horizon_days) for day in also)]).astype(int)
        self.use = np.asarray(forecast.use_days(self.days), dtype=float)
        room = np.broadcast_to(threshold.mg_cm2 / forecast.relative, forecast.irregularity.shape)
        self.room, self.dispersion = room[self.draws], forecast.irregularity[self.draws]
        self.deposit = forecast.posterior.deposits[-1][self.draws]
        self.growth = forecast.growth_to_now[self.draws] + np.multiply.outer(
            self.use, forecast.growth_a_day[self.draws]
        )
        self.passed = survival(self.room - self.deposit, self.growth, self.dispersion)
        self.above = running_integral(self.passed, self.use)
        cycles = cycles_of(forecast, threshold).part(self.draws)
        self.stakes = self._find_stakes(cycles)
        self.before = self.losses(self.passed, self.above, self.use)
        self.plan = self._plan()

    def _find_stakes(self, cycles: Cycles) -> Stakes:
        """Prices on record, raised to what the tolerance implies where that is more."""
        prices = max(self.forecast.posterior.facts.prices, key=lambda p: p.from_date, default=None)
        descale = descale_price(prices)
        priced = descale > 0.0
        price = (prices.strip_down or 0.0) if prices and priced else 0.0
        descale = descale if priced else 1.0
        fresh = fresh_cycle(cycles, self.tolerance)
        most = MOST_STRIP_DOWN * descale / self.tolerance
        implied, bound = self._implied(fresh, cycles, descale, most)
        failure = max(price, implied)
        worth = (1.0 - cycles.residue) * fresh.day(descale, failure)
        at = fresh.ages[fresh.best(descale, failure)]
        return Stakes(
            descale, failure, fresh.kappa, worth, float(at), priced, implied > price, bound and implied > price
        )

    def _implied(self, fresh: FreshCycle, cycles: Cycles, descale: float, most: float) -> tuple[float, bool]:
        """The least C at which the cheapest day is not after the last safe one, at most ``most``; whether that binds.

        Where no day within the horizon is unsafe, the least at which a fresh cycle's best age is that of the tolerance.
        """
        kept = 1.0 - cycles.residue
        burden = self.passed.mean(axis=1) + fresh.kappa * self.above.mean(axis=1)
        by_age = (fresh.burden * kept).mean(axis=1), float(kept.mean())

        def late(failure: float) -> bool:
            at = fresh.best(descale, failure)
            if self.last is None:
                return at == len(fresh.ages) - 1
            day = (descale * by_age[1] + failure * by_age[0][at]) / fresh.ages[at]
            return bool(self.days[np.argmin(failure * burden - day * self.use)] > self.last)

        if late(most):
            return most, True
        low, high = np.log(1e-3 * descale), np.log(most)
        while high - low > 1e-3:
            middle = 0.5 * (low + high)
            low, high = (middle, high) if late(np.exp(middle)) else (low, middle)
        return float(np.exp(high)), False

    def losses(self, passed: np.ndarray, above: np.ndarray, use: np.ndarray) -> np.ndarray:
        """Loss by draw (A, S) from F_i and A_i (A, S) on plan days with ``use`` (A,)."""
        s = self.stakes
        return s.failure * (passed + s.kappa * above) - np.multiply.outer(use, s.worth)

    def allowed(self, passed: np.ndarray) -> int:
        """How many of the plan days are safe by a risk (A,), at least the first."""
        return max(1, int(np.searchsorted(passed, self.tolerance * (1.0 + 1e-9), side="right")))

    def _plan(self) -> int:
        """The index of the best day without a look, not after the last safe one."""
        upto = len(self.days) if self.last is None else int(np.searchsorted(self.days, self.last, side="right"))
        return int(self.before[:upto].mean(axis=1).argmin())

    @property
    def plan_days(self) -> int | None:
        """The best day without a look [days from as_of]; None where it is not within the horizon."""
        if self.plan == len(self.days) - 1 and self.last is None:
            return None
        return int(self.days[self.plan])

    def dearer(self, index: int) -> float:
        """What waiting until a plan day costs more than the best day does; not negative up to the last safe one."""
        return float(self.before[index].mean() - self.before[self.plan].mean())
