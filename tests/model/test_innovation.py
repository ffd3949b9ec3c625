"""The innovation: nearly normal however small the interval, and exactly inverse-Gaussian growth."""

import numpy as np
import pytest
from scipy import stats

from scalemodel.model.inverse_gaussian import (
    LOG_CVS,
    draw_innovations,
    draw_signed_roots,
    find_signed_root,
    find_signed_root_and_rise,
    growth_of_signed_root,
    increment,
    innovation_of_signed_root,
    invert_increment,
    invert_signed_root,
    signed_root_table,
)

LAWS = [(0.01, 0.3), (0.3, 0.3), (5.0, 0.3), (2.0, 4.0), (1e-7, 0.3), (500.0, 0.2)]
BETWEEN_KNOTS = np.linspace(-4.0, 4.0, 41) + 0.011


@pytest.mark.parametrize(("mean", "nu"), LAWS)
def test_the_law_of_the_innovation_is_the_inverse_gaussian_density(mean, nu):
    w, step = BETWEEN_KNOTS, 1e-6
    amount, ratio = increment(mean, nu, w)
    slope = (increment(mean, nu, w + step)[0] - increment(mean, nu, w - step)[0]) / (2 * step)
    by_density = stats.invgauss.pdf(amount, nu / mean, scale=mean**2 / nu) * slope
    by_ratio = stats.norm.pdf(w) * ratio
    np.testing.assert_allclose(by_density, by_ratio, rtol=1e-4)


@pytest.mark.parametrize("cv", [0.05, 0.3, 2.0, 8.0, 100.0, 1000.0])
def test_the_prior_ratio_stays_near_one(cv):
    _, ratio = increment(1.0, cv**2, np.linspace(-3.0, 3.0, 1001))
    assert np.abs(np.log(ratio)).max() < 0.15


@pytest.mark.parametrize(("mean", "nu"), [(0.5, 0.3), (3.0, 0.3), (3.0, 2.0)])
def test_the_exact_innovation_is_scipys_inverse_gaussian(mean, nu):
    law = stats.invgauss(mu=nu / mean, scale=mean**2 / nu)
    root = np.array([-6.0, -3.0, -0.5, 0.0, 0.5, 3.0, 6.0])
    amount, _ = growth_of_signed_root(mean, nu, root)
    expected = np.where(root < 0, stats.norm.ppf(law.cdf(amount)), -stats.norm.ppf(law.sf(amount)))
    np.testing.assert_allclose(innovation_of_signed_root(root, np.sqrt(nu / mean)), expected, rtol=1e-6, atol=1e-9)


def test_growth_rises_with_the_innovation_and_inverts():
    w = np.linspace(-9, 9, 901)
    for mean, nu in LAWS[:4]:
        amount, _ = increment(mean, nu, w)
        assert np.all(np.diff(amount) > 0)
        np.testing.assert_allclose(invert_increment(amount, mean, nu), w, atol=1e-6)


def test_the_table_rises():
    assert np.all(np.diff(signed_root_table().reshape(len(LOG_CVS), -1), axis=1) > 0)


@pytest.mark.parametrize("log_cv", [-9.0, -1.234, 0.5, 3.3, 8.4, 12.0])
def test_the_root_and_its_slopes(log_cv):
    w, step = BETWEEN_KNOTS, 1e-6
    root = find_signed_root(w, np.full_like(w, log_cv))
    np.testing.assert_allclose(invert_signed_root(root.value, log_cv), w, atol=1e-9)
    rise = find_signed_root_and_rise(w, np.full_like(w, log_cv))[1]
    for along, slope in (("w", root.by_innovation), ("s", rise)):
        ends = [
            find_signed_root(w + sign * step * (along == "w"), np.full_like(w, log_cv + sign * step * (along == "s")))
            for sign in (1, -1)
        ]
        np.testing.assert_allclose((ends[0].value - ends[1].value) / (2 * step), slope, atol=1e-6)


def test_no_water_no_growth():
    amount, ratio = increment(np.zeros(3), 0.3, np.array([-3.0, 0.0, 3.0]))
    np.testing.assert_array_equal(amount, 0.0)
    assert np.all(ratio > 0.8)
    assert increment(0.0, 0.3, 8.0)[1] == 0.0  # beyond all that nothing can come to: no weight
    drawn = draw_innovations(np.random.default_rng(1), np.zeros((4, 100)), np.full(100, 0.3))
    assert np.all(increment(np.zeros((4, 100)), 0.3, drawn)[0] == 0.0)


@pytest.mark.parametrize("cv", [0.3, 4.0, 300.0])
def test_drawn_innovations_are_nearly_normal_and_grow_as_the_law_does(cv):
    n = 50_000
    mean, nu = np.full(n, 0.7), 0.7 * cv**2
    w = draw_innovations(np.random.default_rng(3), mean, nu)
    assert abs(w.mean()) < 4.5 / np.sqrt(n) + 0.005
    assert abs(w.std() - 1.0) < 4.5 / np.sqrt(2 * n) + 0.005
    other = growth_of_signed_root(mean, nu, draw_signed_roots(np.random.default_rng(4), mean, nu))[0]
    assert stats.ks_2samp(increment(mean, nu, w)[0], other).pvalue > 1e-4
