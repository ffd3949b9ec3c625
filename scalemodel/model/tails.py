"""A normal's tail and its integral by short series, and functions of large arrays worked out block by block.

Most of what a question costs once its draws are there is such tails, at every draw and plan day, and half of what a
draw costs is such integrals, at every look. A series takes a third to a half of the time of a library's function that
keeps every digit everywhere; a block stays in the processor's cache, and leaves no large arrays behind.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.polynomial import chebyshev
from scipy.special import erfcx, ndtr

DEGREE, CENTRE = 22, 3.75
"""Degree of the series, and the argument at which its variable is 0."""

BLOCK = 16_384
"""Numbers in a block: 128 kB an array."""


@cache
def _series() -> tuple[float, ...]:
    """Coefficients of ``(1 + 2 z) erfcx(z)`` in powers of ``t = (z - 3.75) / (z + 3.75)``, the highest first."""

    def flat(t):
        z = CENTRE * (1.0 + t) / (1.0 - t)
        return (1.0 + 2.0 * z) * erfcx(z)

    return tuple(chebyshev.cheb2poly(chebyshev.chebinterpolate(flat, DEGREE))[::-1].tolist())


def scaled_tail(z):
    """erfcx(z) = exp(z^2) erfc(z) of an array z >= 0 [-], within 2e-14 of itself.

    A polynomial in ``(z - 3.75) / (z + 3.75)`` for ``(1 + 2 z) erfcx(z)``, which is between 1 and 1.3 (Shepherd &
    Laframboise 1981, Mathematics of Computation 36, 249-253); the coefficients are fitted to `scipy.special.erfcx`.

    >>> scaled_tail(np.array([0.0, 1.0, 1e9])) / erfcx([0.0, 1.0, 1e9])
    array([1., 1., 1.])
    """
    return _polynomial(_series(), 1.0 - 2.0 * CENTRE / (z + CENTRE)) / (1.0 + 2.0 * z)


def _polynomial(coefficients: tuple[float, ...], t):
    """The polynomial of these coefficients, the highest first, at an array t (Horner)."""
    first, second, *others = coefficients
    value = first * t + second
    for coefficient in others:
        value *= t
        value += coefficient
    return value


INTEGRAL_DEGREE, NARROW = 20, 1.5
"""Degree of the polynomial for a normal's integral, and the half-width of a stretch on which it keeps 3e-14."""


@cache
def normal_integral(low: float, high: float) -> Callable:
    """Phi of arrays held between ``low`` and ``high``, both included: a polynomial, or `ndtr` where that is too wide.

    >>> float(normal_integral(-0.8, 1.7174)(np.array(1.0)) - ndtr(1.0)) < 1e-14
    True
    """
    centre, half = 0.5 * (low + high), 0.5 * (high - low)
    if half > NARROW:
        return ndtr
    fitted = chebyshev.chebinterpolate(lambda t: ndtr(centre + half * t), INTEGRAL_DEGREE)
    coefficients = tuple(chebyshev.cheb2poly(fitted)[::-1].tolist())
    return lambda at: _polynomial(coefficients, (at - centre) * (1.0 / half))


def in_blocks(function: Callable[..., np.ndarray], *arrays) -> np.ndarray:
    """``function`` of arrays that broadcast, element by element, worked out some rows of the first axis at a time.

    >>> float(in_blocks(np.add, np.ones((3, 20_000)), np.arange(20_000.0))[2, -1])
    20000.0
    """
    shape = np.broadcast_shapes(*map(np.shape, arrays))
    width = int(np.prod(shape[1:]))
    if len(shape) < 2 or shape[0] * width <= BLOCK:
        return function(*arrays)
    answer, rows = np.empty(shape), max(1, BLOCK // width)
    by_row = [np.ndim(array) == len(shape) and np.shape(array)[0] > 1 for array in arrays]
    for start in range(0, shape[0], rows):
        part = slice(start, start + rows)
        answer[part] = function(*(a[part] if cut else a for a, cut in zip(arrays, by_row, strict=True)))
    return answer
