"""The sampler against posteriors and evidences known in closed form.

The Gaussian values follow from the multivariate normal density and were confirmed by quadrature. Monte Carlo tolerances
are 4 to 5 standard errors (Del Moral, Doucet & Jasra 2006 for tempered sequential Monte Carlo).
"""

import numpy as np
import pytest

from scalemodel.inference.smc import sample
from tests.builders import GaussianTarget

Y = [1.2, 0.7, 1.9, 1.1, 0.4]


@pytest.mark.parametrize(
    ("noise", "prior_sd", "mean", "sd", "log_evidence"),
    [
        (1.0, 2.0, 1.0095238095, 0.4364357805, -6.896715789647),
        (0.5, 10.0, 1.0594702649, 0.2235509170, -7.519273122919),
    ],
)
def test_one_mean(noise, prior_sd, mean, sd, log_evidence):
    state, info = sample(GaussianTarget(Y, noise, prior_sd), seed=3, particles=1000)
    theta = prior_sd * state.x[0]
    assert abs(theta.mean() - mean) < 5 * sd / np.sqrt(0.8 * 4000)
    assert abs(theta.std() - sd) < 5 * sd / np.sqrt(2 * 0.6 * 4000)
    assert np.all(np.abs(info.log_evidence - log_evidence) < 0.25)
    assert abs(np.log(np.exp(info.log_evidence).mean()) - log_evidence) < 0.13


@pytest.mark.parametrize(("dim", "log_evidence"), [(2, -2.841485955), (5, -5.956925898), (10, -11.489115132)])
def test_many_means(dim, log_evidence):
    y = np.linspace(-1.0, 1.0, dim)
    state, info = sample(GaussianTarget(y[:, None], 0.3, 1.0), seed=4, particles=1000)
    error = 0.2873478856 / np.sqrt(0.7 * 4000)
    np.testing.assert_allclose(state.x.mean(axis=1), y / 1.09, atol=5 * error)
    np.testing.assert_allclose(state.x.std(axis=1), 0.2873478856, atol=5 * error)
    assert abs(np.log(np.exp(info.log_evidence).mean()) - log_evidence) < 0.04 * dim + 0.1
