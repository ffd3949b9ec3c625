"""Stated risk against what happened: the arithmetic on forecasts whose truth is known, then the estimator whole.

Spiegelhalter (1986), Statistics in Medicine 5, for the calibration z; Murphy (1973), Journal of Applied Meteorology 12,
for the parts of Brier's score (both recalled). Critical value of chi-square at 19 degrees of freedom: 43.82 (99.9 %).
"""

from dataclasses import replace

import numpy as np
import pytest

from scalemodel.decision.forecast import Forecast, find_plan
from scalemodel.inference.draws import solve
from scalemodel.validation.calibration import ALARM_Z, GROUPS, run_replication
from scalemodel.validation.reliability import (
    DAYS_AHEAD,
    EDGES,
    calibrate,
    miss_z,
    reliability,
    simulated_outcomes,
    true_path,
)

REPLICATIONS = 200


def forecasts(count: int, seed: int, distort=lambda p: p) -> tuple[np.ndarray, np.ndarray]:
    """Risks that rise with the day, stated with a distortion, and outcomes by the true ones."""
    rng = np.random.default_rng(seed)
    true = np.sort(rng.beta(0.4, 0.4, size=(count, len(DAYS_AHEAD))), axis=1)
    return distort(true), rng.random((count, 1)) < true


def sharpen(p: np.ndarray) -> np.ndarray:
    return p**2 / (p**2 + (1 - p) ** 2)


def test_the_standard_error_is_that_of_outcomes_that_stay_passed():
    stated, _ = forecasts(60, 1)
    for weight in (np.ones_like(stated), 1 - 2 * stated, (stated < 0.4).astype(float)):
        z = [miss_z(stated, happened, weight) for happened in simulated_outcomes(stated)[:1500].astype(float)]
        assert abs(np.mean(z)) < 4 / np.sqrt(1500)
        assert np.std(z) == pytest.approx(1.0, abs=4 / np.sqrt(3000))


def test_true_risks_raise_no_alarm():
    made = [reliability(*forecasts(150, seed)) for seed in range(40)]
    assert sum(bool(r.faults) for r in made) <= 1
    inside = [b.expected[0] <= b.happened <= b.expected[1] for r in made for b in r.bins]
    assert np.mean(inside) > 0.93


@pytest.mark.parametrize(
    ("distort", "words"),
    [
        (sharpen, "too sure"),
        (lambda p: 0.5 + 0.5 * (p - 0.5), "too cautious"),
        (lambda p: 0.7 * p, "were to come true"),
        (lambda p: 1 - 0.7 * (1 - p), "were to come true"),
    ],
)
def test_distorted_risks_are_named_for_what_they_are(distort, words):
    assert words in " ".join(reliability(*forecasts(600, 2, distort)).faults)


def test_risks_of_nought_that_come_true_are_caught():
    stated = np.zeros((100, len(DAYS_AHEAD)))
    happened = np.zeros_like(stated, dtype=bool)
    happened[:5, 2:] = True
    assert reliability(stated, happened).z > ALARM_Z


def test_brier_s_parts_add_up():
    """Exactly so where every forecast of a bin states the same."""
    rng = np.random.default_rng(3)
    stated = np.sort(rng.choice([0.05, 0.3, 0.5, 0.85], size=(400, len(DAYS_AHEAD))), axis=1)
    r = reliability(stated, rng.random((400, 1)) < stated)
    assert r.brier == pytest.approx(r.miscalibration - r.resolution + r.uncertainty, abs=1e-12)
    assert r.forecasts == sum(b.forecasts for b in r.bins) == 400 * len(DAYS_AHEAD)
    assert r.uncertainty == pytest.approx(r.happened * (1 - r.happened))


def test_every_risk_has_a_bin():
    stated = np.tile(np.array(EDGES)[:, None], (1, len(DAYS_AHEAD)))
    r = reliability(stated, stated > 0.5)
    assert [b.low for b in r.bins] == list(EDGES[:-1])
    assert r.bins[-1].forecasts == 2 * len(DAYS_AHEAD)  # 0.98 and 1
    frame = r.to_frame()
    assert frame["forecasts"].sum() == r.forecasts
    assert list(frame.columns[:2]) == ["low", "high"]


def test_the_truth_goes_on_by_the_law():
    """Mean and variance of many paths of one truth; a path never falls."""
    replication = run_replication(0, 3, 50, solve)
    truth = Forecast(replication.truth, find_plan(replication.truth))
    rng = np.random.default_rng(5)
    paths = np.array([true_path(truth, rng) for _ in range(4000)])
    assert np.all(np.diff(paths, axis=1) >= 0)
    grown = paths - replication.truth.deposits[-1, 0]
    mean = truth.growth_to_now[0] + np.array(DAYS_AHEAD) * truth.growth_a_day[0]
    error = np.sqrt(truth.irregularity[0] * mean / 4000)
    assert np.all(np.abs(grown.mean(axis=0) - mean) <= 4 * error)
    np.testing.assert_allclose(grown.var(axis=0)[1:], (truth.irregularity[0] * mean)[1:], rtol=0.25)


@pytest.fixture(scope="module")
def run():
    return calibrate(REPLICATIONS)


def test_every_unknown_is_ranked(run):
    assert [h.name for h in run.ranks] == [*GROUPS, "ahead"]
    assert {h.replications for h in run.ranks if h.name in ("capture", "deposit", "ahead")} == {REPLICATIONS}
    assert min(h.replications for h in run.ranks) >= 40


def test_ranks_are_flat(run):
    assert max(h.chi_square for h in run.ranks) < 43.82
    assert max(abs(h.lean_z) for h in run.ranks) < 4


def test_intervals_hold_the_truth_as_often_as_they_say(run):
    for h in run.ranks:
        assert [c.level for c in h.coverage] == [0.5, 0.8, 0.95]
        for c in h.coverage:
            assert abs(c.share - c.level) < 4 * np.sqrt(c.level * (1 - c.level) / h.replications), h.name


def test_stated_risks_come_true(run):
    r = run.reliability
    assert r.forecasts == REPLICATIONS * len(DAYS_AHEAD)
    assert abs(r.z) < 4
    assert abs(r.calibration_z) < 4
    assert max(abs(b.z) for b in r.bins) < 4
    assert max(abs(d.z) for d in r.days) < 4
    assert r.resolution > 0.7 * r.uncertainty  # they also tell boilers apart
    assert run.faults == {}


def test_the_tables(run):
    frame = run.to_frame()
    assert len(frame) == len(run.ranks)
    assert set(frame.columns) >= {"name", "chi_square", "coverage_50", "coverage_80", "coverage_95"}


def test_an_estimator_that_reads_each_grade_one_too_high_is_caught():
    def pessimist(facts, seed, particles):
        worse = tuple(
            replace(e, grade_low=min(e.grade_low + 1, 4), grade_high=min(e.grade_high + 1, 4))
            for e in facts.inspections
        )
        return solve(replace(facts, inspections=worse), seed, particles)

    ticks = []
    found = calibrate(60, seed=7, particles=50, solve=pessimist, progress=lambda: ticks.append(1))
    assert len(ticks) == 60
    assert found.reliability.z < -4
    assert any("too high" in fault for fault in found.faults["deposit"])
    assert "risk" in found.faults
