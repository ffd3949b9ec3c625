"""What descaling at a fixed age costs in the long run: the best age, its date, and how flat the optimum is."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from datetime import date, timedelta
from shlex import quote
from typing import NamedTuple

import numpy as np

from scalemodel.decision.alarms import Alarm
from scalemodel.decision.deferral import Standing
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.loss import descale_price
from scalemodel.decision.renewal import Cycles, ages_within, best_age, cycles_of
from scalemodel.decision.status import Status
from scalemodel.errors import EvidenceError
from scalemodel.inference.draws import monte_carlo_error
from scalemodel.logbook.records import BoilerFacts, Prices, Water
from scalemodel.wording import counted, figure

YEAR = 365.25
NEARLY_BEST = 0.05
"""An age whose cost is within this share of the least is as good as the best."""

SHOWN_AGES = (7, 14, 30, 60, 90, 120, 180, 270, 365, 545, 730, 1095, 1460, 2190, 3650)
SHOWN_WITHIN = 5.0
"""Ages are shown from the best (or mean) over so much to so many times it."""

LOOK_DAYS, LEAST_LOOK_DAYS = 365, 90
"""Looks are counted over the last year, or since the installation, but over no fewer than 90 days."""


@dataclass(frozen=True)
class AgePoint:
    """What descaling at one age comes to a year: means over draws, with the middle eight tenths of the cost.

    ``age_days`` is None for waiting until scale passes the threshold. ``passed`` is the chance that it does before that
    age; ``descales`` and ``strip_downs`` a year are planned and late ones.
    """

    age_days: int | None
    passed: float
    descales: float
    strip_downs: float
    cost_a_year: float
    p10: float
    p90: float


@dataclass(frozen=True)
class Cost:
    """The cost of descaling by age, in the owner's money.

    ``best_age_days`` is None where no age costs less than waiting for the threshold; ``best_date`` is then None too.
    It is ``as_of`` where the best age has passed. ``nearly_best_days`` are the ages within 5 % of the least cost (the
    older None where there is no end to it). Where it is said how the boiler stands (``status``, ``alarms``,
    ``defer_until``), ``best_date`` is never later than that allows.
    """

    boiler: str
    as_of: date
    site: str
    threshold_mg_cm2: float
    threshold_words: str
    water: str
    descale: float
    strip_down: float
    looks_a_year: float
    water_a_year: float
    last_descale: date | None
    best_age_days: float | None
    best_age_mc_error_days: float | None
    best_date: date | None
    cost_a_year: float
    cost_a_year_mc_error: float
    nearly_best_days: tuple[float, float | None]
    curve: tuple[AgePoint, ...]
    assumptions: tuple[str, ...]
    status: Status | None = None
    alarms: tuple[Alarm, ...] = ()
    defer_until: date | None = None


def prices_of(facts: BoilerFacts) -> Prices | None:
    """The prices that hold on ``as_of``: those that began last."""
    return max(facts.prices, key=lambda p: p.from_date, default=None)


def need_prices(facts: BoilerFacts) -> Prices:
    """The prices that hold on ``as_of``.

    Raises
    ------
    EvidenceError
        Where there are none, or a descale costs nothing by them, so that daily descales would be best.
    """
    prices, name = prices_of(facts), facts.boiler.boiler
    how = (
        f"add them: scalemodel add prices {quote(name)} {facts.as_of} --descale-materials 4 --descale-hours 1 "
        "--hour-cost 20 --strip-down 150"
    )
    if prices is None:
        raise EvidenceError(f"no prices of {name} are on record by {facts.as_of}", how)
    if descale_price(prices) <= 0.0:
        raise EvidenceError(f"a descale of {name} costs nothing by the prices from {prices.from_date}", how)
    return prices


def looks_a_year(facts: BoilerFacts) -> tuple[float, tuple[str, ...]]:
    """What the looks of the last year cost [money/year], and what was assumed."""
    days = min(LOOK_DAYS, max(LEAST_LOOK_DAYS, (facts.as_of - facts.boiler.installed_on).days))
    since = facts.as_of - timedelta(days=days)
    made = Counter(look.site for look in facts.inspections if look.date > since)
    price = {s.site: s.look_cost for s in facts.sites if s.look_cost is not None}
    cost = sum(count * price.get(site, 0.0) for site, count in made.items()) * YEAR / days
    free = sorted(set(made) - set(price))
    said = [f"looks go on as in the last {days} days ({counted(sum(made.values()), 'look')})"] if made else []
    if free:
        said.append(f"no price of a look at the {', the '.join(free)}: taken as free (amend its site, or register it)")
    return cost, tuple(said)


def water_price(facts: BoilerFacts, name: str) -> float | None:
    """What a litre of a water costs; None where that is not on record."""
    found: Water | None = next((w for w in facts.waters if w.water == name), None)
    return None if found is None else found.cost_per_litre


class Budget(NamedTuple):
    """What the cost of any age is made of: cycles, and money; ``looks`` and ``water`` are a year's."""

    cycles: Cycles
    descale: float
    strip_down: float
    looks: float
    water: float
    notes: tuple[str, ...]

    def draws(self, ages: np.ndarray, rows=slice(None)) -> np.ndarray:
        """Cost a year of descaling at ages (m,), for each draw, or some of them (m, n)."""
        late = self.descale + self.strip_down
        return self.looks + self.water + YEAR * self.cycles.part(rows).cost(ages, self.descale, late)


def budget_of(forecast: Forecast, threshold: Threshold, price: float | None = None) -> Budget:
    """Cycles and money under a forecast's plan; EvidenceError as `need_prices`.

    ``price`` is what a litre of its water costs; by default what is on record.
    """
    facts = forecast.posterior.facts
    prices = need_prices(facts)
    looks, said = looks_a_year(facts)
    price = water_price(facts, forecast.plan.water) if price is None else price
    water = float(forecast.litres_a_day.mean()) * YEAR * (price or 0.0)
    notes = (*_assumptions(prices, forecast, price), *said)
    return Budget(cycles_of(forecast, threshold), descale_price(prices), prices.strip_down or 0.0, looks, water, notes)


@dataclass(frozen=True)
class LeastCost:
    """The age that costs least; fields as in `Cost`."""

    best_age_days: float | None
    best_date: date | None
    cost_a_year: float
    nearly_best_days: tuple[float, float | None]


def least_cost(forecast: Forecast, threshold: Threshold, standing: Standing | None = None) -> LeastCost | None:
    """The age that costs least, without errors and curve; None where the prices on record say nothing."""
    facts = forecast.posterior.facts
    prices = prices_of(facts)
    if prices is None or descale_price(prices) <= 0.0:
        return None
    least = _search(budget_of(forecast, threshold), facts)[0]
    return replace(least, best_date=_bounded(least.best_date, standing, facts.as_of))


def _bounded(best: date | None, standing: Standing | None, as_of: date) -> date | None:
    """The best date, or the last that no advice without a look may pass, whichever comes first."""
    bound = None if standing is None else standing.bound()
    return best if bound is None or best is None else min(best, as_of + timedelta(days=bound))


def _search(budget: Budget, facts: BoilerFacts) -> tuple[LeastCost, np.ndarray, np.ndarray]:
    """The least cost, the ages tried (m,) and their costs by draw (m, n)."""
    ages = budget.cycles.ages_tried()
    table = budget.draws(ages)
    curve = table.mean(axis=1)
    best = best_age(lambda t: budget.draws(t).mean(axis=1), ages, curve)
    least = float(budget.draws(np.array([best or np.inf])).mean())
    near = ages_within(curve, ages, (1.0 + NEARLY_BEST) * least)
    begun = _last_full(facts) or facts.boiler.installed_on
    on = None if best is None else max(facts.as_of, begun + timedelta(days=min(round(best), 36525)))
    return LeastCost(best, on, least, near), ages, table


def _last_full(facts: BoilerFacts) -> date | None:
    return max((d.date for d in facts.descales if d.scope == "full"), default=None)


def descaling_cost(forecast: Forecast, threshold: Threshold, standing: Standing | None = None) -> Cost:
    """The long-run cost by age and the best age, for the boiler's own posterior, water and use to come.

    Parameters
    ----------
    forecast : Forecast
    threshold : Threshold
        Scale past it takes a strip-down and a descale, on the day on which it passes.
    standing : Standing, optional
        How the boiler stands (`scalemodel.decision.deferral.standing_of`), so that no date is later than that allows.

    Returns
    -------
    Cost

    Raises
    ------
    EvidenceError
        As `need_prices`.
    """
    posterior, facts = forecast.posterior, forecast.posterior.facts
    budget = budget_of(forecast, threshold)
    least, ages, table = _search(budget, facts)
    at_best = budget.draws(np.array([least.best_age_days or np.inf]))[0]
    each = [
        best_age(lambda t, rows=rows: budget.draws(t, rows).mean(axis=1), ages, table[:, rows].mean(axis=1))
        for rows in np.arange(posterior.count).reshape(posterior.populations, -1)
    ]
    sure = least.best_age_days is not None and None not in each
    dated = standing is not None and standing.status is Status.WITHIN
    return Cost(
        boiler=facts.boiler.boiler,
        as_of=facts.as_of,
        site=forecast.site,
        threshold_mg_cm2=threshold.mg_cm2,
        threshold_words=threshold.words,
        water=forecast.plan.water,
        descale=budget.descale,
        strip_down=budget.strip_down,
        looks_a_year=budget.looks,
        water_a_year=budget.water,
        last_descale=_last_full(facts),
        best_age_days=least.best_age_days,
        best_age_mc_error_days=float(np.std(each, ddof=1) / np.sqrt(len(each))) if sure else None,
        best_date=_bounded(least.best_date, standing, facts.as_of),
        cost_a_year=least.cost_a_year,
        cost_a_year_mc_error=monte_carlo_error(posterior.by_population(at_best)),
        nearly_best_days=least.nearly_best_days,
        curve=_points(budget, least.best_age_days),
        assumptions=budget.notes,
        status=None if standing is None else standing.status,
        alarms=() if standing is None else standing.alarms,
        defer_until=facts.as_of + timedelta(days=standing.day) if dated else None,
    )


def _points(budget: Budget, best: float | None) -> tuple[AgePoint, ...]:
    """The curve at round ages around the best (around the mean life where there is none), and at waiting."""
    cycles = budget.cycles
    life = cycles.life() if best is None else best
    shown = {float(age) for age in SHOWN_AGES if life / SHOWN_WITHIN <= age <= life * SHOWN_WITHIN}
    ages = np.array([*sorted(shown | ({max(1.0, float(round(best)))} if best else set())), np.inf])
    passed, lived, cost = cycles.passed(ages), cycles.lived(ages), budget.draws(ages)
    low, high = np.quantile(cost, (0.1, 0.9), axis=1)
    return tuple(
        AgePoint(
            int(age) if np.isfinite(age) else None,
            float(chance.mean()),
            float(((1.0 - chance) / days).mean() * YEAR),
            float((chance / days).mean() * YEAR),
            float(draws.mean()),
            float(p10),
            float(p90),
        )
        for age, chance, days, draws, p10, p90 in zip(ages, passed, lived, cost, low, high, strict=True)
    )


def _assumptions(prices: Prices, forecast: Forecast, price: float | None) -> tuple[str, ...]:
    """What was assumed, a sentence each; blank prices are named."""
    plan, said = forecast.plan, []
    said.append(f"prices from {prices.from_date}; a descale {figure(descale_price(prices))} in all")
    blank = [
        words
        for words, value in (
            ("materials of a descale", prices.descale_materials),
            ("hours of a descale", prices.descale_hours),
            ("price of an hour", prices.hour_cost),
            ("wear by a descale", prices.descale_wear),
            ("price of a strip-down", prices.strip_down),
            (f"price of {plan.water}", price),
        )
        if value is None
    ]
    if blank:
        said.append(f"not on record, so taken as nothing: {', '.join(blank)}")
    said.append("scale past the threshold is dealt with on the day it passes: a strip-down, and a descale with it")
    said.append(
        f"from now on {plan.water} at {figure(plan.use.litres_per_day)} L a day ({plan.use.source}); the next descales "
        "leave what a full descale usually leaves"
    )
    if not plan.use.steady:
        said.append("ages are in days of mean use: seasons and absences are left out")
    if _last_full(forecast.posterior.facts) is None:
        said.append("no full descale on record: the age is counted from the installation")
    return tuple(said)
