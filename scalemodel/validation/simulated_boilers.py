"""Invented evidence on a real schedule: what looks would show if one draw from the prior were the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from scalemodel.logbook.records import BoilerFacts, Descale, Inspection
from scalemodel.model import priors, unknowns
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.grading import GRADE_COUNT, apparent, cumulative
from scalemodel.model.priors import LOOK_FLOOR_MG_CM2, deposit_to_thickness
from scalemodel.model.tailed_normal import MEASURE_ERROR


def draw_grade(rng: np.random.Generator, seen: float, spread: float, shift: float) -> int:
    """One grade by the law of a look."""
    steps = [float(cumulative(g, seen, spread, shift)) for g in range(GRADE_COUNT)]
    return int(np.searchsorted(steps, rng.random()))


def draw_range(rng: np.random.Generator, grade: int, width: int) -> tuple[int, int]:
    """A look of at most ``width + 1`` grades around a grade: the cell that holds it of a scale cut at random.

    The cuts are drawn without regard to the grade, so the range tells no more than that the grade lies in it, which
    is what its probability, the sum over its grades, supposes (coarsening at random: Heitjan & Rubin 1991). A window
    slid about the grade and stopped at the ends of the scale would tell more.
    """
    first = int(rng.integers(width + 1))
    low = first + (grade - first) // (width + 1) * (width + 1)
    return max(low, 0), min(low + width, GRADE_COUNT - 1)


def simulate(model: BoilerModel, rng: np.random.Generator) -> tuple[np.ndarray, BoilerFacts]:
    """A truth x (dim, 1) from the prior, and the facts with every finding drawn anew from it.

    Looks keep their dates, sites and methods, and no range becomes wider. Readings of thickness and of recovered
    mass are drawn too; by the law, one on next to nothing may fall below zero, by at most what 0.02 mg/cm2 makes.
    """
    x = model.draw_prior(rng, 1)
    states, drift, line = model.deposits(x)[:, 0], model.drift(x[: model.static_dim]), model.timeline
    found: dict[int, Inspection] = {}
    for state, look in line.looks:
        relative = 1.0
        if look.site != model.facts.reference_site:
            relative = float(np.exp(model.value(unknowns.relative(look.site), x)[0]))
        seen = float(apparent(states[state], relative))
        spread = float(np.exp(model.value(unknowns.reading(look.method), x)[0]))
        grade = draw_grade(rng, seen, spread, float(model.value(unknowns.leniency(look.inspector), x)[0]))
        low, high = draw_range(rng, grade, look.grade_high - look.grade_low)
        thickness = look.thickness_um
        if thickness is not None:
            deposit = np.exp(seen + priors.THICKNESS_LOG_SD * MEASURE_ERROR.draw(rng)) - LOOK_FLOOR_MG_CM2
            thickness = deposit_to_thickness(float(deposit))
        found[id(look)] = replace(look, grade_low=low, grade_high=high, thickness_um=thickness)
    weighed: dict[int, Descale] = {}
    for index, (state, descale) in enumerate(line.descales):
        if descale.scale_recovered_g is not None:
            removed = (1.0 - drift.residue[index, 0]) * states[state] + LOOK_FLOOR_MG_CM2
            deposit = removed * np.exp(priors.RECOVERED_LOG_SD * MEASURE_ERROR.draw(rng)) - LOOK_FLOOR_MG_CM2
            mass = float(deposit) * model.facts.boiler.wetted_area_cm2 / 1000.0
            descale = replace(descale, scale_recovered_g=mass)
        weighed[id(line.descales[index][1])] = descale
    facts = replace(
        model.facts,
        inspections=tuple(found[id(look)] for look in model.facts.inspections),
        descales=tuple(weighed[id(descale)] for descale in model.facts.descales),
    )
    return x, facts
