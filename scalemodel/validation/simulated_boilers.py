"""Invented evidence on a real schedule: what looks would show if one draw from the prior were the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from scalemodel.inference.posterior import Posterior
from scalemodel.inference.smc import SmcInfo
from scalemodel.logbook.records import BoilerFacts, Descale, Inspection
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.grading import GRADE_COUNT, grading_of
from scalemodel.model.look import RECOVERED, THICKNESS
from scalemodel.model.supply import Supply
from scalemodel.model.target import model_of
from scalemodel.validation.histories import invent_history


def draw_range(rng: np.random.Generator, grade: int, width: int) -> tuple[int, int]:
    """A look of at most ``width + 1`` grades around a grade: the cell that holds it of a scale cut at random.

    The cuts are drawn without regard to the grade, so the range tells no more than that the grade lies in it, which
    is what its probability, the sum over its grades, supposes (coarsening at random: Heitjan & Rubin 1991). A window
    slid about the grade and stopped at the ends of the scale would tell more.
    """
    first = int(rng.integers(width + 1))
    low = first + (grade - first) // (width + 1) * (width + 1)
    return max(low, 0), min(low + width, GRADE_COUNT - 1)


def simulated_logbook(rng: np.random.Generator) -> BoilerFacts:
    """An invented history whose findings follow from a truth drawn from the prior."""
    return simulate(model_of(invent_history(rng))[0], rng)[1]


def truth_alone(model: BoilerModel, supplies: dict[str, Supply], x: np.ndarray, seed: int) -> Posterior:
    """A truth x (dim, 1) as a posterior of that one draw, so that a forecast can be made of it."""
    return Posterior(model, supplies, x, SmcInfo(np.zeros(1), 0, 0, 0.0, 0, False, 0.0), seed, 1, 0.0)


def simulate(
    model: BoilerModel, rng: np.random.Generator, truth: np.ndarray | None = None
) -> tuple[np.ndarray, BoilerFacts]:
    """A truth x (dim, 1), from the prior if none is given, and the facts with every finding drawn anew from it.

    Looks keep their dates, sites and methods, and no range becomes wider. Readings of thickness and of recovered
    mass are drawn too; by the law, one on next to nothing may fall below zero, by at most what 0.02 mg/cm2 makes.
    """
    x = model.draw_prior(rng, 1) if truth is None else truth
    surfaces, line = model.surfaces(x)[:, 0], model.timeline
    residue = model.parameters(x[: model.static_dim]).residue
    found: dict[int, Inspection] = {}
    for state, look in line.looks:
        reads = model.look_model(x, look).part(0)
        there = surfaces[model.surface_of(look.site)][state]
        grade = reads.draw_grade(rng, there)
        low, high = draw_range(rng, grade, look.grade_high - look.grade_low)
        thickness = look.thickness_um
        if thickness is not None:
            thickness = grading_of(model.facts.beliefs).thickness(THICKNESS.draw(rng, reads.relative * there))
        found[id(look)] = replace(look, grade_low=low, grade_high=high, thickness_um=thickness)
    weighed: dict[int, Descale] = {}
    for index, (state, descale) in enumerate(line.descales):
        if descale.scale_recovered_g is not None:
            deposit = RECOVERED.draw(rng, (1.0 - residue[index, 0]) * surfaces[state])
            mass = deposit * model.facts.boiler.wetted_area_cm2 / 1000.0
            descale = replace(descale, scale_recovered_g=mass)
        weighed[id(line.descales[index][1])] = descale
    facts = replace(
        model.facts,
        inspections=tuple(found[id(look)] for look in model.facts.inspections),
        descales=tuple(weighed[id(descale)] for descale in model.facts.descales),
    )
    return x, facts
