"""A fleet stated as one PyMC model, every boiler's records and the population at once: the check on pooling by rounds.

The law is that of `scalemodel.fleet.population`; each boiler's part is that of the PyMC twin. Affordable for few
boilers of few looks only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scalemodel.fleet.population import SD_OF_TAU, Trait
from scalemodel.fleet.traits import key_of_unknown, keys_of, traits_of
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.target import model_of
from scalemodel.validation.pymc_twin import add_boiler, audit_packages, sample


@dataclass(frozen=True)
class Joint:
    """A PyMC model of a fleet; its variables ``mu`` and ``log_tau`` (K,) are the population's, in traits' order."""

    model: object
    traits: tuple[Trait, ...]
    boilers: tuple[BoilerModel, ...]


@dataclass(frozen=True)
class JointDraws:
    """NUTS draws of a population.

    Attributes
    ----------
    mean, sd : array (chains, draws, K)
        Of the boilers, as `scalemodel.fleet.pool.Learned` has them; sd 0 of what is shared.
    r_hat, ess_bulk : float
        The worst over means and log spreads.
    divergences : int
    seconds : float [s]
    """

    mean: np.ndarray
    sd: np.ndarray
    r_hat: float
    ess_bulk: float
    divergences: int
    seconds: float


def build_joint(fleet: Sequence[BoilerFacts]) -> Joint:
    """State a fleet in PyMC: non-centred, a boiler's unknown is mu + tau z, z Student's t with 4 degrees.

    What is not pooled (a boiler's own temperature effect, the moves of its water) has the boiler's prior.
    MissingPackageError where PyMC is not installed.
    """
    pm, _ = audit_packages()
    import pytensor.tensor as pt

    boilers = tuple(model_of(facts)[0] for facts in fleet)
    traits = traits_of(map(keys_of, boilers), fleet[0].beliefs)
    place = {(one.name, one.subject): k for k, one in enumerate(traits)}
    with pm.Model() as model:
        u = pm.Normal("u", shape=len(traits))
        v = pm.Normal("v", shape=len(traits))
        both = [one.of_standard(u[k], v[k], pt) for k, one in enumerate(traits)]
        mu, log_tau = (pt.stack([pair[part] for pair in both]) for part in (0, 1))
        pm.Deterministic("mu", mu)
        pm.Deterministic("log_tau", log_tau)
        for number, boiler in enumerate(boilers):
            value = _values(pm, pt, boiler, number, place, traits, (mu, pt.exp(log_tau)))
            part = add_boiler(boiler, value, f"growth {number}")
            pm.Potential(f"records {number}", part.log_likelihood)
    return Joint(model, traits, boilers)


def _values(pm, pt, boiler: BoilerModel, number: int, place, traits, population) -> dict:
    """The unknowns of a boiler, scalars, from standardised ones of its own."""
    (mu, tau), value = population, {}
    keys = [(unknown, place.get(key_of_unknown(unknown, boiler))) for unknown in boiler.unknowns]
    alone = [unknown for unknown, k in keys if k is None]
    pooled = [(unknown, k) for unknown, k in keys if k is not None]
    own = pm.Normal(f"own {number}", shape=len(alone))
    for row, unknown in enumerate(alone):
        value[unknown] = boiler.unknowns[unknown].value(own[row], xp=pt)
    single = [(unknown, k) for unknown, k in pooled if len(traits[k].parts) == 1]
    z = pm.StudentT(f"z {number}", nu=4.0, shape=len(single))
    for row, (unknown, k) in enumerate(single):
        value[unknown] = mu[k] + tau[k] * z[row]
    for unknown, k in pooled:
        if unknown not in value:
            shares, at = map(np.array, zip(*traits[k].parts, strict=True))
            kinds = pm.StudentT.dist(nu=4.0, mu=at, sigma=1.0, shape=len(at))
            value[unknown] = mu[k] + tau[k] * pm.Mixture(f"{unknown} {number}", w=shares, comp_dists=kinds)
    return value


def draw_joint(joint: Joint, seed: int, draws: int = 500, tune: int = 700, chains: int = 2) -> JointDraws:
    """Draw a fleet's population by NUTS, with ArviZ's diagnostics of it."""
    found = sample(joint.model, ("mu", "log_tau"), seed, draws=draws, tune=tune, chains=chains)
    mean, log_tau = found.values
    shared = np.array([one.shared for one in joint.traits])
    sd = np.where(shared, 0.0, SD_OF_TAU * np.exp(log_tau))
    return JointDraws(mean, sd, found.r_hat, found.ess_bulk, found.divergences, found.seconds)
