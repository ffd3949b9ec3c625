"""The inverse-Gaussian law of growth: shapes, limits, and the generator against its own density."""

import numpy as np
import pytest
from scipy import stats

from scalemodel.model.inverse_gaussian import draw_growth, draw_signed_roots, growth_of_signed_root, survival


@pytest.mark.parametrize(("mean", "nu"), [(0.01, 0.3), (0.3, 0.3), (5.0, 0.3), (2.0, 4.0)])
def test_the_law_of_the_signed_root_is_the_inverse_gaussian_density(mean, nu):
    v = np.linspace(-4.0, 4.0, 41)
    amount, ratio = growth_of_signed_root(mean, nu, v)
    step = 1e-6
    slope = (growth_of_signed_root(mean, nu, v + step)[0] - growth_of_signed_root(mean, nu, v - step)[0]) / (2 * step)
    by_density = stats.invgauss.pdf(amount, nu / mean, scale=mean**2 / nu) * slope
    by_ratio = np.exp(-0.5 * v**2) / np.sqrt(2 * np.pi) * ratio
    off_kink = np.abs(v) > 1e-9
    np.testing.assert_allclose(by_density[off_kink], by_ratio[off_kink], rtol=1e-4)


def test_growth_rises_with_the_root_and_gives_it_back():
    v = np.linspace(-5, 5, 201)
    amount, _ = growth_of_signed_root(1.3, 0.4, v)
    assert np.all(np.diff(amount) > 0)
    np.testing.assert_allclose((amount - 1.3) / np.sqrt(0.4 * amount), v, atol=1e-9)


def test_no_water_no_growth():
    amount, ratio = growth_of_signed_root(np.zeros(3), 0.3, np.array([-1.0, 0.0, 1.0]))
    assert amount[0] == 0.0
    assert ratio[0] == 2.0
    assert ratio[2] == 0.0
    assert np.all(draw_signed_roots(np.random.default_rng(1), np.zeros((4, 100)), np.full(100, 0.3)) < 0.0)
    assert np.all(draw_growth(np.random.default_rng(1), np.zeros((4, 100)), np.full(100, 0.3)) == 0.0)
    assert survival(0.1, 0.0, 0.3) == 0.0


def test_generator_has_the_mean_and_variance_of_the_law():
    rng = np.random.default_rng(7)
    n, mean, nu = 200_000, 0.8, 0.5
    x = draw_growth(rng, np.full(n, mean), nu)
    variance = nu * mean
    assert abs(x.mean() - mean) < 4 * np.sqrt(variance / n)
    fourth = variance**2 * (3 + 15 * nu / mean)  # kurtosis of the inverse Gaussian is 3 + 15 mu / lambda
    assert abs(x.var() - variance) < 4 * np.sqrt((fourth - variance**2) / n)


def test_two_halves_make_a_whole():
    rng = np.random.default_rng(8)
    n, mean, nu = 100_000, 1.0, 0.4
    halves = sum(draw_growth(rng, np.full(n, mean / 2), nu) for _ in range(2))
    for x in (0.4, 0.8, 1.2, 2.5):
        p = float(survival(x, mean, nu))
        assert abs((halves > x).mean() - p) < 4 * np.sqrt(p * (1 - p) / n)


def test_survival_is_a_probability_that_falls_and_never_overflows():
    x = np.linspace(-1.0, 1000.0, 4001)
    p = survival(x, 50.0, 1e-4)
    assert np.all((p >= 0) & (p <= 1))
    assert np.all(np.diff(p) <= 1e-12)
    assert p[0] == 1.0
