"""What a forecast rests on beside its draws: kept with a result, so that it can be told without asking again."""

from __future__ import annotations

from dataclasses import dataclass

from scalemodel.decision.forecast import Forecast, Plan
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.supply import Supply
from scalemodel.model.timeline import Timeline


@dataclass(frozen=True)
class Basis:
    """What a forecast rests on.

    Attributes
    ----------
    facts : BoilerFacts
    timeline : Timeline
        The records as intervals, with the days that had to be filled in.
    plan : Plan
        What is drawn from ``as_of`` on.
    supplies : dict of str to Supply
        Every water drawn so far, and that of the plan.
    """

    facts: BoilerFacts
    timeline: Timeline
    plan: Plan
    supplies: dict[str, Supply]


def basis_of(forecast: Forecast) -> Basis:
    """What a forecast rests on."""
    posterior, plan = forecast.posterior, forecast.plan
    later = {supply.water: supply for _, supply in plan.later}
    return Basis(
        posterior.facts, posterior.model.timeline, plan, {**posterior.supplies, plan.water: plan.supply, **later}
    )
