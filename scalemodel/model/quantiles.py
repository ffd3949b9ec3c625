"""Shapes of priors: how a standard normal becomes another law, by the quantile function of that law, from a table."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri, stdtrit

KNOTS = np.linspace(-9.0, 9.0, 1801)
"""Standard normals at which a quantile function is tabulated; straight lines between, and on beyond the outer ones."""
KNOTS.setflags(write=False)

KEPT = 128
"""So many tables are kept, of 14 kB each: those of one boiler, not of all of a fleet."""


class Transform(NamedTuple):
    """T(u), rising: the identity, or straight lines between its ``values`` at the even `KNOTS` (1801,)."""

    values: np.ndarray | None

    def value(self, u, xp=None):
        """T(u), an array as u; ``xp`` is an array namespace whose arrays are symbols, where u is one."""
        if self.values is None:
            return u
        if xp is None:
            cell, part = find_cell(u, KNOTS)
            low = self.values[cell]
            return low + part * (self.values[cell + 1] - low)
        last = len(KNOTS) - 1
        place = (u - KNOTS[0]) * (last / (KNOTS[-1] - KNOTS[0]))
        cell = xp.cast(xp.clip(xp.floor(place), 0, last - 1), "int64")
        values = xp.as_tensor_variable(self.values)
        return values[cell] + (place - cell) * (values[cell + 1] - values[cell])

    def slope(self, u):
        """dT/du, an array as u."""
        if self.values is None:
            return np.ones_like(u)
        cell, _ = find_cell(u, KNOTS)
        return (self.values[cell + 1] - self.values[cell]) / (KNOTS[1] - KNOTS[0])


class Transforms:
    """The transforms of many rows, applied at once.

    Parameters
    ----------
    transforms : sequence of Transform
        One a row.
    """

    def __init__(self, transforms: Sequence[Transform]) -> None:
        self.shaped = np.flatnonzero([one.values is not None for one in transforms])
        tables = [transforms[row].values for row in self.shaped]
        self.tables = np.concatenate([np.empty(0), *tables])
        self.first = (np.arange(len(tables)) * len(KNOTS))[:, None]

    def value(self, u: np.ndarray) -> np.ndarray:
        """T(u), row by row (d, n)."""
        if not len(self.shaped):
            return u
        cell, part = find_cell(u[self.shaped], KNOTS)
        cell += self.first
        low, high = self.tables[cell], self.tables[cell + 1]
        high -= low
        high *= part
        low += high
        shaped = u.copy()
        shaped[self.shaped] = low
        return shaped

    def slope(self, u: np.ndarray) -> np.ndarray:
        """dT/du, row by row (d, n)."""
        slopes = np.ones_like(u)
        if len(self.shaped):
            cell, _ = find_cell(u[self.shaped], KNOTS)
            cell += self.first
            slopes[self.shaped] = (self.tables[cell + 1] - self.tables[cell]) / (KNOTS[1] - KNOTS[0])
        return slopes


NORMAL = Transform(None)


@cache
def student_t(degrees: float) -> Transform:
    """The quantile of Student's t, over its own value at u = 1, so that ``T(1) = 1``.

    >>> t = student_t(3.0)
    >>> float(t.value(1.0)), float(t.value(-2.0)), float(t.value(4.0))
    (1.0, -2.7629, 27.2512)
    """
    upper = -stdtrit(degrees, ndtr(-np.abs(KNOTS)))  # of the small tail, which keeps its digits
    at_one = -float(stdtrit(degrees, ndtr(-1.0)))
    return Transform(np.sign(KNOTS) * upper / at_one)


@lru_cache(maxsize=KEPT)
def mixture_of_normals(*parts: tuple[float, float, float]) -> Transform:
    """The quantile of a mixture of normals, its ``parts`` (share, mean, sd), shares adding up to 1.

    >>> a = mixture_of_normals((0.9, 0.0, 1.0), (0.1, -3.0, 1.0))
    >>> at = float(a.value(-1.0))
    >>> bool(abs(0.9 * ndtr(at) + 0.1 * ndtr(at + 3.0) - ndtr(-1.0)) < 1e-6)
    True
    """
    widest = max(sd for _, _, sd in parts)
    first = min(mean for _, mean, _ in parts) + 1.1 * widest * KNOTS[0]
    last = max(mean for _, mean, _ in parts) + 1.1 * widest * KNOTS[-1]
    at = np.linspace(first, last, 8 * len(KNOTS))
    side = np.where(at < sum(share * mean for share, mean, _ in parts), 1.0, -1.0)
    tail = sum(share * ndtr(side * (at - mean) / sd) for share, mean, sd in parts)
    return Transform(np.interp(KNOTS, side * ndtri(tail), at))  # of the small tail, which keeps its digits


def find_cell(values, knots: np.ndarray):
    """Each value's cell between evenly spaced knots, by its first one, and its place in it.

    The place is 0 to 1; beyond the outer knots it goes on from the outer cell.
    """
    last = len(knots) - 1
    place = np.subtract(values, knots[0])
    place *= last / (knots[-1] - knots[0])
    # No number, or one below: the first cell. What is below the last cell rounds down to its own by turning whole.
    cell = np.fmin(np.fmax(place, 0.0), last - 1).astype(np.intp)
    return cell, place - cell
