"""Simulation-based calibration: does the posterior hold the truth as often as it says?

Talts, Betancourt, Simpson, Vehtari & Gelman (2018, arXiv 1804.06788): draw a truth from the prior, findings from the
truth, a posterior from the findings; the rank of the truth among L draws is then uniform on 0 to L. Histories are
invented anew each time, so this tries every unknown, and the estimator whole: law, likelihood, priors and sampler.

Two things it cannot see: an estimator that ignores the findings (its ranks are flat too; the resolution of its stated
risks tells it), and a law that real boilers do not follow.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from typing import NamedTuple

import numpy as np
from scipy.special import chdtri

from scalemodel.errors import BadValueError
from scalemodel.inference.posterior import Posterior
from scalemodel.inference.posterior import solve as solve_honestly
from scalemodel.inference.smc import POPULATIONS
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.look import visible_log
from scalemodel.model.target import model_of
from scalemodel.model.unknowns import Kind, Unknown
from scalemodel.validation.histories import invent_history
from scalemodel.validation.simulated_boilers import simulate, truth_alone

CALIBRATION_PARTICLES = 125
"""Particles a population while calibrating: a quarter of a question's, so flaws of small populations show."""

RANKS, BINS = 200, 20
"""The truth is ranked among RANKS - 1 draws, and the RANKS ranks are gathered in BINS bins."""

LEVELS = (0.5, 0.8, 0.95)
"""Central intervals whose coverage is counted."""

ALARM_LEVEL, ALARM_Z = 0.999, 4.0
"""A histogram is off past this quantile of chi-square, a coverage or a lean past so many standard errors."""

BAND_LEVEL, BAND_SIMULATIONS = 0.95, 10_000

GROUPS = {
    Kind.CAPTURE.value: "capture fraction",
    Kind.ACTIVATION.value: "temperature effect",
    Kind.DEGASSING.value: "degassing share",
    Kind.DISPERSION.value: "irregularity of growth",
    Kind.FLOOR.value: "supply that no water is without",
    Kind.CONCENTRATION.value: "concentration of a water",
    Kind.STEP.value: "move of a water's concentration",
    Kind.READING.value: "reading error of a method",
    Kind.LENIENCY.value: "leniency of an inspector",
    Kind.RELATIVE.value: "deposit of another site",
    Kind.RESIDUE.value: "residue of a descale",
    Kind.SITE_RESIDUE.value: "residue of a descale at another site",
    Kind.INITIAL.value: "deposit at an unknown start",
    Kind.USE.value: "use without a record",
    "deposit": "deposit at the last record",
}
"""What is ranked: the kinds of unknown, and what each is; and the deposit. Where a water stood at its first test is
not: no invented history tests a water twice by the same quantity."""

Solve = Callable[[BoilerFacts, int, int], Posterior]


class Replication(NamedTuple):
    """One replication: the truth as a posterior of a single draw, the posterior fitted to its findings, and chance."""

    truth: Posterior
    fitted: Posterior
    rng: np.random.Generator


@dataclass(frozen=True)
class Coverage:
    """How often a central interval held the truth, against its level, in binomial standard errors."""

    level: float
    share: float
    z: float


@dataclass(frozen=True)
class RankHistogram:
    """Where the truths of one unknown stood among its posterior draws.

    Attributes
    ----------
    name, words : str
    replications : int
        Truths ranked, at most one a replication, so that all are independent.
    counts : tuple of int, length 20
        Truths by bin of rank; low ranks are truths below the draws.
    band : (int, int)
        All bins of a flat histogram are within it in 95 of 100 runs.
    chi_square, limit : float
        Against flatness, and its 99.9 % quantile at 19 degrees of freedom.
    lean_z : float
        Mean rank in standard errors from the middle; positive where truths lie above the draws.
    coverage : tuple of Coverage
    """

    name: str
    words: str
    replications: int
    counts: tuple[int, ...]
    band: tuple[int, int]
    chi_square: float
    limit: float
    lean_z: float
    coverage: tuple[Coverage, ...]

    @property
    def faults(self) -> tuple[str, ...]:
        """What is off, in words; empty where the unknown is calibrated as far as these replications tell."""
        found = []
        if abs(self.lean_z) > ALARM_Z:
            found.append(f"draws too {'low' if self.lean_z > 0 else 'high'} ({self.lean_z:+.1f} standard errors)")
        for c in self.coverage:
            if abs(c.z) > ALARM_Z:
                kind = "narrow" if c.z < 0 else "wide"
                found.append(f"intervals too {kind} ({c.level:.0%} intervals held the truth in {c.share:.0%})")
        if self.chi_square > self.limit and not found:
            found.append(f"ranks not flat (chi-square {self.chi_square:.1f}, limit {self.limit:.1f})")
        return tuple(found)


def run_replication(number: int, seed: int, particles: int, solve: Solve, invent=invent_history) -> Replication:
    """Replication ``number`` of a run: the same number and seed give the same one, however many are run."""
    rng = np.random.default_rng([seed, number])
    model, supplies = model_of(invent(rng))
    x, found = simulate(model, rng)
    own, other = (int(s) for s in rng.choice(2**31, size=2, replace=False))
    return Replication(truth_alone(model, supplies, x, own), solve(found, other, particles), rng)


def run_replications(
    replications: int,
    seed: int,
    particles: int = CALIBRATION_PARTICLES,
    solve: Solve | None = None,
    invent: Callable[[np.random.Generator], BoilerFacts] = invent_history,
) -> Iterator[Replication]:
    """Replications one after the other.

    Parameters
    ----------
    replications, seed : int
    particles : int
        In each of the four populations, at least 50.
    solve : callable, optional
        ``solve(facts, seed, particles)`` gives the Posterior that is tried; the house's own by default.
    invent : callable, optional
        ``invent(rng)`` gives a history whose findings are still places to be filled.

    Raises
    ------
    BadValueError
        If there are too few particles to rank a truth among.
    """
    fewest = -(-(RANKS - 1) // POPULATIONS)
    if particles < fewest:
        raise BadValueError("particles", particles, f"{fewest} or more in each of the four populations")
    solve = solve_honestly if solve is None else solve
    return (run_replication(k, seed, particles, solve, invent) for k in range(replications))


def rank_of(truth: float, draws: np.ndarray, rng: np.random.Generator) -> int:
    """How many of the draws are below the truth; draws equal to it fall on either side at random.

    >>> rank_of(2.5, np.array([1.0, 2.0, 3.0]), np.random.default_rng(0))
    2
    """
    below, level = int(np.sum(draws < truth)), int(np.sum(draws == truth))
    return below + (int(rng.integers(level + 1)) if level else 0)


def ranks_of(pairs: Mapping[str, tuple[float, np.ndarray]], rng: np.random.Generator) -> dict[str, int]:
    """The rank, 0 to RANKS - 1, of each truth among as many draws, the same of all quantities, chosen at random.

    ``pairs`` holds by name the truth and the draws (n,), n >= RANKS - 1.
    """
    count = len(next(iter(pairs.values()))[1])
    chosen = rng.choice(count, size=RANKS - 1, replace=False)
    return {name: rank_of(truth, draws[chosen], rng) for name, (truth, draws) in pairs.items()}


def truth_and_draws(replication: Replication) -> dict[str, tuple[float, np.ndarray]]:
    """Truth and draws of one unknown of every group that the records bear on, and of the log of the last deposit.

    Where a group has several unknowns (two waters), one is taken at random: ranks of one replication are not
    independent. Values are on their prior's scale, each by its own model.
    """
    truth, fitted = replication.truth, replication.fitted
    by_kind: dict[Kind, list[Unknown]] = {}
    for unknown in truth.model.unknowns:
        by_kind.setdefault(unknown.kind, []).append(unknown)
    chosen = [of_kind[replication.rng.integers(len(of_kind))] for of_kind in by_kind.values()]
    pairs = {
        one.kind.value: (float(truth.model.value(one, truth.x)[0]), fitted.model.value(one, fitted.x)) for one in chosen
    }
    last = (visible_log(p.deposits[-1]) for p in (truth, fitted))
    pairs["deposit"] = (float(next(last)[0]), next(last))
    return pairs


@lru_cache(maxsize=256)
def simultaneous_band(replications: int, bins: int = BINS) -> tuple[int, int]:
    """The lowest and highest count that all bins of a flat histogram keep to in 95 of 100 runs, by simulation.

    Each end is passed in at most 2.5 of 100 runs of the multinomial; fixed seed.
    """
    rng = np.random.default_rng([replications, bins])
    counts = rng.multinomial(replications, np.full(bins, 1.0 / bins), size=BAND_SIMULATIONS)
    outside = (1.0 - BAND_LEVEL) / 2.0
    low = np.quantile(counts.min(axis=1), outside, method="lower")
    high = np.quantile(counts.max(axis=1), 1.0 - outside, method="higher")
    return int(low), int(high)


def rank_histogram(name: str, words: str, ranks: Sequence[int]) -> RankHistogram:
    """Gather ranks 0 to RANKS - 1: the histogram, its tests, and the coverage of central intervals.

    A central interval between draws leaves out equally many ranks at each end, so its coverage under calibration is its
    level exactly.

    >>> even = rank_histogram("a", "a", range(200))
    >>> even.chi_square, even.lean_z, [c.share for c in even.coverage]
    (0.0, 0.0, [0.5, 0.8, 0.95])
    >>> round(even.limit, 2)
    43.82
    """
    ranks = np.asarray(ranks)
    n = len(ranks)
    counts = np.bincount(ranks * BINS // RANKS, minlength=BINS)
    expected = n / BINS
    lean = (ranks.mean() - (RANKS - 1) / 2) / sqrt((RANKS * RANKS - 1) / 12 / n)
    coverage = []
    for level in LEVELS:
        left_out = round(RANKS * (1.0 - level) / 2)
        share = float(np.mean((ranks >= left_out) & (ranks < RANKS - left_out)))
        coverage.append(Coverage(level, share, (share - level) / sqrt(level * (1.0 - level) / n)))
    return RankHistogram(
        name,
        words,
        n,
        tuple(counts.tolist()),
        simultaneous_band(n),
        float(((counts - expected) ** 2).sum() / expected),
        float(chdtri(BINS - 1, 1.0 - ALARM_LEVEL)),
        float(lean),
        tuple(coverage),
    )


def rank_histograms(ranks: Sequence[Mapping[str, int]], words: Mapping[str, str]) -> tuple[RankHistogram, ...]:
    """A histogram of each quantity that any replication ranked, in the order of ``words``."""
    by_name = {name: [r[name] for r in ranks if name in r] for name in words}
    return tuple(rank_histogram(name, words[name], each) for name, each in by_name.items() if each)
