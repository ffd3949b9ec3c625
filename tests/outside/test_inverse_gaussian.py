"""The growth process against scipy.stats.invgauss and published degradation data.

The data are the increments of the GaAs laser degradation study in Meeker & Escobar (1998), Statistical Methods for
Reliability Data, summarised by their maximum-likelihood fit (mean 0.509477 and shape 3.412531 a 250 h step; mean rate
2.0379067 % per 1000 h, shape 54.600491), for which the exceedance of 10 % is quoted here.
"""

import numpy as np
import pytest
from scipy import stats

from scalemodel.model.inverse_gaussian import draw_growth, survival


def frozen(mean, nu):
    shape = mean**2 / nu
    return stats.invgauss(mean / shape, scale=shape)


GRID = [(m, n) for m in (0.02, 0.5, 3.0, 40.0) for n in (0.05, 0.3, 2.0)]


@pytest.mark.parametrize(("mean", "nu"), GRID)
def test_survival(mean, nu):
    law = frozen(mean, nu)
    x = law.ppf([1e-6, 0.01, 0.2, 0.5, 0.8, 0.99, 1 - 1e-6])
    np.testing.assert_allclose(survival(x, mean, nu), law.sf(x), rtol=1e-6)


@pytest.mark.parametrize(("mean", "nu"), [(0.5, 0.3), (3.0, 0.3), (3.0, 2.0), (40.0, 2.0)])
def test_far_tail(mean, nu):
    law = frozen(mean, nu)
    x = mean + np.array([4.0, 8.0, 14.0, 20.0]) * np.sqrt(nu * mean)
    np.testing.assert_allclose(survival(x, mean, nu), np.exp(law.logsf(x)), rtol=1e-6)


@pytest.mark.parametrize(("mean", "nu"), [(0.05, 0.3), (0.5, 0.3), (5.0, 0.3)])
def test_generator(mean, nu):
    rng = np.random.default_rng(20)
    x = draw_growth(rng, np.full(20_000, mean), nu)
    assert stats.kstest(x, frozen(mean, nu).cdf).pvalue > 1e-4


@pytest.mark.parametrize(("hours", "chance"), [(4000, 0.01500615), (4500, 0.15927461), (5000, 0.56922055)])
def test_published_exceedance(hours, chance):
    rate, shape = 2.0379067, 54.600491  # Y(t) ~ IG(rate t, shape t^2), t in 1000 h: variance rate^3/shape a unit of t
    t = hours / 1000
    mean = rate * t
    nu = mean**2 / (shape * t**2)
    assert float(survival(10.0, mean, nu)) == pytest.approx(chance, abs=2e-7)
