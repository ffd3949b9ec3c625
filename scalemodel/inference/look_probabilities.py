"""What every look would show by the posterior: the probability of each grade, draw by draw."""

from __future__ import annotations

import numpy as np

from scalemodel.inference.posterior import Posterior
from scalemodel.model.grading import GRADE_COUNT


def grade_probabilities(posterior: Posterior) -> np.ndarray:
    """Probability of every grade at every look, for each draw (looks, grades, C P)."""
    out = np.empty((len(posterior.model.timeline.looks), GRADE_COUNT, posterior.count))
    for k in range(len(out)):
        out[k] = grade_probabilities_at(posterior, k)
    return out


def grade_probabilities_at(posterior: Posterior, index: int) -> np.ndarray:
    """The same at the timeline's look ``index`` alone (grades, C P)."""
    state, look = posterior.model.timeline.looks[index]
    return posterior.model.look_model(posterior.x, look).grade_probabilities(posterior.deposits_at(look.site)[state])
