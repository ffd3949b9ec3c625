"""What every look would show by the posterior: the probability of each grade, draw by draw."""

from __future__ import annotations

import numpy as np

from scalemodel.inference.draws import Posterior
from scalemodel.model import unknowns
from scalemodel.model.grading import GRADE_COUNT, apparent, look_probability


def grade_probabilities(posterior: Posterior) -> np.ndarray:
    """Probability of every grade at every look, for each draw (looks, grades, C P)."""
    model, states = posterior.model, posterior.deposits
    out = np.empty((len(model.timeline.looks), GRADE_COUNT, posterior.count))
    for k, (state, look) in enumerate(model.timeline.looks):
        relative = 1.0
        if look.site != posterior.facts.reference_site:
            relative = np.exp(model.value(unknowns.relative(look.site), posterior.x))
        seen = apparent(states[state], relative)
        spread = np.exp(model.value(unknowns.reading(look.method), posterior.x))
        shift = model.value(unknowns.leniency(look.inspector), posterior.x)
        for grade in range(GRADE_COUNT):
            out[k, grade] = look_probability(grade, grade, seen, spread, shift)
    return out
