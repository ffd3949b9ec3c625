"""Simpler ways to foretell a look, which the model has to be worth its trouble against."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from scalemodel.decision.foretelling import chances_of, descaled_before, looks_in_order
from scalemodel.inference.posterior import Posterior
from scalemodel.logbook.records import BoilerFacts, Inspection
from scalemodel.model.grading import GRADE_COUNT, grading_of
from scalemodel.model.look import LookModel
from scalemodel.model.supply import find_supply
from scalemodel.model.timeline import build_timeline

PRIOR_DRAWS = 2000

_GRID = np.linspace(-3.0, 3.0, 61)
FACTORS = 0.1 * np.exp(1.5 * _GRID)
FACTOR_BELIEF = np.exp(-0.5 * _GRID * _GRID) / np.exp(-0.5 * _GRID * _GRID).sum()
"""Share of litres x meter reading that stays: log-normal about a tenth, on a grid three sds wide."""

SPREAD = 0.6
"""Reading error, growth and all else that litres x meter reading leaves out [ln]."""


def prior_alone(posterior: Posterior, look: Inspection) -> np.ndarray:
    """Probability of each grade at one of the posterior's looks by the prior alone (grades,)."""
    x = posterior.model.draw_prior(posterior.fresh("prior alone"), PRIOR_DRAWS)
    return chances_of(replace(posterior, x=x, end=None), look)


def last_grade_again(facts: BoilerFacts, looks: Sequence[Inspection]) -> Iterator[np.ndarray]:
    """Probability of each grade by "as the last time": the grade of the last look at the site, else of any site.

    After a descale, or from a clean start, that is bare metal. How often it is right is learned from the looks before:
    (1 + times right) / (2 + times); the other grades share the rest.
    """
    right = 0
    wanted = {id(look) for look in looks}
    ordered = looks_in_order(facts)
    for times, look in enumerate(ordered):
        expected = _last_grade(facts, ordered[:times], look)
        sure = (1 + right) / (2 + times)
        chances = np.full(GRADE_COUNT, (1.0 - sure) / (GRADE_COUNT - 1))
        chances[expected] = sure
        if id(look) in wanted:
            yield chances
        right += look.grade_low <= expected <= look.grade_high


def _last_grade(facts: BoilerFacts, before: Sequence[Inspection], look: Inspection) -> int:
    """The grade that a look is expected to show again."""
    descaled = descaled_before(facts, look)
    since = [one for one in before if descaled_before(facts, one) == descaled]
    same = [one for one in since if one.site == look.site] or since
    return (same[-1].grade_low + same[-1].grade_high) // 2 if same else 0


def litres_times_meter(facts: BoilerFacts, looks: Sequence[Inspection]) -> Iterator[np.ndarray]:
    """Probability of each grade by litres x meter reading since the last descale.

    A share of it, the same always, stays on the surface; which share is learned from the looks before. It is given the
    litres and tests of the whole logbook, also those recorded later, so it is better off than it should be.
    """
    doses = doses_of(facts)
    wanted, belief = {id(look) for look in looks}, FACTOR_BELIEF
    reads = LookModel(1.0, 1.0 / SPREAD, 0.0, grading=grading_of(facts.beliefs))
    for look in looks_in_order(facts):
        by_grade = reads.grade_probabilities(FACTORS * doses[id(look)])
        if id(look) in wanted:
            yield by_grade @ belief
        belief = belief * by_grade[look.grade_low : look.grade_high + 1].sum(axis=0)
        belief /= belief.sum()


def doses_of(facts: BoilerFacts) -> dict[int, float]:
    """Litres x meter reading an area since the last descale at every look [mg/cm2], by the look's identity."""
    line = build_timeline(facts)
    meters = np.array([find_supply(facts, water).analysis.tds_mg_l for water, _ in line.spans])
    grown = (line.recorded_l + line.planned_l) @ meters / facts.boiler.wetted_area_cm2
    states = [0.0]
    for step, index in line.steps:
        states.append(states[-1] + float(grown[index]) if step == "grow" else 0.0)
    return {id(look): states[state] for state, look in line.looks}
