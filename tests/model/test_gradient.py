"""The gradient against differences of the log-likelihood that it belongs to."""

import numpy as np
import pytest

from scalemodel.model.inverse_gaussian import INNOVATIONS
from scalemodel.model.unknowns import FLOOR
from tests.builders import history, look
from tests.model.test_boiler import make, rich

STEP = 1e-6


def differences(model, x, exponent):
    """d/dx of exponent x log-likelihood (dim, n), coordinate by coordinate."""
    found = np.empty_like(x)
    for i in range(model.dim):
        ends = [x.copy(), x.copy()]
        ends[0][i] += STEP
        ends[1][i] -= STEP
        found[i] = (
            exponent * (model.evaluate(ends[0]).log_likelihood - model.evaluate(ends[1]).log_likelihood) / (2 * STEP)
        )
    return found


def off_knots(model, x):
    """Innovations moved away from the knots of their table, where slopes jump."""
    u, w = model.split(x)
    width = INNOVATIONS[1] - INNOVATIONS[0]
    return np.vstack([u, (np.floor(w / width) + 0.5) * width])


@pytest.mark.parametrize("facts", [rich(), history(look(50, 1), look(60, 1, 2), look(61, 2))])
def test_the_gradient_is_that_of_the_log_likelihood(facts):
    model, _ = make(facts)
    rng = np.random.default_rng(5)
    x, exponent = off_knots(model, model.draw_prior(rng, 60)), rng.random(60)
    found, gradient = model.evaluate_with_gradient(x, exponent)
    for mine, plain in zip(found, model.evaluate(x), strict=True):
        np.testing.assert_allclose(mine, plain, rtol=1e-12, atol=1e-12)
    expected = differences(model, x, exponent)
    scale = np.abs(expected).max(axis=1, keepdims=True)
    np.testing.assert_allclose(gradient, expected, rtol=2e-4, atol=1e-6 * max(1.0, scale.max()))


def test_a_water_that_drops_nothing_has_no_slope():
    model, _ = make(history(look(90, 0), look(180, 0)))
    nothing = type(model)(
        model.facts,
        model.timeline,
        {
            w: t._replace(
                closed_system=0 * t.closed_system,
                open_system=0 * t.open_system,
                evaporation_residue=0 * t.evaporation_residue,
            )
            for w, t in model.tables.items()
        },
        {**model.unknowns, FLOOR: model.unknowns[FLOOR]._replace(mean=-1e3)},
    )
    x = nothing.draw_prior(np.random.default_rng(6), 20)
    gradient = nothing.evaluate_with_gradient(x, np.ones(20))[1]
    assert np.all(np.isfinite(gradient))
    np.testing.assert_array_equal(gradient[nothing.static_dim :], 0.0)
