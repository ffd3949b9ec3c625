"""Waters side by side at equal risk: interval between descales, litres, cartridges, cost a year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from scalemodel.decision.cost import YEAR, Budget, budget_of, cycles_of, prices_of, water_price
from scalemodel.decision.deferral import last_day_within
from scalemodel.decision.forecast import Forecast, Plan, Threshold
from scalemodel.decision.loss import descale_price
from scalemodel.decision.renewal import Cycles
from scalemodel.decision.residue import Middle
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.supply import Supply, find_supply, mix_supply, parse_mix
from scalemodel.wording import gathered

LONGEST_INTERVAL_DAYS = 7300
"""Intervals are sought within twenty years."""

BISECTIONS = 40


@dataclass(frozen=True)
class WaterOption:
    """One water for one boiler, descaled whenever the risk since a full descale comes to the tolerance.

    ``interval_days`` is None where that takes more than twenty years. The intervals of draws (`Middle`, the middle
    eight tenths) say what the interval would be if this boiler's own growth were known, at most twenty years.
    Cartridges are those of a mix's treated water, the part of the lowest TDS; None where there is none, or none is
    priced. Costs are None where the prices on record say nothing of a descale.
    """

    water: str
    now: bool
    interval_days: int | None
    interval_mc_error_days: float | None
    interval_draws_days: Middle
    descales_a_year: float | None
    litres: float | None
    litres_a_year: float
    cartridges_a_year: float | None
    cost_per_litre: float | None
    cost_a_year: float | None
    cost_draws_a_year: Middle | None
    cost_mc_error_a_year: float | None


@dataclass(frozen=True)
class WaterPlans:
    """Every water asked about, the present one first."""

    boiler: str
    as_of: date
    site: str
    threshold_mg_cm2: float
    threshold_words: str
    tolerance: float
    options: tuple[WaterOption, ...]
    assumptions: tuple[str, ...]


def supplies_for(facts: BoilerFacts, waters: Sequence[str], mixes: Sequence[str]) -> tuple[Supply, ...]:
    """The supplies that were named, as single waters or as mixes such as "tap:0.4,demin:0.6".

    Raises
    ------
    UnknownNameError, EvidenceError, BadValueError
        For a water that is unknown or untested, or a mix that is none.
    """
    parsed = [parse_mix(text) for text in mixes]
    return (*(find_supply(facts, water) for water in waters), *(mix_supply(facts, shares) for shares in parsed))


def on_water(forecast: Forecast, supply: Supply) -> Forecast:
    """The same question with another water from now on."""
    plan = Plan(supply.water, forecast.plan.use, forecast.posterior.supplies.get(supply.water) or supply)
    return Forecast(forecast.posterior, plan, forecast.site)


def treated_share(facts: BoilerFacts, supply: Supply) -> tuple[str, float] | None:
    """A mix's treated water and its share: the part of the lowest TDS; None for a single water."""
    if not supply.shares:
        return None
    return min(supply.shares, key=lambda part: find_supply(facts, part[0]).analysis.tds_mg_l)


def price_of(facts: BoilerFacts, supply: Supply) -> tuple[float | None, tuple[str, ...]]:
    """What a litre costs by the waters on record, and what was assumed; None where nothing of it has a price.

    Treated water without a price of its own costs its share of a cartridge.
    """
    prices, treated = prices_of(facts), treated_share(facts, supply)
    each, said = [], []
    for water, share in supply.shares or ((supply.water, 1.0),):
        price = water_price(facts, water)
        if price is None and treated and water == treated[0] and prices and prices.cartridge_litres:
            price = (prices.cartridge_cost or 0.0) / prices.cartridge_litres
            said.append(f"{water} is taken to cost what its cartridges cost")
        if price is None:
            said.append(f"no price of {water} is on record: taken as nothing")
        each.append(None if price is None else share * price)
    known = [price for price in each if price is not None]
    return (sum(known) if known else None), tuple(said)


def interval(cycles: Cycles, tolerance: float) -> int | None:
    """The longest whole number of days between full descales within the tolerance; None beyond twenty years."""
    days = last_day_within(
        lambda day: float(cycles.passed(np.array([float(day)])).mean()), tolerance, LONGEST_INTERVAL_DAYS
    )
    return None if days == LONGEST_INTERVAL_DAYS else max(1, days or 0)


def interval_draws(cycles: Cycles, tolerance: float) -> np.ndarray:
    """The interval at which each draw alone comes to the tolerance (n,) [days], by bisection; at most twenty years."""
    low, high = np.zeros(cycles.rate.shape), np.full(cycles.rate.shape, float(LONGEST_INTERVAL_DAYS))
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        within = cycles.passed(middle[None, :])[0] <= tolerance
        low, high = np.where(within, middle, low), np.where(within, high, middle)
    return high


def middle_of(draws: np.ndarray) -> Middle:
    """Median and middle eight tenths."""
    p10, p50, p90 = np.quantile(draws, (0.1, 0.5, 0.9))
    return Middle(float(p10), float(p50), float(p90))


def weigh_water(forecast: Forecast, threshold: Threshold, tolerance: float, now: bool) -> tuple[WaterOption, tuple]:
    """One water as an option, and what was assumed of its price."""
    posterior, facts, supply = forecast.posterior, forecast.posterior.facts, forecast.plan.supply
    cycles, prices = cycles_of(forecast, threshold), prices_of(facts)
    days, parts = interval(cycles, tolerance), np.arange(posterior.count).reshape(posterior.populations, -1)
    each = [interval(cycles.part(rows), tolerance) for rows in parts]
    sure = days is not None and None not in each
    litre, said = price_of(facts, supply)
    litres, treated = float(forecast.litres_a_day.mean()), treated_share(facts, supply)
    cartridges = None
    if treated and prices and prices.cartridge_litres:
        cartridges = litres * YEAR * treated[1] / prices.cartridge_litres
    cost = None
    if prices is not None and descale_price(prices) > 0.0:
        cost = cost_draws(budget_of(forecast, threshold, litre or 0.0), days)
    option = WaterOption(
        supply.water,
        now,
        days,
        float(np.std(each, ddof=1) / np.sqrt(len(each))) if sure else None,
        middle_of(interval_draws(cycles, tolerance)),
        None if days is None else YEAR / days,
        None if days is None else litres * days,
        litres * YEAR,
        cartridges,
        litre,
        None if cost is None else float(cost.mean()),
        None if cost is None else middle_of(cost),
        None if cost is None else float(np.std(posterior.by_population(cost).mean(axis=1), ddof=1) / len(each) ** 0.5),
    )
    return option, said if cost is not None else ()


def cost_draws(budget: Budget, days: int | None) -> np.ndarray:
    """Cost a year of each draw, descaled every so many days (twenty years where None) or when the threshold passes."""
    return budget.draws(np.array([float(days or LONGEST_INTERVAL_DAYS)]))[0]


def compare_waters(
    forecast: Forecast, threshold: Threshold, tolerance: float, supplies: Sequence[Supply]
) -> WaterPlans:
    """Lay waters side by side for one boiler at one tolerance.

    Parameters
    ----------
    forecast : Forecast
        Under the present water, which is the first option.
    threshold : Threshold
    tolerance : float
        Accepted risk of passing the threshold between two full descales.
    supplies : sequence of Supply
        From `supplies_for`; each is an option, once.

    Returns
    -------
    WaterPlans
    """
    facts = forecast.posterior.facts
    asked = {s.water: s for s in (forecast.plan.supply, *supplies)}
    options, said = [], []
    for name, supply in asked.items():
        option, notes = weigh_water(on_water(forecast, supply), threshold, tolerance, name == forecast.plan.water)
        options.append(option)
        said += notes
    use = forecast.plan.use
    said.append(f"{use.litres_per_day:.3g} L a day ({use.source}), give or take {use.log_sd:.0%}, of each")
    said.append("every descale is full and leaves what one usually leaves, and every interval is like the last")
    if any(option.cartridges_a_year is not None for option in options):
        said.append("the part of a mix with the lowest TDS is the one from cartridges")
    if options[0].cost_a_year is None:
        said.append("no prices of a descale are on record, so no costs (scalemodel add prices)")
    said += gathered((name, line) for name, s in asked.items() if not s.shares for line in s.analysis.assumptions)
    return WaterPlans(
        facts.boiler.boiler,
        facts.as_of,
        forecast.site,
        threshold.mg_cm2,
        threshold.words,
        tolerance,
        tuple(options),
        tuple(dict.fromkeys(said)),
    )
