"""The shear: the same law seen from elsewhere, both ways, with its slopes; and where there is nothing to shear."""

from dataclasses import replace

import numpy as np
import pytest

from scalemodel.inference import smc
from scalemodel.model.quantiles import Transform, mixture_of_normals
from scalemodel.model.sheared import ShearedTarget
from scalemodel.model.target import model_of
from scalemodel.model.unknowns import CAPTURE
from tests.builders import history, look

STRAIGHT, BENT = Transform(None), mixture_of_normals((0.9, 0.0, 1.0), (0.1, -3.0, 1.0))
MILD = history(look(90, 0), look(180, 0), look(270, 1), days=300, tds=200.0)


@pytest.fixture(scope="module")
def target():
    return ShearedTarget(model_of(MILD)[0])


@pytest.fixture
def y(target):
    return target.draw_prior(np.random.default_rng(1), 40)


def test_it_closes_what_it_opens(target, y):
    x = target.opened(y)
    np.testing.assert_allclose(target.closed(x), y, atol=1e-10)
    others = np.delete(np.arange(target.dim), target.row)
    np.testing.assert_array_equal(x[others], y[others])
    assert np.abs(x[target.row] - y[target.row]).max() > 0.5


def test_it_is_the_same_law(target, y):
    """Density over N(0, I) in y, the shear keeping volumes: that in x times phi(x) / phi(y)."""
    x = target.opened(y)
    there, plain = target.evaluate(y), target.model.evaluate(x)
    np.testing.assert_allclose(there.log_likelihood, plain.log_likelihood, rtol=1e-9)
    np.testing.assert_allclose(there.monitored, plain.monitored, rtol=1e-9, atol=1e-12)
    phi = -0.5 * (x**2).sum(axis=0) + 0.5 * (y**2).sum(axis=0)
    np.testing.assert_allclose(there.log_prior_ratio, plain.log_prior_ratio + phi, atol=1e-9)


def test_the_shear_keeps_volumes(target, y):
    step = 1e-6
    one = y[:, :1]
    spread = np.concatenate([one + sign * step * np.eye(target.dim) for sign in (1, -1)], axis=1)
    opened = target.opened(spread)
    jacobian = (opened[:, : target.dim] - opened[:, target.dim :]) / (2 * step)
    assert np.linalg.det(jacobian) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("exponent", [0.0, 0.3, 1.0])
def test_the_gradient_is_that_of_what_the_sampler_adds_up(target, y, exponent):
    """Of exponent x log-likelihood + log phi(x) - log phi(y); what innovations lack of a normal is left out."""
    _, gradient = target.evaluate_with_gradient(y, np.full(y.shape[1], exponent))

    def risen(y):
        x = target.opened(y)
        there = target.evaluate(y)
        return exponent * there.log_likelihood + 0.5 * (y**2 - x**2).sum(axis=0)

    for row in range(target.dim):
        step = np.zeros((target.dim, 1))
        step[row] = 1e-5
        slope = (risen(y + step) - risen(y - step)) / 2e-5
        np.testing.assert_allclose(gradient[row], slope, rtol=2e-3, atol=2e-4)


def test_growth_of_all_that_is_on_record_is_nearly_one_coordinate(target):
    """Where capture stands at its median, the middle two thirds of growth differ less than half as much by all else."""
    y = np.random.default_rng(3).standard_normal((target.dim, 4000))
    y[target.row] = 0.0

    def spread(x):
        growth = np.log(target.model.parameters(x[: target.static_dim]).mean.sum(axis=0))
        return float(np.ptp(np.percentile(growth, [16, 84])))

    assert spread(target.opened(y)) < 0.5 * spread(y)


def test_a_boiler_that_was_never_filled_has_no_shear():
    facts = history(look(1, 0), days=2, tds=200.0)
    model = model_of(replace(facts, uses=tuple(replace(use, litres=0.0, drinks=None) for use in facts.uses)))[0]
    target = ShearedTarget(model)
    y = target.draw_prior(np.random.default_rng(1), 20)
    np.testing.assert_array_equal(target.opened(y), y)
    assert np.all(np.isfinite(target.evaluate(y).log_prior_ratio))
    assert np.all(np.isfinite(target.evaluate_with_gradient(y, np.ones(20))[1]))


def test_a_belief_of_any_shape_is_sheared():
    model = model_of(MILD)[0]
    shaped = [model.unknowns[CAPTURE]._replace(transform=transform) for transform in (STRAIGHT, BENT)]
    for prior in shaped:
        target = ShearedTarget(replace(model, unknowns={**model.unknowns, CAPTURE: prior}))
        y = target.draw_prior(np.random.default_rng(1), 40)
        x = target.opened(y)
        np.testing.assert_allclose(target.closed(x), y, atol=1e-10)
        there, plain = target.evaluate(y), target.model.evaluate(x)
        np.testing.assert_allclose(there.log_likelihood, plain.log_likelihood, rtol=1e-9)


def test_both_coordinates_find_the_same_posterior(target):
    """Log evidence and every mean within five standard errors of four populations each."""
    (sheared, info), (plain, other) = (smc.sample(one, particles=500) for one in (target, target.model))
    x = target.opened(sheared.x)
    means = [a.reshape(len(a), 4, -1).mean(axis=2) for a in (x, plain.x)]
    error = np.sqrt(sum(a.var(axis=1, ddof=1) / 4 for a in means) + 2.0 / 2000)
    assert np.all(np.abs(means[0].mean(axis=1) - means[1].mean(axis=1)) < 5 * error)
    assert info.log_evidence.mean() == pytest.approx(other.log_evidence.mean(), abs=0.25)
