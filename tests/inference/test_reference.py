"""The PyMC twin: same log-likelihood at random points, same priors, finite gradient; NUTS only when asked for."""

import numpy as np
import pytest

from scalemodel.inference.reference import build_twin
from scalemodel.model.growth import increment
from tests.model.test_boiler import make, rich

pytest.importorskip("pymc", reason="the audit extra is not installed")


@pytest.fixture(scope="module")
def pair():
    model, _ = make(rich())
    return model, build_twin(model)


def test_log_likelihoods_are_equal(pair):
    model, twin = pair
    x = model.draw_prior(np.random.default_rng(1), 50)
    u, v = model.split(x)
    drift = model.drift(u)
    grown, _ = increment(drift.mean, drift.irregularity, v)
    compiled = twin.model.compile_fn(
        twin.log_likelihood, inputs=[twin.model["u"], twin.model["growth"]], on_unused_input="ignore"
    )
    theirs = [float(compiled({"u": u[:, i], "growth": grown[twin.growing, i]})) for i in range(50)]
    np.testing.assert_allclose(model.evaluate(x)[1], theirs, rtol=1e-9, atol=1e-9)
