"""The same model stated in PyMC and drawn by NUTS: the independent check on our own sampler.

Growth is PyMC's own inverse Gaussian (Wald), not our tilted normal; the law's formulas are shared through the array
namespace. All calls of PyMC and ArviZ stand here and in `calibration`.
"""

from __future__ import annotations

import time
import warnings
from dataclasses import dataclass

import numpy as np

from scalemodel.errors import ScalemodelError
from scalemodel.model import priors
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.grading import GRADE_COUNT, LOG_CUTS, LOG_TWO_PI, apparent
from scalemodel.model.growth import blend_potential, capture_fraction
from scalemodel.model.priors import LAPSE, LOOK_FLOOR_MG_CM2

LEAST_MEAN_MG_CM2 = 1e-9
"""Keeps the Wald's mean positive where a water at some strength drops nothing."""


class MissingAuditError(ScalemodelError):
    """PyMC or ArviZ is not installed."""


def audit_packages():
    """PyMC and ArviZ; MissingAuditError, with the command that installs them, where they are not there."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import arviz
            import pymc
    except ImportError as missing:
        raise MissingAuditError(
            f"this check needs {missing.name or 'PyMC and ArviZ'}, which is not installed",
            "install them: pip install 'scalemodel[audit]'",
        ) from missing
    return pymc, arviz


@dataclass(frozen=True)
class Twin:
    """A PyMC model with its free variables ``u`` (d,) and ``growth`` (intervals that can grow,)."""

    model: object
    growing: np.ndarray
    log_likelihood: object
    source: BoilerModel

    def log_likelihood_at(self, u: np.ndarray, grown: np.ndarray) -> float:
        """Log-likelihood of the records at static unknowns u (d,) and growth by interval (J,) [mg/cm2]."""
        compiled = self.model.compile_fn(
            self.log_likelihood, inputs=[self.model["u"], self.model["growth"]], on_unused_input="ignore"
        )
        return float(compiled(u, grown[self.growing]))


def build_twin(source: BoilerModel) -> Twin:
    """State a boiler's model in PyMC, from the same records, priors, tables and constants."""
    pm, _ = audit_packages()
    import pytensor.tensor as pt

    line, facts = source.timeline, source.facts
    possible = line.recorded_l.sum(axis=1) + line.planned_l.sum(axis=1)
    growing = np.flatnonzero(possible > 0.0)
    with pm.Model() as model:
        u = pm.Normal("u", 0.0, 1.0, shape=source.static_dim)
        value = {
            name: pm.Deterministic(name, prior.mean + prior.sd * u[k])
            for k, (name, prior) in enumerate(source.unknowns.items())
        }
        nu = pt.exp(value["irregularity"])
        share = capture_fraction(value["capture"], value["activation"], facts.boiler.temperature_c, xp=pt)
        degassing = pt.sigmoid(value["degassing"])
        each = [
            share
            * blend_potential(
                *(straight_lines(pt, source.tables[w].z, column, value[f"strength {w}"]) for column in
                  (source.tables[w].closed, source.tables[w].open, source.tables[w].dry)),
                degassing, facts.boiler.steam_share,
            ) / facts.boiler.wetted_area_cm2
            for w in line.waters
        ]  # fmt: skip
        use = pt.exp(line.plan.log_sd * value["use"]) if "use" in value else 1.0
        litres = line.recorded_l[growing] + line.planned_l[growing] * use
        mean = pt.dot(litres, pt.stack(each)) + LEAST_MEAN_MG_CM2
        growth = pm.Wald("growth", mu=mean, lam=mean**2 / nu, shape=len(growing))
        states = chain_states(pt, source, value, dict(zip(growing.tolist(), range(len(growing)), strict=True)), growth)
        pm.Deterministic("deposit", states[-1])
        total = evidence(pt, source, value, states)
        pm.Potential("records", total)
    return Twin(model, growing, total, source)


def straight_lines(pt, knots: np.ndarray, values: np.ndarray, at):
    """Straight lines between evenly spaced knots, level beyond the outer ones: a start and a sum of bends."""
    at = pt.clip(at, knots[0], knots[-1])
    slopes = np.diff(values) / np.diff(knots)
    bends = np.diff(slopes, prepend=0.0)
    return values[0] + pt.sum(bends * pt.maximum(at - knots[:-1], 0.0))


def chain_states(pt, source: BoilerModel, value: dict, place: dict[int, int], growth) -> list:
    """Deposit at every state of the timeline, scalars."""
    states = [pt.exp(value["initial"]) if "initial" in value else pt.constant(0.0)]
    for step, index in source.timeline.steps:
        if step == "descale":
            states.append(states[-1] * pt.sigmoid(value[f"residue {index}"]))
        else:
            states.append(states[-1] + growth[place[index]] if index in place else states[-1])
    return states


def evidence(pt, source: BoilerModel, value: dict, states: list):
    """Log-likelihood of every look, thickness and recovered mass, a scalar."""

    def normal_cdf(x):
        return 0.5 * pt.erfc(-x / np.sqrt(2.0))

    def reading(measured, seen, log_sd):
        return -0.5 * (((np.log(measured) - seen) / log_sd) ** 2 + LOG_TWO_PI) - np.log(log_sd)

    total = pt.constant(0.0)
    facts = source.facts
    for state, look in source.timeline.looks:
        relative = 1.0 if look.site == facts.reference_site else pt.exp(value[f"relative {look.site}"])
        seen = apparent(states[state], relative, xp=pt)
        spread, shift = pt.exp(value[f"reading {look.method}"]), value[f"leniency {look.inspector}"]
        top = look.grade_high >= GRADE_COUNT - 1
        upper = 1.0 if top else normal_cdf((LOG_CUTS[look.grade_high] + shift - seen) / spread)
        lower = 0.0 if look.grade_low == 0 else normal_cdf((LOG_CUTS[look.grade_low - 1] + shift - seen) / spread)
        slip = LAPSE * (look.grade_high - look.grade_low + 1) / GRADE_COUNT
        total = total + pt.log((1.0 - LAPSE) * (upper - lower) + slip)
        if look.thickness_um is not None:
            measured = priors.thickness_to_deposit(look.thickness_um) + LOOK_FLOOR_MG_CM2
            total = total + reading(measured, seen, priors.THICKNESS_LOG_SD)
    for index, (state, descale) in enumerate(source.timeline.descales):
        if descale.scale_recovered_g is not None:
            removed = (1.0 - pt.sigmoid(value[f"residue {index}"])) * states[state] + LOOK_FLOOR_MG_CM2
            measured = 1000.0 * descale.scale_recovered_g / facts.boiler.wetted_area_cm2 + LOOK_FLOOR_MG_CM2
            total = total + reading(measured, pt.log(removed), priors.RECOVERED_LOG_SD)
    return total


@dataclass(frozen=True)
class NutsDraws:
    """NUTS draws of the same posterior, chains kept apart.

    ``u`` (chains, draws, d), ``deposit`` at the last state (chains, draws) [mg/cm2], ``r_hat`` the worst over unknowns
    and the log deposit, ``ess_bulk`` the least, ``divergences``, ``seconds`` [s], ``data`` the ArviZ object.
    """

    u: np.ndarray
    deposit: np.ndarray
    r_hat: float
    ess_bulk: float
    divergences: int
    seconds: float
    data: object


def run_nuts(
    twin: Twin, seed: int, draws: int = 1000, tune: int = 1500, chains: int = 4, progress: bool = False
) -> NutsDraws:
    """Draw the twin's posterior by NUTS, and ArviZ's diagnostics of it."""
    pm, az = audit_packages()
    began = time.perf_counter()
    with twin.model, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        data = pm.sample(draws, tune=tune, chains=chains, cores=1, random_seed=seed, progressbar=progress,
                         target_accept=0.95, compute_convergence_checks=False)  # fmt: skip
        u, deposit = np.asarray(data.posterior["u"]), np.asarray(data.posterior["deposit"])
        watched = [*np.moveaxis(u, -1, 0), np.log(deposit + LOOK_FLOOR_MG_CM2)]
        r_hat = max(float(np.asarray(az.rhat(w))) for w in watched)
        ess = min(float(np.asarray(az.ess(w))) for w in watched)
    divergences = int(np.asarray(data.sample_stats["diverging"]).sum())
    return NutsDraws(u, deposit, r_hat, ess, divergences, time.perf_counter() - began, data)
