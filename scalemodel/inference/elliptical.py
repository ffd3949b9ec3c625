"""One move: elliptical slice sampling, vectorised over particles, closed to whatever is not a number.

Murray, Adams & MacKay (2010) for the move; Nishihara, Murray & Adams (2014) for a reference that is
fitted rather than given. A point is taken only if its log target exceeds the level, so NaN never is.

A slice that misses shrinks to the angle it missed at, and where it looks next depends on nothing else: the angles of
a slice are known before any of them is tried. So the few particles that are slow to find a point try several angles at
once and take the first that does; the law is the same, draw for draw, as of one angle at a time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from scalemodel.errors import SamplerError

SHRINK_CAP = 100

TRIED_AT_ONCE = 384
"""So many points are tried in a round where fewer particles are left: evaluating fewer takes hardly less time."""

MOST_ANGLES = 12
"""Of one particle in a round."""


class Ellipses(NamedTuple):
    """Each particle's own ellipse: at the angle t stands ``centre + offset cos t + swing sin t``, itself at 0.

    Attributes
    ----------
    centre, offset, swing : arrays (d, n)
    """

    centre: np.ndarray
    offset: np.ndarray
    swing: np.ndarray

    def part(self, which) -> Ellipses:
        """Those of some of the particles."""
        return Ellipses(*(rows[:, which] for rows in self))

    def at(self, cos: np.ndarray, sin: np.ndarray) -> np.ndarray:
        """The points (d, n) at angles of these cosines and sines (n,)."""
        points = self.offset * cos
        points += self.swing * sin
        points += self.centre
        return points


class MoveInfo(NamedTuple):
    """What a move reports: points evaluated, log targets that were NaN (and so refused), rounds of evaluations."""

    evaluated: int
    nan_count: int
    rounds: int


class Slices:
    """The angles between which each slice may still look; a slice shrinks towards 0, where its particle stands."""

    def __init__(self, rng: np.random.Generator, count: int) -> None:
        self.rng = rng
        self.next = rng.uniform(0.0, 2.0 * np.pi, count)
        self.low, self.high = self.next - 2.0 * np.pi, self.next.copy()

    def angles(self, tries: int) -> np.ndarray:
        """The next so many angles of every slice (tries, n), each where it looks if it missed at all before."""
        found = np.empty((tries, len(self.next)))
        for k in range(tries):
            found[k] = angle = self.next
            below = angle < 0.0
            np.copyto(self.low, angle, where=below)
            np.copyto(self.high, angle, where=~below)
            self.next = self.low + (self.high - self.low) * self.rng.random(len(angle))
        return found

    def keep(self, which: np.ndarray) -> None:
        """Go on with some of the slices."""
        self.next, self.low, self.high = self.next[which], self.low[which], self.high[which]


def elliptical_move(
    rng: np.random.Generator,
    ellipses: Ellipses,
    log_target: np.ndarray,
    evaluate: Callable[[np.ndarray, np.ndarray, np.ndarray, np.ndarray], tuple[np.ndarray, Sequence[np.ndarray]]],
) -> tuple[np.ndarray, list[np.ndarray], MoveInfo]:
    """Move every particle once along its own ellipse.

    Parameters
    ----------
    rng : Generator
    ellipses : Ellipses
        Of n particles in d dimensions, each swing a draw from the Gaussian that the target is taken over.
    log_target : array (n,)
        Log of the target over that Gaussian, where the particles stand.
    evaluate : callable
        ``evaluate(points (d, m), which (m,), cos (m,), sin (m,))`` gives the log target (m,) of points on the ellipses
        of particles ``which``, and arrays (..., m) of what else is to be kept of a point that is taken.

    Returns
    -------
    point : array (d, n)
    kept : list of arrays (..., n)
        What ``evaluate`` told of these points.
    info : MoveInfo

    Raises
    ------
    SamplerError
        If some particle has found no point after 100 angles.
    """
    n = len(log_target)
    level = log_target + np.log(rng.random(n))
    slices, active = Slices(rng, n), np.arange(n)
    point, kept = np.empty_like(ellipses.offset), []
    evaluated = nan_count = tried = rounds = 0
    while tried < SHRINK_CAP:
        tries = min(max(1, TRIED_AT_ONCE // len(active)), MOST_ANGLES, SHRINK_CAP - tried)
        angles = slices.angles(tries)
        cos, sin = np.cos(angles).ravel(), np.sin(angles).ravel()
        those = ellipses if tries == 1 else ellipses.part(np.tile(np.arange(len(active)), tries))
        points = those.at(cos, sin)
        value, told = evaluate(points, np.tile(active, tries), cos, sin)
        evaluated += len(value)
        nan_count += int(np.isnan(value).sum())
        taken = value.reshape(tries, -1) > level  # False for NaN: fails closed
        first, found = taken.argmax(axis=0), taken.any(axis=0)
        index = (first * len(active) + np.arange(len(active)))[found]
        if not kept:
            kept = [np.empty((*rows.shape[:-1], n)) for rows in told]
        point[:, active[found]] = points[:, index]
        for rows, new in zip(kept, told, strict=True):
            rows[..., active[found]] = new[..., index]
        tried, rounds = tried + tries, rounds + 1
        left = np.flatnonzero(~found)
        if not len(left):
            return point, kept, MoveInfo(evaluated, nan_count, rounds)
        active, level, ellipses = active[left], level[left], ellipses.part(left)
        slices.keep(left)
    raise SamplerError(
        f"{len(active)} of {n} particles found no point after {SHRINK_CAP} angles",
        "the records contradict the model so sharply that this is a defect: please report the logbook",
    )
