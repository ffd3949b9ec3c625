"""The other move: Hamiltonian Monte Carlo about a fitted Gaussian, for targets of many coordinates.

An elliptical slice must land by luck, and in many coordinates only a small turn does. Here the particle is given a
momentum and follows the Hamiltonian flow of N(0, I), which is a rotation and is solved exactly, in a few steps; before
and after each step the momentum is moved by the gradient of the log target over N(0, I). Where the two agree, a quarter
of the period is exact and its end owes nothing to its start.

Hamiltonian dynamics: Duane, Kennedy, Pendleton & Roweth (1987), Neal (2011); with a Gaussian part solved exactly:
Shahbaba, Lan, Johnson & Neal (2014). Closed to whatever is not a number, as the elliptical move is.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

FEWEST_STEPS, MOST_STEPS = 2, 48
FIRST_STEPS = 3
INTEGRATION_TIME = 0.5 * np.pi
"""A quarter of the period of N(0, I)."""

JITTER = 0.25
"""Every particle's integration time is longer or shorter by up to this share: no period of the target can trap it."""

LONGEST_GRADIENT = 100.0
"""Longer gradients are shortened to it: where the target has an edge, a particle must not be thrown out of sight."""

GOOD_ACCEPTANCE = (0.6, 0.9)
"""Below it the trajectory is cut into more steps, above it into fewer."""


class TrajectoryInfo(NamedTuple):
    """What a move reports: points evaluated, log targets that were NaN (and so refused), share that moved."""

    evaluated: int
    nan_count: int
    acceptance: float


def hamiltonian_move(
    rng: np.random.Generator,
    point: np.ndarray,
    steps: int,
    log_target: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]],
) -> tuple[np.ndarray, np.ndarray, TrajectoryInfo]:
    """Move every particle once along its own trajectory.

    Parameters
    ----------
    rng : Generator
    point : array (d, n)
        Particles, near N(0, I); not changed.
    steps : int
        Steps of a trajectory, each with one gradient.
    log_target : callable
        ``log_target(points (d, n))`` gives the log of the target over N(0, I), (n,), and its gradient (d, n).

    Returns
    -------
    point : array (d, n)
        Where each particle stands now.
    taken : array (n,) of bool
        Whether it moved; the last points given to ``log_target`` are where those that moved stand.
    info : TrajectoryInfo
    """
    n = point.shape[1]
    at, momentum = point, rng.standard_normal(point.shape)
    time = INTEGRATION_TIME / steps * rng.uniform(1.0 - JITTER, 1.0 + JITTER, n)
    half, cos, sin = 0.5 * time, np.cos(time), np.sin(time)
    value, gradient = _shortened(log_target(at))
    before = value - _energy(at, momentum)
    for _ in range(steps):
        momentum = momentum + half * gradient
        at, momentum = at * cos + momentum * sin, momentum * cos - at * sin
        value, gradient = _shortened(log_target(at))
        momentum += half * gradient
    with np.errstate(invalid="ignore", over="ignore"):
        gain = value - _energy(at, momentum) - before
    taken = np.log(rng.random(n)) < gain  # False for NaN: fails closed
    info = TrajectoryInfo((steps + 1) * n, int(np.isnan(gain).sum()), float(taken.mean()))
    return np.where(taken, at, point), taken, info


def _shortened(told: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """The gradient as it is followed: shortened where too long, none where it is not a number.

    A trajectory is reversible, and right, whatever function of the point moves its momentum; a bad one only costs
    acceptance.
    """
    value, gradient = told
    length = np.sqrt(np.einsum("dn,dn->n", gradient, gradient))
    if not np.all(length <= LONGEST_GRADIENT):
        known = np.isfinite(length)
        factor = np.where(known, LONGEST_GRADIENT / np.maximum(length, LONGEST_GRADIENT), 0.0)
        gradient = np.where(known, gradient, 0.0) * factor
    return value, gradient


def _energy(point: np.ndarray, momentum: np.ndarray) -> np.ndarray:
    """The Hamiltonian of N(0, I) (n,), which its exact flow keeps."""
    return 0.5 * (np.einsum("dn,dn->n", point, point) + np.einsum("dn,dn->n", momentum, momentum))


def next_steps(steps: int, acceptance: float) -> int:
    """In how many steps the next trajectory is made, after one of ``steps`` with this acceptance.

    >>> next_steps(6, 0.95), next_steps(6, 0.7), next_steps(6, 0.5), next_steps(6, 0.1)
    (5, 6, 8, 12)
    """
    low, high = GOOD_ACCEPTANCE
    if acceptance < 0.5 * low:
        steps *= 2
    elif acceptance < low:
        steps += max(1, steps // 3)
    elif acceptance > high:
        steps -= 1
    return min(max(steps, FEWEST_STEPS), MOST_STEPS)
