"""How the likelihood rises: its gradient, backwards through the same equations.

Each step of the forward law (drift, growth, deposits, looks) has its mirror here, in reverse order. The growth x from
a root v has short forms:

    dx/dv = 2 x sqrt(nu x) / (x + mu)    dx/dmu = 2 x / (x + mu)    dx/dln nu = x (x - mu) / (x + mu)

The tilt of the innovations is so near 1 that its own slope is left out: what follows a gradient asks for a direction.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import expit, ndtr

from scalemodel.model import priors
from scalemodel.model.grading import log_product, log_reading
from scalemodel.model.growth import blend_potential, capture_fraction, inverse_temperature_gap
from scalemodel.model.innovation import Root, find_root, growth_of_root, log_sharpness
from scalemodel.model.priors import LAPSE, LOOK_FLOOR_MG_CM2

if TYPE_CHECKING:
    from scalemodel.model.boiler import BoilerModel, Drift

INVERSE_ROOT_TWO_PI = 1.0 / np.sqrt(2.0 * np.pi)


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
    static.add("irregularity", by_log_irregularity)
    static.add("initial", by_start * drift.start)
    for d in range(len(model.timeline.descales)):
        left = drift.residue[d]
        static.add(f"residue {d}", (by_residue[d] + by_drift["residue"][d]) * left * (1.0 - left))
    for k, site in enumerate(model.sites):
        static.add(f"relative {site}", by_drift["log_relative"][k])
    for k, method in enumerate(model.methods):
        static.add(f"reading {method}", -by_drift["inverse_reading"][k] * drift.inverse_reading[k])
    for k, inspector in enumerate(model.inspectors):
        static.add(f"leniency {inspector}", by_drift["leniency"][k])
    back_through_supply(model, u, by_mean, static)
    return log_product(tilt), log_likelihood, gradient


class _Static:
    """Adds slopes by an unknown on its prior's scale to the rows of its standard normal; no row, nothing to add."""

    def __init__(self, model: BoilerModel, u: np.ndarray, gradient: np.ndarray) -> None:
        self.row = {name: k for k, name in enumerate(model.names)}
        self.unknowns, self.gradient = model.unknowns, gradient

    def add(self, name: str, slope: np.ndarray) -> None:
        if name in self.row:
            self.gradient[self.row[name]] += self.unknowns[name].sd * slope


def seen_slopes(
    model: BoilerModel, states: np.ndarray, drift: Drift
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """The log-likelihood (n,), and its slopes by the deposits (K, n) and by what else findings lean on in the drift."""
    by_state = np.zeros_like(states)
    slopes = {
        name: np.zeros_like(getattr(drift, name)) for name in ("residue", "log_relative", "inverse_reading", "leniency")
    }
    edges = model.edges
    relative = np.exp(drift.log_relative)
    apparent = relative[edges.site] * states[edges.state]
    milder = drift.leniency[edges.inspector] - np.log(apparent + LOOK_FLOOR_MG_CM2)
    steepness = drift.inverse_reading[edges.method]
    chance = np.zeros_like(milder)
    chance[:] = edges.floor
    chance[edges.open_top] += 1.0 - LAPSE
    by_milder, by_steepness = np.zeros_like(milder), np.zeros_like(milder)
    for rows, cuts, sign in (
        (edges.has_upper, edges.cut_high, 1.0 - LAPSE),
        (edges.has_lower, edges.cut_low, LAPSE - 1),
    ):
        reach = cuts + milder[rows]
        place = reach * steepness[rows]
        chance[rows] += sign * ndtr(place)
        density = (sign * INVERSE_ROOT_TWO_PI) * np.exp(-0.5 * place * place)
        by_milder[rows] += density * steepness[rows]
        by_steepness[rows] += density * reach
    log_likelihood = log_product(chance)
    by_milder /= chance
    by_steepness /= chance
    by_seen = -by_milder / (apparent + LOOK_FLOOR_MG_CM2)
    for index, where in enumerate(edges.state):
        by_state[where] += by_seen[index] * relative[edges.site[index]]
    _gather(slopes["log_relative"], edges.site, by_seen * apparent)
    _gather(slopes["inverse_reading"], edges.method, by_steepness)
    _gather(slopes["leniency"], edges.inspector, by_milder)
    for state, site, measured in model.thicknesses:
        apparent = relative[site] * states[state]
        seen = np.log(apparent + LOOK_FLOOR_MG_CM2)
        log_likelihood += log_reading(measured + LOOK_FLOOR_MG_CM2, seen, priors.THICKNESS_LOG_SD)
        slope = (np.log(measured + LOOK_FLOOR_MG_CM2) - seen) / (
            priors.THICKNESS_LOG_SD**2 * (apparent + LOOK_FLOOR_MG_CM2)
        )
        by_state[state] += slope * relative[site]
        slopes["log_relative"][site] += slope * apparent
    for state, index, recovered_g in model.recoveries:
        removed = (1.0 - drift.residue[index]) * states[state] + LOOK_FLOOR_MG_CM2
        measured = 1000.0 * recovered_g / model.facts.boiler.wetted_area_cm2 + LOOK_FLOOR_MG_CM2
        log_likelihood += log_reading(measured, np.log(removed), priors.RECOVERED_LOG_SD)
        slope = (np.log(measured) - np.log(removed)) / (priors.RECOVERED_LOG_SD**2 * removed)
        by_state[state] += slope * (1.0 - drift.residue[index])
        slopes["residue"][index] -= slope * states[state]
    return log_likelihood, by_state, slopes


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


def back_through_supply(model: BoilerModel, u: np.ndarray, by_mean: np.ndarray, static: _Static) -> None:
    """Slopes by capture, activation, degassing, use and strengths, from slopes by the mean growth (J, n)."""
    line, boiler = model.timeline, model.facts.boiler
    factor = model.use_factor(u)
    by_litre = line.recorded_l.T @ by_mean
    by_planned = line.planned_l.T @ by_mean
    by_litre += factor * by_planned
    degassing = expit(model.value("degassing", u))
    share = capture_fraction(model.value("capture", u), model.value("activation", u), boiler.temperature_c)
    by_logit = by_degassing = by_factor = 0.0
    for k, water in enumerate(line.waters):
        levels, rises = read_table_with_slope(model.tables[water], model.value(f"strength {water}", u))
        potential = blend_potential(*levels, degassing, boiler.steam_share)
        scale = share / boiler.wetted_area_cm2
        by_potential = by_litre[k] * scale
        static.add(f"strength {water}", by_potential * blend_potential(*rises, degassing, boiler.steam_share))
        by_degassing = by_degassing + by_potential * (1.0 - boiler.steam_share) * (levels[1] - levels[0])
        by_logit = by_logit + by_potential * potential * (1.0 - share)
        by_factor = by_factor + by_planned[k] * potential * scale
    static.add("capture", by_logit)
    static.add("activation", by_logit * inverse_temperature_gap(boiler.temperature_c))
    static.add("degassing", by_degassing * degassing * (1.0 - degassing))
    static.add("use", by_factor * factor * line.plan.log_sd)


def read_table_with_slope(table, strength: np.ndarray):
    """The three potentials of a water at strengths z (n,), and their slopes by z; see `growth.read_table`."""
    last = len(table.z) - 1
    step = (table.z[-1] - table.z[0]) / last
    place = (strength - table.z[0]) / step
    inside = (place > 0.0) & (place < last)
    place = np.clip(place, 0.0, last)
    knot = np.minimum(place.astype(np.intp), last - 1)
    columns = (table.closed, table.open, table.dry)
    rises = [v[knot + 1] - v[knot] for v in columns]
    levels = [v[knot] + rise * (place - knot) for v, rise in zip(columns, rises, strict=True)]
    return levels, [np.where(inside, rise / step, 0.0) for rise in rises]
