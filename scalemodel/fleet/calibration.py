"""Simulation-based calibration of a population: is the truth of a whole fleet where pooling says?

A population is drawn from what is believed before any boiler, a fleet from it, findings from that; the fleet is pooled
as any other, and the truth ranked among the draws (Talts et al. 2018, as `scalemodel.validation.calibration`). It tries
pooling whole: rounds, weights by blocks, and steps.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from scalemodel.answers.assessment import Means
from scalemodel.fleet.pool import pool
from scalemodel.fleet.population import Trait, of_standard
from scalemodel.fleet.traits import Key, key_of_unknown, keys_of, traits_of
from scalemodel.inference.posterior import no_progress
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.priors import Prior
from scalemodel.model.quantiles import KNOTS
from scalemodel.model.target import model_of
from scalemodel.validation.calibration import CALIBRATION_PARTICLES, RankHistogram, rank_histograms, ranks_of
from scalemodel.validation.fleet_size import LAST_DAY
from scalemodel.validation.fleets import invent
from scalemodel.validation.simulated_boilers import simulate

BOILERS, LOOKS = 8, 4
"""Of each invented fleet, and at each boiler: small, as small fleets settle worst."""


class Population(NamedTuple):
    """A population: its unknowns, and middle and scale of each (K,)."""

    traits: tuple[Trait, ...]
    mu: np.ndarray
    tau: np.ndarray


@dataclass(frozen=True)
class Calibration:
    """Where the truths of many fleets stood: a histogram for each kind of unknown, and how many pools settled."""

    histograms: tuple[RankHistogram, ...]
    fleets: int
    settled: int

    @property
    def by_name(self) -> Mapping[str, RankHistogram]:
        return {one.name: one for one in self.histograms}


def invent_fleet(rng: np.random.Generator, boilers: int = BOILERS, looks: int = LOOKS) -> list[BoilerFacts]:
    """Histories of boilers of one place, which share its water and inspectors; findings are places to be filled."""
    seed = int(rng.integers(2**31))
    return [invent(rng, number, seed, looks, LAST_DAY) for number in range(boilers)]


def draw_population(histories: Sequence[BoilerFacts], rng: np.random.Generator) -> Population:
    """A population as it is believed before any boiler, of all unknowns that these histories share."""
    traits = traits_of((keys_of(model_of(facts)[0]) for facts in histories), histories[0].beliefs)
    mu, log_tau = of_standard(rng.standard_normal(2 * len(traits)), traits)
    return Population(traits, mu, np.exp(log_tau))


def findings(histories: Sequence[BoilerFacts], population: Population, rng: np.random.Generator) -> list[BoilerFacts]:
    """The histories with findings that follow from truths drawn from the population, boiler by boiler."""
    place = {(one.name, one.subject): k for k, one in enumerate(population.traits)}
    models = [model_of(facts)[0] for facts in histories]
    return [simulate(model, rng, _truth(model, place, population, rng))[1] for model in models]


def _truth(
    model: BoilerModel, place: Mapping[Key, int], population: Population, rng: np.random.Generator
) -> np.ndarray:
    x = model.draw_prior(rng, 1)
    for row, (unknown, prior) in enumerate(model.unknowns.items()):
        k = place.get(key_of_unknown(unknown, model))
        if k is not None:
            shares, at = zip(*population.traits[k].parts, strict=True)
            z = rng.standard_t(4.0) + rng.choice(at, p=shares)
            x[row] = standard_of(prior, population.mu[k] + population.tau[k] * z)
    return x


def standard_of(prior: Prior, value: float) -> float:
    """The standard normal that a prior makes this value of; at most 9 either way.

    >>> from scalemodel.model.priors import STRENGTH
    >>> round(standard_of(STRENGTH, float(STRENGTH.value(1.3))), 9)
    1.3
    """
    at = (value - prior.mean) / prior.sd
    if prior.transform.values is not None:
        return float(np.interp(at, prior.transform.values, KNOTS))
    return float(np.clip(at, KNOTS[0], KNOTS[-1]))


def rank_fleet(
    number: int, seed: int, boilers: int = BOILERS, looks: int = LOOKS, particles: int = CALIBRATION_PARTICLES
) -> tuple[dict[str, int], bool]:
    """Fleet ``number`` of a run: the ranks of its truth, by "capture mean", "capture spread" and so on; if it settled.

    Of several of a kind (two inspectors) one is taken at random, as ranks of one fleet are not independent.
    """
    rng = np.random.default_rng([seed, number])
    histories = invent_fleet(rng, boilers, looks)
    truth = draw_population(histories, rng)
    found = pool(findings(histories, truth, rng), LAST_DAY, Means(workers=1), number, particles)
    return ranks_of(_pairs(found.draws, truth, rng), rng), found.settled


def _pairs(
    drawn: Mapping[Key, tuple[np.ndarray, np.ndarray]], truth: Population, rng: np.random.Generator
) -> dict[str, tuple[float, np.ndarray]]:
    pairs = {}
    for k in rng.permutation(len(truth.traits)):
        trait = truth.traits[k]
        if (trait.name, trait.subject) in drawn:
            mu, tau = drawn[trait.name, trait.subject]
            pairs[f"{trait.name} mean"] = float(truth.mu[k]), mu
            if not trait.shared:
                pairs[f"{trait.name} spread"] = float(truth.tau[k]), tau
    return pairs


def calibrate(
    fleets: int,
    seed: int,
    boilers: int = BOILERS,
    looks: int = LOOKS,
    particles: int = CALIBRATION_PARTICLES,
    done: Callable[[float], None] = no_progress,
) -> Calibration:
    """Rank the truths of many fleets; ``done`` is told the share of them that is behind.

    The same seed gives the same fleets, however many are run. MissingPackageError where PyMC is not installed.
    """
    ranks, settled = [], 0
    for number in range(fleets):
        each, has_settled = rank_fleet(number, seed, boilers, looks, particles)
        ranks.append(each)
        settled += has_settled
        done(len(ranks) / fleets)
    words = {name: name for name in sorted({name for each in ranks for name in each})}
    return Calibration(rank_histograms(ranks, words), fleets, settled)
