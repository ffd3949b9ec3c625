"""The same model stated in PyMC and drawn by NUTS: the independent check on our own sampler.

Growth is PyMC's own inverse Gaussian (Wald), not our tilted normal; the law's formulas are shared through the array
namespace. All calls of PyMC stand here.
"""

from __future__ import annotations

import logging
import time
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from scalemodel import atomic
from scalemodel.errors import BadValueError, MissingPackageError
from scalemodel.inference.posterior import Posterior
from scalemodel.model import unknowns
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.grading import GRADE_COUNT, grading_of
from scalemodel.model.inverse_gaussian import invert_increment
from scalemodel.model.look import RECOVERED, THICKNESS, look_model, visible_log
from scalemodel.model.supply_law import blend_potential, capture_fraction
from scalemodel.model.unknowns import Unknown
from scalemodel.model.wandering import Wandering
from scalemodel.water.potential import LOG_FACTORS

LEAST_MEAN_MG_CM2 = 1e-9
"""Keeps the Wald's mean positive where a boiler at some concentration is supplied with next to nothing."""


def audit_packages(needs: str = "this check needs"):
    """PyMC and ArviZ; where they are not there MissingPackageError, which says what ``needs`` them, and the command."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import arviz
            import pymc
    except ImportError as missing:
        raise MissingPackageError(needs, missing.name or "PyMC and ArviZ", "audit") from missing
    return pymc, arviz


@dataclass(frozen=True)
class Twin:
    """A PyMC model with its free variables ``u`` (d,) and ``growth`` (intervals that can grow,)."""

    model: object
    growing: np.ndarray
    log_likelihood: object
    source: BoilerModel


class Part(NamedTuple):
    """A boiler within a PyMC model: intervals that can grow (indices), their growth, the last deposit, and the
    log-likelihood of its records, a scalar."""

    growing: np.ndarray
    growth: object
    deposit: object
    log_likelihood: object


def build_twin(source: BoilerModel) -> Twin:
    """State a boiler's model in PyMC, from the same records, priors, tables and constants."""
    pm, _ = audit_packages()
    import pytensor.tensor as pt

    with pm.Model() as model:
        u = pm.Normal("u", 0.0, 1.0, shape=source.static_dim)
        value = {
            unknown: pm.Deterministic(str(unknown), prior.value(u[k], xp=pt))
            for k, (unknown, prior) in enumerate(source.unknowns.items())
        }
        part = add_boiler(source, value)
        pm.Deterministic("deposit", part.deposit)
        pm.Potential("records", part.log_likelihood)
    return Twin(model, part.growing, part.log_likelihood, source)


def add_boiler(source: BoilerModel, value: Mapping[Unknown, object], name: str = "growth") -> Part:
    """Add a boiler's growth, under ``name``, to the PyMC model that is open; ``value`` holds its unknowns, scalars."""
    pm, _ = audit_packages()
    import pytensor.tensor as pt

    line, facts = source.timeline, source.facts
    possible = line.recorded_l.sum(axis=1) + line.planned_l.sum(axis=1)
    growing = np.flatnonzero(possible > 0.0)
    nu = pt.exp(value[unknowns.DISPERSION])
    share = capture_fraction(value[unknowns.CAPTURE], value[unknowns.ACTIVATION], facts.boiler.temperature_c, xp=pt)
    degassing = pt.sigmoid(value[unknowns.DEGASSING])
    paths = {water: path_of(pt, path, water, value) for water, path in line.paths.items()}
    each = [
        share
        * (pt.exp(value[unknowns.FLOOR]) + blend_potential(
            *(straight_lines(pt, LOG_FACTORS, column, table.log_sd * value[unknowns.concentration(w)] + paths[w][e])
              for column in table.potentials),
            degassing, facts.boiler.steam_share,
        )) / facts.boiler.wetted_area_cm2
        for w, e, table in ((w, e, source.tables[w]) for w, e in line.spans)
    ]  # fmt: skip
    use = pt.exp(line.plan.log_sd * value[unknowns.USE]) if unknowns.USE in value else 1.0
    litres = line.recorded_l[growing] + line.planned_l[growing] * use
    mean = pt.dot(litres, pt.stack(each)) + LEAST_MEAN_MG_CM2
    growth = pm.Wald(name, mu=mean, lam=mean**2 / nu, shape=len(growing))
    place = dict(zip(growing.tolist(), range(len(growing)), strict=True))
    states = [
        state
        for surface in range(1 + len(source.own))
        for state in chain_states(pt, source, value, place, growth, surface)
    ]
    total = evidence(pt, source, value, states) + evidence_of_tests(pt, source, paths)
    return Part(growing, growth, states[source.states - 1], total)


def path_of(pt, path: Wandering, water: str, value: dict) -> list:
    """How the log concentration of a water moved, by epoch, scalars."""
    at = [value[unknowns.start(water)] if path.readings else pt.constant(0.0)] * len(path.knots)
    for epoch in range(path.reference + 1, len(path.knots)):
        at[epoch] = at[epoch - 1] + value[unknowns.step(water, epoch - 1)]
    for epoch in reversed(range(path.reference)):
        at[epoch] = at[epoch + 1] + value[unknowns.step(water, epoch)]
    return at


def evidence_of_tests(pt, source: BoilerModel, paths: dict[str, list]):
    """Log-likelihood of every later test of a water, a scalar."""
    total = pt.constant(0.0)
    for water, path in source.timeline.paths.items():
        for one in path.readings:
            total = total + one.log_density(paths[water], pt)
    return total


def straight_lines(pt, knots: np.ndarray, values: np.ndarray, at):
    """Straight lines between evenly spaced knots, level beyond the outer ones: a start and a sum of bends."""
    at = pt.clip(at, knots[0], knots[-1])
    slopes = np.diff(values) / np.diff(knots)
    bends = np.diff(slopes, prepend=0.0)
    return values[0] + pt.sum(bends * pt.maximum(at - knots[:-1], 0.0))


def chain_states(pt, source: BoilerModel, value: dict, place: dict[int, int], growth, surface: int) -> list:
    """Deposit on one surface at every state of the timeline, scalars."""
    residues = source.residues[surface * len(source.timeline.descales) :]
    states = [pt.exp(value[unknowns.INITIAL]) if unknowns.INITIAL in value else pt.constant(0.0)]
    for step, index in source.timeline.steps:
        if step == "descale":
            states.append(states[-1] * pt.sigmoid(value[residues[index]]))
        else:
            states.append(states[-1] + growth[place[index]] if index in place else states[-1])
    return states


def evidence(pt, source: BoilerModel, value: dict, states: list):
    """Log-likelihood of every look, thickness and recovered mass, a scalar."""

    def normal_cdf(x):
        return 0.5 * pt.erfc(-x / np.sqrt(2.0))

    total = pt.constant(0.0)
    facts, grading = source.facts, grading_of(source.facts.beliefs)
    error, bounds = grading.error, grading.log_bounds
    for state, look in source.timeline.looks:
        reads = look_model(value.__getitem__, facts, look.site, look.method, look.inspector, pt)
        there = states[source.surface_of(look.site).start + state]
        latent = reads.latent(there, pt)
        low, high = error.nothing, error.everything
        if look.grade_low > 0:
            low = error.parts(reads.inputs(bounds[look.grade_low], latent), pt, normal_cdf)
        if look.grade_high < GRADE_COUNT - 1:
            high = error.parts(reads.inputs(bounds[look.grade_high + 1], latent), pt, normal_cdf)
        # held apart by the maximum: gathered into one sum, as PyTensor would, the digits of a tail would cancel
        stretches = [pt.maximum(part, 0.0) for part in error.stretches(low, high)]
        total = total + pt.log(sum(stretches))
        if look.thickness_um is not None:
            measured = grading.deposit(look.thickness_um)
            total = total + THICKNESS.log_density(measured, reads.relative * there, pt)
    for index, (state, descale) in enumerate(source.timeline.descales):
        if descale.scale_recovered_g is not None:
            removed = (1.0 - pt.sigmoid(value[unknowns.residue(index)])) * states[state]
            measured = 1000.0 * descale.scale_recovered_g / facts.boiler.wetted_area_cm2
            total = total + RECOVERED.log_density(measured, removed, pt)
    return total


@dataclass(frozen=True)
class NutsDraws:
    """NUTS draws of the same posterior, chains kept apart.

    Attributes
    ----------
    u : array (chains, draws, d)
    growth : array (chains, draws, intervals that can grow) [mg/cm2]
    deposit : array (chains, draws)
        At the last state [mg/cm2].
    r_hat, ess_bulk : float
        The worst over the unknowns and the log of the deposit.
    divergences : int
    seconds : float [s]
    data : the ArviZ object
    """

    u: np.ndarray
    growth: np.ndarray
    deposit: np.ndarray
    r_hat: float
    ess_bulk: float
    divergences: int
    seconds: float
    data: object


class Sampled(NamedTuple):
    """NUTS draws: of each variable that was asked for (chains, draws, ...), and the worst ArviZ says of all of them."""

    values: tuple[np.ndarray, ...]
    r_hat: float
    ess_bulk: float
    divergences: int
    seconds: float
    data: object


def sample(
    model, names: Sequence[str], seed: int, draws: int, tune: int, chains: int, progress: bool = False
) -> Sampled:
    """Draw a PyMC model by NUTS; of ``names`` the variables are kept, "deposit" is judged by its logarithm.

    What does not vary is not judged.
    """
    pm, az = audit_packages()
    began = time.perf_counter()
    logging.getLogger("pymc").setLevel(logging.INFO if progress else logging.ERROR)
    with model, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data = pm.sample(draws, tune=tune, chains=chains, cores=1, random_seed=seed, progressbar=progress,
                         target_accept=0.95, compute_convergence_checks=False)  # fmt: skip
        values = tuple(np.asarray(data.posterior[name]) for name in names)
        monitored = []
        for name, value in zip(names, values, strict=True):
            flat = value.reshape(*value.shape[:2], -1)
            monitored += list(np.moveaxis(visible_log(flat) if name == "deposit" else flat, -1, 0))
        monitored = [one for one in monitored if np.ptp(one) > 0.0]
        r_hat = max(float(np.asarray(az.rhat(w))) for w in monitored)
        ess = min(float(np.asarray(az.ess(w))) for w in monitored)
    divergences = int(np.asarray(data.sample_stats["diverging"]).sum())
    return Sampled(values, r_hat, ess, divergences, time.perf_counter() - began, data)


def run_nuts(
    twin: Twin, seed: int, draws: int = 1000, tune: int = 1500, chains: int = 4, progress: bool = False
) -> NutsDraws:
    """Draw the twin's posterior by NUTS, and ArviZ's diagnostics of it."""
    found = sample(twin.model, ("u", "deposit"), seed, draws, tune, chains, progress)
    u, deposit = found.values
    growth = np.asarray(found.data.posterior["growth"])
    return NutsDraws(u, growth, deposit, found.r_hat, found.ess_bulk, found.divergences, found.seconds, found.data)


def as_posterior(twin: Twin, nuts: NutsDraws, like: Posterior) -> Posterior:
    """NUTS draws in the shape of our own posterior, chains as populations, so that every question fits both."""
    source = twin.source
    u = nuts.u.reshape(-1, source.static_dim).T
    parameters = source.parameters(u)
    grown = nuts.growth.reshape(-1, len(twin.growing)).T
    v = np.full((source.timeline.intervals, u.shape[1]), -1.0)
    v[twin.growing] = invert_increment(grown, parameters.mean[twin.growing], parameters.dispersion)
    return replace(like, x=np.vstack([u, v]), populations=len(nuts.u), seconds=nuts.seconds)


def mean_error(by_chain: np.ndarray) -> float:
    """Monte Carlo standard error of the mean of correlated draws (chains, draws), by ArviZ's effective sample size."""
    _, az = audit_packages()
    spread = float(by_chain.std(ddof=1))
    return spread / float(np.sqrt(np.asarray(az.ess(by_chain)))) if spread > 0.0 else 0.0


def check_draws_path(path: str | Path) -> Path:
    """The path of a file of draws; BadValueError if it does not end in .nc or its folder is not there."""
    path = Path(path)
    if path.suffix != ".nc":
        raise BadValueError("posterior file", path.name, "a name that ends in .nc")
    if not path.parent.is_dir() or path.is_dir():
        raise BadValueError("posterior file", path, "a file in a folder that exists")
    return path


def export_draws(posterior: Posterior, path: str | Path) -> Path:
    """Write a posterior's draws as an ArviZ file (netCDF), all that `Posterior.to_arviz` tells.

    Errors as for `check_draws_path` and `Posterior.to_arviz`; nothing is left behind where writing fails.
    """
    path = check_draws_path(path)
    data = posterior.to_arviz()
    with atomic.beside(path) as part:
        data.to_netcdf(str(part))
        atomic.force(part)
        atomic.move(part, path)
    return path
