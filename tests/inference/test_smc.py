"""The sampler's parts alone, then on targets whose answer is known, then broken on purpose."""

import numpy as np
import pytest

from scalemodel.errors import SamplerError
from scalemodel.inference import smc
from scalemodel.inference.fitted_gaussian import LeaveOneOutGaussian, Tilt
from scalemodel.model.evaluation import Evaluation
from tests.builders import GaussianTarget


def test_effective_sample_size_counts():
    assert smc.effective_sample_size(np.zeros(7)) == pytest.approx(7)
    assert smc.effective_sample_size(np.array([0.0, -np.inf, -np.inf])) == pytest.approx(1)
    assert smc.effective_sample_size(np.array([1000.0, 1000.0])) == pytest.approx(2)


def test_the_exponent_keeps_half_the_effective_sample_size():
    rng = np.random.default_rng(1)
    log_likelihood = -50 * rng.standard_normal((3, 400)) ** 2
    t = smc.next_exponent(log_likelihood, np.zeros(3))
    assert np.all((t > 0) & (t < 1))
    np.testing.assert_allclose(smc.effective_sample_size(t[:, None] * log_likelihood), 200, rtol=1e-3)
    flat = smc.next_exponent(np.zeros((2, 10)), np.array([0.0, 0.4]))
    np.testing.assert_array_equal(flat, 1.0)


def test_systematic_resampling_gives_floor_or_ceiling():
    weights = np.array([0.5, 0.26, 0.14, 0.1, 0.0])
    for seed in range(20):
        counts = np.bincount(smc.systematic_resample(np.random.default_rng(seed), weights), minlength=5)
        assert np.all(np.abs(counts - 5 * weights) < 1)


def test_the_tilt_along_an_ellipse_is_the_ratio_of_densities():
    from scipy.stats import multivariate_normal

    rng = np.random.default_rng(2)
    x = rng.standard_normal((3, 80)) * np.array([[1.0], [2.0], [0.5]]) + 1.0
    fit = LeaveOneOutGaussian(x, 4)
    ellipses, tilt = fit.ellipses(rng, x)
    np.testing.assert_allclose(ellipses.at(1.0, 0.0), x)
    angles = rng.uniform(0.0, 2 * np.pi, 80)
    there = ellipses.at(np.cos(angles), np.sin(angles))
    risen = tilt.along(np.arange(80), np.cos(angles), np.sin(angles)) - tilt.along(slice(None), 1.0, 0.0)
    for c in range(4):
        mine = slice(20 * c, 20 * c + 20)
        fitted = multivariate_normal(fit.mean[c], fit.factor[c] @ fit.factor[c].T)
        prior = multivariate_normal(np.zeros(3), np.eye(3))
        ratio = [prior.logpdf(at[:, mine].T) - fitted.logpdf(at[:, mine].T) for at in (x, there)]
        np.testing.assert_allclose(risen[mine], ratio[1] - ratio[0], atol=1e-9)
        others = np.delete(x, np.r_[mine], axis=1)
        np.testing.assert_allclose(fit.mean[c], others.mean(axis=1))


class SkewTarget:
    """An asymmetric target with known moments: x1 ~ N(0,1) under a gamma likelihood, x2 bent by x1."""

    dim, static_dim = 2, 1

    def draw_prior(self, rng, count):
        return rng.standard_normal((2, count))

    def evaluate(self, x):
        rate = np.exp(x[0])
        bend = (x[1] - 0.7 * x[0] ** 2 + 0.5) / 0.4
        return Evaluation(np.zeros(x.shape[1]), 3 * x[0] - 1.5 * rate - 0.5 * bend**2, x)

    def moments(self):
        """Means and sds by quadrature on a fine grid."""
        grid = np.linspace(-6, 6, 1201)
        a, b = np.meshgrid(grid, grid, indexing="ij")
        log_p = -0.5 * (a**2 + b**2) + self.evaluate(np.stack([a.ravel(), b.ravel()])).log_likelihood.reshape(a.shape)
        p = np.exp(log_p - log_p.max())
        p /= p.sum()
        means = np.array([(p * a).sum(), (p * b).sum()])
        return means, np.sqrt([(p * (a - means[0]) ** 2).sum(), (p * (b - means[1]) ** 2).sum()])


def misses(target, sampler=smc.sample, seeds=(11, 12, 13)):
    """Worst miss of the means, in Monte Carlo standard errors of the populations of several seeds."""
    means, sds = target.moments()
    found = np.concatenate(
        [sampler(target, seed=s, particles=500)[0].x.reshape(2, 4, -1).mean(axis=2) for s in seeds], axis=1
    )
    error = np.maximum(found.std(axis=1, ddof=1), sds / np.sqrt(500)) / np.sqrt(found.shape[1])
    return np.abs(found.mean(axis=1) - means) / error


def test_the_sampler_on_an_asymmetric_target():
    assert np.all(misses(SkewTarget()) < 4.5)


def test_a_broken_acceptance_is_caught(monkeypatch):
    honest = smc.elliptical_move

    def always_eager(rng, ellipses, log_target, evaluate):
        return honest(rng, ellipses, log_target - 1.0, evaluate)  # a level too low

    monkeypatch.setattr(smc, "elliptical_move", always_eager)
    assert np.any(misses(SkewTarget()) > 6)


def test_a_forgotten_correction_for_the_fit_is_caught(monkeypatch):
    monkeypatch.setattr(Tilt, "along", lambda self, which, cos, sin: np.zeros_like(self.cos[which]))
    assert np.any(misses(SkewTarget()) > 6)


def test_a_wrong_restoration_of_log_likelihoods_is_caught(monkeypatch):
    """A particle that takes a point must take what was told of that point, not of another; else no slice ends right."""
    honest = smc.elliptical_move

    def mixed_up(rng, ellipses, log_target, evaluate):
        x, kept, info = honest(rng, ellipses, log_target, evaluate)
        order = np.argsort(kept[1])
        kept[1][order] = kept[1][np.roll(order, 300)]  # mostly a lower one's, a few times a far higher one's
        return x, kept, info

    monkeypatch.setattr(smc, "elliptical_move", mixed_up)
    with pytest.raises(SamplerError, match="found no point"):
        misses(SkewTarget())


def test_same_seed_same_draws_other_seed_other_draws():
    target = GaussianTarget([1.2, 0.7], 1.0, 2.0)
    one, two, three = (smc.sample(target, seed=s, particles=100)[0].x for s in (5, 5, 6))
    np.testing.assert_array_equal(one, two)
    assert not np.array_equal(one, three)


def test_stored_log_likelihoods_are_fresh():
    target = SkewTarget()
    state, _ = smc.sample(target, particles=100)
    np.testing.assert_allclose(state.log_likelihood, target.evaluate(state.x).log_likelihood)


class PoisonedTarget(GaussianTarget):
    """NaN on one side: the sampler must stay on the other and count what it refused."""

    def evaluate(self, x):
        there = super().evaluate(x)
        return there._replace(log_likelihood=np.where(x[0] > 0.5, np.nan, there.log_likelihood))


def test_nan_is_refused_and_counted():
    state, info = smc.sample(PoisonedTarget([1.2, 0.7], 1.0, 2.0), particles=200)
    assert np.all(state.x[0] <= 0.5)
    assert np.all(np.isfinite(state.log_likelihood))
    assert np.all(np.isfinite(info.log_evidence))
    assert info.nan_count > 0


def test_nan_everywhere_raises():
    class Dead(GaussianTarget):
        def evaluate(self, x):
            return Evaluation(np.zeros(x.shape[1]), np.full(x.shape[1], np.nan), x)

    with pytest.raises(SamplerError, match="no draw from the prior"):
        smc.sample(Dead([1.0], 1.0, 1.0), particles=50)


def test_a_capped_sweep_is_said():
    hasty = smc.USUAL._replace(sweep_cap_final=1)
    assert smc.sample(GaussianTarget(np.eye(4), 0.1, 1.0), particles=200, care=hasty)[1].cap_hit
    assert not smc.sample(GaussianTarget([1.2], 1.0, 2.0), particles=200)[1].cap_hit
