"""No look may give a later date than a milder one in its place would: what that milder one would have said.

The law of a look is monotone, so that a worse grade raises the risk by itself. But a look is read together with all
others: a surprising one also says that the eye is less sure, that growth is unsteady, that the site carries more than
the wall, and by such a road a worse grade can lower the risk somewhat at the date in question (in three of a hundred
invented logbooks, by up to a fifth of the wait). Nobody would follow that, and where two readings are possible the
earlier date counts. So the risk that decides is the greatest of that by the records as they are and those with the
latest look one grade, two grades and so on milder.

The milder readings cost no new draws: each draw is weighed by the probability of the milder grade over that of the
grade on record. Where too few draws would bear a reading, it is left out.
"""

from __future__ import annotations

import numpy as np

from scalemodel.decision.forecast import Forecast

LEAST_SHARE = 0.05
"""A milder reading is heard if the draws that bear it are worth at least this share of all (effective sample size)."""


def milder_weights(forecast: Forecast) -> np.ndarray:
    """Weights of the draws (V, S), each row adding up to 1, under the V milder readings of the latest look.

    A range is read as one of the same width.

    >>> milder_weights_of(np.array([[0.5, 0.25], [0.5, 0.75]]), 1, 1).round(3).tolist()
    [[0.75, 0.25]]
    """
    looks = forecast.posterior.model.timeline.looks
    if not looks:
        return np.empty((0, forecast.posterior.count))
    look = looks[-1][1]
    if look.grade_low == 0:
        return np.empty((0, forecast.posterior.count))
    return milder_weights_of(forecast.looks_by_grade[-1], look.grade_low, look.grade_high)


def milder_weights_of(by_grade: np.ndarray, low: int, high: int) -> np.ndarray:
    """The same of one look that said ``low`` to ``high``, from the probability of each grade (grades, S)."""
    own = np.maximum(by_grade[low : high + 1].sum(axis=0), np.finfo(float).tiny)
    found = []
    for fewer in range(1, low + 1):
        weight = by_grade[low - fewer : high - fewer + 1].sum(axis=0) / own
        weight /= weight.sum()
        if 1.0 / (weight @ weight) >= LEAST_SHARE * len(weight):
            found.append(weight)
    return np.array(found).reshape(len(found), by_grade.shape[1])
