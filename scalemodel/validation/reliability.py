"""Do stated risks come true? Calibration of the whole estimator, from invented findings to risk by date.

Each replication of `scalemodel.validation.calibration` states its risks for several days ahead; its truth is then drawn
forward by the same law, and either has passed the threshold on those days or not.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import NamedTuple

import numpy as np

from scalemodel.decision.forecast import Forecast, find_plan, find_threshold
from scalemodel.inference.smc import DEFAULT_SEED
from scalemodel.logbook.records import WALL, BoilerFacts
from scalemodel.model.inverse_gaussian import draw_growth
from scalemodel.model.look import visible_log
from scalemodel.validation.calibration import (
    ALARM_Z,
    CALIBRATION_PARTICLES,
    GROUPS,
    RankHistogram,
    Replication,
    Solve,
    rank_histograms,
    ranks_of,
    run_replications,
    truth_and_draws,
)
from scalemodel.validation.histories import invent_history

QUICK, FULL = 200, 2000
"""Replications of a quick look, and of a full one."""

DAYS_AHEAD = (0, 30, 90, 180, 365)
DEPOSIT_DAYS = 90
"""The deposit so many days ahead is ranked like an unknown."""

EDGES = (0.0, 0.02, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 0.98, 1.0)
"""Bins of stated risk."""

LEAST_VARIANCE = 1.0
"""A count of events is never held against less than one event's variance: rare events are not normal."""

OUTCOME_SIMULATIONS = 2000


@dataclass(frozen=True)
class RiskBin:
    """Forecasts whose stated risk was in [low, high).

    ``stated`` is their mean risk, ``happened`` the share that came true; in 95 of 100 runs that share is within
    ``expected`` if stated risks are right. ``z``: events less stated ones, in standard errors.
    """

    low: float
    high: float
    forecasts: int
    stated: float
    happened: float
    expected: tuple[float, float]
    z: float


@dataclass(frozen=True)
class DayAhead:
    """All forecasts of one day ahead: mean stated risk, share that came true, and the difference in standard errors."""

    days: int
    stated: float
    happened: float
    z: float


@dataclass(frozen=True)
class Reliability:
    """Stated risk against what happened.

    Attributes
    ----------
    forecasts : int
        Replications times days.
    bins : tuple of RiskBin, days : tuple of DayAhead
    stated, happened, z : float
        Over all forecasts.
    calibration_z : float
        Of Spiegelhalter (1986): positive where confident forecasts fail more often than they say.
    brier, miscalibration, resolution, uncertainty : float
        Murphy's (1973) parts over the bins: brier is about miscalibration - resolution + uncertainty.
    """

    forecasts: int
    bins: tuple[RiskBin, ...]
    days: tuple[DayAhead, ...]
    stated: float
    happened: float
    z: float
    calibration_z: float
    brier: float
    miscalibration: float
    resolution: float
    uncertainty: float

    @property
    def faults(self) -> tuple[str, ...]:
        """What is off, in words; empty where stated risks came true as far as these replications tell."""
        found = []
        if abs(self.z) > ALARM_Z:
            found.append(f"of all forecasts {self.stated:.1%} were to come true and {self.happened:.1%} did")
        if abs(self.calibration_z) > ALARM_Z:
            kind = "sure" if self.calibration_z > 0 else "cautious"
            found.append(f"risks are too {kind} (calibration z {self.calibration_z:+.1f})")
        found += [
            f"of the risks stated between {b.low:.0%} and {b.high:.0%}, {b.happened:.0%} came true"
            for b in self.bins
            if abs(b.z) > ALARM_Z
        ]
        found += [
            f"{d.days} days ahead {d.stated:.1%} were to come true and {d.happened:.1%} did"
            for d in self.days
            if abs(d.z) > ALARM_Z
        ]
        return tuple(found)

    def to_frame(self):
        """The bins as a pandas DataFrame: low, high, forecasts, stated, happened, expected_low, expected_high, z."""
        import pandas as pd

        rows = [(b.low, b.high, b.forecasts, b.stated, b.happened, *b.expected, b.z) for b in self.bins]
        titles = ["low", "high", "forecasts", "stated", "happened", "expected_low", "expected_high", "z"]
        return pd.DataFrame(rows, columns=titles)


@dataclass(frozen=True)
class Calibration:
    """All that a run of replications showed.

    ``capped`` counts posteriors whose sampler hit its cap of sweeps; ``seconds`` is the run's wall time.
    """

    replications: int
    seed: int
    particles: int
    ranks: tuple[RankHistogram, ...]
    reliability: Reliability
    capped: int
    seconds: float

    @property
    def faults(self) -> dict[str, tuple[str, ...]]:
        """What is off, by quantity; "risk" stands for the stated risks."""
        named = {h.name: h.faults for h in self.ranks} | {"risk": self.reliability.faults}
        return {name: faults for name, faults in named.items() if faults}

    def to_frame(self):
        """A row an unknown as a pandas DataFrame: its tests, then the share of intervals that held the truth."""
        import pandas as pd

        rows = [
            {"name": h.name, "replications": h.replications, "chi_square": h.chi_square, "limit": h.limit}
            | {"lean_z": h.lean_z}
            | {f"coverage_{100 * c.level:.0f}": c.share for c in h.coverage}
            for h in self.ranks
        ]
        return pd.DataFrame(rows)


class Foretold(NamedTuple):
    """Stated risks (T,), whether the truth's path had passed by then (T,), and the deposit to come: truth and draws."""

    stated: np.ndarray
    happened: np.ndarray
    ahead: tuple[float, np.ndarray]


def foretell(replication: Replication) -> Foretold:
    """Risks on DAYS_AHEAD for a site taken at random and the boiler's own threshold, and what came of them."""
    facts = replication.truth.facts
    sites = sorted({WALL, *(s.site for s in facts.sites)})
    site = sites[replication.rng.integers(len(sites))]
    threshold = find_threshold(facts).mg_cm2
    plan = find_plan(replication.truth)
    path = true_path(Forecast(replication.truth, plan, site), replication.rng)
    forecast = Forecast(replication.fitted, plan, site)
    stated = np.array([forecast.risk(threshold, days)[0] for days in DAYS_AHEAD])
    there, draws = path[DAYS_AHEAD.index(DEPOSIT_DAYS)], forecast.deposit_draws(DEPOSIT_DAYS)
    return Foretold(stated, path >= threshold, (float(visible_log(there)), visible_log(draws)))


def true_path(truth: Forecast, rng: np.random.Generator, days: Sequence[int] = DAYS_AHEAD) -> np.ndarray:
    """One path of the site's deposit on rising ``days`` ahead (T,) [mg/cm2], from a posterior of a single draw."""
    mean = np.diff(truth.growth_after(np.array(days))[:, 0], prepend=0.0)
    grown = draw_growth(rng, mean, truth.irregularity[0])
    return truth.relative * (truth.last_deposit[0] + np.cumsum(grown))


def miss_z(stated: np.ndarray, happened: np.ndarray, weight: np.ndarray) -> float:
    """Weighted sum of happened - stated, in standard errors, for replications by days (R, T).

    A path that has passed stays past, so of two days of one replication, stated p <= q, both come true with
    probability p: their covariance is p (1 - q), and the variance of the sum follows exactly. Replications are
    independent.

    >>> one = np.ones((4, 1))
    >>> miss_z(0.5 * one, np.array([[1], [1], [1], [0]]), one)
    1.0
    """
    low, high = np.minimum(stated[:, :, None], stated[:, None, :]), np.maximum(stated[:, :, None], stated[:, None, :])
    variance = float(np.einsum("ra,rab,rb->", weight, low * (1.0 - high), weight))
    return float((weight * (happened - stated)).sum()) / sqrt(max(variance, LEAST_VARIANCE))


def simulated_outcomes(stated: np.ndarray) -> np.ndarray:
    """What may happen if stated risks (R, T) are right: (simulations, R, T), each path passing once; fixed seed."""
    rng = np.random.default_rng(len(stated))
    return rng.random((OUTCOME_SIMULATIONS, len(stated), 1)) < stated


def reliability(stated: np.ndarray, happened: np.ndarray) -> Reliability:
    """Lay stated risks against what happened.

    Parameters
    ----------
    stated : array (R, T)
        Risk by replication and day, rising with the day.
    happened : array (R, T)
        Whether the truth had passed by then.
    """
    happened = happened.astype(float)
    everything = np.ones_like(stated)
    mine = np.digitize(stated, EDGES[1:-1])
    outcomes = simulated_outcomes(stated)
    bins = []
    for k in range(len(EDGES) - 1):
        inside = mine == k
        if inside.any():
            expected = np.quantile(outcomes[:, inside].mean(axis=1), (0.025, 0.975))
            bins.append(
                RiskBin(
                    EDGES[k],
                    EDGES[k + 1],
                    int(inside.sum()),
                    float(stated[inside].mean()),
                    float(happened[inside].mean()),
                    (float(expected[0]), float(expected[1])),
                    miss_z(stated, happened, inside.astype(float)),
                )
            )
    days = tuple(
        DayAhead(d, float(s.mean()), float(o.mean()), miss_z(s[:, None], o[:, None], np.ones((len(s), 1))))
        for d, s, o in zip(DAYS_AHEAD, stated.T, happened.T, strict=True)
    )
    rate, total = float(happened.mean()), stated.size
    return Reliability(
        total,
        tuple(bins),
        days,
        float(stated.mean()),
        rate,
        miss_z(stated, happened, everything),
        miss_z(stated, happened, 1.0 - 2.0 * stated),
        float(((happened - stated) ** 2).mean()),
        sum(b.forecasts * (b.stated - b.happened) ** 2 for b in bins) / total,
        sum(b.forecasts * (b.happened - rate) ** 2 for b in bins) / total,
        rate * (1.0 - rate),
    )


def calibrate(
    replications: int = QUICK,
    seed: int = DEFAULT_SEED,
    particles: int = CALIBRATION_PARTICLES,
    solve: Solve | None = None,
    invent: Callable[[np.random.Generator], BoilerFacts] = invent_history,
    progress: Callable[[], None] | None = None,
) -> Calibration:
    """Try the whole estimator on invented histories.

    Parameters
    ----------
    replications, seed : int
    particles : int
        In each of the four populations, at least 50.
    solve : callable, optional
        ``solve(facts, seed, particles)``: the estimator that is tried; the house's own by default.
    invent : callable, optional
        ``invent(rng)`` gives a history whose findings are still places to be filled.
    progress : callable, optional
        Called after each replication.

    Returns
    -------
    Calibration

    Raises
    ------
    BadValueError
        If there are too few particles.
    """
    began = time.perf_counter()
    ranks, stated, happened, capped = [], [], [], 0
    for replication in run_replications(replications, seed, particles, solve, invent):
        told = foretell(replication)
        ranks.append(ranks_of(truth_and_draws(replication) | {"ahead": told.ahead}, replication.rng))
        stated.append(told.stated)
        happened.append(told.happened)
        capped += replication.fitted.info.cap_hit
        if progress is not None:
            progress()
    words = GROUPS | {"ahead": f"deposit {DEPOSIT_DAYS} days ahead"}
    return Calibration(
        replications,
        seed,
        particles,
        rank_histograms(ranks, words),
        reliability(np.array(stated), np.array(happened)),
        capped,
        time.perf_counter() - began,
    )
