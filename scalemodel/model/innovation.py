"""The innovation: a standard normal that says how an interval's growth fell out, whatever its mean and irregularity.

Growth is the root that `growth.root_growth` describes, and the root v is nearly the quantile of its own law at the
innovation w: ``v = T(w, ln s)``, s = sqrt(nu/mu). T is read from a table by straight lines, rises with w, and what it
misses is kept as a tilt, ``phi(v) * 2/(1 + x/mu) * dT/dw / phi(w)``, within a per cent or so of 1: the law is exact.

A short interval, or a water that scales hardly, has a large s. Its growth is then nearly nothing with now and then a
jump, its root nearly half a normal; in w it is as round as any other, which is what a sampler asks for.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from scipy.special import erfcx, ndtr, ndtri

from scalemodel.model.growth import draw_roots, root_growth
from scalemodel.model.quantiles import find_cell

INNOVATIONS = np.linspace(-8.0, 8.0, 321)
LOG_SHARPNESS = np.linspace(np.log(0.05), np.log(5000.0), 78)
"""Knots of w and of ln s; beyond the outer ones T goes straight on in w and stays as it is in s, still exactly."""

_ROOTS = np.sinh(np.linspace(-4.5, 4.5, 1201)) / 5.0
_LEAST = 1e-300


class Root(NamedTuple):
    """The root v, and how it rises with the innovation w and with ln s; arrays of one shape."""

    value: np.ndarray
    by_innovation: np.ndarray
    by_log_sharpness: np.ndarray


def innovation_of_root(root, sharpness):
    """The exact standard normal of a root v, ``ndtri(F(v))`` for the law of v at sharpness s = sqrt(nu/mu) [-].

    ``F(v) = Phi(v) + phi(v) R(b)``, ``b = sqrt(v^2 + 4/s^2)`` and R the Mills ratio, is the inverse-Gaussian
    distribution (Chhikara & Folks 1989); above 0 its complement ``phi(v) (R(v) - R(b))`` is taken, which keeps its
    digits.

    >>> float(innovation_of_root(0.7, 1e-9)), float(innovation_of_root(-0.6744898, 1e9))
    (0.7, 0.0)
    """
    root = np.asarray(root, dtype=float)
    density = np.exp(-0.5 * root * root) / np.sqrt(2.0 * np.pi)
    mirrored = _mills(np.sqrt(root * root + 4.0 / sharpness**2))
    below = ndtr(root) + density * mirrored
    above = density * (_mills(np.maximum(root, 0.0)) - mirrored)
    return np.where(root > 0.0, -ndtri(np.clip(above, _LEAST, 1.0)), ndtri(np.clip(below, _LEAST, 1.0)))


def _mills(z):
    """Phi(-z) / phi(z)."""
    return np.sqrt(0.5 * np.pi) * erfcx(z * np.sqrt(0.5))


@cache
def root_table() -> np.ndarray:
    """T at the knots, flat, row after row of ln s."""
    rows = [np.interp(INNOVATIONS, innovation_of_root(_ROOTS, s), _ROOTS) for s in np.exp(LOG_SHARPNESS)]
    return np.ravel(rows)


def find_root(innovation, log_sharpness) -> Root:
    """T(w, ln s), arrays of one shape."""
    column, across = find_cell(innovation, INNOVATIONS)
    row, along = _sharpness_cell(log_sharpness)
    width, height = INNOVATIONS[1] - INNOVATIONS[0], LOG_SHARPNESS[1] - LOG_SHARPNESS[0]
    table = root_table()
    # The table is flat, row after row: the other corners of the cell stand one place and one row further.
    corner = row * len(INNOVATIONS) + column
    low, high = table[corner], table[corner + len(INNOVATIONS)]
    # Bilinear: value = low + along step + across (rise + along bend), bend being how the rise differs between the rows.
    rise = table[corner + 1] - low
    bend = table[corner + len(INNOVATIONS) + 1] - high - rise
    step = high - low
    slope = rise + along * bend
    value = low + along * step + across * slope
    # Beyond the table's first and last row `along` is held at its end, so that nothing changes with ln s there.
    inside = (log_sharpness > LOG_SHARPNESS[0]) & (log_sharpness < LOG_SHARPNESS[-1])
    return Root(value, slope / width, np.where(inside, (step + across * bend) / height, 0.0))


def _sharpness_cell(log_sharpness):
    row, along = find_cell(log_sharpness, LOG_SHARPNESS)
    return row, np.clip(along, 0.0, 1.0)


def log_sharpness(mean, irregularity):
    """ln s = ln sqrt(nu/mu) [-] of a mean mu >= 0 [mg/cm2] and an irregularity nu > 0 [mg/cm2]."""
    return 0.5 * np.log(irregularity / np.maximum(mean, _LEAST))


def increment(mean, irregularity, innovation):
    """Growth from an innovation, and the tilt that makes it inverse-Gaussian exactly.

    Parameters
    ----------
    mean : array (...)
        mu >= 0 [mg/cm2].
    irregularity : array (...)
        nu > 0 [mg/cm2]; the shape is mu^2 / nu, the variance nu mu.
    innovation : array (...)
        w [-].

    Returns
    -------
    amount : array (...)
        The growth x [mg/cm2], not negative; it rises with w.
    tilt : array (...)
        Near 1 [-]; the density of w is ``phi(w) * tilt``.

    >>> amount, tilt = increment(2.0, 0.5, 0.0)
    >>> round(float(amount), 2), round(float(tilt), 2)  # the median
    (1.78, 1.0)
    """
    mean, irregularity, innovation = np.broadcast_arrays(mean, irregularity, innovation)
    return growth_of_root(find_root(innovation, log_sharpness(mean, irregularity)), mean, irregularity, innovation)


def growth_of_root(root: Root, mean, irregularity, innovation):
    """What `increment` gives, from a root that was found already."""
    amount, tilt = root_growth(mean, irregularity, root.value)
    turned = np.exp(0.5 * (innovation - root.value) * (innovation + root.value))
    return amount, tilt * root.by_innovation * turned


def invert_increment(amount, mean, irregularity):
    """The innovation w [-] for which `increment` gives ``amount`` > 0 [mg/cm2].

    >>> float(increment(2.0, 0.4, invert_increment(0.5, 2.0, 0.4))[0])
    0.5
    """
    return innovation_for((amount - mean) / np.sqrt(irregularity * amount), log_sharpness(mean, irregularity))


def innovation_for(root, log_sharpness):
    """The innovation w [-] at which T(w, ln s) is ``root``: the inverse of `find_root`, arrays that broadcast."""
    root, log_sharpness = np.broadcast_arrays(root, log_sharpness)
    row, along = _sharpness_cell(log_sharpness)
    last = len(INNOVATIONS) - 2
    width = INNOVATIONS[1] - INNOVATIONS[0]
    guess = innovation_of_root(root, np.exp(np.clip(log_sharpness, LOG_SHARPNESS[0], LOG_SHARPNESS[-1])))
    column = np.clip((guess - INNOVATIONS[0]) / width, 0, last).astype(np.intp)
    table, wide = root_table(), len(INNOVATIONS)

    def knot(column):
        corner = row * wide + column
        return table[corner] + along * (table[corner + wide] - table[corner])

    for _ in range(wide):
        low, high = knot(column), knot(column + 1)
        moved = np.clip(column + (root >= high).astype(np.intp) - (root < low), 0, last)
        if np.array_equal(moved, column):
            break
        column = moved
    return INNOVATIONS[0] + width * (column + (root - low) / (high - low))


def draw_innovations(rng: np.random.Generator, mean, irregularity):
    """Innovations w, shaped as ``mean``, from their law, which is nearly N(0, 1)."""
    return innovation_for(draw_roots(rng, mean, irregularity), log_sharpness(mean, irregularity))
