"""Asking one boiler, part by part; numpy is loaded only when it is done."""

from __future__ import annotations

from collections.abc import Iterator

from scalemodel.answers.told import Dated, NextLook, dated, next_look
from scalemodel.decision.question import Question
from scalemodel.logbook.records import BoilerFacts


def solved(
    facts: BoilerFacts, question: Question, seed: int | None, particles: int | None
) -> Iterator[tuple[str, Dated | NextLook]]:
    """Each part of an answer by its name, as `scalemodel.defer` and `scalemodel.next_inspection` give them."""
    from scalemodel.decision.asking import prepare
    from scalemodel.decision.deferral import defer_until
    from scalemodel.decision.inspection_value import value_looks

    case = prepare(facts, question, seed, particles)
    yield "date", dated(defer_until(case))
    yield "look", next_look(value_looks(case))
