"""No look may give a later date than a milder one in its place would: what that milder one would have said.

The law of a look is monotone, so that a worse grade raises the risk by itself. But a look is read together with all
others: a surprising one also says that the eye is less sure, that growth is unsteady, that the site carries more than
the wall, and by such a road a worse grade can lower the risk somewhat at the date in question (in three of a hundred
invented logbooks, by up to a fifth of the wait). Nobody would follow that, and where two readings are possible the
earlier date counts. So the risk that decides is the greatest of that by the records as they are and those with the
latest look one grade, two grades and so on milder.

Most milder readings cost no new draws: each draw is weighed by the probability of the milder grade over that of the
grade on record. Too few draws bear some, mostly of a look that came as a surprise. Such a look's readings are heard by
the draws without it, weighed by the probability of the milder grade alone (they were drawn to tell whether the surprise
is an alarm), and where these will not do either by draws of their own. Of a look that was foretold, a reading that too
few draws bear is left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from scalemodel.decision.alarms import SUSPECT, chance_foretold
from scalemodel.decision.forecast import Forecast
from scalemodel.inference.look_probabilities import grade_probabilities_at
from scalemodel.inference.posterior import Posterior

LEAST_DRAWS = 100
"""A reading is heard if the draws that bear it are worth at least so many (effective sample size)."""


def milder_readings(forecast: Forecast) -> list[tuple[Forecast, np.ndarray]]:
    """Forecasts, each with the weights of its draws (V, S) under V milder readings of the latest look.

    Each row of weights adds up to 1. A range is read as one of the same width.
    """
    posterior = forecast.posterior
    index = len(posterior.model.timeline.looks) - 1
    if index < 0:
        return []
    look, by_grade = posterior.model.timeline.looks[index][1], forecast.looks_by_grade[index]
    low, high = look.grade_low, look.grade_high
    unheard, found = set(range(1, low + 1)), []

    def hear(others: Posterior, by_grade: np.ndarray) -> None:
        heard = [(fewer, row) for fewer, row in weights_of_readings(by_grade, low, high) if fewer in unheard]
        if rows := [row for _, row in heard if row is not None]:
            unheard.difference_update(fewer for fewer, row in heard if row is not None)
            found.append((forecast.by(others), np.stack(rows)))

    hear(posterior, by_grade / np.maximum(by_grade[low : high + 1].sum(axis=0), np.finfo(float).tiny))
    if not unheard or chance_foretold(look, by_grade) >= SUSPECT:
        return found
    if look.thickness_um is None:  # no other grade takes a thickness back
        others = posterior.without(index)
        hear(others, grade_probabilities_at(others, index))
    for fewer in sorted(unheard):
        others = posterior.instead(index, replace(look, grade_low=low - fewer, grade_high=high - fewer))
        found.append((forecast.by(others), np.full((1, others.count), 1.0 / others.count)))
    return found


def weights_of_readings(by_grade: np.ndarray, low: int, high: int) -> Iterator[tuple[int, np.ndarray | None]]:
    """By how many grades a look that said ``low`` to ``high`` is read milder, and the weights of the draws (S,) then.

    None where `LEAST_DRAWS` do not bear it.

    Parameters
    ----------
    by_grade : array (grades, S)
        Probability of each grade given each draw, over that of what the draws have heard already.

    >>> by_grade = np.array([[0.5, 0.25], [0.5, 0.75]]).repeat(100, axis=1)
    >>> [(fewer, (200 * row[::100]).round(3).tolist()) for fewer, row in weights_of_readings(by_grade, 1, 1)]
    [(1, [1.333, 0.667])]
    """
    for fewer in range(1, low + 1):
        weight = by_grade[low - fewer : high - fewer + 1].sum(axis=0)
        weight = weight / max(weight.sum(), np.finfo(float).tiny)
        worth = 1.0 / max(weight @ weight, np.finfo(float).tiny) if weight.any() else 0.0
        yield fewer, weight if worth >= LEAST_DRAWS else None
