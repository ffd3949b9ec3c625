"""Which facts an answer follows from: a logbook tells of every water, a boiler draws few."""

from __future__ import annotations

from dataclasses import replace

from scalemodel.decision.question import Question
from scalemodel.logbook.records import BoilerFacts


def relevant(facts: BoilerFacts, question: Question) -> BoilerFacts:
    """The facts without the waters that the boiler neither drew, nor is to draw, nor is asked about.

    As they are where an error would name the waters that there are.
    """
    drawn = {fill.water for fill in (*facts.fills, *facts.planned_fills)}
    asked = drawn if question.water is None else drawn | {question.water}
    if not facts.fills or not asked <= {water.water for water in facts.waters}:
        return facts
    return replace(
        facts,
        waters=tuple(water for water in facts.waters if water.water in asked),
        water_tests=tuple(test for test in facts.water_tests if test.water in asked),
    )
