"""The sampler: adaptive tempered sequential Monte Carlo with elliptical slices, or gradient turns in many coordinates.

Del Moral, Doucet & Jasra (2006). Particles start from the prior, N(0, I); the likelihood's exponent rises from 0
to 1 in steps that keep half the effective sample size; after each step the particles are resampled and moved until
they have forgotten where they stood. Populations run side by side as one batch, and stand as chains.

Any object of the shape of `Target` can be sampled; `scalemodel.model.target.BoilerTarget` is one.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import NamedTuple, Protocol

import numpy as np

from scalemodel.errors import SamplerError
from scalemodel.inference.elliptical import elliptical_move
from scalemodel.inference.hamiltonian import FIRST_PARTS, next_parts, quarter_turn

DEFAULT_PARTICLES = 500
DEFAULT_SEED = 1
POPULATIONS = 4
LEVEL_CAP = 500


class Care(NamedTuple):
    """How carefully the likelihood is let in.

    Every step keeps ``ess_share`` of the effective sample size; sweeps go on until the largest correlation with the
    place before is below ``forgotten_tempering``, at the last step below ``forgotten_final``, or to a cap. A step
    before the last that forgets slowly is left to the next one; only the last may cap the answer's quality.
    """

    ess_share: float
    forgotten_tempering: float
    forgotten_final: float
    sweep_cap_tempering: int
    sweep_cap_final: int


USUAL = Care(0.8, 0.3, 0.2, 25, 60)
"""Small steps cost hardly more than large ones, as the particles forget sooner after them: a share of 0.5 takes a fifth
fewer passes, and errs more for all that (variance x passes two to ten times as high)."""

GENTLE = Care(0.9, 0.2, 0.1, 60, 60)
"""For records that contradict what was believed: few particles stand where the records want them, and large steps would
leave too little of those few. Three times the work."""

TURN_FROM = 40
"""From so many coordinates on, gradient turns take fewer passes than elliptical slices do (benchmarks/speed.py)."""


class Target(Protocol):
    """What the sampler asks of a target; particles x (dim, n), coordinates near N(0, 1) before the data speak."""

    dim: int

    def draw_prior(self, rng: np.random.Generator, count: int) -> np.ndarray:
        """Particles (dim, count) from the prior."""

    def evaluate(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Log of the prior over N(x; 0, I), and the log-likelihood; each (n,)."""

    def evaluate_with_gradient(self, x: np.ndarray, exponent: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """What `evaluate` gives, and the gradient (dim, n) of ``exponent`` (n,) x the log-likelihood, or near it."""

    def watched(self, x: np.ndarray) -> np.ndarray:
        """The rows (w, n) that must have forgotten where they stood."""


class SmcState(NamedTuple):
    """What the next step needs: x (dim, C P), log tilts and log-likelihoods (C P,), exponents (C,), parts of a turn."""

    x: np.ndarray
    log_tilt: np.ndarray
    log_likelihood: np.ndarray
    temperature: np.ndarray
    parts: int = FIRST_PARTS


class SmcInfo(NamedTuple):
    """What is only reported.

    ``log_evidence`` (C,) by population; ``passes`` is the number of particle evaluations over the number of
    particles; ``refused`` counts log-likelihoods that were NaN; ``capped`` says that at the last step the sweeps
    ended at their cap with a correlation above the rule; ``forgotten`` is the last step's largest correlation and
    ``final_sweeps`` its sweeps. ``gentle`` says that it was done again with more care, as the populations disagreed.
    """

    log_evidence: np.ndarray
    levels: int
    sweeps: int
    passes: float
    refused: int
    capped: bool
    forgotten: float
    final_sweeps: int = 1
    gentle: bool = False

    @property
    def disagreement(self) -> float:
        """How far apart the populations' log evidences lie [-]."""
        return float(np.ptp(self.log_evidence))


def effective_sample_size(log_weights: np.ndarray) -> np.ndarray:
    """(sum w)^2 / sum w^2 along the last axis [particles].

    >>> float(effective_sample_size(np.log([0.25, 0.25, 0.25, 0.25])))
    4.0
    """
    w = np.exp(log_weights - log_weights.max(axis=-1, keepdims=True))
    return w.sum(axis=-1) ** 2 / (w * w).sum(axis=-1)


def next_temperature(log_likelihood: np.ndarray, temperature: np.ndarray, ess_share: float = 0.5) -> np.ndarray:
    """The exponent (C,) that leaves a share of the effective sample size, by bisection, for log-likelihoods (C, P).

    The share is of the particles that have a likelihood at all: those without are lost at any exponent.
    """
    wanted = ess_share * (log_likelihood > -np.inf).sum(axis=1)
    log_likelihood = np.maximum(log_likelihood, -1e300)
    low, high = np.zeros_like(temperature), 1.0 - temperature
    whole = effective_sample_size(high[:, None] * log_likelihood) >= wanted
    for _ in range(50):
        middle = 0.5 * (low + high)
        enough = effective_sample_size(middle[:, None] * log_likelihood) >= wanted
        low, high = np.where(enough, middle, low), np.where(enough, high, middle)
    return np.where(whole, 1.0, temperature + low)


def systematic_resample(rng: np.random.Generator, weights: np.ndarray) -> np.ndarray:
    """Indices (P,) in which particle i stands floor or ceiling of P w_i times; weights (P,) sum to 1."""
    count = len(weights)
    places = (rng.random() + np.arange(count)) / count
    total = np.cumsum(weights)
    return np.minimum(np.searchsorted(total / total[-1], places), count - 1)


class Reference:
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
        self.centre = np.repeat(self.mean.T, self.size, axis=1)

    def _by_population(self, which: np.ndarray):
        bounds = np.searchsorted(which, np.arange(len(self.mean) + 1) * self.size)
        return enumerate(pairwise(bounds))

    def draw(self, rng: np.random.Generator) -> np.ndarray:
        """A draw (dim, n) for every particle."""
        z = rng.standard_normal(self.centre.shape)
        for c, (first, last) in self._by_population(np.arange(z.shape[1])):
            z[:, first:last] = self.factor[c] @ z[:, first:last]
        return self.centre + z

    def whiten(self, c: int, points: np.ndarray) -> np.ndarray:
        """Points (dim, n) of population c as the fit sees them, near N(0, I)."""
        return self.whitener[c] @ (points - self.mean[c][:, None])

    def colour(self, c: int, z: np.ndarray) -> np.ndarray:
        """The inverse of `whiten`."""
        return self.factor[c] @ z + self.mean[c][:, None]

    def excess(self, points: np.ndarray, which: np.ndarray) -> np.ndarray:
        """log N(x; 0, I) - log N(x; reference) of particles ``which`` (sorted), up to each one's constant."""
        out = -0.5 * np.einsum("dn,dn->n", points, points)
        for c, (first, last) in self._by_population(which):
            z = self.whiten(c, points[:, first:last])
            out[first:last] += 0.5 * np.einsum("dn,dn->n", z, z)
        return out


class Batch:
    """One target's populations and the moves that keep them on its tempered posterior."""

    def __init__(self, target: Target, rng: np.random.Generator, populations: int, particles: int) -> None:
        self.target, self.rng = target, rng
        self.populations, self.particles = populations, particles
        self.count = populations * particles
        self.evaluated = self.refused = 0

    def start(self) -> SmcState:
        x = self.target.draw_prior(self.rng, self.count)
        log_tilt, log_likelihood = self.target.evaluate(x)
        self.evaluated += self.count
        nan = np.isnan(log_likelihood)
        self.refused += int(nan.sum())
        if nan.all():
            raise SamplerError("no draw from the prior has a likelihood", "this is a defect: please report the logbook")
        return SmcState(x, log_tilt, np.where(nan, -np.inf, log_likelihood), np.zeros(self.populations))

    def reweigh(self, state: SmcState, ess_share: float) -> tuple[SmcState, np.ndarray]:
        """Raise the exponents, resample; also the step's share of the log evidence (C,)."""
        by_population = state.log_likelihood.reshape(self.populations, self.particles)
        temperature = next_temperature(by_population, state.temperature, ess_share)
        rise = temperature - state.temperature
        log_weights = np.where(by_population > -np.inf, rise[:, None] * by_population, -np.inf)
        peak = log_weights.max(axis=1, keepdims=True)
        weights = np.exp(log_weights - peak)
        evidence = np.log(weights.mean(axis=1)) + peak[:, 0]
        chosen = np.concatenate(
            [c * self.particles + systematic_resample(self.rng, w / w.sum()) for c, w in enumerate(weights)]
        )
        moved = state.x[:, chosen], state.log_tilt[chosen], state.log_likelihood[chosen]
        return SmcState(*moved, temperature, state.parts), evidence

    def sweep(self, state: SmcState) -> SmcState:
        """Move every particle once, on the ellipse of its population's reference."""
        return (self.slice_all if self.target.dim < TURN_FROM else self.turn_all)(state)

    def turn_all(self, state: SmcState) -> SmcState:
        """Turn every particle once; populations side by side, as they do not wait for each other."""
        reference = Reference(state.x, self.populations)
        generators = self.rng.spawn(self.populations)

        def turn(c: int):
            mine = slice(c * self.particles, (c + 1) * self.particles)
            exponent = np.full(self.particles, state.temperature[c])
            last = None

            def rise(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
                nonlocal last
                x = reference.colour(c, z)
                tilt, value, slope = self.target.evaluate_with_gradient(x, exponent)
                last = x, tilt, value
                over = tilt + exponent * value - 0.5 * np.einsum("dn,dn->n", x, x) + 0.5 * np.einsum("dn,dn->n", z, z)
                return over, reference.factor[c].T @ (slope - x) + z

            z = reference.whiten(c, state.x[:, mine])
            _, taken, info = quarter_turn(generators[c], z, state.parts, rise)
            before = state.x[:, mine], state.log_tilt[mine], state.log_likelihood[mine]
            return [np.where(taken, new, old) for new, old in zip(last, before, strict=True)], info

        with ThreadPoolExecutor(min(self.populations, os.cpu_count() or 1)) as hands:
            moved, infos = zip(*hands.map(turn, range(self.populations)), strict=True)
        self.evaluated += sum(i.evaluated for i in infos)
        self.refused += sum(i.refused for i in infos)
        parts = next_parts(state.parts, float(np.mean([i.acceptance for i in infos])))
        x, tilt, value = (np.concatenate(part, axis=-1) for part in zip(*moved, strict=True))
        return SmcState(x, tilt, value, state.temperature, parts)

    def slice_all(self, state: SmcState) -> SmcState:
        """Move every particle once by an elliptical slice."""
        exponent = np.repeat(state.temperature, self.particles)
        reference = Reference(state.x, self.populations)
        log_tilt, log_likelihood = state.log_tilt.copy(), state.log_likelihood.copy()

        def log_target(points: np.ndarray, which: np.ndarray) -> np.ndarray:
            tilt, value = self.target.evaluate(points)
            log_tilt[which], log_likelihood[which] = tilt, value
            return tilt + exponent[which] * value + reference.excess(points, which)

        now = state.log_tilt + exponent * state.log_likelihood + reference.excess(state.x, np.arange(self.count))
        x, _, info = elliptical_move(self.rng, state.x, now, reference.draw(self.rng), reference.centre, log_target)
        self.evaluated += info.evaluated
        self.refused += info.refused
        return SmcState(x, log_tilt, log_likelihood, state.temperature, state.parts)


def largest_correlation(before: np.ndarray, after: np.ndarray, populations: int) -> float:
    """Largest correlation, either way, of any row (d, C P) with its value before, centred within each population."""
    if not before.size:
        return 0.0
    shape = (before.shape[0], populations, -1)
    x, y = before.reshape(shape), after.reshape(shape)
    x, y = x - x.mean(axis=2, keepdims=True), y - y.mean(axis=2, keepdims=True)
    x, y = x.reshape(len(before), -1), y.reshape(len(before), -1)
    spread = np.sqrt((x * x).sum(axis=1) * (y * y).sum(axis=1))
    return float(np.max(np.abs((x * y).sum(axis=1)) / np.where(spread > 0.0, spread, 1.0)))


def sample(
    target: Target,
    seed: int | np.random.Generator = DEFAULT_SEED,
    particles: int = DEFAULT_PARTICLES,
    populations: int = POPULATIONS,
    progress: Callable[[float], None] = lambda share: None,
    care: Care = USUAL,
) -> tuple[SmcState, SmcInfo]:
    """Draw ``populations`` x ``particles`` particles from the posterior of ``target``.

    The same target, seed and sizes give the same draws. ``progress`` is told the share of the likelihood that has been
    let in, after every step.

    Raises
    ------
    SamplerError
        Where no draw has a likelihood, a move finds no point, or the exponent will not rise.
    """
    batch = Batch(target, np.random.default_rng(seed), populations, particles)
    state = batch.start()
    log_evidence = np.zeros(populations)
    sweeps, capped, worst = 0, False, 0.0
    for level in range(1, LEVEL_CAP + 1):
        state, evidence = batch.reweigh(state, care.ess_share)
        log_evidence += evidence
        progress(float(state.temperature.min()))
        final = bool(np.all(state.temperature >= 1.0))
        rule = care.forgotten_final if final else care.forgotten_tempering
        before = target.watched(state.x)
        earlier = sweeps
        for _ in range(care.sweep_cap_final if final else care.sweep_cap_tempering):
            state = batch.sweep(state)
            sweeps += 1
            worst = largest_correlation(before, target.watched(state.x), populations)
            if worst < rule:
                break
        else:
            capped = capped or final
        if final:
            passes = batch.evaluated / batch.count
            final_sweeps, gentle = sweeps - earlier, care is GENTLE
            return state, SmcInfo(
                log_evidence, level, sweeps, passes, batch.refused, capped, worst, final_sweeps, gentle
            )
    raise SamplerError(
        f"the likelihood's exponent stood at {state.temperature.min():.3g} after {LEVEL_CAP} steps",
        "this is a defect: please report the logbook",
    )


def sample_with_care(
    target: Target,
    seed: int | np.random.Generator,
    particles: int,
    progress: Callable[[float], None] = lambda share: None,
) -> tuple[SmcState, SmcInfo]:
    """What `sample` gives, done again with more care where the populations disagree or the records contradict.

    Log evidences of populations that found the same law differ by a few over the square root of their particles. More
    than `DISAGREEMENT` of that, or more than 2 in any case, and few particles have found what the records say. Where
    `MANY_STEPS` are needed to let the likelihood in, the records are far from what was believed: then populations,
    which move on each other's fit, can agree on what few of them have found (a risk of 12 % came out as 7 to 14 %).
    """
    rng = np.random.default_rng(seed)
    state, info = sample(target, rng, particles, progress=progress, care=USUAL)
    agreed = info.disagreement <= min(LARGE_DISAGREEMENT, DISAGREEMENT / np.sqrt(particles))
    if agreed and info.levels < MANY_STEPS:
        return state, info
    return sample(target, rng, particles, progress=progress, care=GENTLE)


DISAGREEMENT, LARGE_DISAGREEMENT = 8.0, 2.0
"""Populations whose log evidences lie this far apart, the first over the square root of their particles, disagree."""

MANY_STEPS = 9
"""Tempering steps; histories of a dozen looks that agree take five or six."""


def extend(
    target: Target,
    rng: np.random.Generator,
    state: SmcState,
    sweeps: int,
    rounds: int,
    progress: Callable[[float], None] = lambda share: None,
) -> tuple[SmcState, np.ndarray, Batch]:
    """Go on at the posterior: ``rounds`` times more draws, each set ``sweeps`` sweeps after the one before.

    Parameters
    ----------
    state : SmcState
        At the end of `sample`, every exponent 1.
    sweeps : int
        In how many the particles forget where they stood, see `SmcInfo.final_sweeps`.

    Returns
    -------
    state : SmcState
        After the last sweep.
    x : array (rounds, dim, C P)
        What was drawn.
    batch : Batch
        Which counted the evaluations.
    """
    populations = len(state.temperature)
    batch = Batch(target, rng, populations, state.x.shape[1] // populations)
    found = []
    for done in range(rounds):
        for _ in range(sweeps):
            state = batch.sweep(state)
        found.append(state.x)
        progress((done + 1) / rounds)
    return state, np.stack(found), batch
