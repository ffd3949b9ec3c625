"""What descaling at a fixed age costs in the long run: the best age within the tolerance, and how flat the optimum is.

The loss is that of `scalemodel.decision.loss` with the state of the boiler forgotten (age replacement: Barlow &
Proschan 1965), so the age is a habit to plan by; this boiler's own day is the `cheapest_of` its case.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from scalemodel.decision.alarms import Alarm
from scalemodel.decision.assumed import (
    Assumption,
    BlankPrices,
    FoundAtDescale,
    FreeLooks,
    FromNowOn,
    LooksGoOn,
    MeanUse,
    PricesFrom,
)
from scalemodel.decision.case import Answer, Case
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.horizon import LONGEST_INTERVAL_DAYS
from scalemodel.decision.loss import cheapest_of, descale_price, prices_of
from scalemodel.decision.middle import EIGHT_TENTHS
from scalemodel.decision.renewal import (
    AGES_TRIED,
    Cycles,
    ages_within,
    best_age,
    cycles_of,
    longest_interval,
)
from scalemodel.decision.status import Status
from scalemodel.errors import WantedError
from scalemodel.frames import each_of
from scalemodel.inference.posterior import monte_carlo_error
from scalemodel.logbook.records import BoilerFacts, Prices, Water
from scalemodel.logbook.units import DAYS_A_YEAR

PRICE_COLUMNS = ("descale_materials", "descale_hours", "hour_cost", "descale_wear", "strip_down")
"""What is named where it is not on record."""

WANTED_PRICES = ("descale_materials", "descale_hours", "hour_cost", "strip_down")
"""What a cost asks for first."""

NEARLY_BEST = 0.05
"""An age whose cost is within this share of the least is as good as the best."""

SHOWN_AGES = (7, 14, 30, 60, 90, 120, 180, 270, 365, 545, 730, 1095, 1460, 2190, 3650)
SHOWN_WITHIN = 5.0
"""Ages are shown from the best over so much to so many times it."""

LOOK_DAYS, LEAST_LOOK_DAYS = 365, 90
"""Looks are counted over the last year, or since the installation, but over no fewer than 90 days."""


@dataclass(frozen=True)
class AgePoint:
    """What descaling at one age comes to a year: means over draws, with the middle eight tenths of the cost.

    ``passed`` is the chance that scale passes the threshold before that age; ``descales``, ``strip_downs`` and
    ``days_above`` the threshold are a year's.
    """

    age_days: int
    passed: float
    descales: float
    strip_downs: float
    days_above: float
    cost_a_year: float
    p10: float
    p90: float


@dataclass(frozen=True, kw_only=True, repr=False)
class Cost(Answer):
    """The cost of descaling by age, in the owner's money, and this boiler's own day.

    ``best_age_days`` is the best up to ``longest_age_days``, the age at which the risk since a descale comes to what is
    accepted (twenty years at most). ``nearly_best_days`` are the ages within 5 % of the least cost. ``cheapest_on``,
    ``waiting_costs`` and ``defer_until`` are those of `scalemodel.decision.deferral.Deferral`.
    """

    water: str
    descale: float
    strip_down: float
    looks_a_year: float
    water_a_year: float
    last_descale: date | None
    best_age_days: float
    best_age_mc_error_days: float
    longest_age_days: int
    cost_a_year: float
    cost_a_year_mc_error: float
    nearly_best_days: tuple[float, float]
    curve: tuple[AgePoint, ...]
    assumptions: tuple[Assumption, ...]
    status: Status
    alarms: tuple[Alarm, ...]
    defer_until: date | None
    cheapest_on: date | None
    waiting_costs: float | None

    def to_frame(self):
        """The curve as a pandas DataFrame, a row an age, every field; what was asked and what is best beside it.

        ``age_cost_a_year`` is that of the row's age, ``cost_a_year`` that of the best.
        """
        return each_of(self, self.curve, AgePoint, "age", ("curve",))


def need_prices(facts: BoilerFacts) -> Prices:
    """The prices that hold on ``as_of``.

    Raises
    ------
    WantedError
        Where there are none, or a descale costs nothing by them, so that daily descales would be best.
    """
    prices, name = prices_of(facts), facts.boiler.boiler
    if prices is None:
        missing = (f"no prices of {name} are on record by ", facts.as_of)
    elif descale_price(prices) <= 0.0:
        missing = (f"a descale of {name} costs nothing by the prices from ", prices.from_date)
    else:
        return prices
    raise WantedError(missing, "prices", WANTED_PRICES, name, facts.as_of)


def looks_a_year(facts: BoilerFacts) -> tuple[float, tuple[Assumption, ...]]:
    """What the looks of the last year cost [money/year], and what was assumed."""
    days = min(LOOK_DAYS, max(LEAST_LOOK_DAYS, (facts.as_of - facts.boiler.installed_on).days))
    since = facts.as_of - timedelta(days=days)
    made = Counter(look.site for look in facts.inspections if look.date > since)
    price = {s.site: s.look_cost for s in facts.sites if s.look_cost is not None}
    cost = sum(count * price.get(site, 0.0) for site, count in made.items()) * DAYS_A_YEAR / days
    free = sorted(set(made) - set(price))
    said = [LooksGoOn(days, sum(made.values()))] if made else []
    if free:
        said.append(FreeLooks(tuple(free)))
    return cost, tuple(said)


def water_price(facts: BoilerFacts, name: str) -> float | None:
    """What a litre of a water costs; None where that is not on record."""
    found: Water | None = next((w for w in facts.waters if w.water == name), None)
    return None if found is None else found.cost_per_litre


class Budget(NamedTuple):
    """What the cost of any age is made of: cycles, and money; ``looks`` and ``water`` are a year's.

    ``longest`` is the age at which the risk since a descale comes to the tolerance [days of use]; a day above the
    threshold counts ``1 / longest`` strip-downs.
    """

    cycles: Cycles
    longest: int
    descale: float
    strip_down: float
    looks: float
    water: float
    assumptions: tuple[Assumption, ...]

    def draws(self, ages: np.ndarray, rows=slice(None)) -> np.ndarray:
        """Cost a year of descaling at ages (m,), for each draw, or some of them (m, n)."""
        cost = self.cycles.part(rows).cost(ages, self.descale, self.strip_down, 1.0 / self.longest)
        return self.looks + self.water + DAYS_A_YEAR * cost

    def ages(self) -> np.ndarray:
        """The ages that are tried, up to the longest, evenly spaced in their logarithm [days of use]."""
        return np.geomspace(max(1.0, self.longest / AGES_TRIED), max(2.0, self.longest), AGES_TRIED)


def budget_of(forecast: Forecast, threshold: Threshold, tolerance: float, price: float | None = None) -> Budget:
    """Cycles and money under a forecast's plan; WantedError as `need_prices`.

    ``price`` is what a litre of its water costs; by default what is on record.
    """
    facts = forecast.posterior.facts
    prices = need_prices(facts)
    looks, said = looks_a_year(facts)
    price = water_price(facts, forecast.plan.water) if price is None else price
    water = float(forecast.litres_a_day.mean()) * DAYS_A_YEAR * (price or 0.0)
    assumptions = (*_assumptions(prices, forecast, price), *said)
    cycles = cycles_of(forecast, threshold)
    longest = longest_interval(cycles, tolerance) or LONGEST_INTERVAL_DAYS
    return Budget(cycles, longest, descale_price(prices), prices.strip_down or 0.0, looks, water, assumptions)


def _last_full(facts: BoilerFacts) -> date | None:
    return max((d.date for d in facts.descales if d.scope == "full"), default=None)


def descaling_cost(case: Case) -> Cost:
    """The long-run cost by age and the best age, for the boiler's own posterior, water and use to come.

    Raises
    ------
    WantedError
        As `need_prices`.
    """
    forecast, posterior = case.forecast, case.forecast.posterior
    budget = budget_of(forecast, case.threshold, case.tolerance)
    ages = budget.ages()
    table = budget.draws(ages)

    def best_of(rows) -> float:
        return best_age(lambda t: budget.draws(t, rows).mean(axis=1), ages, table[:, rows].mean(axis=1))

    best = best_of(slice(None))
    at_best = budget.draws(np.array([best]))[0]
    least = float(at_best.mean())
    each = [best_of(rows) for rows in np.arange(posterior.count).reshape(posterior.populations, -1)]
    low, high = ages_within(table.mean(axis=1), ages, (1.0 + NEARLY_BEST) * least)
    cheapest = cheapest_of(case)
    return Cost(
        **case.head,
        water=forecast.plan.settled.water,
        descale=budget.descale,
        strip_down=budget.strip_down,
        looks_a_year=budget.looks,
        water_a_year=budget.water,
        last_descale=_last_full(case.facts),
        best_age_days=best,
        best_age_mc_error_days=float(np.std(each, ddof=1) / np.sqrt(len(each))),
        longest_age_days=budget.longest,
        cost_a_year=least,
        cost_a_year_mc_error=monte_carlo_error(posterior.by_population(at_best)),
        nearly_best_days=(low, high or float(budget.longest)),
        curve=_points(budget, best),
        assumptions=budget.assumptions,
        status=case.standing.status,
        alarms=case.standing.alarms,
        defer_until=case.defer_until,
        cheapest_on=case.date_of(cheapest.day),
        waiting_costs=cheapest.waiting_costs,
    )


def _points(budget: Budget, best: float) -> tuple[AgePoint, ...]:
    """The curve at round ages around the best, at the best, and at the longest."""
    cycles = budget.cycles
    shown = {float(age) for age in SHOWN_AGES if best / SHOWN_WITHIN <= age <= best * SHOWN_WITHIN}
    ages = np.array(sorted(shown | {max(1.0, float(round(best))), float(budget.longest)}))
    failures, below, cost = cycles.failure_probability(ages), cycles.mean_cycle(ages), budget.draws(ages)
    low, high = np.quantile(cost, EIGHT_TENTHS[::2], axis=1)
    return tuple(
        AgePoint(
            age_days=int(age),
            passed=float(failure.mean()),
            descales=float(DAYS_A_YEAR / age),
            strip_downs=float(failure.mean() * DAYS_A_YEAR / age),
            days_above=float((age - within).mean() * DAYS_A_YEAR / age),
            cost_a_year=float(draws.mean()),
            p10=float(p10),
            p90=float(p90),
        )
        for age, failure, within, draws, p10, p90 in zip(ages, failures, below, cost, low, high, strict=True)
    )


def _assumptions(prices: Prices, forecast: Forecast, price: float | None) -> tuple[Assumption, ...]:
    """What was assumed; blank prices are named."""
    plan = forecast.plan
    said: list[Assumption] = [PricesFrom(prices.from_date, descale_price(prices))]
    blank = tuple(column for column in PRICE_COLUMNS if getattr(prices, column) is None)
    if blank or price is None:
        said.append(BlankPrices(blank, plan.settled.water if price is None else None))
    said += [FoundAtDescale(), FromNowOn(plan.settled.water, plan.use.litres_per_day, plan.use.source)]
    if not plan.use.steady:
        said.append(MeanUse())
    return tuple(said)
