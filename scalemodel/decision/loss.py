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

The tolerance is a bound that no advice without a look passes: the plan is ``min(argmin L, last safe day)``. A tolerance
that is stricter than the price of a strip-down is a higher price: C is at least the least at which the cheapest day is
not after the last safe one. Without prices a descale counts one, losses are told in days of waiting, and the plan is
the last safe day.
"""

from __future__ import annotations

from copy import copy
from typing import NamedTuple

import numpy as np

from scalemodel.decision.case import Case
from scalemodel.decision.horizon import LONGEST_INTERVAL_DAYS
from scalemodel.decision.renewal import AGES_TRIED, Cycles, cycles_of, longest_interval
from scalemodel.decision.status import Status
from scalemodel.logbook.records import BoilerFacts, Prices
from scalemodel.logbook.units import ROUNDING
from scalemodel.model.inverse_gaussian import survival

MOST_STRIP_DOWN = 2.0
"""A strip-down never counts more than so many descales over the tolerance, however flat the risk is."""

LONGEST_UNSEEN_DAYS = 365
"""No boiler goes longer than this without a look, whatever the value of one says: that value comes from the model, and
the model may be wrong in a way that only a look can show."""

PLAN_STEPS = 80
MOST_LOSS_DRAWS = 8_000
"""So many draws weigh a decision; more would move its days by less than the grid of days does."""


def prices_of(facts: BoilerFacts) -> Prices | None:
    """The prices that hold on ``as_of``: those that began last."""
    return max(facts.prices, key=lambda p: p.from_date, default=None)


def descale_price(prices: Prices | None) -> float:
    """Money that one descale costs: materials, hours at their price, wear; 0 where nothing is on record."""
    if prices is None:
        return 0.0
    hours = (prices.descale_hours or 0.0) * (prices.hour_cost or 0.0)
    return (prices.descale_materials or 0.0) + hours + (prices.descale_wear or 0.0)


def days_until_due(facts: BoilerFacts) -> int:
    """Days from as_of until a look is due whatever it is worth: a year after the last one, or the installation."""
    last = max((look.date for look in facts.inspections), default=facts.boiler.installed_on)
    return max(0, LONGEST_UNSEEN_DAYS - (facts.as_of - last).days)


def running_integral(values: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Trapezoids from the first place on, along the first axis; the same shape as ``values``, 0 first.

    >>> running_integral(np.array([0.0, 1.0, 1.0]), np.array([0.0, 2.0, 3.0]))
    array([0., 1., 2.])
    """
    steps = np.diff(places).reshape(-1, *[1] * (values.ndim - 1))
    whole = np.zeros_like(values)
    np.add(values[1:], values[:-1], out=whole[1:])
    whole[1:] *= 0.5 * steps
    return np.cumsum(whole, axis=0, out=whole)


class FreshCycle:
    """The long-run cost of descaling at an age, from just after one descale to the next; the boiler's state forgotten.

    Attributes
    ----------
    longest : int
        t_tol, the age at which a fresh cycle comes to the tolerance [days of use]; no longer one is tried.
    kappa : float
        Strip-downs that a day of use above the threshold counts: 1 / t_tol [1/day].
    ages : array (m,)
        The ages that are tried, up to t_tol [days of use].
    burdens : array (m, S)
        ``F0_i(t) + kappa A0_i(t)``: strip-downs, and their like in days above the threshold.
    """

    def __init__(self, cycles: Cycles, tolerance: float, weights: np.ndarray | None = None) -> None:
        self.cycles, self.weights = cycles, weights

        self.longest = longest_interval(cycles, tolerance, weights) or LONGEST_INTERVAL_DAYS
        self.kappa = 1.0 / self.longest
        first = max(1.0, self.longest / AGES_TRIED)
        self.ages = np.geomspace(first, self.longest, AGES_TRIED) if self.longest > 1 else np.ones(1)
        self.burdens = cycles.failure_probability(self.ages) + self.kappa * (
            self.ages[:, None] - cycles.mean_cycle(self.ages)
        )
        self.burden = self.mean(self.burdens)

    def mean(self, values: np.ndarray) -> np.ndarray:
        """The mean over draws, the last axis."""
        return np.average(values, axis=-1, weights=self.weights)

    def best(self, descale: float, failure: float) -> int:
        """The index of the age t* whose mean cost a day is least."""
        return int(np.argmin((descale + failure * self.burden) / self.ages))

    def day(self, descale: float, failure: float) -> np.ndarray:
        """g_i, what a day costs each draw in the long run at t* (S,)."""
        at = self.best(descale, failure)
        return (descale + failure * self.burdens[at]) / self.ages[at]


class LossTerms(NamedTuple):
    """What a decision turns on, in money or, without prices, in descales.

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
    """

    descale: float
    failure: float
    kappa: float
    worth: np.ndarray
    cycle_days: float

    @property
    def day(self) -> float:
        """What a day of waiting is worth, on average."""
        return float(self.worth.mean())

    def losses(self, passed: np.ndarray, above: np.ndarray, use: np.ndarray) -> np.ndarray:
        """L by draw (A, S) from F_i and A_i (A, S) on plan days with ``use`` (A,)."""
        lost = self.kappa * above
        lost += passed
        lost *= self.failure
        lost -= np.multiply.outer(use, self.worth)
        return lost


class Losses:
    """L(d) of one boiler on a grid of plan days, dense near today, that holds the last safe one.

    Attributes
    ----------
    days, use : arrays (A,)
        Days from as_of, and days of use until then.
    failure_probability, above : arrays (A, S)
        F_i and A_i, for the case's draws thinned to at most `MOST_LOSS_DRAWS`.
    priced : bool
        Whether a descale has a price on record.
    price : float
        The price of a strip-down on record, in the unit of the loss; 0 without.
    implied : bool
        Whether C follows from the tolerance, being more than that price.
    bound : bool
        Whether C stands at `MOST_STRIP_DOWN`.
    terms : LossTerms
    last : int or None
        The last safe day [days from as_of]; None where the horizon comes first.
    before : array (A, S)
        L of every plan day without a look.
    plan : int
        The index of the plan day without a look; the last index where none is within the horizon.
    """

    def __init__(self, case: Case, also: tuple[int, ...] = ()) -> None:
        forecast, horizon_days = case.forecast, case.horizon_days
        self.case, self.last = case, case.standing.last_safe
        self.draws = forecast.posterior.thinned(MOST_LOSS_DRAWS)
        spread = np.rint(horizon_days * np.linspace(0.0, 1.0, PLAN_STEPS + 1) ** 2)
        self.days = np.unique([*spread, self.last or 0, *(min(day, horizon_days) for day in also)]).astype(int)
        self.use = np.asarray(forecast.use_days(self.days), dtype=float)
        reference_threshold = np.broadcast_to(case.mg_cm2 / forecast.relative, forecast.irregularity.shape)
        self.reference_threshold, self.dispersion = reference_threshold[self.draws], forecast.irregularity[self.draws]
        self.deposit = forecast.last_deposit[self.draws]
        self.growth = forecast.growth_after(self.days)[:, self.draws]
        self.failure_probability = survival(self.reference_threshold - self.deposit, self.growth, self.dispersion)
        self.above = running_integral(self.failure_probability, self.use)
        self.cycles = cycles_of(forecast, case.threshold).part(self.draws)
        self._find_terms()
        self.before = self.terms.losses(self.failure_probability, self.above, self.use)
        upto = len(self.days) if self.last is None else int(np.searchsorted(self.days, self.last, side="right"))
        self.plan = upto - 1 if self.implied else int(self.before[:upto].mean(axis=1).argmin())
        self._hold_plan()

    def _hold_plan(self) -> None:
        """Put the plan no later than it would be with the latest look milder."""
        if self.implied:
            return  # the last safe day, which is held already
        for case, rows in self.case.milder:
            losses = self if case is self.case else Losses(case)
            for weights in rows[:, losses.draws]:
                day = losses.day_under(weights, 0, losses.failure_probability, losses.above)
                if day is not None:
                    self.plan = min(self.plan, int(np.searchsorted(self.days, day, side="right")) - 1)

    def _find_terms(self) -> None:
        """Prices on record, raised to what the tolerance implies where that is more."""
        prices = prices_of(self.case.facts)
        descale = descale_price(prices)
        self.priced = descale > 0.0
        self.price = (prices.strip_down or 0.0) if prices and self.priced else 0.0
        self.descale = descale if self.priced else 1.0
        fresh = FreshCycle(self.cycles, self.case.tolerance)
        least, bound = self._implied(fresh)
        self.implied = least > self.price
        self.bound = bound and self.implied
        self.terms = self.terms_at(fresh, max(self.price, least))

    def terms_at(self, fresh: FreshCycle, failure: float) -> LossTerms:
        """The terms where scale past the threshold costs ``failure``."""
        worth = (1.0 - self.cycles.residue) * fresh.day(self.descale, failure)
        return LossTerms(self.descale, failure, fresh.kappa, worth, fresh.ages[fresh.best(self.descale, failure)])

    def _implied(self, fresh: FreshCycle) -> tuple[float, bool]:
        """The least C at which the cheapest day is not after the last safe one; whether `MOST_STRIP_DOWN` binds first.

        Where no day within the horizon is unsafe, the least at which a fresh cycle's best age is before that of the
        tolerance.
        """
        most = MOST_STRIP_DOWN * self.descale / self.case.tolerance
        kept = 1.0 - self.cycles.residue
        burden = self.failure_probability.mean(axis=1) + fresh.kappa * self.above.mean(axis=1)
        by_age, saved = (fresh.burdens * kept).mean(axis=1), float(kept.mean())

        def late(failure: float) -> bool:
            at = fresh.best(self.descale, failure)
            if self.last is None:
                return at == len(fresh.ages) - 1
            day = (self.descale * saved + failure * by_age[at]) / fresh.ages[at]
            return bool(self.days[np.argmin(failure * burden - day * self.use)] > self.last)

        if late(most):
            return most, True
        low, high = np.log(1e-3 * self.descale), np.log(most)
        while high - low > 1e-3:
            middle = 0.5 * (low + high)
            low, high = (middle, high) if late(np.exp(middle)) else (low, middle)
        return float(np.exp(high)), False

    def part(self, which: np.ndarray) -> Losses:
        """The losses of some of the draws (indices), with the plan and the terms of all."""
        some = copy(self)
        for name in ("failure_probability", "above", "growth", "before"):
            setattr(some, name, getattr(self, name)[:, which])
        for name in ("draws", "reference_threshold", "dispersion", "deposit"):
            setattr(some, name, getattr(self, name)[which])
        some.cycles = self.cycles.part(which)
        some.terms = self.terms._replace(worth=self.terms.worth[which])
        return some

    def allowed(self, risk: np.ndarray) -> int:
        """How many of the plan days are safe by a risk (A,), at least the first."""
        return max(1, int(np.searchsorted(risk, self.case.tolerance * (1.0 + ROUNDING), side="right")))

    @property
    def plan_day(self) -> int | None:
        """The best day without a look [days from as_of]; None where it is not within the horizon."""
        if self.plan == len(self.days) - 1 and self.last is None:
            return None
        return int(self.days[self.plan])

    def day_under(self, weights: np.ndarray, index: int, passed: np.ndarray, above: np.ndarray) -> int | None:
        """The plan day from ``index`` on of a boiler known by ``weights`` (S,); None where it is beyond the horizon.

        That is what this boiler would be told with these weights on record: the last safe day under them, or by the
        price on record the cheapest, whichever comes first. ``passed`` and ``above`` are (A - index, S).
        """
        weights = weights / weights.sum()
        risk, days = passed @ weights, self.days[index:]
        safe = self.allowed(risk)
        if risk[0] > self.case.tolerance:
            return int(days[0])
        last = (
            None
            if safe == len(days)
            else int(np.interp(self.case.tolerance, risk[safe - 1 : safe + 1], days[safe - 1 : safe + 1]))
        )
        if self.price <= 0.0:
            return last
        fresh = FreshCycle(self.cycles, self.case.tolerance, weights)
        terms = self.terms_at(fresh, self.price)
        best = int(np.argmin(terms.losses(passed, above, self.use[index:]) @ weights))
        if best == len(days) - 1:
            return last
        return int(days[best]) if last is None else min(last, int(days[best]))

    def dearer(self, index: int) -> float:
        """What waiting until a plan day costs more than the best day does; not negative up to the last safe one."""
        return float(self.before[index].mean() - self.before[self.plan].mean())


def losses_of(case: Case) -> Losses:
    """The losses of a case, worked out once."""
    return case.kept("losses", lambda: Losses(case, (days_until_due(case.facts),)))


class Cheapest(NamedTuple):
    """The cheapest day to descale [days from as_of], and what waiting until the last safe one costs more.

    Both are None without the price of a descale, and where a look has to be made first; ``waiting_costs`` also where
    there is no last safe day.
    """

    day: int | None
    waiting_costs: float | None


def cheapest_of(case: Case) -> Cheapest:
    """The cheapest day by the prices on record."""
    status = case.standing.status
    if descale_price(prices_of(case.facts)) <= 0.0 or status is Status.LOOK_AGAIN:
        return Cheapest(None, None)
    if status is Status.PAST:
        return Cheapest(0, None)
    losses = losses_of(case)
    dated = status is Status.WITHIN
    at_last = int(np.searchsorted(losses.days, losses.last)) if dated else None
    return Cheapest(losses.plan_day, losses.dearer(at_last) if dated else None)
