"""What a target tells of particles in one evaluation."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Evaluation(NamedTuple):
    """A target at particles x (dim, n).

    Attributes
    ----------
    log_prior_ratio : array (n,)
        Log of the prior over N(x; 0, I) [-].
    log_likelihood : array (n,)
    monitored : array (m, n)
        What must have moved on before particles count as new draws: its autocorrelation says how far they have.
    """

    log_prior_ratio: np.ndarray
    log_likelihood: np.ndarray
    monitored: np.ndarray

    def part(self, which) -> Evaluation:
        """The same of some of the particles."""
        return Evaluation(*(rows[..., which] for rows in self))
