"""How carefully the sampler lets the likelihood in, and when it must be done again with more care."""

from __future__ import annotations

import math
from typing import NamedTuple


class Care(NamedTuple):
    """How carefully the likelihood is let in.

    Every step keeps ``ess_share`` of the effective sample size; sweeps go on until the largest autocorrelation of what
    is monitored is below ``autocorrelation_tempering``, at the last step below ``autocorrelation_final``, or to a cap.
    A step before the last that mixes slowly is left to the next one; only the last may cap the answer's quality. With
    ``rounds`` above 1 a share of the particles goes that way, and the rest are drawn at its end, see `smc.spread_out`.
    """

    ess_share: float
    autocorrelation_tempering: float
    autocorrelation_final: float
    sweep_cap_tempering: int
    sweep_cap_final: int
    rounds: int = 1

    def let_in(self, particles: int) -> int:
        """By how many particles of each population the likelihood is let in, where so many are wanted in the end."""
        return -(-particles // max(1, min(self.rounds, particles // FEWEST)))


USUAL = Care(0.8, 0.3, 0.2, 25, 60)
"""Small steps cost hardly more than large ones, as the particles mix sooner after them: a share of 0.5 takes a fifth
fewer evaluations, and errs more for all that (variance x evaluations two to ten times as high)."""

GENTLE = Care(0.9, 0.2, 0.1, 60, 60)
"""For records that contradict what was believed: few particles stand where the records want them, and large steps would
leave too little of those few. Three times the work."""

BRIEF = USUAL._replace(autocorrelation_tempering=0.5, autocorrelation_final=0.3, rounds=4)
"""For records so many that most of the work is in letting them in, which a quarter of the particles does as well."""

FEWEST = 64
"""Particles of a population that are let in, at least: fewer fit no Gaussian."""

DISAGREEMENT, LARGE_DISAGREEMENT = 8.0, 2.0
"""Populations whose log evidences lie this far apart, the first over the square root of their particles, disagree."""


def bearable_disagreement(steps: int, particles: int) -> float:
    """How far apart the log evidences may lie of populations that found the same law.

    Every step adds as much to their variance, one over the particles; what few steps bring is borne in any case.

    >>> round(bearable_disagreement(6, 500), 2), round(bearable_disagreement(16, 125), 2), bearable_disagreement(9, 5)
    (0.36, 0.95, 2.0)
    """
    return min(LARGE_DISAGREEMENT, DISAGREEMENT * math.sqrt(max(1.0, steps / FEW_STEPS) / particles))


FEW_STEPS = 9.0
"""Tempering steps that a dozen looks which agree do not need."""


def many_steps(dim: int) -> float:
    """Tempering steps that records which agree do not need, in so many coordinates.

    A step lets in so much information, and more coordinates have more to learn: a dozen looks that agree take five to
    eight steps, 30 take 10, 60 take 13 and 120 take 15.

    >>> many_steps(20), round(many_steps(140), 1)
    (9.0, 17.7)
    """
    return max(FEW_STEPS, 1.5 * dim**0.5)
