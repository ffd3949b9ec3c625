"""The look model: how looks read a deposit, and two log-normal readings beside them.

A look judges the latent value ``x = ln(r D + 0.02)``, D the deposit on the reference surface and r its site's relative
deposit. It says a grade up to m with probability ``P(g <= m) = H((c_m + shift - x) / sigma)``: c_m the cut point above
grade m, sigma the method's reading error, H the law of `tailed_normal.LOOK_ERROR`. What H is taken of is the probit
input. A look that says a range has the sum of its grades' probabilities.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from scalemodel.logbook.records import WORST_PATCH, BoilerFacts
from scalemodel.model import priors, unknowns
from scalemodel.model.grading import GRADE_COUNT, HOUSE_GRADING, Grading, grading_of
from scalemodel.model.priors import LOOK_FLOOR_MG_CM2
from scalemodel.model.tailed_normal import MEASURE_ERROR, Parts, TailedNormal
from scalemodel.model.unknowns import Unknown


def visible_log(deposit, xp=np):
    """``ln(D + 0.02)`` [ln mg/cm2] of a deposit [mg/cm2] of any shape: bare metal has a logarithm too."""
    return xp.log(deposit + LOOK_FLOOR_MG_CM2)


class LookModel(NamedTuple):
    """How looks read; arrays that broadcast with the deposits, or numbers.

    Attributes
    ----------
    relative : array (...)
        r, what is graded there against the deposit of the reference surface [-].
    precision : array (...)
        One over the method's reading error sigma [-].
    shift : array (...)
        The inspector's shift of every cut point [-]; positive means milder grades.
    beside : array (...)
        What the site carries over r beside the deposit that is asked about, as descales left it otherwise [mg/cm2].
    grading : Grading
        Where the grades begin, and the law of the error.

    >>> look = LookModel(1.0, 1 / 0.35, 0.0)
    >>> round(float(look.probability(2, 2, 2.98)), 4), float(look.probability(0, 4, 2.0))
    (0.8495, 1.0)
    """

    relative: np.ndarray | float
    precision: np.ndarray | float
    shift: np.ndarray | float
    beside: np.ndarray | float = 0.0
    grading: Grading = HOUSE_GRADING

    @classmethod
    def of_unknowns(cls, log_relative, log_error, shift, xp=np, grading: Grading = HOUSE_GRADING) -> LookModel:
        """From the unknowns on their priors' scales."""
        return cls(xp.exp(log_relative), xp.exp(-log_error), shift, grading=grading)

    def part(self, draws) -> LookModel:
        """The same for some of the draws: an index along the only axis of arrays (n,)."""
        return LookModel(*(value if np.ndim(value) == 0 else value[draws] for value in self))

    def latent(self, deposit, xp=np):
        """What is judged [ln mg/cm2], of deposits on the reference surface [mg/cm2]."""
        return visible_log(self.relative * (deposit + self.beside), xp)

    def inputs(self, bounds, latent):
        """Probit inputs [-]: how far bounds of grades [ln mg/cm2] lie above the latent values, in reading errors."""
        return (bounds + (self.shift - latent)) * self.precision

    def probability(self, low: int, high: int, deposit):
        """Probability of "grade ``low`` to ``high``" in (0, 1], at deposits on the reference surface [mg/cm2]."""
        latent = self.latent(deposit)
        bounds = self.grading.log_bounds
        return self.grading.error.mass(*(self.inputs(bounds[bound], latent) for bound in (low, high + 1)))

    def grade_probabilities(self, deposit) -> np.ndarray:
        """Probability of every grade (grades, ...) at deposits (...) [mg/cm2]; they sum to 1."""
        return np.stack([self.probability(grade, grade, deposit) for grade in range(GRADE_COUNT)])

    def draw_grade(self, rng: np.random.Generator, deposit: float) -> int:
        """The grade that one look shows of a deposit [mg/cm2]; of a model of numbers."""
        latent = self.latent(deposit)
        cdf = self.grading.error.cdf
        steps = [float(cdf(self.inputs(bound, latent))) for bound in self.grading.log_bounds[1:]]
        return int(np.searchsorted(steps, rng.random()))


def look_model(
    value: Callable[[Unknown], np.ndarray], facts: BoilerFacts, site: str, method: str, inspector: str, xp=np
) -> LookModel:
    """How a look at ``site`` by ``method`` and ``inspector`` reads, ``value`` giving unknowns on their prior's scale.

    ``xp`` is the array namespace of what ``value`` gives.
    """
    log_relative = log_relative_of(value, facts, site)
    error, shift = value(unknowns.reading(method)), value(unknowns.leniency(inspector))
    return LookModel.of_unknowns(log_relative, error, shift, xp, grading_of(facts.beliefs))


def log_relative_of(value: Callable[[Unknown], np.ndarray], facts: BoilerFacts, site: str) -> np.ndarray | float:
    """What grades and thresholds at ``site`` are of, against the mean deposit of the reference surface [ln].

    A site has its relative deposit; where grades are of the worst patch, that is what its patch has over the whole.
    """
    return sum((factor * value(unknown) for unknown, factor in log_relative_terms(facts, site).items()), 0.0)


def log_relative_terms(facts: BoilerFacts, site: str) -> dict[Unknown, float]:
    """The unknowns that `log_relative_of` adds up, each with its factor."""
    whole = {} if site == facts.reference_site else {unknowns.relative(site): 1.0}
    return {**whole, unknowns.PATCH: 1.0} if facts.boiler.graded == WORST_PATCH else whole


class Looks(NamedTuple):
    """The looks of a boiler as arrays: where each was made, by whom and how, and between which bounds.

    Attributes
    ----------
    state, site, method, inspector : arrays (looks,)
        Rows of the deposits and of the boiler's look model.
    bounds : array (2, looks, 1)
        Below which and above which each lies not [ln mg/cm2]; infinite at the ends of the scale.
    error : TailedNormal
        The law of a look's error.
    """

    state: np.ndarray
    site: np.ndarray
    method: np.ndarray
    inspector: np.ndarray
    bounds: np.ndarray
    error: TailedNormal

    @classmethod
    def of(
        cls,
        places: Sequence[tuple[int, int, int, int]],
        grades: Sequence[tuple[int, int]],
        grading: Grading = HOUSE_GRADING,
    ) -> Looks:
        """From each look's state, site, method and inspector, by row, and its lowest and highest grade."""
        state, site, method, inspector = np.reshape(places, (-1, 4)).astype(int).T
        low, high = np.reshape(grades, (-1, 2)).astype(int).T
        bounds = np.stack([grading.log_bounds[low], grading.log_bounds[high + 1]])[:, :, None]
        return cls(state, site, method, inspector, bounds, grading.error)

    def model(self, subjects: LookModel) -> LookModel:
        """Each look's own model (looks, n), from one whose rows are sites, methods and inspectors."""
        return LookModel(subjects.relative[self.site], subjects.precision[self.method], subjects.shift[self.inspector])

    def probabilities(self, subjects: LookModel, states: np.ndarray) -> np.ndarray:
        """Probability of every look (looks, n), from the deposits (K, n) [mg/cm2]."""
        model = self.model(subjects)
        return self.masses(model.inputs(self.bounds, model.latent(states[self.state])))

    def masses(self, inputs: np.ndarray) -> np.ndarray:
        """Probability of every look (looks, n), from the probit inputs of its bounds (2, looks, n)."""
        low, high = zip(*self.error.parts(inputs), strict=True)
        return self.error.between(Parts(*low), Parts(*high))

    def slopes(self, model: LookModel, latent: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Probability of every look, and the slopes of its logarithm by shift and by precision; each (looks, n).

        By the latent value the slope is minus that by the shift.
        """
        inputs = model.inputs(self.bounds, latent)
        chance, density = self.masses(inputs), self.error.density(inputs)
        density[0] *= -1.0  # the lower bound of a look takes away
        density /= np.where(chance > 0.0, chance, np.inf)
        by_shift = density.sum(axis=0) * model.precision
        finite = np.isfinite(self.bounds)
        by_precision = (density * np.where(finite, inputs, 0.0)).sum(axis=0) / model.precision
        return chance, by_shift, by_precision


class Measurement(NamedTuple):
    """A reading of a deposit, log-normal with tails about it, 0.02 mg/cm2 added to both; ``log_sd`` [-]."""

    log_sd: float

    def _miss(self, measured, expected, xp):
        return (np.log(measured + LOOK_FLOOR_MG_CM2) - visible_log(expected, xp)) / self.log_sd

    def log_density(self, measured: float, expected, xp=np):
        """Log density of ln(measured) [-] about what is expected (...), both [mg/cm2]."""
        return MEASURE_ERROR.log_density(self._miss(measured, expected, xp), xp) - float(np.log(self.log_sd))

    def draw(self, rng: np.random.Generator, expected):
        """A reading of what is expected (...) [mg/cm2]; on next to nothing it may fall below zero, by at most 0.02."""
        error = MEASURE_ERROR.draw(rng, np.shape(expected) or None)
        drawn = np.exp(visible_log(expected) + self.log_sd * error) - LOOK_FLOOR_MG_CM2
        return drawn if np.ndim(expected) else float(drawn)


THICKNESS = Measurement(priors.THICKNESS_LOG_SD)
"""Of a thickness reading, against the site's mean deposit."""

RECOVERED = Measurement(priors.RECOVERED_LOG_SD)
"""Of the scale mass weighed after a descale."""
