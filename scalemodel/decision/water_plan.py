"""Waters side by side at equal risk: interval between descales, litres, cartridges, cost a year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from scalemodel.decision.assumed import (
    Assumption,
    CartridgePrice,
    FullDescales,
    NoCosts,
    OfWater,
    SameUse,
    TreatedPart,
    UnpricedWater,
)
from scalemodel.decision.case import Answer, Case
from scalemodel.decision.cost import Budget, budget_of, water_price
from scalemodel.decision.forecast import Forecast, Plan
from scalemodel.decision.horizon import LONGEST_INTERVAL_DAYS
from scalemodel.decision.loss import descale_price, prices_of
from scalemodel.decision.middle import Middle, middle_of
from scalemodel.decision.renewal import Cycles, cycles_of, longest_interval
from scalemodel.frames import each_of
from scalemodel.inference.posterior import monte_carlo_error
from scalemodel.logbook.records import BoilerFacts
from scalemodel.logbook.units import DAYS_A_YEAR
from scalemodel.model.supply import Supply, find_supply, mix_supply, parse_mix

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


@dataclass(frozen=True, kw_only=True, repr=False)
class WaterPlans(Answer):
    """Every water asked about, the present one first."""

    options: tuple[WaterOption, ...]
    assumptions: tuple[Assumption, ...]

    def to_frame(self):
        """The waters as a pandas DataFrame, a row each, every field; what was asked beside it."""
        return each_of(self, self.options, WaterOption, "option", ("options",))


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


def for_some_days(forecast: Forecast, supply: Supply, days: int) -> Forecast:
    """The same question with another water for so many days, and the plan's own after that."""
    own, tried = forecast.plan, on_water(forecast, supply).plan
    begun = [one for day, one in own.later if day <= days]
    back = (days, begun[-1] if begun else own.supply)
    later = (back, *((day, one) for day, one in own.later if day > days))
    return Forecast(forecast.posterior, replace(tried, later=later), forecast.site)


def treated_share(facts: BoilerFacts, supply: Supply) -> tuple[str, float] | None:
    """A mix's treated water and its share: the part of the lowest TDS; None for a single water."""
    if not supply.shares:
        return None
    return min(supply.shares, key=lambda part: find_supply(facts, part[0]).analysis.tds_mg_l)


def price_of(facts: BoilerFacts, supply: Supply) -> tuple[float | None, tuple[Assumption, ...]]:
    """What a litre costs by the waters on record, and what was assumed; None where nothing of it has a price.

    Treated water without a price of its own costs its share of a cartridge.
    """
    prices, treated = prices_of(facts), treated_share(facts, supply)
    each, said = [], []
    for water, share in supply.shares or ((supply.water, 1.0),):
        price = water_price(facts, water)
        if price is None and treated and water == treated[0] and prices and prices.cartridge_litres:
            price = (prices.cartridge_cost or 0.0) / prices.cartridge_litres
            said.append(CartridgePrice(water))
        if price is None:
            said.append(UnpricedWater(water))
        each.append(None if price is None else share * price)
    known = [price for price in each if price is not None]
    return (sum(known) if known else None), tuple(said)


def interval_draws(cycles: Cycles, tolerance: float) -> np.ndarray:
    """The interval at which each draw alone comes to the tolerance (n,) [days], by bisection; at most twenty years."""
    low, high = np.zeros(cycles.rate.shape), np.full(cycles.rate.shape, float(LONGEST_INTERVAL_DAYS))
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        within = cycles.failure_probability(middle[None, :])[0] <= tolerance
        low, high = np.where(within, middle, low), np.where(within, high, middle)
    return high


def weigh_water(case: Case, supply: Supply, now: bool) -> tuple[WaterOption, tuple]:
    """One water from now on as an option, and what was assumed of its price."""
    forecast, facts = on_water(case.forecast, supply), case.facts
    posterior, cycles, prices = forecast.posterior, cycles_of(forecast, case.threshold), prices_of(facts)
    days = longest_interval(cycles, case.tolerance)
    parts = np.arange(posterior.count).reshape(posterior.populations, -1)
    each = [longest_interval(cycles.part(rows), case.tolerance) for rows in parts]
    litre, said = price_of(facts, supply)
    litres, treated = float(forecast.litres_a_day.mean()), treated_share(facts, supply)
    cartridges = None
    if treated and prices and prices.cartridge_litres:
        cartridges = litres * DAYS_A_YEAR * treated[1] / prices.cartridge_litres
    cost = None
    if descale_price(prices) > 0.0:
        cost = cost_draws(budget_of(forecast, case.threshold, case.tolerance, litre or 0.0), days)
    option = WaterOption(
        water=supply.water,
        now=now,
        interval_days=days,
        interval_mc_error_days=None if None in (days, *each) else float(np.std(each, ddof=1) / np.sqrt(len(each))),
        interval_draws_days=middle_of(interval_draws(cycles, case.tolerance)),
        descales_a_year=None if days is None else DAYS_A_YEAR / days,
        litres=None if days is None else litres * days,
        litres_a_year=litres * DAYS_A_YEAR,
        cartridges_a_year=cartridges,
        cost_per_litre=litre,
        cost_a_year=None if cost is None else float(cost.mean()),
        cost_draws_a_year=None if cost is None else middle_of(cost),
        cost_mc_error_a_year=None if cost is None else monte_carlo_error(posterior.by_population(cost)),
    )
    return option, said if cost is not None else ()


def cost_draws(budget: Budget, days: int | None) -> np.ndarray:
    """Cost a year of each draw, descaled every so many days (twenty years where None)."""
    return budget.draws(np.array([float(days or LONGEST_INTERVAL_DAYS)]))[0]


def compare_waters(case: Case, supplies: Sequence[Supply]) -> WaterPlans:
    """Lay waters side by side for one boiler at one tolerance.

    Parameters
    ----------
    case : Case
        Under the present water, which is the first option; its tolerance is the accepted risk of passing the threshold
        between two full descales.
    supplies : sequence of Supply
        From `supplies_for`; each is an option, once.
    """
    plan = case.forecast.plan
    asked = {s.water: s for s in (plan.supply, *supplies)}
    options, said = [], []
    for name, supply in asked.items():
        option, notes = weigh_water(case, supply, name == plan.water)
        options.append(option)
        said += notes
    use = plan.use
    said += [SameUse(use.litres_per_day, use.source, use.log_sd), FullDescales()]
    if any(option.cartridges_a_year is not None for option in options):
        said.append(TreatedPart())
    if options[0].cost_a_year is None:
        said.append(NoCosts())
    said += (OfWater(name, line) for name, s in asked.items() if not s.shares for line in s.analysis.assumptions)
    return WaterPlans(**case.head, options=tuple(options), assumptions=tuple(dict.fromkeys(said)))
