"""The Gaussians that guide the moves, each fitted to the particles of all other populations."""

from __future__ import annotations

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
    many particles; benchmarks/speed.py shows no bias from it. The fit leans towards N(0, I) as if ``dim`` particles of
    it had been seen too.
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
        covariance = (others * covariance + dim * np.eye(dim)) / (others + dim)
        self.factor = np.linalg.cholesky(covariance)
        self.whitener = np.linalg.inv(self.factor)

    def of_population(self, c: int) -> slice:
        """The particles of population c."""
        return slice(c * self.size, (c + 1) * self.size)

    def ellipses(self, rng: np.random.Generator, x: np.ndarray) -> tuple[Ellipses, Tilt]:
        """An ellipse for every particle x (dim, n), through a draw from its fit, and the tilt along each."""
        z, there = np.empty_like(x), rng.standard_normal(x.shape)
        offset, swing, centre = np.empty_like(x), np.empty_like(x), np.repeat(self.mean.T, self.size, axis=1)
        for c in range(len(self.mean)):
            mine = self.of_population(c)
            offset[:, mine] = x[:, mine] - self.mean[c][:, None]
            z[:, mine] = self.whitener[c] @ offset[:, mine]
            swing[:, mine] = self.factor[c] @ there[:, mine]
        return Ellipses(centre, offset, swing), Tilt.of(centre, offset, swing, z, there)

    def whiten(self, c: int, points: np.ndarray) -> np.ndarray:
        """Points (dim, n) of population c as the fit sees them, near N(0, I)."""
        return self.whitener[c] @ (points - self.mean[c][:, None])

    def colour(self, c: int, z: np.ndarray) -> np.ndarray:
        """The inverse of `whiten`."""
        return self.factor[c] @ z + self.mean[c][:, None]
