"""How the likelihood rises: its gradient, backwards through the same equations.

Each step of the forward law (parameters, growth, deposits, looks) has its mirror here, in reverse order. The growth x
from a signed root v has short forms:

    dx/dv = 2 x sqrt(nu x) / (x + mu)    dx/dmu = 2 x / (x + mu)    dx/dln nu = x (x - mu) / (x + mu)

The prior ratio of the innovations is so near 1 that its own slope is left out: a gradient need only show the way.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import expit

from scalemodel.model import unknowns
from scalemodel.model.boiler import BoilerModel, Parameters, sum_logs
from scalemodel.model.evaluation import Evaluation
from scalemodel.model.inverse_gaussian import SignedRoot, find_signed_root, increment_of_signed_root, log_cv
from scalemodel.model.look import RECOVERED, THICKNESS, visible_log
from scalemodel.model.priors import LOOK_FLOOR_MG_CM2
from scalemodel.model.supply_law import (
    blend_potential,
    capture_fraction,
    inverse_temperature_gap,
    read_table,
    table_slopes,
)
from scalemodel.model.unknowns import Unknown


def gradient_of(model: BoilerModel, x: np.ndarray, exponent: np.ndarray) -> tuple[Evaluation, np.ndarray]:
    """The target and how it rises.

    Parameters
    ----------
    model : BoilerModel
    x : array (d + J, n)
        Particles.
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
    parameters = model.parameters(u)
    root = find_signed_root(w, log_cv(parameters.mean, parameters.dispersion))
    grown, ratio = increment_of_signed_root(root, parameters.mean, parameters.dispersion, w)
    states = model.accumulate(grown, parameters)
    monitored = model.monitored(u, states)
    log_likelihood, by = evidence_slopes(model, states, parameters)
    by = _EvidenceSlopes(*(exponent * slope for slope in by))
    by_growth, by_start, by_residue = back_through_states(model, states, parameters, by.state)
    by_innovation, by_mean, by_log_dispersion = back_through_growth(grown, root, parameters, by_growth)
    gradient = np.zeros_like(x)
    gradient[model.static_dim :] = by_innovation
    static = _Static(model, u, gradient)
    static.add(unknowns.DISPERSION, by_log_dispersion)
    static.add(unknowns.INITIAL, by_start * parameters.start)
    for d, unknown in enumerate(model.residues):
        left = parameters.residue[d]
        static.add(unknown, (by_residue[d] + by.residue[d]) * left * (1.0 - left))
    for k, site in enumerate(model.sites):
        static.add(unknowns.relative(site), by.log_relative[k])
    static.add(unknowns.PATCH, by.log_relative.sum(axis=0))
    for k, method in enumerate(model.methods):
        static.add(unknowns.reading(method), -by.precision[k] * parameters.looking.precision[k])
    for k, inspector in enumerate(model.inspectors):
        static.add(unknowns.leniency(inspector), by.shift[k])
    back_through_supply(model, u, by_mean, exponent, static)
    return Evaluation(sum_logs(ratio), log_likelihood, monitored), gradient


class _Static:
    """Adds slopes by an unknown on its prior's scale to the rows of its standard normal; no row, nothing to add."""

    def __init__(self, model: BoilerModel, u: np.ndarray, gradient: np.ndarray) -> None:
        self.row = {unknown: k for k, unknown in enumerate(model.unknowns)}
        self.unknowns, self.u, self.gradient = model.unknowns, u, gradient

    def add(self, unknown: Unknown, slope: np.ndarray) -> None:
        if unknown in self.row:
            row = self.row[unknown]
            self.gradient[row] += self.unknowns[unknown].slope(self.u[row]) * slope


class _EvidenceSlopes(NamedTuple):
    """Slopes of the log-likelihood by the deposits (K, n) and by what else findings lean on in the parameters."""

    state: np.ndarray
    residue: np.ndarray
    log_relative: np.ndarray
    precision: np.ndarray
    shift: np.ndarray


def evidence_slopes(
    model: BoilerModel, states: np.ndarray, parameters: Parameters
) -> tuple[np.ndarray, _EvidenceSlopes]:
    """The log-likelihood (n,) of every look, thickness and recovered mass, and its slopes."""
    subjects, looks = parameters.looking, model.looks
    by = _EvidenceSlopes(*map(np.zeros_like, (states, parameters.residue, *subjects[:3])))
    look = looks.model(subjects)
    at_site = look.relative * states[looks.state]
    chance, by_shift, by_precision = looks.slopes(look, visible_log(at_site))
    by_deposit = -by_shift / (at_site + LOOK_FLOOR_MG_CM2)
    for index, where in enumerate(looks.state):
        by.state[where] += by_deposit[index] * look.relative[index]
    _gather(by.log_relative, looks.site, by_deposit * at_site)
    _gather(by.precision, looks.method, by_precision)
    _gather(by.shift, looks.inspector, by_shift)
    for state, site, measured in model.thicknesses:
        slope = THICKNESS.slope(measured, subjects.relative[site] * states[state])
        by.state[state] += slope * subjects.relative[site]
        by.log_relative[site] += slope * subjects.relative[site] * states[state]
    for state, index, measured in model.recoveries:
        slope = RECOVERED.slope(measured, (1.0 - parameters.residue[index]) * states[state])
        by.state[state] += slope * (1.0 - parameters.residue[index])
        by.residue[index] -= slope * states[state]
    return model.with_measurements(sum_logs(chance), states, parameters), by


def _gather(into: np.ndarray, which: np.ndarray, slopes: np.ndarray) -> None:
    """Add rows (looks, n) to the rows (k, n) that they lean on."""
    into += (which == np.arange(len(into))[:, None]).astype(float) @ slopes


def back_through_states(model: BoilerModel, states: np.ndarray, parameters: Parameters, by_state: np.ndarray):
    """Slopes by growth (J, n), start (n,) and residue (F D, n), from slopes by state (F K, n), which are used up."""
    by_growth, by_start = np.zeros((model.timeline.intervals, states.shape[1])), np.zeros(states.shape[1])
    by_residue = np.zeros_like(parameters.residue)
    for surface in range(1 + len(model.own)):
        first, descale = surface * model.states, surface * len(model.timeline.descales)
        for k, (step, index) in reversed(list(enumerate(model.timeline.steps, first))):
            later = by_state[k + 1]
            if step == "grow":
                by_growth[index] += later
                by_state[k] += later
            else:
                by_residue[descale + index] = later * states[k]
                by_state[k] += later * parameters.residue[descale + index]
        by_start += by_state[first]
    return by_growth, by_start, by_residue


def back_through_growth(grown: np.ndarray, root: SignedRoot, parameters: Parameters, by_growth: np.ndarray):
    """Slopes by innovation (J, n), mean (J, n) and log dispersion (n,), from slopes by growth (J, n).

    An interval in which nothing can grow has no slope.
    """
    mean, nu = parameters.mean, parameters.dispersion
    whole = grown + mean
    share = grown / np.where(whole > 0.0, whole, np.inf)
    by_root = 2.0 * np.sqrt(nu * grown) * share * by_growth
    by_log_cv = by_root * root.by_log_cv
    by_mean = 2.0 * share * by_growth - 0.5 * by_log_cv / np.where(mean > 0.0, mean, np.inf)
    by_log_dispersion = (by_growth * share * (grown - mean) + 0.5 * by_log_cv).sum(axis=0)
    return by_root * root.by_innovation, by_mean, by_log_dispersion


def back_through_paths(
    model: BoilerModel, u: np.ndarray, by_path: dict[str, np.ndarray], exponent: np.ndarray, static: _Static
) -> None:
    """Slopes by the steps and starts of waters' paths, from slopes by their log concentrations (E, n)."""
    for water, path in model.timeline.paths.items():
        moved, slopes = model.path(water, u), by_path[water]
        for one in path.readings:
            slopes[one.epoch] += exponent * one.slope(moved)
        static.add(unknowns.start(water), slopes.sum(axis=0))
        for place, slope in enumerate(path.sums.T @ slopes):
            static.add(unknowns.step(water, place), slope)


def back_through_supply(
    model: BoilerModel, u: np.ndarray, by_mean: np.ndarray, exponent: np.ndarray, static: _Static
) -> None:
    """Slopes by capture, activation, degassing, use and strengths, from slopes by the mean growth (J, n)."""
    line, boiler = model.timeline, model.facts.boiler
    factor = model.use_factor(u)
    by_litre = line.recorded_l.T @ by_mean
    by_planned = line.planned_l.T @ by_mean
    by_litre += factor * by_planned
    degassing = expit(model.value(unknowns.DEGASSING, u))
    share = capture_fraction(
        model.value(unknowns.CAPTURE, u), model.value(unknowns.ACTIVATION, u), boiler.temperature_c
    )
    floor, scale = np.exp(model.value(unknowns.FLOOR, u)), share / boiler.wetted_area_cm2
    by_logit = by_degassing = by_factor = by_floor = 0.0
    by_path = {water: np.zeros((len(path.knots), u.shape[1])) for water, path in line.paths.items()}
    for k, (span, log_factor) in enumerate(zip(line.spans, model.log_factors(u), strict=True)):
        table = model.tables[span.water]
        levels, slopes = read_table(table, log_factor), table_slopes(table, log_factor)
        potential = floor + blend_potential(*levels, degassing, boiler.steam_share)
        by_potential = by_litre[k] * scale
        by_floor = by_floor + by_potential * floor
        by_log_factor = by_potential * blend_potential(*slopes, degassing, boiler.steam_share)
        static.add(unknowns.concentration(span.water), table.log_sd * by_log_factor)
        by_path[span.water][span.epoch] += by_log_factor
        by_degassing = by_degassing + by_potential * (1.0 - boiler.steam_share) * (levels[1] - levels[0])
        by_logit = by_logit + by_potential * potential * (1.0 - share)
        by_factor = by_factor + by_planned[k] * potential * scale
    back_through_paths(model, u, by_path, exponent, static)
    static.add(unknowns.CAPTURE, by_logit)
    static.add(unknowns.ACTIVATION, by_logit * inverse_temperature_gap(boiler.temperature_c))
    static.add(unknowns.DEGASSING, by_degassing * degassing * (1.0 - degassing))
    static.add(unknowns.FLOOR, by_floor)
    static.add(unknowns.USE, by_factor * factor * line.plan.log_sd)
