"""How the likelihood rises: its gradient, backwards through the same equations.

Each step of the forward law (drift, growth, deposits, looks) has its mirror here, in reverse order. The growth x from
a root v has short forms:

    dx/dv = 2 x sqrt(nu x) / (x + mu)    dx/dmu = 2 x / (x + mu)    dx/dln nu = x (x - mu) / (x + mu)

The tilt of the innovations is so near 1 that its own slope is left out: what follows a gradient asks for a direction.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from scalemodel.model import priors, unknowns
from scalemodel.model.boiler import BoilerModel, Drift
from scalemodel.model.grading import sum_logs
from scalemodel.model.growth import (
    blend_potential,
    capture_fraction,
    inverse_temperature_gap,
    read_table,
    table_slopes,
)
from scalemodel.model.innovation import Root, find_root, growth_of_root, log_sharpness
from scalemodel.model.priors import LOOK_FLOOR_MG_CM2
from scalemodel.model.tailed_normal import LOOK_ERROR, MEASURE_ERROR
from scalemodel.model.unknowns import Unknown


def gradient_of(model: BoilerModel, x: np.ndarray, exponent: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
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
    log_tilt, log_likelihood : arrays (n,)
        As `BoilerModel.evaluate` gives them.
    gradient : array (d + J, n)
        Of ``exponent * log_likelihood``.
    """
    u, v = model.split(x)
    drift = model.drift(u)
    root = find_root(v, log_sharpness(drift.mean, drift.irregularity))
    grown, tilt = growth_of_root(root, drift.mean, drift.irregularity, v)
    states = model.accumulate(grown, drift)
    log_likelihood, by_state, by_drift = seen_slopes(model, states, drift)
    by_state *= exponent
    by_drift = {name: exponent * slope for name, slope in by_drift.items()}
    by_growth, by_start, by_residue = back_through_states(model, states, drift, by_state)
    by_innovation, by_mean, by_log_irregularity = back_through_growth(grown, root, drift, by_growth)
    gradient = np.zeros_like(x)
    gradient[model.static_dim :] = by_innovation
    static = _Static(model, u, gradient)
    static.add(unknowns.DISPERSION, by_log_irregularity)
    static.add(unknowns.INITIAL, by_start * drift.start)
    for d in range(len(model.timeline.descales)):
        left = drift.residue[d]
        static.add(unknowns.residue(d), (by_residue[d] + by_drift["residue"][d]) * left * (1.0 - left))
    for k, site in enumerate(model.sites):
        if site:
            static.add(unknowns.relative(site), by_drift["log_relative"][k])
    for k, method in enumerate(model.methods):
        static.add(unknowns.reading(method), -by_drift["inverse_reading"][k] * drift.inverse_reading[k])
    for k, inspector in enumerate(model.inspectors):
        static.add(unknowns.leniency(inspector), by_drift["leniency"][k])
    back_through_supply(model, u, by_mean, exponent, static)
    return sum_logs(tilt), log_likelihood, gradient


class _Static:
    """Adds slopes by an unknown on its prior's scale to the rows of its standard normal; no row, nothing to add."""

    def __init__(self, model: BoilerModel, u: np.ndarray, gradient: np.ndarray) -> None:
        self.row = {unknown: k for k, unknown in enumerate(model.unknowns)}
        self.unknowns, self.u, self.gradient = model.unknowns, u, gradient

    def add(self, unknown: Unknown, slope: np.ndarray) -> None:
        if unknown in self.row:
            row = self.row[unknown]
            self.gradient[row] += self.unknowns[unknown].slope(self.u[row]) * slope


def seen_slopes(
    model: BoilerModel, states: np.ndarray, drift: Drift
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """The log-likelihood (n,), and its slopes by the deposits (K, n) and by what else findings lean on in the drift."""
    by_state = np.zeros_like(states)
    slopes = {
        name: np.zeros_like(getattr(drift, name)) for name in ("residue", "log_relative", "inverse_reading", "leniency")
    }
    edges, relative = model.edges, np.exp(drift.log_relative)
    sight = model.sight(states, drift)
    reach, inputs = model.inputs(sight)
    chance, density = edges.probabilities(inputs), LOOK_ERROR.density(inputs)
    by_milder, by_steepness = np.zeros_like(chance), np.zeros_like(chance)
    for bounds, sign in ((slice(edges.uppers), 1.0), (slice(edges.uppers, None), -1.0)):
        rows = edges.row[bounds]
        by_milder[rows] += sign * density[bounds] * sight.steepness[rows]
        by_steepness[rows] += sign * density[bounds] * reach[bounds]
    certain = np.where(chance > 0.0, chance, np.inf)
    by_milder /= certain
    by_steepness /= certain
    by_apparent = -by_milder / (sight.apparent + LOOK_FLOOR_MG_CM2)
    for index, where in enumerate(edges.state):
        by_state[where] += by_apparent[index] * relative[edges.site[index]]
    _gather(slopes["log_relative"], edges.site, by_apparent * sight.apparent)
    _gather(slopes["inverse_reading"], edges.method, by_steepness)
    _gather(slopes["leniency"], edges.inspector, by_milder)
    for state, site, measured in model.thicknesses:
        apparent = relative[site] * states[state] + LOOK_FLOOR_MG_CM2
        slope = _reading_slope(measured, apparent, priors.THICKNESS_LOG_SD)
        by_state[state] += slope * relative[site]
        slopes["log_relative"][site] += slope * relative[site] * states[state]
    for state, index, measured in model.recoveries:
        removed = (1.0 - drift.residue[index]) * states[state] + LOOK_FLOOR_MG_CM2
        slope = _reading_slope(measured, removed, priors.RECOVERED_LOG_SD)
        by_state[state] += slope * (1.0 - drift.residue[index])
        slopes["residue"][index] -= slope * states[state]
    return model.with_readings(sum_logs(chance), states, drift), by_state, slopes


def _reading_slope(measured: float, expected: np.ndarray, log_sd: float) -> np.ndarray:
    """How the log density of a reading [mg/cm2] rises with what it is expected to be (n,) [mg/cm2]."""
    miss = (np.log(measured + LOOK_FLOOR_MG_CM2) - np.log(expected)) / log_sd
    return MEASURE_ERROR.score(miss) / (log_sd * expected)


def _gather(into: np.ndarray, which: np.ndarray, slopes: np.ndarray) -> None:
    """Add rows (looks, n) to the rows (k, n) that they lean on."""
    into += (which == np.arange(len(into))[:, None]).astype(float) @ slopes


def back_through_states(model: BoilerModel, states: np.ndarray, drift: Drift, by_state: np.ndarray):
    """Slopes by growth (J, n), start (n,) and residue (D, n), from slopes by state (K, n), which are used up."""
    by_growth = np.empty((model.timeline.intervals, states.shape[1]))
    by_residue = np.zeros_like(drift.residue)
    for k, (step, index) in reversed(list(enumerate(model.timeline.steps))):
        later = by_state[k + 1]
        if step == "grow":
            by_growth[index] = later
            by_state[k] += later
        else:
            by_residue[index] = later * states[k]
            by_state[k] += later * drift.residue[index]
    return by_growth, by_state[0], by_residue


def back_through_growth(grown: np.ndarray, root: Root, drift: Drift, by_growth: np.ndarray):
    """Slopes by innovation (J, n), mean (J, n) and log irregularity (n,), from slopes by growth (J, n).

    An interval in which nothing can grow has no slope.
    """
    mean, nu = drift.mean, drift.irregularity
    whole = grown + mean
    rise = grown / np.where(whole > 0.0, whole, np.inf)
    by_root = 2.0 * np.sqrt(nu * grown) * rise * by_growth
    by_sharpness = by_root * root.by_log_sharpness
    by_mean = 2.0 * rise * by_growth - 0.5 * by_sharpness / np.where(mean > 0.0, mean, np.inf)
    by_log_irregularity = (by_growth * rise * (grown - mean) + 0.5 * by_sharpness).sum(axis=0)
    return by_root * root.by_innovation, by_mean, by_log_irregularity


def back_through_paths(
    model: BoilerModel, u: np.ndarray, by_path: dict[str, np.ndarray], exponent: np.ndarray, static: _Static
) -> None:
    """Slopes by the steps and starts of waters' paths, from slopes by their log concentrations (E, n)."""
    for water, path in model.timeline.paths.items():
        moved, slopes = model.path(water, u), by_path[water]
        for one in path.readings:
            miss = (one.log_ratio - moved[one.epoch]) / one.log_sd
            slopes[one.epoch] += exponent * MEASURE_ERROR.score(miss) / one.log_sd
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
        levels, rises = read_table(table, log_factor), table_slopes(table, log_factor)
        potential = floor + blend_potential(*levels, degassing, boiler.steam_share)
        by_potential = by_litre[k] * scale
        by_floor = by_floor + by_potential * floor
        by_log_factor = by_potential * blend_potential(*rises, degassing, boiler.steam_share)
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
