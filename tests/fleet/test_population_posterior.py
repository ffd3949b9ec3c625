"""A population's posterior: calibrated over invented fleets of plain boilers, and the same by NUTS as on a grid."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import logsumexp

from scalemodel.fleet.population import Trait, of_standard, value_and_slope
from scalemodel.fleet.sampling import THOROUGH, draw_population
from scalemodel.model import priors
from tests.fleet.test_population import drawn

FLOOR = Trait("floor", "", priors.FLOOR)
AT = np.linspace(-3.6, 3.6, 25)


def on_a_grid(draws):
    """Posterior weights (25, 25) of the two standard normals, and the cell's places."""
    logs = np.array([[value_and_slope(np.array([u, v]), draws, [FLOOR])[0] for v in AT] for u in AT])
    logs -= 0.5 * (AT[:, None] ** 2 + AT**2)
    return np.exp(logs - logsumexp(logs))


def fleet(rng, u, v, boilers=10, error=0.4):
    """Boilers of a population, each read once; solved under the house's prior, widened."""
    mu, log_tau = of_standard(np.array([u, v]), [FLOOR])
    theta = mu[0] + np.exp(log_tau[0]) * rng.standard_t(4.0, boilers)
    read = theta + error * rng.standard_normal(boilers)
    return drawn(rng, read, error, FLOOR.house.mean, 1.2 * FLOOR.house.sd, 300)


def test_the_truth_is_where_the_posterior_says():
    """Of 80 fleets from the prior, the truth's place in the posterior of mean and spread is uniform (KS at 0.001)."""
    rng, places = np.random.default_rng(11), []
    for _ in range(80):
        u, v = np.clip(rng.standard_normal(2), -3.0, 3.0)
        weights = on_a_grid(fleet(rng, u, v))
        edges = AT + 0.5 * (AT[1] - AT[0])
        places.append([np.interp(u, edges, weights.sum(1).cumsum()), np.interp(v, edges, weights.sum(0).cumsum())])
    for one in np.array(places).T:
        assert stats.kstest(one, "uniform").pvalue > 0.001


def test_nuts_draws_what_the_grid_holds():
    """Means within 0.15 and sds within 15 % of the grid's, for 600 draws."""
    draws = fleet(np.random.default_rng(12), 0.8, -0.5)
    weights = on_a_grid(draws)
    found = draw_population(draws, [FLOOR], 1, np.zeros(2), THOROUGH).reshape(-1, 2)
    for k, marginal in enumerate((weights.sum(1), weights.sum(0))):
        mean = marginal @ AT
        sd = np.sqrt(marginal @ (AT - mean) ** 2)
        assert found[:, k].mean() == pytest.approx(mean, abs=0.15 * sd)
        assert found[:, k].std() == pytest.approx(sd, rel=0.15)
