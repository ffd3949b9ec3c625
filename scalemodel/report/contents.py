"""What a report of one boiler says, gathered from one posterior; the page only places it on paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from scalemodel.decision.cost import descaling_cost
from scalemodel.decision.curves import tabulate
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.deposit_by_date import first_shown, future_band, past_band
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.inspection_value import value_looks
from scalemodel.decision.sequential import FEWEST
from scalemodel.decision.water_plan import compare_waters, supplies_for
from scalemodel.decision.water_sheet import water_sheet
from scalemodel.descaling.procedure import plan_descale
from scalemodel.errors import WantedError
from scalemodel.validation.hindsight import hindsight

if TYPE_CHECKING:
    from scalemodel.decision.case import Case
    from scalemodel.decision.cost import Cost
    from scalemodel.decision.curves import RiskTable
    from scalemodel.decision.deferral import Deferral
    from scalemodel.decision.deposit_by_date import DepositBand
    from scalemodel.decision.inspection_value import NextInspection
    from scalemodel.decision.water_plan import WaterPlans
    from scalemodel.decision.water_sheet import WaterSheet
    from scalemodel.descaling.procedure import DescalePlan
    from scalemodel.logbook.records import BoilerFacts
    from scalemodel.validation.hindsight import Hindsight

MOST_FORETOLD = 40
"""The looks of a boiler with more of them are not foretold for its page, as each takes a solve."""

MOST_WATERS = 6
"""So many waters of the logbook stand side by side, those tested last before others."""


@dataclass(frozen=True)
class Contents:
    """All that a page shows.

    ``cost`` is what is wanted where the prices on record say nothing; ``seen`` is None where the looks are too few, or
    too many, to be foretold for a page.
    """

    facts: BoilerFacts
    threshold: Threshold
    answer: Deferral
    risk: RiskTable
    past: DepositBand
    future: DepositBand
    looks: NextInspection
    water: WaterSheet
    waters: WaterPlans
    cost: Cost | WantedError
    plan: DescalePlan
    seed: int
    seen: Hindsight | None = None


def report_contents(case: Case) -> Contents:
    """Ask every question of one case."""
    facts, forecast = case.facts, case.forecast
    table = tabulate(case)
    ahead = table.days[-1]
    try:
        cost = descaling_cost(case)
    except WantedError as wanted:
        cost = wanted
    return Contents(
        facts=facts,
        threshold=case.threshold,
        answer=defer_until(case),
        risk=table,
        past=past_band(forecast, first_shown(facts, ahead)),
        future=future_band(forecast, ahead),
        looks=value_looks(case),
        water=water_sheet(forecast),
        waters=compare_waters(case, supplies_for(facts, tested_waters(facts), ())),
        cost=cost,
        plan=plan_descale(Forecast(forecast.posterior, forecast.plan)),
        seed=forecast.posterior.seed,
        seen=look_back(facts, forecast.posterior.seed),
    )


def look_back(facts: BoilerFacts, seed: int) -> Hindsight | None:
    """Hindsight, where there are looks enough to tell and not too many to foretell."""
    if not FEWEST <= len(facts.inspections) <= MOST_FORETOLD:
        return None
    return hindsight(facts, seed)


def tested_waters(facts: BoilerFacts) -> tuple[str, ...]:
    """The waters of the logbook that a test tells of, as they were tested last, at most `MOST_WATERS`."""
    latest = dict.fromkeys(test.water for test in reversed(facts.water_tests))
    return tuple(latest)[:MOST_WATERS]
