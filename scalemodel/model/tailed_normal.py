"""The law of an error of reading: a normal core with exponential tails, each side with its own.

    h(e) = C phi(e)                           for -k1 <= e <= k2
    h(e) = C phi(k1) exp( k1 (e + k1))        below -k1
    h(e) = C phi(k2) exp(-k2 (e - k2))        above  k2

The least favourable law of Huber (1964, Annals of Mathematical Statistics 35, 73-101) where both ends are alike; there
a contamination eps has ``2 phi(k)/k - 2 Phi(-k) = eps/(1 - eps)``, so k = 1.7174 stands for 2 %. It is log-concave:
the likelihood ratio of an ordered look is monotone, so a worse grade can only raise the risk; and no single error
pulls with more force than k.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri

from scalemodel.model.tails import normal_integral

LOG_ROOT_TWO_PI = 0.5 * float(np.log(2.0 * np.pi))


class Parts(NamedTuple):
    """Mass left of a point, by stretch of the law: lower tail, core, and what is still to come of the upper tail.

    Differences of two points are taken stretch by stretch, so that nothing cancels on either side.
    """

    lower: np.ndarray
    core: np.ndarray
    upper: np.ndarray


@dataclass(frozen=True)
class TailedNormal:
    """The law with tails that begin at ``-lower`` and ``upper`` standard deviations, both positive [-].

    >>> law = TailedNormal(0.8, 1.7174)
    >>> round(law.norm, 4), round(float(law.cdf(0.0)), 4)
    (0.8617, 0.5603)
    >>> float(law.mass(-np.inf, -40.0)), float(law.mass(40.0, np.inf))  # exact however far out
    (7.4944e-15, 1.2811e-30)
    """

    lower: float
    upper: float

    @cached_property
    def norm(self) -> float:
        """C, which makes the mass one [-]."""
        (k1, k2), (f1, f2) = (self.lower, self.upper), (_phi(self.lower), _phi(self.upper))
        return float(1.0 / (ndtr(k2) - ndtr(-k1) + f1 / k1 + f2 / k2))

    @cached_property
    def nothing(self) -> Parts:
        """The parts left of minus infinity, numbers."""
        return Parts(0.0, self.norm * float(self.integral(-self.lower)), self.norm * _phi(self.upper) / self.upper)

    @cached_property
    def everything(self) -> Parts:
        """The parts left of infinity, numbers."""
        return Parts(self.norm * _phi(self.lower) / self.lower, self.norm * float(self.integral(self.upper)), 0.0)

    @cached_property
    def integral(self) -> Callable:
        """The normal integral of arrays within the core."""
        return normal_integral(-self.lower, self.upper)

    def parts(self, at, xp=np, integral=None) -> Parts:
        """Mass left of points, by stretch; of arrays infinite ones too.

        Each tail is an exponential of what is held on its own side of its turn. ``xp`` and ``integral`` are an array
        namespace and its normal integral.
        """
        integral = integral or self.integral
        lower, upper = xp.minimum(at, -self.lower) + self.lower, xp.maximum(at, self.upper) - self.upper
        return Parts(
            self.everything.lower * xp.exp(self.lower * lower),
            self.norm * integral(xp.minimum(xp.maximum(at, -self.lower), self.upper)),
            self.nothing.upper * xp.exp(-self.upper * upper),
        )

    @staticmethod
    def stretches(low: Parts, high: Parts):
        """The mass between two points by stretch, from their parts, none negative."""
        return high.core - low.core, high.lower - low.lower, low.upper - high.upper

    def between(self, low: Parts, high: Parts):
        """The mass between two points, from their parts, with all its digits in either tail."""
        core, lower, upper = self.stretches(low, high)
        return core + lower + upper

    def mass(self, low, high):
        """P(low < e <= high) of arrays that broadcast, infinite ends allowed, ``low <= high``."""
        return self.between(*(self.parts(np.asarray(end, dtype=float)) for end in (low, high)))

    def cdf(self, at):
        """P(e <= at) [-]."""
        return self.mass(-np.inf, at)

    def density(self, at):
        """h(at) [-]."""
        held, fall = self._fall(at)
        return self.norm * _phi(held) * np.exp(fall)

    def log_density(self, at, xp=np):
        """log h(at) [-], finite wherever ``at`` is."""
        held, fall = self._fall(at, xp)
        return float(np.log(self.norm)) - LOG_ROOT_TWO_PI - 0.5 * held * held + fall

    def _fall(self, at, xp=np):
        """Points held within the core, and by how much the log density falls from there to them, at most 0."""
        held = xp.clip(at, -self.lower, self.upper)
        beyond = at - held
        return held, xp.minimum(self.lower * beyond, -self.upper * beyond)

    def score(self, at):
        """How log h falls: ``-d log h / d at``, bounded by the turns, -lower to upper [-]."""
        return np.clip(at, -self.lower, self.upper)

    def quantile(self, p):
        """The point left of which there is the mass ``p`` in (0, 1), the inverse of `cdf`."""
        p = np.asarray(p, dtype=float)
        low, high = self.everything.lower, self.nothing.upper
        core = (np.clip(p, low, 1.0 - high) - low) / self.norm + ndtr(-self.lower)
        below = np.log(np.minimum(p, low) / low) / self.lower - self.lower
        above = self.upper - np.log(np.minimum(1.0 - p, high) / high) / self.upper
        return np.where(p < low, below, np.where(1.0 - p < high, above, ndtri(core)))

    def draw(self, rng: np.random.Generator, size=None):
        """Errors from the law."""
        return self.quantile(rng.random(size))


def _phi(x):
    """The normal density."""
    return np.exp(-0.5 * np.square(x) - LOG_ROOT_TWO_PI)


FARTHEST_TURN = 5.0
"""Where a turn lies farther out, the digits of the core's mass beside it would be lost; it stands for 2e-8."""


def turn_of(contamination: float) -> float:
    """Where the tails of the least favourable law begin [sd] for a contamination, the same on both sides.

    Solves ``2 phi(k)/k - 2 Phi(-k) = eps/(1 - eps)`` (Huber 1964) by halving; at most `FARTHEST_TURN`.

    >>> round(turn_of(0.02), 4), turn_of(0.0)
    (1.7174, 5.0)
    """
    low, high, wanted = 1e-3, FARTHEST_TURN, contamination / (1.0 - contamination)
    if 2.0 * float(_phi(high) / high - ndtr(-high)) >= wanted:
        return high
    for _ in range(80):
        middle = 0.5 * (low + high)
        beyond = 2.0 * float(_phi(middle) / middle - ndtr(-middle))
        low, high = (middle, high) if beyond > wanted else (low, middle)
    return 0.5 * (low + high)


LOOK_ERROR = TailedNormal(0.8, 1.7174)
"""Of a look, in reading errors. The mild side falls off more slowly: people overlook scale more often than they invent
it, and it is the side on which a mistake hurts, so a look that is too mild pulls least."""

MEASURE_ERROR = TailedNormal(1.7174, 1.7174)
"""Of a thickness reading and of a recovered mass, in log-sds: room for 2 % of gross errors."""
