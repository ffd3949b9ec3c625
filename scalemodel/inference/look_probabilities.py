"""What every look would show by the posterior: the probability of each grade, draw by draw."""

from __future__ import annotations

import numpy as np

from scalemodel.inference.draws import Posterior
from scalemodel.model.grading import GRADE_COUNT


def grade_probabilities(posterior: Posterior) -> np.ndarray:
    """Probability of every grade at every look, for each draw (looks, grades, C P)."""
    model = posterior.model
    out = np.empty((len(model.timeline.looks), GRADE_COUNT, posterior.count))
    for k, (state, look) in enumerate(model.timeline.looks):
        out[k] = model.look_model(posterior.x, look).grade_probabilities(posterior.deposits_at(look.site)[state])
    return out
