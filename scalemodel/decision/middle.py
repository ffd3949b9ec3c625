"""The middle of what was drawn: a median, and where the middle eight tenths begin and end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

EIGHT_TENTHS = (0.1, 0.5, 0.9)
"""The probabilities of the quantiles: where the middle eight tenths begin, the median, where they end."""


@dataclass(frozen=True)
class Middle:
    """The draws' median and the ends of their middle eight tenths."""

    p10: float
    p50: float
    p90: float


def middle_of(draws: np.ndarray) -> Middle:
    """Median and middle eight tenths of draws (n,)."""
    return Middle(*map(float, np.quantile(draws, EIGHT_TENTHS)))
