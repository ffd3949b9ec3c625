"""The other move: a quarter turn on the same ellipse, steered by the gradient, for targets of many coordinates.

An elliptical slice must land by luck, and in many coordinates only a small turn does. Here the particle is given a
momentum and turned about the reference in a few parts; before and after each part the momentum is kicked by how the
target rises over the reference. Where the two agree, the quarter turn is exact and its end owes nothing to its start.

Hamiltonian dynamics: Duane, Kennedy, Pendleton & Roweth (1987), Neal (2011); with a Gaussian part solved exactly:
Shahbaba, Lan, Johnson & Neal (2014). Closed to whatever is not a number, as the elliptical move is.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

FEWEST_PARTS, MOST_PARTS = 2, 48
FIRST_PARTS = 3
QUARTER_TURN = 0.5 * np.pi
JITTER = 0.25
"""Every particle turns by a quarter give or take this share, so that no period of the target can trap it."""

HARDEST_KICK = 100.0
"""The longest gradient that is followed: where the target has an edge, a particle must not be thrown out of sight."""

GOOD_ACCEPTANCE = (0.6, 0.9)
"""Below it a turn is cut into more parts, above it into fewer."""


class TurnInfo(NamedTuple):
    """What a turn reports: points evaluated, log targets that were NaN and refused, share of particles that moved."""

    evaluated: int
    refused: int
    acceptance: float


def quarter_turn(
    rng: np.random.Generator,
    point: np.ndarray,
    parts: int,
    rise: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]],
) -> tuple[np.ndarray, np.ndarray, TurnInfo]:
    """Turn every particle once.

    Parameters
    ----------
    rng : Generator
    point : array (d, n)
        Particles, near N(0, I); not changed.
    parts : int
        Parts in which a turn is made, each with one gradient.
    rise : callable
        ``rise(points (d, n))`` gives the log of the target over N(0, I), (n,), and its gradient (d, n).

    Returns
    -------
    point : array (d, n)
        Where each particle stands now.
    taken : array (n,) of bool
        Whether it moved; the last points given to ``rise`` are where those that moved stand.
    info : TurnInfo
    """
    n = point.shape[1]
    at, momentum = point, rng.standard_normal(point.shape)
    turn = QUARTER_TURN / parts * rng.uniform(1.0 - JITTER, 1.0 + JITTER, n)
    half, cos, sin = 0.5 * turn, np.cos(turn), np.sin(turn)
    value, slope = _followed(rise(at))
    before = value - _energy(at, momentum)
    for _ in range(parts):
        momentum = momentum + half * slope
        at, momentum = at * cos + momentum * sin, momentum * cos - at * sin
        value, slope = _followed(rise(at))
        momentum += half * slope
    with np.errstate(invalid="ignore", over="ignore"):
        gain = value - _energy(at, momentum) - before
    taken = np.log(rng.random(n)) < gain  # False for NaN: fails closed
    info = TurnInfo((parts + 1) * n, int(np.isnan(gain).sum()), float(taken.mean()))
    return np.where(taken, at, point), taken, info


def _followed(risen: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """The gradient as it is followed: shortened where too long, none where it is not a number.

    A turn is reversible, and right, whatever function of the point kicks it; a bad one only costs acceptance.
    """
    value, slope = risen
    length = np.sqrt(np.einsum("dn,dn->n", slope, slope))
    if not np.all(length <= HARDEST_KICK):
        known = np.isfinite(length)
        slope = np.where(known, slope, 0.0) * np.where(known, HARDEST_KICK / np.maximum(length, HARDEST_KICK), 0.0)
    return value, slope


def _energy(point: np.ndarray, momentum: np.ndarray) -> np.ndarray:
    """What an exact turn keeps (n,)."""
    return 0.5 * (np.einsum("dn,dn->n", point, point) + np.einsum("dn,dn->n", momentum, momentum))


def next_parts(parts: int, acceptance: float) -> int:
    """In how many parts the next turn is made, after one of ``parts`` with this acceptance.

    >>> next_parts(6, 0.95), next_parts(6, 0.7), next_parts(6, 0.5), next_parts(6, 0.1)
    (5, 6, 8, 12)
    """
    low, high = GOOD_ACCEPTANCE
    if acceptance < 0.5 * low:
        parts *= 2
    elif acceptance < low:
        parts += max(1, parts // 3)
    elif acceptance > high:
        parts -= 1
    return min(max(parts, FEWEST_PARTS), MOST_PARTS)
