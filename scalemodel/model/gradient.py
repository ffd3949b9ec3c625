"""How the likelihood rises: its gradient, backwards through the same equations.

Each step of the forward law (parameters, growth, deposits, looks) has its mirror here, in reverse order. The growth x
from a signed root v has short forms:

    dx/dv = 2 x sqrt(nu x) / (x + mu)    dx/dmu = 2 x / (x + mu)    dx/dln nu = x (x - mu) / (x + mu)

The prior ratio of the innovations is so near 1 that its own slope is left out: a gradient need only show the way.
"""

from __future__ import annotations

import numpy as np

from scalemodel.model.boiler import BoilerModel, Parameters, sum_logs
from scalemodel.model.evaluation import Evaluation
from scalemodel.model.inverse_gaussian import SignedRoot, find_signed_root_and_rise, grow, log_cv
from scalemodel.model.look import visible_log
from scalemodel.model.priors import LOOK_FLOOR_MG_CM2
from scalemodel.model.readout import Quantities
from scalemodel.model.tailed_normal import MEASURE_ERROR


def gradient_of(
    model: BoilerModel, x: np.ndarray, parameters: Parameters, exponent: np.ndarray
) -> tuple[Evaluation, np.ndarray]:
    """The target and how it rises.

    Parameters
    ----------
    model : BoilerModel
    x : array (d + J, n)
        Particles.
    parameters : Parameters
        What their static unknowns say.
    exponent : array (n,)
        What the log-likelihood is multiplied by in the gradient [-].

    Returns
    -------
    evaluation : Evaluation
        As `BoilerModel.evaluate` gives it.
    gradient : array (d + J, n)
        Of ``exponent * log_likelihood``.
    """
    u, w = model.split(x)
    root, rise = find_signed_root_and_rise(w, log_cv(parameters.mean, parameters.log_dispersion))
    grown, log_ratio = grow(parameters.mean, parameters.dispersion, root, w)
    states = model.accumulate(grown, parameters)
    slopes = parameters.quantities.no_slopes
    log_likelihood, by_state = evidence_slopes(model, states, parameters, slopes)
    by_growth = back_through_states(model, states, parameters, by_state, slopes)
    by_innovation, by_mean = back_through_growth(grown, root, rise, parameters, by_growth, slopes)
    line = model.timeline
    back_through_litres(model, parameters.quantities, line.recorded_l.T @ by_mean, line.planned_l.T @ by_mean, slopes)
    gradient = np.concatenate([model.readout.back(u, parameters.quantities, slopes), by_innovation])
    gradient *= exponent
    return Evaluation(log_ratio, log_likelihood, model.monitored(u, states)), gradient


def evidence_slopes(
    model: BoilerModel, states: np.ndarray, parameters: Parameters, slopes: Quantities
) -> tuple[np.ndarray, np.ndarray]:
    """The log-likelihood (n,), and its slopes by state (F K, n); those by quantities join ``slopes``."""
    looks, subjects = model.looks, parameters.looking
    look = looks.model(subjects)
    at_site = look.relative * states[looks.state]
    chance, by_shift, by_precision = looks.slopes(look, visible_log(at_site))
    by_site = -by_shift / (at_site + LOOK_FLOOR_MG_CM2)
    by_state = np.zeros_like(states)
    _gather(by_state, looks.state, by_site * look.relative)
    _gather(slopes.of("relative"), looks.site, by_site * states[looks.state])
    _gather(slopes.of("precision"), looks.method, by_precision)
    _gather(slopes.of("shift"), looks.inspector, by_shift)
    total = sum_logs(chance)
    if model.measurements.log_sd.size:
        total += measurement_slopes(model, states, parameters, by_state, slopes)
    return total, by_state


def measurement_slopes(
    model: BoilerModel, states: np.ndarray, parameters: Parameters, by_state: np.ndarray, slopes: Quantities
) -> np.ndarray:
    """The log-likelihood (n,) of all measurements; its slopes join those by state and by quantities."""
    measured = model.measurements
    expected, share = measured.expected(parameters.looking.relative, parameters.residue, states)
    misses = measured.misses(expected, parameters.path)
    by_log = MEASURE_ERROR.score(misses) / measured.log_sd
    count, sites = len(expected), len(measured.site)
    by_expected = by_log[:count] / (expected + LOOK_FLOOR_MG_CM2)
    slopes.of("path")[:] += by_log[count:]
    _gather(by_state, measured.state, by_expected * share)
    by_share = by_expected * states[measured.state]
    _gather(slopes.of("relative"), measured.site, by_share[:sites])
    _gather(slopes.of("residue"), measured.descale, -by_share[sites:])
    return measured.log_density(misses)


def _gather(into: np.ndarray, which: np.ndarray, slopes: np.ndarray) -> None:
    """Add rows (looks, n) to the rows (k, n) that they lean on, each to one; many lean on few, or few on the same."""
    rows = which.tolist()
    if len(set(rows)) == len(rows):
        into[which] += slopes
    elif len(into) < len(rows) // 2:
        into += np.equal.outer(np.arange(len(into)), which).astype(float) @ slopes
    else:
        for row, slope in zip(rows, slopes, strict=True):
            into[row] += slope


def back_through_states(
    model: BoilerModel, states: np.ndarray, parameters: Parameters, by_state: np.ndarray, slopes: Quantities
) -> np.ndarray:
    """Slopes by growth (J, n), from those by state (F K, n), used up; those by quantities join ``slopes``.

    What follows a state leans on it too, so its slope comes to hold those of all later ones.
    """
    surfaces, n = 1 + len(model.own), states.shape[1]
    by, at = (rows.reshape(surfaces, model.states, n) for rows in (by_state, states))
    descales = len(model.timeline.descales)
    residue, by_residue = (rows.reshape(surfaces, descales, n) for rows in (parameters.residue, slopes.of("residue")))
    for k, (step, index) in reversed(list(enumerate(model.timeline.steps))):
        if step == "grow":
            by[:, k] += by[:, k + 1]
        else:
            by_residue[:, index] += by[:, k + 1] * at[:, k]
            by[:, k] += by[:, k + 1] * residue[:, index]
    slopes.of("start")[:] += by[:, 0].sum(axis=0)
    after = [k for k, (step, _) in enumerate(model.timeline.steps, 1) if step == "grow"]
    return by[:, after].sum(axis=0)


def back_through_growth(
    grown: np.ndarray,
    root: SignedRoot,
    rise: np.ndarray,
    parameters: Parameters,
    by_growth: np.ndarray,
    slopes: Quantities,
):
    """Slopes by innovation and by mean (J, n), from slopes by growth (J, n); that by the dispersion joins ``slopes``.

    ``rise`` (J, n) is how the signed roots rise with the log of the coefficient of variation. An interval in which
    nothing can grow has no slope.
    """
    mean, nu = parameters.mean, parameters.dispersion
    whole = grown + mean
    share = grown / np.where(whole > 0.0, whole, np.inf)
    by_root = 2.0 * np.sqrt(nu * grown) * share * by_growth
    by_log_cv = by_root * rise
    by_mean = 2.0 * share * by_growth - 0.5 * by_log_cv / np.where(mean > 0.0, mean, np.inf)
    slopes.of("log_dispersion")[:] += (by_growth * share * (grown - mean) + 0.5 * by_log_cv).sum(axis=0)
    return by_root * root.by_innovation, by_mean


def back_through_litres(
    model: BoilerModel, found: Quantities, by_recorded: np.ndarray, by_planned: np.ndarray, slopes: Quantities
) -> None:
    """Slopes by use, capture, degassing, floor and concentration join ``slopes``, from slopes by litres (W, n).

    Those by litres are of growth in every span [mg/cm2], on record and planned.
    """
    potential, gain = model.potential(found)
    capture, degassing = found.of("capture"), found.of("degassing")
    scale = capture / model.facts.boiler.wetted_area_cm2
    by_litre = by_recorded
    if len(found.of("use")):
        by_litre = by_recorded + found.of("use") * by_planned
        slopes.of("use")[:] += (by_planned * potential * scale).sum(axis=0)
    by_potential = by_litre * scale
    slopes.of("capture")[:] += (by_potential * potential).sum(axis=0) / capture
    slopes.of("floor")[:] += by_potential.sum(axis=0)
    slopes.of("degassing")[:] += (by_potential * gain).sum(axis=0)
    by_base, by_gain = model.supply.slopes(found.of("log_factor"))
    slopes.of("log_factor")[:] += by_potential * (by_base + degassing * by_gain)
