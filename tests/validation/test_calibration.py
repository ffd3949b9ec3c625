"""The ranks: how they are counted and judged; and the estimator broken on purpose, each time seen.

Talts et al. (2018), arXiv 1804.06788. The unbroken estimator is tried whole in tests/validation/test_reliability.py.
"""

from dataclasses import replace
from datetime import date
from unittest import mock

import numpy as np
import pytest

from scalemodel.errors import BadValueError
from scalemodel.inference import posterior, smc
from scalemodel.inference.fitted_gaussian import Tilt
from scalemodel.logbook.records import Boiler
from scalemodel.model import boiler, priors, target
from scalemodel.model.inverse_gaussian import draw_signed_roots, growth_of_signed_root
from scalemodel.model.supply import find_supply
from scalemodel.validation.calibration import (
    BINS,
    GROUPS,
    RANKS,
    rank_histogram,
    rank_histograms,
    rank_of,
    ranks_of,
    run_replication,
    run_replications,
    simultaneous_band,
    truth_and_draws,
)
from tests.builders import schedule

URN = Boiler("urn", 0.8, 93.0, date(2025, 1, 1), area_cm2=500.0)


def test_equal_draws_fall_on_either_side_at_random():
    rng = np.random.default_rng(1)
    ranks = [rank_of(0.0, np.array([-1.0, 0.0, 0.0, 0.0, 2.0]), rng) for _ in range(4000)]
    counts = np.bincount(ranks, minlength=6)
    assert counts[[0, 5]].tolist() == [0, 0]
    assert np.all(np.abs(counts[1:5] - 1000) < 4 * np.sqrt(1000 * 0.75))


def test_ranks_are_among_as_many_draws_as_there_are_ranks_less_one():
    rng = np.random.default_rng(2)
    values = np.arange(500.0)
    ranks = ranks_of({"low": (-1.0, values), "high": (1e9, values), "middle": (249.5, values)}, rng)
    assert (ranks["low"], ranks["high"]) == (0, RANKS - 1)
    assert abs(ranks["middle"] - 100) < 30


@pytest.mark.parametrize("count", [50, 200, 2000])
def test_the_band_holds_all_bins_of_a_flat_histogram_in_95_of_100_runs(count):
    low, high = simultaneous_band(count)
    drawn = np.random.default_rng(99).multinomial(count, np.full(BINS, 1 / BINS), size=4000)
    share = np.mean((drawn.min(axis=1) >= low) & (drawn.max(axis=1) <= high))
    assert share > 0.95 - 4 * np.sqrt(0.95 * 0.05 / 4000)
    tighter = np.mean((drawn.min(axis=1) >= low + 1) & (drawn.max(axis=1) <= high - 1))
    assert tighter < 0.95


def test_flat_ranks_raise_no_alarm_and_the_statistics_are_standard():
    rng = np.random.default_rng(3)
    made = [rank_histogram("a", "a", rng.integers(RANKS, size=300)) for _ in range(300)]
    assert sum(bool(h.faults) for h in made) <= 4
    assert np.mean([h.chi_square for h in made]) == pytest.approx(BINS - 1, abs=4 * np.sqrt(2 * (BINS - 1) / 300))
    for z in ([h.lean_z for h in made], [h.coverage[1].z for h in made]):
        assert abs(np.mean(z)) < 4 / np.sqrt(300)
        assert np.std(z) == pytest.approx(1.0, abs=4 / np.sqrt(600))
    assert made[0].limit == pytest.approx(43.82, abs=0.005)
    assert sum(made[0].counts) == 300


@pytest.mark.parametrize(
    ("shape", "words"),
    [((0.6, 0.6), "too narrow"), ((2.0, 2.0), "too wide"), ((1.4, 1.0), "too low"), ((1.0, 1.4), "too high")],
)
def test_ranks_that_are_not_flat_are_named_for_what_they_are(shape, words):
    ranks = (RANKS * np.random.default_rng(4).beta(*shape, size=1500)).astype(int)
    assert words in " ".join(rank_histogram("a", "a", ranks).faults)


def test_a_ripple_that_leaves_intervals_right_is_still_seen():
    ranks = np.concatenate([np.arange(400) % RANKS, np.repeat(np.arange(0, RANKS, 20), 40)])
    (fault,) = rank_histogram("a", "a", ranks).faults
    assert fault.startswith("ranks not flat")


def test_a_replication_depends_on_its_number_and_the_seed_alone():
    def ranks(replication):
        return ranks_of(truth_and_draws(replication), replication.rng)

    third = ranks(run_replication(2, 5, 50, posterior.solve))
    assert third == [ranks(t) for t in run_replications(3, 5, 50)][2]
    assert third != ranks(run_replication(2, 6, 50, posterior.solve))
    assert set(third) <= set(GROUPS)
    assert {"capture", "strength", "reading", "deposit"} <= set(third)


def test_truth_and_posterior_draw_apart():
    replication = run_replication(0, 5, 50, posterior.solve)
    assert replication.truth.seed != replication.fitted.seed
    assert replication.truth.count == 1
    assert replication.truth.model.names == replication.fitted.model.names


def test_too_few_particles_to_rank_among_are_refused():
    with pytest.raises(BadValueError, match="50 or more"):
        run_replications(1, 1, 49)


def ranked(replications, *broken, **more):
    """Histograms by name, of the estimator with something replaced while it solves, 50 particles a population."""

    def solve(facts, seed, particles):
        with mock.patch.object(*broken):
            return posterior.solve(facts, seed, particles)

    runs = run_replications(replications, 7, 50, solve if broken else None, **more)
    return {h.name: h for h in rank_histograms([ranks_of(truth_and_draws(t), t.rng) for t in runs], GROUPS)}


@pytest.mark.parametrize(
    ("name", "prior", "group", "times"),
    [("CAPTURE", priors.CAPTURE, "capture", 0.5), ("RESIDUE_FULL", priors.RESIDUE_FULL, "residue", 0.33)],
)
def test_a_wrong_prior_scale_is_caught(name, prior, group, times):
    found = ranked(80, priors, name, prior._replace(sd=times * prior.sd))
    assert any("too narrow" in fault for fault in found[group].faults)
    assert not found["strength"].faults


def test_a_prior_at_the_wrong_place_is_caught():
    found = ranked(30, priors, "READING", priors.READING._replace(mean=priors.READING.mean + 0.6))
    assert any("too high" in fault for fault in found["reading"].faults)


def one_thickness(rng):
    """One look with a thickness: the posterior of the deposit is then all likelihood."""
    facts = schedule(URN, 1, 200, tds_mg_l=240.0, litres_per_day=0.43)
    return replace(facts, inspections=tuple(replace(e, thickness_um=1.0) for e in facts.inspections))


@pytest.fixture
def one_supply(monkeypatch):
    """The same water in every history: its chemistry is done once."""
    kept = {}

    def find(facts, water):
        if water not in kept:
            kept[water] = find_supply(facts, water)
        return kept[water]

    monkeypatch.setattr(target, "find_supply", find)


@pytest.mark.usefixtures("one_supply")
def test_a_wrong_acceptance_is_caught():
    """A level too low: points are taken that should not be."""
    honest = smc.elliptical_move

    def eager(rng, ellipses, log_target, evaluate):
        return honest(rng, ellipses, log_target - 1.5, evaluate)

    found = ranked(600, smc, "elliptical_move", eager, invent=one_thickness)
    assert any("too wide" in fault for fault in found["deposit"].faults)
    assert found["deposit"].chi_square > found["deposit"].limit


@pytest.mark.slow
@pytest.mark.usefixtures("one_supply")
def test_the_right_acceptance_is_not():
    assert not any(h.faults for h in ranked(600, invent=one_thickness).values())


def test_a_forgotten_correction_for_the_fit_is_caught():
    """The fitted Gaussian is then counted as evidence once a sweep: everything is too sure."""
    found = ranked(300, Tilt, "along", lambda self, which, cos, sin: np.zeros_like(self.cos[which]))
    assert sum("too narrow" in " ".join(h.faults) for h in found.values()) >= 3


def test_hamiltonian_moves_rank_the_truth_evenly(monkeypatch):
    """The move of long histories, made to move short ones."""
    monkeypatch.setattr(smc, "BRIEF", smc.BRIEF._replace(ess_share=0.5))  # large steps: the move has more to mend
    monkeypatch.setattr(smc, "many_steps", lambda dim: smc.STEP_CAP)
    found = ranked(150, smc, "HAMILTONIAN_FROM", 0)
    assert not any(h.faults for h in found.values())


@pytest.mark.usefixtures("one_supply")
def test_a_forgotten_prior_ratio_is_caught(monkeypatch):
    """A normal taken for the signed root makes small increments too large; short intervals of a soft water show it."""

    def without_ratio(mean, dispersion, root, innovation):
        return growth_of_signed_root(mean, dispersion, innovation)[0], np.zeros(innovation.shape[1])

    monkeypatch.setattr(boiler, "draw_innovations", draw_signed_roots)  # the truth's law is right
    monkeypatch.setattr(boiler, "grow", without_ratio)
    found = ranked(
        60,
        boiler,
        "grow",
        without_ratio,
        invent=lambda rng: schedule(URN, 12, 10, tds_mg_l=60.0, litres_per_day=0.3),
    )
    assert any("too high" in fault for fault in found["deposit"].faults)
