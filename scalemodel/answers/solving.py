"""Asking one boiler, part by part; numpy is loaded only when it is done."""

from __future__ import annotations

from collections.abc import Iterator

from scalemodel.answers.told import WHOLE, Dated, NextLook, dated, next_look
from scalemodel.decision.question import Question
from scalemodel.logbook.records import BoilerFacts


def solved(
    facts: BoilerFacts, question: Question, seed: int | None, particles: int | None, parts: tuple[str, ...] = WHOLE
) -> Iterator[tuple[str, Dated | NextLook]]:
    """Each of some parts of an answer by its name, as `scalemodel.defer` and `scalemodel.next_inspection` give them."""
    from scalemodel.decision.asking import prepare
    from scalemodel.decision.deferral import defer_until
    from scalemodel.decision.inspection_value import value_looks

    case = prepare(facts, question, seed, particles)
    if "date" in parts:
        yield "date", dated(defer_until(case))
    if "look" in parts:
        yield "look", next_look(value_looks(case))
