"""One move: elliptical slice sampling, vectorised over particles, closed to whatever is not a number.

Murray, Adams & MacKay (2010) for the move; Nishihara, Murray & Adams (2014) for a reference that is
fitted rather than given. A point is taken only if its log target exceeds the level, so NaN never is.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from scalemodel.errors import SamplerError

SHRINK_CAP = 100


class MoveInfo(NamedTuple):
    """What a move reports: points evaluated, log targets that were NaN (and so refused), rounds of shrinking."""

    evaluated: int
    nan_count: int
    rounds: int


def elliptical_move(
    rng: np.random.Generator,
    point: np.ndarray,
    log_target: np.ndarray,
    other: np.ndarray,
    centre: np.ndarray | float,
    evaluate: Callable[[np.ndarray, np.ndarray], np.ndarray],
) -> tuple[np.ndarray, np.ndarray, MoveInfo]:
    """Move every particle once along its own ellipse.

    Parameters
    ----------
    rng : Generator
    point : array (d, n)
        Particles; not changed.
    log_target : array (n,)
        Log of the target over the Gaussian that draws the ellipse, at ``point``.
    other : array (d, n)
        A draw from that Gaussian for each particle.
    centre : array (d, n) or 0
        The Gaussian's mean.
    evaluate : callable
        ``evaluate(proposed (d, m), which (m,))`` gives the log target (m,) of particles ``which``.

    Returns
    -------
    point, log_target, info

    Raises
    ------
    SamplerError
        If some particle has found no point after 100 rounds of shrinking.
    """
    n = point.shape[1]
    point, log_target = point.copy(), log_target.copy()
    level = log_target + np.log(rng.random(n))
    angle = rng.uniform(0.0, 2.0 * np.pi, n)
    low, high = angle - 2.0 * np.pi, angle.copy()
    offset = point - centre
    swing = other - centre
    active = np.arange(n)
    evaluated = nan_count = 0
    for rounds in range(1, SHRINK_CAP + 1):
        turn = angle[active]
        at = centre if np.ndim(centre) == 0 else centre[:, active]
        proposed = offset[:, active] * np.cos(turn) + swing[:, active] * np.sin(turn) + at
        value = evaluate(proposed, active)
        evaluated += len(active)
        nan_count += int(np.isnan(value).sum())
        taken = value > level[active]  # False for NaN: fails closed
        won = active[taken]
        point[:, won] = proposed[:, taken]
        log_target[won] = value[taken]
        active = active[~taken]
        if not len(active):
            return point, log_target, MoveInfo(evaluated, nan_count, rounds)
        turn = turn[~taken]
        low[active] = np.where(turn < 0.0, turn, low[active])
        high[active] = np.where(turn < 0.0, high[active], turn)
        angle[active] = low[active] + (high[active] - low[active]) * rng.random(len(active))
    raise SamplerError(
        f"{len(active)} of {n} particles found no point after {SHRINK_CAP} rounds of shrinking",
        "the records contradict the model so sharply that this is a defect: please report the logbook",
    )
