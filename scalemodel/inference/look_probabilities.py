"""What every look would show by the posterior: the probability of each grade, draw by draw."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from scalemodel.model.grading import GRADE_COUNT
from scalemodel.model.target import BoilerTarget


class Draws(Protocol):
    """What is asked of a posterior (`scalemodel.inference.posterior.Posterior`) here."""

    model: BoilerTarget
    x: np.ndarray

    @property
    def count(self) -> int: ...

    def deposits_at(self, site: str) -> np.ndarray: ...


def grade_probabilities(posterior: Draws) -> np.ndarray:
    """Probability of every grade at every look, for each draw (looks, grades, C P)."""
    out = np.empty((len(posterior.model.timeline.looks), GRADE_COUNT, posterior.count))
    for k in range(len(out)):
        out[k] = grade_probabilities_at(posterior, k)
    return out


def grade_probabilities_at(posterior: Draws, index: int) -> np.ndarray:
    """The same at the timeline's look ``index`` alone (grades, C P)."""
    state, look = posterior.model.timeline.looks[index]
    return posterior.model.look_model(posterior.x, look).grade_probabilities(posterior.deposits_at(look.site)[state])
