"""What a report of one boiler says, gathered from one posterior; the page only places it on paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from scalemodel.decision.band import first_shown, future_band, past_band
from scalemodel.decision.cost import descaling_cost
from scalemodel.decision.curves import tabulate
from scalemodel.decision.deferral import defer_until, standing_of
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.inspection_value import value_looks
from scalemodel.decision.water_plan import compare_waters, supplies_for
from scalemodel.decision.water_sheet import water_sheet
from scalemodel.descaling.procedure import plan_descale
from scalemodel.errors import EvidenceError

if TYPE_CHECKING:
    from scalemodel.decision.band import DepositBand
    from scalemodel.decision.cost import Cost
    from scalemodel.decision.curves import RiskTable
    from scalemodel.decision.deferral import Deferral
    from scalemodel.decision.inspection_value import NextInspection
    from scalemodel.decision.water_plan import WaterPlans
    from scalemodel.decision.water_sheet import WaterSheet
    from scalemodel.descaling.procedure import DescalePlan
    from scalemodel.logbook.records import BoilerFacts

MOST_WATERS = 6
"""So many waters of the logbook stand side by side, those tested last before others."""


@dataclass(frozen=True)
class Contents:
    """All that a page shows; ``cost`` is the reason in words where the prices on record say nothing."""

    facts: BoilerFacts
    threshold: Threshold
    answer: Deferral
    risk: RiskTable
    past: DepositBand
    future: DepositBand
    looks: NextInspection
    water: WaterSheet
    waters: WaterPlans
    cost: Cost | str
    plan: DescalePlan
    seed: int


def gather(forecast: Forecast, threshold: Threshold, tolerance: float, horizon_days: int) -> Contents:
    """Ask every question of one forecast; parameters as for `scalemodel.decision.deferral.defer_until`."""
    facts = forecast.posterior.facts
    table = tabulate(forecast, threshold, tolerance, horizon_days)
    ahead = table.days[-1]
    try:
        cost = descaling_cost(forecast, threshold, standing_of(forecast, threshold, tolerance, horizon_days))
    except EvidenceError as missing:
        cost = str(missing)
    return Contents(
        facts,
        threshold,
        defer_until(forecast, threshold, tolerance, horizon_days),
        table,
        past_band(forecast, first_shown(facts, ahead)),
        future_band(forecast, ahead),
        value_looks(forecast, threshold, tolerance, horizon_days),
        water_sheet(forecast),
        compare_waters(forecast, threshold, tolerance, supplies_for(facts, tested_waters(facts), ())),
        cost,
        plan_descale(Forecast(forecast.posterior, forecast.plan)),
        forecast.posterior.seed,
    )


def tested_waters(facts: BoilerFacts) -> tuple[str, ...]:
    """The waters of the logbook that a test tells of, as they were tested last, at most `MOST_WATERS`."""
    latest = dict.fromkeys(test.water for test in reversed(facts.water_tests))
    return tuple(latest)[:MOST_WATERS]
