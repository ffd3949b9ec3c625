"""What the sampler draws from: the law of one boiler, with its gradient."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.evaluation import Evaluation
from scalemodel.model.gradient import gradient_of
from scalemodel.model.supply import Supply, find_supply
from scalemodel.model.timeline import Timeline, build_timeline
from scalemodel.model.unknowns import find_unknowns
from scalemodel.water.potential import SupplyTable


class BoilerTarget(BoilerModel):
    """The law of one boiler as a target: it can be evaluated with or without its gradient."""

    def evaluate_with_gradient(self, x: np.ndarray, exponent: np.ndarray) -> tuple[Evaluation, np.ndarray]:
        """What `evaluate` gives, and the gradient (d + J, n) of ``exponent`` (n,) x the log-likelihood."""
        return gradient_of(self, x, self.parameters(self.split(x)[0]), exponent)


def model_of(
    facts: BoilerFacts, litres_per_day: float | None = None, water: str | None = None
) -> tuple[BoilerTarget, dict[str, Supply]]:
    """The target of one boiler, and the supply of every water that it drew; arguments and errors of `build_timeline`.

    EvidenceError too where no test of a water is known.
    """
    timeline = build_timeline(facts, litres_per_day, water)
    supplies = {one: find_supply(facts, one) for one in timeline.waters}
    return build_model(facts, timeline, lambda one: supplies[one].table), supplies


def build_model(facts: BoilerFacts, timeline: Timeline, table_of: Callable[[str], SupplyTable]) -> BoilerTarget:
    """The target of one boiler; ``table_of(water)`` gives a water's supply table at the boiler's temperature."""
    tables = {water: table_of(water) for water in timeline.waters}
    return BoilerTarget(facts, timeline, tables, find_unknowns(facts, timeline))
