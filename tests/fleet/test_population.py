"""The law of a fleet on arrays, against differences, quadrature and a population of known shape."""

import numpy as np
import pytest
from scipy import stats

from scalemodel.fleet.population import (
    CAPTURE_PARTS,
    MU_SHARE,
    SD_OF_TAU,
    TAU_LOG_SD,
    TAU_SHARE,
    Draws,
    Trait,
    likelihood,
    log_density,
    log_t,
    of_standard,
    predictive,
    t_below,
    trusted,
    value_and_slope,
)
from scalemodel.model import priors

FLOOR, CAPTURE = Trait("floor", "", priors.FLOOR), Trait("capture", "", priors.CAPTURE)
TOWN = Trait("strength", "town", priors.STRENGTH, shared=True)
ANNA = Trait("leniency", "anna", priors.LENIENCY, shared=True)


def drawn(rng, observed, error, q_mean, q_sd, count):
    """Draws of boilers whose one unknown was read once, normally, under a normal proposal: exact posteriors."""
    precision = 1.0 / q_sd**2 + 1.0 / error**2
    mean = (q_mean / q_sd**2 + observed / error**2) / precision
    values = mean[:, None] + precision**-0.5 * rng.standard_normal((len(observed), count))
    boilers = np.arange(len(observed))
    return Draws(values, np.zeros_like(boilers), boilers, stats.norm.logpdf(values, q_mean, q_sd), boilers)


def by_quadrature(observed, error, mu, tau, q_mean, q_sd):
    """Log of the ratio of evidences under the t and under the proposal, by the trapezium rule."""
    at = np.linspace(-40.0, 40.0, 160001)
    read = stats.norm.pdf(observed[:, None], at, error)
    under_t, under_q = stats.t.pdf(at, 4.0, mu, tau), stats.norm.pdf(at, q_mean, q_sd)
    return np.log(np.trapezoid(read * under_t, at)) - np.log(np.trapezoid(read * under_q, at))


def test_the_density_is_students():
    z = np.linspace(-9.0, 9.0, 37)
    assert np.allclose(log_t(z), stats.t.logpdf(z, 4.0), rtol=1e-12)
    assert np.allclose(t_below(z), stats.t.cdf(z, 4.0), atol=1e-12)
    whole, _ = log_density(z, CAPTURE_PARTS)
    assert np.allclose(np.exp(whole), 0.9 * stats.t.pdf(z, 4.0) + 0.1 * stats.t.pdf(z + 3.0, 4.0), rtol=1e-12)


def test_what_boilers_say_is_the_ratio_of_their_evidences():
    observed = np.array([-1.0, 0.2, 0.5, 3.0])
    draws = drawn(np.random.default_rng(1), observed, 0.5, 0.3, 1.4, 200_000)
    found = likelihood(np.array([0.4]), np.array([np.log(0.8)]), draws, [FLOOR]).by_block
    assert found == pytest.approx(by_quadrature(observed, 0.5, 0.4, 0.8, 0.3, 1.4), abs=0.01)


def test_few_draws_are_not_too_low_on_average():
    """Of 1,500 trials with 60 draws: the plain log of the mean is low, the corrected one by less than 0.3 of that."""
    observed = np.array([-1.0, 0.2, 0.5, 2.0])
    exact = by_quadrature(observed, 0.5, 1.3, 0.4, 0.3, 1.4).sum()
    rng, corrected, plain = np.random.default_rng(2), [], []
    for _ in range(1500):
        found = likelihood(np.array([1.3]), np.array([np.log(0.4)]), drawn(rng, observed, 0.5, 0.3, 1.4, 60), [FLOOR])
        corrected.append(found.by_block.sum())
        plain.append(corrected[-1] - np.sum(1.0 / found.effective_share - 1.0) / 120.0)
    error = np.std(plain) / np.sqrt(1500)
    assert np.mean(plain) - exact < -4.0 * error
    assert abs(np.mean(corrected) - exact) < 0.3 * abs(np.mean(plain) - exact)


def test_the_slope_is_that_of_differences():
    rng, traits = np.random.default_rng(3), [FLOOR, CAPTURE, TOWN, ANNA]
    trait, first = np.array([0, 1, 3, 0, 1, 1, 2, 3]), np.array([0, 3, 7])
    draws = Draws(rng.standard_normal((8, 40)), trait, first, rng.standard_normal((3, 40)), np.arange(3))
    u = 0.3 * rng.standard_normal(8)
    _, slope = value_and_slope(u, draws, traits)
    for k in range(8):
        step = np.zeros(8)
        step[k] = 1e-5
        above, below = (value_and_slope(u + sign * step, draws, traits)[0] for sign in (1, -1))
        assert slope[k] == pytest.approx((above - below) / 2e-5, abs=2e-5 + 1e-5 * abs(slope[k]))


def test_a_draw_far_out_does_not_rule():
    """One draw of 400 lies where Student's population is far denser than the normal that the boiler was solved under.

    By the plain mean of weights a population out there is believed for its sake; capped it is not, and the slope is
    that of the rest.
    """
    values = 0.2 * np.random.default_rng(6).standard_normal((1, 400))
    values[0, 7] = 6.0
    draws = Draws(values, np.zeros(1, int), np.zeros(1, int), stats.norm.logpdf(values), np.zeros(1, int))
    (near, _), (far, slope) = (value_and_slope(np.array([u, -1.0]), draws, [FLOOR]) for u in (0.0, 9.0))
    plain = []
    for u in (0.0, 9.0):
        mu, log_tau = of_standard(np.array([u, -1.0]), [FLOOR])
        plain.append(np.exp(stats.t.logpdf(values, 4.0, mu[0], np.exp(log_tau[0])) - draws.log_proposal).mean())
    assert plain[1] > 1000.0 * plain[0]
    assert far < near - 5.0
    above, below = (value_and_slope(np.array([9.0 + step, -1.0]), draws, [FLOOR])[0] for step in (1e-5, -1e-5))
    assert slope[0] == pytest.approx((above - below) / 2e-5, rel=1e-4)


def test_before_any_boiler_the_predictive_is_the_houses():
    rng = np.random.default_rng(4)
    mu = MU_SHARE * rng.standard_normal(20_000)
    tau = TAU_SHARE * np.exp(TAU_LOG_SD * rng.standard_normal(20_000))
    assert predictive(mu, tau) == pytest.approx((0.0, 1.0), abs=0.02)
    few = predictive(np.array([0.0, 8.0]), np.array([1.0, 1.0]), np.array([1.0, 0.0]))
    assert few == pytest.approx((0.0, SD_OF_TAU), abs=1e-6)


def test_effective_shares_fall_where_the_population_moves_away():
    draws = drawn(np.random.default_rng(5), np.zeros(2), 0.5, 0.0, 1.2, 500)
    near, far = (
        likelihood(np.array([mu]), np.array([log_tau]), draws, [FLOOR]).effective_share
        for mu, log_tau in ((0.0, -0.2), (1.0, -2.0))
    )
    assert near.min() > 0.8
    assert far.max() < 0.5


def test_a_step_stays_where_it_is_trusted():
    assert trusted((1.0, 0.5), (-3.0, 5.0)) == pytest.approx((0.65, 0.5 / 0.6))
    assert trusted((1.0, 0.5), (1.1, 0.4)) == (1.1, 0.4)
