"""The Gaussians that guide the moves, each fitted to the particles of all other populations."""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np

from scalemodel.inference.elliptical import Ellipses


class Tilt(NamedTuple):
    """log N(x; 0, I) - log N(x; fit) along every particle's ellipse, up to each one's constant.

    Both exponents are squares of lengths, so along ``c + o cos t + s sin t`` they are quadratic in cos t and sin t, and
    no point on an ellipse need be whitened. Arrays (n,): what cos t, sin t, their squares and their product bear.
    """

    cos: np.ndarray
    sin: np.ndarray
    cos_cos: np.ndarray
    sin_sin: np.ndarray
    cos_sin: np.ndarray

    @classmethod
    def of(cls, centre, offset, swing, z, there) -> Tilt:
        """From the ellipses (dim, n), and their offsets and swings whitened."""

        def dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
            return np.einsum("dn,dn->n", a, b)

        return cls(
            -dot(centre, offset),
            -dot(centre, swing),
            0.5 * (dot(z, z) - dot(offset, offset)),
            0.5 * (dot(there, there) - dot(swing, swing)),
            dot(z, there) - dot(offset, swing),
        )

    def along(self, which, cos, sin) -> np.ndarray:
        """The tilt (m,) of particles ``which`` (m,) at angles of these cosines and sines."""
        to_cos, to_sin, cos_cos, sin_sin, cos_sin = (one[which] for one in self)
        return cos * (to_cos + cos_cos * cos + cos_sin * sin) + sin * (to_sin + sin_sin * sin)


class LeaveOneOutGaussian:
    """Gaussians that draw the ellipses: each population moves on the fit of the other populations.

    A particle's own place then does not shape its ellipse, and each population's law is kept exactly by a move that
    holds the others still. All are moved at once, which ties them together only through the means and covariances of
    many particles; benchmarks/speed.py shows no bias from it. The fit leans towards N(0, I) as if so many particles of
    it had been seen too as a coordinate is fitted on: ``dim``.
    """

    def __init__(self, x: np.ndarray, populations: int) -> None:
        dim, count = x.shape
        self.size = count // populations
        each = x.reshape(dim, populations, self.size).transpose(1, 0, 2)
        sums = each.sum(axis=2)
        squares = each @ each.transpose(0, 2, 1)
        others = count - self.size
        self.mean = (sums.sum(axis=0) - sums) / others
        covariance = (squares.sum(axis=0) - squares) / others - self.mean[:, :, None] * self.mean[:, None, :]
        leaning = self.fitted_on(dim)
        covariance = (others * covariance + leaning * np.eye(dim)) / (others + leaning)
        self.factor, self.whitener = self.factors(covariance)

    def fitted_on(self, dim: int) -> int:
        """How many numbers a coordinate's law is fitted by."""
        return dim

    def factors(self, covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What turns N(0, I) into Gaussians of these covariances (C, dim, dim), and its inverse; lower triangles."""
        factor = np.linalg.cholesky(covariance)
        return factor, np.linalg.inv(factor)

    def of_population(self, c: int) -> slice:
        """The particles of population c."""
        return slice(c * self.size, (c + 1) * self.size)

    def each(self, matrices: np.ndarray, points: np.ndarray) -> np.ndarray:
        """Every population's own matrix (C, dim, dim) times its points (dim, n)."""
        found = np.empty_like(points)
        for c, matrix in enumerate(matrices):
            mine = self.of_population(c)
            found[:, mine] = matrix @ points[:, mine]
        return found

    @cached_property
    def centre(self) -> np.ndarray:
        """Every particle's mean (dim, n)."""
        return np.repeat(self.mean.T, self.size, axis=1)

    def ellipses(self, rng: np.random.Generator, x: np.ndarray) -> tuple[Ellipses, Tilt]:
        """An ellipse for every particle x (dim, n), through a draw from its fit, and the tilt along each."""
        there, offset = rng.standard_normal(x.shape), x - self.centre
        z, swing = self.each(self.whitener, offset), self.each(self.factor, there)
        return Ellipses(self.centre, offset, swing), Tilt.of(self.centre, offset, swing, z, there)

    def whiten(self, x: np.ndarray) -> np.ndarray:
        """Particles x (dim, n) as the fit sees them, near N(0, I)."""
        return self.each(self.whitener, x - self.centre)

    def colour(self, z: np.ndarray) -> np.ndarray:
        """The inverse of `whiten`."""
        x = self.each(self.factor, z)
        x += self.centre
        return x

    def colour_back(self, gradient: np.ndarray) -> np.ndarray:
        """Slopes by whitened particles (dim, n), from those by particles."""
        return self.each(self.factor.transpose(0, 2, 1), gradient)


class ArrowGaussian(LeaveOneOutGaussian):
    """The same for many coordinates that follow in time: an arrow of a dense head and a banded tail.

    The first ``head`` coordinates may go with any; each of the others is fitted on these, and on the `BAND` before it
    in time. What a growth innovation has to do with one of years before goes through the unknowns of the boiler, or
    through what lies between; a dense fit would take it, for the most part, from chance.
    """

    def __init__(self, x: np.ndarray, populations: int, head: int) -> None:
        self.head = head
        super().__init__(x, populations)

    def fitted_on(self, dim: int) -> int:
        return min(dim, self.head + BAND)

    def factors(self, covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        head, tail = slice(0, self.head), slice(self.head, None)
        first, first_inverse = super().factors(covariance[:, head, head])
        # The tail's regression on the head, as rows of the factor; what it leaves of the tail's covariance is banded.
        rows = covariance[:, tail, head] @ first_inverse.transpose(0, 2, 1)
        last_inverse = banded_whitener(covariance[:, tail, tail] - rows @ rows.transpose(0, 2, 1))
        last = np.linalg.inv(last_inverse)
        factor, whitener = np.zeros_like(covariance), np.zeros_like(covariance)
        factor[:, head, head], factor[:, tail, head], factor[:, tail, tail] = first, rows, last
        whitener[:, head, head], whitener[:, tail, tail] = first_inverse, last_inverse
        whitener[:, tail, head] = -last_inverse @ rows @ first_inverse
        return factor, whitener


BAND = 3
"""So many coordinates before it in time are what an innovation is fitted on."""


def banded_whitener(covariance: np.ndarray) -> np.ndarray:
    """Rows (C, J, J) that make each coordinate, less its regression on the `BAND` before it, of variance 1.

    From covariances (C, J, J); the sparse inverse factor that loses least (Vecchia 1988; Schafer, Katzfuss & Owhadi
    2021, SIAM Journal on Scientific Computing 43).
    """
    count = covariance.shape[1]
    found, one = np.zeros_like(covariance), np.arange(count)
    before = one[:, None] - np.arange(1, BAND + 1)
    there = before >= 0
    before = np.where(there, before, 0)
    # Where there are fewer before it, the places that are left are those of strangers of variance 1.
    among = covariance[:, before[:, :, None], before[:, None, :]] * (there[:, :, None] & there[:, None, :])
    among += np.where(there, 0.0, 1.0)[:, :, None] * np.eye(BAND)
    with_it = covariance[:, before, one[:, None]] * there
    slopes = np.linalg.solve(among, with_it[..., None])[..., 0]
    found[:, np.broadcast_to(one[:, None], before.shape)[there], before[there]] = -slopes[:, there]
    found[:, one, one] = 1.0
    left = covariance[:, one, one] - (slopes * with_it).sum(axis=2)
    return found / np.sqrt(left)[:, :, None]
