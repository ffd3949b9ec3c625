"""Do the looks fit the model? Grades as the posterior would have them, and the look that disagrees with the rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scalemodel.inference.draws import Posterior
from scalemodel.inference.look_probabilities import grade_probabilities
from scalemodel.logbook.records import Inspection
from scalemodel.logbook.units import ROUNDING
from scalemodel.model.grading import GRADE_COUNT

LEAST_PROBABILITY = 1e-200
"""Keeps the weight of a draw that all but excludes a look a number."""

SURPRISING = 0.02
"""A look stands out where grades at least as unlikely as its own have no more than this probability in all."""


@dataclass(frozen=True)
class LookSurprise:
    """A look against all the other records.

    ``probability`` is that of its own grade or range from all but itself; ``at_least_as_unlikely`` that of every grade
    no likelier than the likeliest that it names; ``expected`` the likeliest grade.
    """

    look: Inspection
    probability: float
    at_least_as_unlikely: float
    expected: int

    @property
    def stands_out(self) -> bool:
        return self.at_least_as_unlikely < SURPRISING


@dataclass(frozen=True)
class GradeCount:
    """How often a grade was seen at a site, against what the posterior expects of the same looks."""

    site: str
    grade: int
    observed: float
    expected: float
    low: int
    high: int

    @property
    def odd(self) -> bool:
        """Outside the middle 98 % of what would be seen."""
        return not self.low - 0.5 <= self.observed <= self.high + 0.5


def truncated(weights: np.ndarray) -> np.ndarray:
    """Importance weights (n,) cut at ``sqrt(n)`` times their mean (Ionides 2008)."""
    return np.minimum(weights, np.sqrt(len(weights)) * weights.mean())


def surprises(posterior: Posterior) -> tuple[LookSurprise, ...]:
    """Every look against all the other records, the most surprising first.

    Leaving a look out is a reweighing of the draws by one over its probability (Gelfand, Dey & Chang 1992), weights
    cut at the square root of the draws times their mean (Ionides 2008), so that no draw can take all the weight.
    """
    found = []
    chances = grade_probabilities(posterior)
    for (_, look), chance in zip(posterior.model.timeline.looks, chances, strict=True):
        own = slice(look.grade_low, look.grade_high + 1)
        weight = truncated(1.0 / np.maximum(chance[own].sum(axis=0), LEAST_PROBABILITY))
        left_out = (chance * weight).sum(axis=1) / weight.sum()
        tail = left_out[left_out <= left_out[own].max() * (1.0 + ROUNDING)].sum()
        found.append(LookSurprise(look, float(left_out[own].sum()), float(tail), int(left_out.argmax())))
    return tuple(sorted(found, key=lambda s: round(s.at_least_as_unlikely, 9)))  # by date where they are alike


def counts_by_grade(posterior: Posterior) -> tuple[GradeCount, ...]:
    """Grades seen against grades expected, by site; a range counts in shares, as the posterior divides it.

    The middle 98 % is drawn from the posterior, one grade a look and draw.
    """
    looks = [look for _, look in posterior.model.timeline.looks]
    if not looks:
        return ()
    chances = grade_probabilities(posterior)
    rng = posterior.fresh("predictive")
    steps = chances.cumsum(axis=1)
    drawn = (rng.random((len(looks), 1, posterior.count)) > steps).sum(axis=1)
    mean = chances.mean(axis=2)
    found = []
    for site in dict.fromkeys(look.site for look in looks):
        rows = [k for k, look in enumerate(looks) if look.site == site]
        for grade in range(GRADE_COUNT):
            observed = 0.0
            for k in rows:
                own = slice(looks[k].grade_low, looks[k].grade_high + 1)
                if looks[k].grade_low <= grade <= looks[k].grade_high:
                    observed += mean[k, grade] / mean[k, own].sum()
            low, high = np.quantile((drawn[rows] == grade).sum(axis=0), (0.01, 0.99))
            found.append(GradeCount(site, grade, float(observed), float(mean[rows, grade].sum()), int(low), int(high)))
    return tuple(found)
