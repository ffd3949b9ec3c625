"""Asking one boiler, part by part; numpy is loaded only when it is done."""

from __future__ import annotations

from collections.abc import Iterator

from scalemodel.answers.told import PARTS, Dated, Failure, NextLook, dated, next_look
from scalemodel.decision.question import Question
from scalemodel.errors import ScalemodelError
from scalemodel.logbook.records import BoilerFacts

Part = Dated | NextLook | Failure


def solved(
    facts: BoilerFacts, question: Question, seed: int | None, particles: int | None
) -> Iterator[tuple[str, Part]]:
    """Each part of an answer by its name, as soon as it is known; what fails is a part too.

    They are what `scalemodel.defer` and `scalemodel.next_inspection` give. A part may be told again as a failure; only
    the first counts.
    """
    try:
        yield from _parts(facts, question, seed, particles)
    except ScalemodelError as error:
        yield from ((name, Failure(str(error))) for name in PARTS)
    except Exception as error:  # a fault of the program: one boiler does not stop the others
        yield from ((name, Failure(f"it could not be reckoned ({type(error).__name__}: {error})")) for name in PARTS)


def _parts(
    facts: BoilerFacts, question: Question, seed: int | None, particles: int | None
) -> Iterator[tuple[str, Part]]:
    from scalemodel.decision.asking import prepare
    from scalemodel.decision.deferral import defer_until
    from scalemodel.decision.inspection_value import value_looks

    case = prepare(facts, question, seed, particles)
    yield "date", dated(defer_until(case))
    yield "look", next_look(value_looks(case))
