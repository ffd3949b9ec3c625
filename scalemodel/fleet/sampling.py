"""The population drawn by PyMC's NUTS: its priors are standard normals, and the boilers' draws its likelihood."""

from __future__ import annotations

import logging
import warnings
from collections.abc import Sequence

import numpy as np

from scalemodel.fleet.population import Draws, Trait, value_and_slope
from scalemodel.validation.pymc_twin import audit_packages

QUICK, THOROUGH = (1, 150, 150), (2, 250, 300)
"""Chains, and of each the draws that tune it and those that count: to find where to go next, and at the end."""


def boilers_op(draws: Draws, traits: Sequence[Trait]):
    """What the boilers say as an operation of PyTensor: from u (2 K,) to the log-likelihood and its slope."""
    import pytensor.tensor as pt
    from pytensor.graph import Apply, Op

    class Boilers(Op):
        def make_node(self, u):
            u = pt.as_tensor_variable(u)
            return Apply(self, [u], [pt.dscalar(), pt.dvector()])

        def perform(self, node, inputs, outputs):
            value, slope = value_and_slope(inputs[0], draws, traits)
            outputs[0][0], outputs[1][0] = np.asarray(value), slope

        def L_op(self, inputs, outputs, output_grads):
            return [output_grads[0] * outputs[1]]

    return Boilers()


def draw_population(
    draws: Draws, traits: Sequence[Trait], seed: int, start: np.ndarray, effort: tuple[int, int, int]
) -> np.ndarray:
    """Draws of a population's standard normals (chains, count, 2 K), from ``start`` (2 K,) on.

    ``effort`` is `QUICK` or `THOROUGH`.

    MissingPackageError where PyMC is not installed.
    """
    pm, _ = audit_packages()
    chains, tune, count = effort
    logging.getLogger("pymc").setLevel(logging.ERROR)
    with pm.Model(), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        u = pm.Normal("u", shape=len(start))
        pm.Potential("boilers", boilers_op(draws, traits)(u)[0])
        data = pm.sample(count, tune=tune, chains=chains, cores=1, random_seed=seed, progressbar=False,
                         initvals={"u": start}, compute_convergence_checks=False)  # fmt: skip
    return np.asarray(data.posterior["u"])
