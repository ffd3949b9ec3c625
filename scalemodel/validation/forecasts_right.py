"""Were the forecasts right? How surprising a look is, ranks that should be even, stated risks that should come true."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from scalemodel.decision.change import arrays_of
from scalemodel.decision.foretelling import Foretold
from scalemodel.validation.calibration import BAND_LEVEL, BAND_SIMULATIONS

RISK_EDGES = (0.0, 0.05, 0.2, 0.5, 1.0)
"""Bins of the stated chances that a look shows the threshold or worse."""

FIXED_SEED = 1


@dataclass(frozen=True)
class Pit:
    """The randomised probability integral transform of the looks.

    Attributes
    ----------
    values : tuple of float
        ``P(grade < seen) + V P(seen)``, V even between 0 and 1 (fixed seed); they are even too where
        forecasts are right.
    distance : float
        Greatest distance of their distribution from the even one.
    band : float
        In 95 of 100 runs of right forecasts the distance is no more than this.
    """

    values: tuple[float, ...]
    distance: float
    band: float

    @property
    def inside(self) -> bool:
        return self.distance <= self.band


@dataclass(frozen=True)
class Stated:
    """Looks whose chance of showing the threshold or worse was stated in [low, high).

    ``stated`` is its mean over so many ``looks``, ``happened`` the share of them that did show it.
    """

    low: float
    high: float
    looks: int
    stated: float
    happened: float


def p_value(chances: np.ndarray, low: int, high: int) -> float:
    """How surprising a look is that says ``low`` to ``high``: twice the smaller tail that holds it, 1 at most.

    >>> p_value(np.array([0.7, 0.2, 0.06, 0.03, 0.01]), 3, 3), p_value(np.array([0.7, 0.2, 0.1, 0.0, 0.0]), 0, 1)
    (0.08, 1.0)
    """
    return float(min(1.0, 2.0 * min(chances[low:].sum(), chances[: high + 1].sum())))


def pit_of(told: Sequence[Foretold]) -> Pit | None:
    """The randomised probability integral transform of looks that were foretold."""
    if not told:
        return None
    chances, low, high, _ = arrays_of(told)
    below = np.array([c[:k].sum() for c, k in zip(chances, low, strict=True)])
    own = np.array([c[a : b + 1].sum() for c, a, b in zip(chances, low, high, strict=True)])
    values = np.clip(below + own * np.random.default_rng(FIXED_SEED).random(len(told)), 0.0, 1.0)
    return Pit(tuple(values.tolist()), float(_distance(np.sort(values))), pit_band(len(told)))


def _distance(ordered: np.ndarray) -> float:
    """Greatest distance between the distribution of ordered values (..., n) and the even one."""
    n = ordered.shape[-1]
    steps = np.arange(n)
    return np.maximum(ordered - steps / n, (steps + 1) / n - ordered).max(axis=-1)


@lru_cache(maxsize=256)
def pit_band(count: int) -> float:
    """The distance that 95 of 100 sets of ``count`` even values keep to, by simulation with a fixed seed.

    It is the Kolmogorov-Smirnov distance: 0.409 for 10 values (Massey 1951, JASA 46, 68-78).

    >>> round(pit_band(10), 2)
    0.41
    """
    rng = np.random.default_rng([FIXED_SEED, count])
    drawn = np.sort(rng.random((BAND_SIMULATIONS, count)), axis=1)
    return float(np.quantile(_distance(drawn), BAND_LEVEL))


def reliability_of(stated: np.ndarray, happened: np.ndarray) -> tuple[Stated, ...]:
    """Stated chances (n,) that a look shows the threshold or worse, against whether it did (n,), by bin.

    Bins without a look are left out.
    """
    happened = happened.astype(float)
    mine = np.digitize(stated, RISK_EDGES[1:-1])
    return tuple(
        Stated(
            RISK_EDGES[k],
            RISK_EDGES[k + 1],
            int((mine == k).sum()),
            float(stated[mine == k].mean()),
            float(happened[mine == k].mean()),
        )
        for k in range(len(RISK_EDGES) - 1)
        if (mine == k).any()
    )
