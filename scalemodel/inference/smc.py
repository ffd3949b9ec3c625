"""The sampler: adaptive tempered sequential Monte Carlo with elliptical slices, or Hamiltonian moves.

Del Moral, Doucet & Jasra (2006). Particles start from the prior, N(0, I); the likelihood's exponent rises from 0
to 1 in steps that keep half the effective sample size; after each step the particles are resampled and moved until
their autocorrelation is small. Populations run side by side as one batch, and stand as chains.

Any object of the shape of `Target` can be sampled; `scalemodel.model.target.BoilerTarget` is one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple, Protocol

import numpy as np

from scalemodel.errors import SamplerError
from scalemodel.inference.care import BRIEF, GENTLE, USUAL, Care, bearable_disagreement, many_steps
from scalemodel.inference.elliptical import elliptical_move
from scalemodel.inference.fitted_gaussian import ArrowGaussian, LeaveOneOutGaussian
from scalemodel.inference.hamiltonian import FIRST_STEPS, hamiltonian_move, next_steps
from scalemodel.inference.memory import keep_freed_arrays
from scalemodel.model.evaluation import Evaluation

DEFAULT_PARTICLES = 500
DEFAULT_SEED = 1
POPULATIONS = 4
STEP_CAP = 500

BLOCK = 700
"""Particles that slices have evaluated at once, at most, so that memory does not grow with their number."""

HAMILTONIAN_FROM = 40
"""From so many coordinates on, Hamiltonian moves are faster than slices (benchmarks/speed.py)."""


class Target(Protocol):
    """What the sampler asks of a target; particles x (dim, n), coordinates near N(0, 1) before the data speak.

    The first ``static_dim`` coordinates may go with any other; those behind them follow in time.
    """

    dim: int
    static_dim: int

    def draw_prior(self, rng: np.random.Generator, count: int) -> np.ndarray:
        """Particles (dim, count) from the prior."""

    def evaluate(self, x: np.ndarray) -> Evaluation:
        """The log prior ratio, the log-likelihood and what is monitored, in one pass."""

    def evaluate_with_gradient(self, x: np.ndarray, exponent: np.ndarray) -> tuple[Evaluation, np.ndarray]:
        """What `evaluate` gives, and the gradient (dim, n) of ``exponent`` (n,) x the log-likelihood, or near it."""


class SmcState(NamedTuple):
    """What the next step needs: x (dim, C P), the target there, exponents (C,), steps of a Hamiltonian trajectory."""

    x: np.ndarray
    evaluation: Evaluation
    exponent: np.ndarray
    steps: int = FIRST_STEPS

    @property
    def log_likelihood(self) -> np.ndarray:
        return self.evaluation.log_likelihood


class SmcInfo(NamedTuple):
    """What is only reported.

    ``log_evidence`` (C,) by population; ``tempering_steps`` and ``sweeps`` count those; ``evaluations`` is the number
    of evaluations a particle; ``nan_count`` counts log-likelihoods that were NaN, and refused; ``cap_hit`` says that at
    the last step the sweeps ended at their cap with an autocorrelation above the rule; ``autocorrelation`` is the last
    step's largest and ``final_sweeps`` its sweeps. ``gentle`` says that it was done again with more care, as the
    populations disagreed.
    """

    log_evidence: np.ndarray
    tempering_steps: int
    sweeps: int
    evaluations: float
    nan_count: int
    cap_hit: bool
    autocorrelation: float
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


def next_exponent(log_likelihood: np.ndarray, exponent: np.ndarray, ess_share: float = 0.5) -> np.ndarray:
    """The exponent (C,) that leaves a share of the effective sample size, by bisection, for log-likelihoods (C, P).

    The share is of the particles that have a likelihood at all: those without are lost at any exponent.
    """
    wanted = ess_share * (log_likelihood > -np.inf).sum(axis=1)
    log_likelihood = np.maximum(log_likelihood, -1e300)
    low, high = np.zeros_like(exponent), 1.0 - exponent
    whole = effective_sample_size(high[:, None] * log_likelihood) >= wanted
    for _ in range(50):
        middle = 0.5 * (low + high)
        enough = effective_sample_size(middle[:, None] * log_likelihood) >= wanted
        low, high = np.where(enough, middle, low), np.where(enough, high, middle)
    return np.where(whole, 1.0, exponent + low)


def systematic_resample(rng: np.random.Generator, weights: np.ndarray) -> np.ndarray:
    """Indices (P,) in which particle i stands floor or ceiling of P w_i times; weights (P,) sum to 1."""
    count = len(weights)
    places = (rng.random() + np.arange(count)) / count
    total = np.cumsum(weights)
    return np.minimum(np.searchsorted(total / total[-1], places), count - 1)


class Batch:
    """One target's populations and the moves that keep them on its tempered posterior."""

    def __init__(self, target: Target, rng: np.random.Generator, populations: int, particles: int) -> None:
        self.target, self.rng = target, rng
        self.populations, self.particles = populations, particles
        self.count = populations * particles
        self.evaluated = self.nan_count = 0

    def start(self) -> SmcState:
        x = self.target.draw_prior(self.rng, self.count)
        evaluation = self.evaluate(x)
        self.evaluated += self.count
        nan = np.isnan(evaluation.log_likelihood)
        self.nan_count += int(nan.sum())
        if nan.all():
            raise SamplerError("no draw from the prior has a likelihood", "this is a defect: please report the logbook")
        evaluation = evaluation._replace(log_likelihood=np.where(nan, -np.inf, evaluation.log_likelihood))
        return SmcState(x, evaluation, np.zeros(self.populations))

    def reweigh(self, state: SmcState, ess_share: float) -> tuple[SmcState, np.ndarray]:
        """Raise the exponents, resample; also the step's share of the log evidence (C,)."""
        by_population = state.log_likelihood.reshape(self.populations, self.particles)
        exponent = next_exponent(by_population, state.exponent, ess_share)
        raised = exponent - state.exponent
        log_weights = np.where(by_population > -np.inf, raised[:, None] * by_population, -np.inf)
        peak = log_weights.max(axis=1, keepdims=True)
        weights = np.exp(log_weights - peak)
        evidence = np.log(weights.mean(axis=1)) + peak[:, 0]
        chosen = np.concatenate(
            [c * self.particles + systematic_resample(self.rng, w / w.sum()) for c, w in enumerate(weights)]
        )
        return SmcState(state.x[:, chosen], state.evaluation.part(chosen), exponent, state.steps), evidence

    def sweep(self, state: SmcState) -> SmcState:
        """Move every particle once, on the Gaussian that was fitted to the other populations."""
        return (self.elliptical_sweep if self.target.dim < HAMILTONIAN_FROM else self.hamiltonian_sweep)(state)

    def hamiltonian_sweep(self, state: SmcState) -> SmcState:
        """Move every particle along a trajectory."""
        fit = ArrowGaussian(state.x, self.populations, self.target.static_dim)
        exponent = np.repeat(state.exponent, self.particles)
        last = None

        def log_target(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            nonlocal last
            x = fit.colour(z)
            there, gradient = self.target.evaluate_with_gradient(x, exponent)
            last = x, *there
            tempered = there.log_prior_ratio + exponent * there.log_likelihood
            over = tempered - 0.5 * np.einsum("dn,dn->n", x, x) + 0.5 * np.einsum("dn,dn->n", z, z)
            gradient = fit.colour_back(gradient - x)
            gradient += z
            return over, gradient

        _, taken, info = hamiltonian_move(self.rng, fit.whiten(state.x), state.steps, log_target)
        x, *there = (np.where(taken, new, old) for new, old in zip(last, (state.x, *state.evaluation), strict=True))
        self.evaluated += info.evaluated
        self.nan_count += info.nan_count
        return SmcState(x, Evaluation(*there), state.exponent, next_steps(state.steps, info.acceptance))

    def elliptical_sweep(self, state: SmcState) -> SmcState:
        """Move every particle once by an elliptical slice."""
        exponent = np.repeat(state.exponent, self.particles)
        ellipses, tilt = LeaveOneOutGaussian(state.x, self.populations).ellipses(self.rng, state.x)

        def log_target(points: np.ndarray, which: np.ndarray, cos: np.ndarray, sin: np.ndarray):
            there = self.evaluate(points)
            tempered = there.log_prior_ratio + exponent[which] * there.log_likelihood
            return tempered + tilt.along(which, cos, sin), there

        here = state.evaluation
        now = here.log_prior_ratio + exponent * here.log_likelihood + tilt.along(slice(None), 1.0, 0.0)
        x, kept, info = elliptical_move(self.rng, ellipses, now, log_target)
        self.evaluated += info.evaluated
        self.nan_count += info.nan_count
        return SmcState(x, Evaluation(*kept), state.exponent, state.steps)

    def evaluate(self, x: np.ndarray) -> Evaluation:
        """The target at particles x (dim, n), at most `BLOCK` at once."""
        blocks = -(-x.shape[1] // BLOCK)
        if blocks < 2:
            return self.target.evaluate(x)
        parts = [self.target.evaluate(np.ascontiguousarray(some)) for some in np.array_split(x, blocks, axis=1)]
        return Evaluation(*(np.concatenate(rows, axis=-1) for rows in zip(*parts, strict=True)))


def largest_autocorrelation(before: np.ndarray, after: np.ndarray, populations: int) -> float:
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
    drawn = sample_within(STEP_CAP + 1, target, np.random.default_rng(seed), particles, populations, progress, care)
    if drawn is None:
        raise SamplerError(
            f"the likelihood's exponent had not risen to 1 after {STEP_CAP} steps",
            "this is a defect: please report the logbook",
        )
    return drawn


def sample_within(
    steps: float,
    target: Target,
    rng: np.random.Generator,
    particles: int,
    populations: int,
    progress: Callable[[float], None],
    care: Care,
) -> tuple[SmcState, SmcInfo] | None:
    """What `sample` gives, or None as soon as it is known that so many ``steps`` are needed."""
    keep_freed_arrays()
    batch = Batch(target, rng, populations, care.let_in(particles))
    state = batch.start()
    log_evidence = np.zeros(populations)
    step, sweeps, final = 0, 0, False
    while not final:
        step += 1
        if step >= steps:
            return None
        state, evidence = batch.reweigh(state, care.ess_share)
        log_evidence += evidence
        progress(float(state.exponent.min()))
        final = bool(np.all(state.exponent >= 1.0))
        rule = care.autocorrelation_final if final else care.autocorrelation_tempering
        before = state.evaluation.monitored
        cap, made, worst = care.sweep_cap_final if final else care.sweep_cap_tempering, 0, np.inf
        while made < cap and not worst < rule:
            state = batch.sweep(state)
            made += 1
            worst = largest_autocorrelation(before, state.evaluation.monitored, populations)
        sweeps += made
    more = -(-particles // batch.particles) - 1
    if more:
        state = spread_out(batch, state, made, more, particles)
    sweeps += more * made
    evaluations, cap_hit = batch.evaluated / (populations * particles), not worst < rule
    return state, SmcInfo(
        log_evidence, step, sweeps, evaluations, batch.nan_count, cap_hit, worst, made, care is GENTLE
    )


def spread_out(batch: Batch, state: SmcState, sweeps: int, rounds: int, particles: int) -> SmcState:
    """As many ``particles`` a population as are wanted, out of fewer that are on the posterior already.

    What the few become ``sweeps`` sweeps later are new draws, so these are taken ``rounds`` times, and stand beside the
    first: all that a population lacked was their number, and letting the likelihood in is the larger part of the work.
    """
    states = [state, *later_states(batch, state, sweeps, rounds)]
    both = zip(*((one.x, *one.evaluation) for one in states), strict=True)
    x, *there = (side_by_side(rows, batch.populations, particles) for rows in both)
    return SmcState(x, Evaluation(*there), states[-1].exponent, states[-1].steps)


def later_states(batch: Batch, state: SmcState, sweeps: int, rounds: int) -> Iterator[SmcState]:
    """What the particles become, ``rounds`` times, each time after so many ``sweeps`` more."""
    for _ in range(rounds):
        for _ in range(sweeps):
            state = batch.sweep(state)
        yield state


def side_by_side(rounds: Sequence[np.ndarray], populations: int, most: int | None = None) -> np.ndarray:
    """Rounds of draws, each (..., C P), as one (..., C R P), population after population, ``most`` in each.

    >>> side_by_side([np.array([1, 2, 10, 20]), np.array([3, 4, 30, 40])], 2, 3)
    array([ 1,  2,  3, 10, 20, 30])
    """
    by_population = [draws.reshape(*draws.shape[:-1], populations, -1) for draws in rounds]
    together = np.concatenate(by_population, axis=-1)[..., :most]
    return together.reshape(*together.shape[:-2], -1)


def sample_with_care(
    target: Target,
    seed: int | np.random.Generator,
    particles: int,
    progress: Callable[[float], None] = lambda share: None,
) -> tuple[SmcState, SmcInfo]:
    """What `sample` gives, done again with more care where the populations disagree or the records contradict.

    More than a `bearable_disagreement` of the populations, and few particles have found what the records say. Where
    `many_steps` are needed to let the likelihood in, the records are far from what was believed: then populations,
    which move on each other's fit, can agree on what few of them have found (a risk of 12 % came out as 7 to 14 %).
    """
    rng = np.random.default_rng(seed)
    for care in (BRIEF, USUAL) if target.dim >= HAMILTONIAN_FROM else (USUAL,):
        drawn = sample_within(many_steps(target.dim), target, rng, particles, POPULATIONS, progress, care)
        if drawn is None:
            break
        if drawn[1].disagreement <= bearable_disagreement(drawn[1].tempering_steps, care.let_in(particles)):
            return drawn
    return sample(target, rng, particles, progress=progress, care=GENTLE)


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
        After how many the particles count as new draws, see `SmcInfo.final_sweeps`.

    Returns
    -------
    state : SmcState
        After the last sweep.
    x : array (rounds, dim, C P)
        What was drawn.
    batch : Batch
        Which counted the evaluations.
    """
    populations = len(state.exponent)
    batch = Batch(target, rng, populations, state.x.shape[1] // populations)
    found = []
    for later in later_states(batch, state, sweeps, rounds):
        found.append(later.x)
        progress(len(found) / rounds)
    return later, np.stack(found), batch
