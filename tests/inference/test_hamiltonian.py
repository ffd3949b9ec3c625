"""The Hamiltonian move: exact on a Gaussian, right on a bent target whatever steers it, closed to what is no number."""

import numpy as np
import pytest

from scalemodel.inference import hamiltonian, smc
from scalemodel.inference.hamiltonian import hamiltonian_move, next_steps
from tests.inference.test_smc import PoisonedTarget, SkewTarget, misses


def flat(z):
    return np.zeros(z.shape[1]), np.zeros_like(z)


def test_where_nothing_bends_the_trajectory_is_exact_and_forgets():
    start = np.random.default_rng(1).standard_normal((3, 4000)) + 2.0
    moved, taken, info = hamiltonian_move(np.random.default_rng(2), start, 2, flat)
    assert taken.all()
    assert info.acceptance == 1.0
    assert info.evaluated == 3 * 4000
    # the time is a quarter of the period give or take a quarter of it: the start is left by its cosine, on average 0
    assert np.all(np.abs(np.mean((moved - 0.0) * (start - 2.0), axis=1)) < 0.1)


def test_a_trajectory_without_jitter_ends_at_the_momentum(monkeypatch):
    monkeypatch.setattr(hamiltonian, "JITTER", 0.0)
    start = np.random.default_rng(1).standard_normal((2, 50))
    moved, _, _ = hamiltonian_move(np.random.default_rng(2), start, 3, flat)
    np.testing.assert_allclose(moved, np.random.default_rng(2).standard_normal((2, 50)), atol=1e-12)


def test_the_trajectory_runs_backwards(monkeypatch):
    """Sent on with the momentum reversed, particles come back: what makes the acceptance rule right."""
    monkeypatch.setattr(hamiltonian, "JITTER", 0.0)

    class Fixed:
        def __init__(self, momentum):
            self.momentum = momentum

        def standard_normal(self, shape):
            return self.momentum

        def uniform(self, low, high, n):
            return np.ones(n)

        def random(self, n):
            return np.full(n, 1e-300)

    seen = []

    def log_target(z):
        seen.append(z)
        return -0.1 * (z**4).sum(axis=0), -0.4 * z**3 + np.where(z > 0.3, 0.2, -0.1)  # no gradient of anything

    start, momentum = np.random.default_rng(3).standard_normal((2, 2, 20))
    there, _, _ = hamiltonian_move(Fixed(momentum), start, 4, log_target)
    turned = end_momentum(start, momentum, log_target, 4)
    back, _, _ = hamiltonian_move(Fixed(-turned), there, 4, log_target)
    np.testing.assert_allclose(back, start, atol=1e-10)


def end_momentum(at, momentum, log_target, steps):
    """A slow twin of the move, which keeps the momentum."""
    time = 0.5 * np.pi / steps
    for _ in range(steps):
        momentum = momentum + 0.5 * time * log_target(at)[1]
        at, momentum = (
            at * np.cos(time) + momentum * np.sin(time),
            momentum * np.cos(time) - at * np.sin(time),
        )
        momentum = momentum + 0.5 * time * log_target(at)[1]
    return momentum


@pytest.mark.parametrize("bad", [np.nan, -np.inf])
def test_what_is_not_a_number_is_refused(bad):
    start = -np.abs(np.random.default_rng(3).standard_normal((1, 2000)))

    def log_target(z):
        return np.where(z[0] > 0, bad, 0.0), np.where(z > 0, np.nan, 0.0)

    moved, _, info = hamiltonian_move(np.random.default_rng(4), start, 3, log_target)
    assert np.all(moved <= 0)
    assert (info.nan_count > 0) == bool(np.isnan(bad))


def test_a_cliff_throws_nobody_out_of_sight():
    moved, _, _ = hamiltonian_move(
        np.random.default_rng(5), np.zeros((2, 100)), 48, lambda z: (np.zeros(100), np.full_like(z, 1e200))
    )
    assert np.all(np.abs(moved) < 1e3)


def test_the_input_is_left_alone():
    start = np.random.default_rng(4).standard_normal((2, 100))
    kept = start.copy()
    hamiltonian_move(np.random.default_rng(5), start, 3, lambda z: (-(z**2).sum(axis=0), -2 * z))
    np.testing.assert_array_equal(start, kept)


def test_steps_follow_the_acceptance():
    assert next_steps(48, 0.0) == 48
    assert next_steps(2, 1.0) == 2
    assert next_steps(3, 0.59) == 4


class SteeredTarget(SkewTarget):
    """The asymmetric target with its gradient, or with ``blind`` a wrong one."""

    blind = False

    def evaluate_with_gradient(self, x, exponent):
        rate = np.exp(x[0])
        bend = (x[1] - 0.7 * x[0] ** 2 + 0.5) / 0.16
        gradient = exponent * np.stack([3 - 1.5 * rate + bend * 1.4 * x[0], -bend])
        return self.evaluate(x), gradient * (0.5 if self.blind else 1.0)


@pytest.fixture
def always_hamiltonian(monkeypatch):
    monkeypatch.setattr(smc, "HAMILTONIAN_FROM", 0)


@pytest.mark.usefixtures("always_hamiltonian")
@pytest.mark.parametrize("blind", [False, True])
def test_the_sampler_on_an_asymmetric_target(blind):
    target = SteeredTarget()
    target.blind = blind
    assert np.all(misses(target) < 4.5)


@pytest.mark.usefixtures("always_hamiltonian")
def test_a_broken_acceptance_is_caught(monkeypatch):
    def always_taken(rng, point, steps, log_target):
        moved, taken, info = hamiltonian_move(rng, point, steps, log_target)
        return moved, np.ones_like(taken), info

    monkeypatch.setattr(smc, "hamiltonian_move", always_taken)
    target = SteeredTarget()
    target.blind = True
    assert np.any(misses(target) > 6)


@pytest.mark.usefixtures("always_hamiltonian")
def test_a_forgotten_energy_is_caught(monkeypatch):
    monkeypatch.setattr(hamiltonian, "_energy", lambda point, momentum: np.zeros(point.shape[1]))
    target = SteeredTarget()
    target.blind = True
    assert np.any(misses(target) > 6)


@pytest.mark.usefixtures("always_hamiltonian")
def test_a_brief_run_finds_the_same_law():
    def brief(target, seed, particles):
        state, info = smc.sample(target, seed=seed, particles=particles, care=smc.BRIEF)
        assert state.x.shape[1] == smc.POPULATIONS * particles == len(state.log_likelihood)
        np.testing.assert_allclose(state.log_likelihood, target.evaluate(state.x).log_likelihood)
        return state, info

    assert np.all(misses(SteeredTarget(), brief) < 4.5)


@pytest.mark.usefixtures("always_hamiltonian")
@pytest.mark.parametrize(("particles", "let_in"), [(100, 100), (130, 65), (257, 65), (500, 125), (2000, 500)])
def test_what_is_let_in_is_spread_out(particles, let_in):
    assert smc.BRIEF.let_in(particles) == let_in
    assert smc.USUAL.let_in(particles) == particles
    state, _ = smc.sample(SteeredTarget(), particles=particles, care=smc.BRIEF)
    assert state.x.shape == (2, smc.POPULATIONS * particles)


@pytest.mark.usefixtures("always_hamiltonian")
def test_brief_populations_that_disagree_are_drawn_again(monkeypatch):
    asked = []
    honest = smc.sample_within
    monkeypatch.setattr(smc, "sample_within", lambda *given: asked.append(given[-1]) or honest(*given))
    smc.sample_with_care(SteeredTarget(), 1, 200)
    assert asked == [smc.BRIEF]
    monkeypatch.setattr(smc, "bearable_disagreement", lambda steps, particles: -1.0)
    _, info = smc.sample_with_care(SteeredTarget(), 1, 100)
    assert asked[1:] == [smc.BRIEF, smc.USUAL, smc.GENTLE]
    assert info.gentle
    monkeypatch.setattr(smc, "many_steps", lambda dim: 1)
    smc.sample_with_care(SteeredTarget(), 1, 100)
    assert asked[4:] == [smc.BRIEF, smc.GENTLE]  # as soon as it is known, without a run in between


@pytest.mark.usefixtures("always_hamiltonian")
def test_nan_is_refused_and_counted_by_the_sampler():
    target = type("Poisoned", (PoisonedTarget,), {"evaluate_with_gradient": _no_slope})([1.2, 0.7], 1.0, 2.0)
    state, info = smc.sample(target, particles=200)
    assert np.all(state.x[0] <= 0.5)
    assert np.all(np.isfinite(state.log_likelihood))
    assert info.nan_count > 0


def _no_slope(self, x, exponent):
    return self.evaluate(x), np.zeros_like(x)


@pytest.mark.usefixtures("always_hamiltonian")
def test_same_seed_same_draws():
    one = smc.sample(SteeredTarget(), seed=5, particles=100)[0].x
    np.testing.assert_array_equal(one, smc.sample(SteeredTarget(), seed=5, particles=100)[0].x)
    assert not np.array_equal(one, smc.sample(SteeredTarget(), seed=6, particles=100)[0].x)


@pytest.mark.usefixtures("always_hamiltonian")
def test_stored_log_likelihoods_are_fresh():
    state, _ = smc.sample(SteeredTarget(), particles=100)
    np.testing.assert_allclose(state.log_likelihood, SkewTarget().evaluate(state.x).log_likelihood)
