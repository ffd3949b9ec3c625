"""The next look, from the command line: which is worth its trouble, what it may show, and what to do then."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from scalemodel.cli.ask import ask, question_options
from scalemodel.cli.common import aligned, emit, reading_options
from scalemodel.cli.completing import boiler_argument

if TYPE_CHECKING:
    from scalemodel.decision.inspection_value import NextInspection


@click.command("next-inspection")
@boiler_argument
@question_options
@reading_options
@click.pass_context
def next_inspection(ctx, boiler, question, as_of, seed, particles, as_json) -> None:
    """Which look into BOILER is worth its trouble next: where, how, when, and what it would decide?

    A look is worth what it may save: a descale too many, or one too late. Its cost comes from new site --look-cost.

    \b
    Example:
      scalemodel next-inspection kitchen
    """
    from scalemodel.decision.inspection_value import value_looks

    answer = value_looks(*ask(ctx, boiler, as_of, seed, particles, question))
    emit(asdict(answer), inspection_text(answer), as_json)


def inspection_text(answer: NextInspection) -> str:
    """The answer for people: the best look in a sentence, a table of the others, what was assumed."""
    from scalemodel.decision.rows import FINDING_TITLES, LOOK_TITLES, finding_rows, look_rows
    from scalemodel.decision.sentences import look_sentences

    lines = [*look_sentences(answer), "", *aligned(LOOK_TITLES, look_rows(answer))]
    if answer.best is not None:
        findings = aligned(FINDING_TITLES, finding_rows(answer))
        lines += ["", "What the best look may show, and what to do then:", *findings]
    unit = "money as the logbook has it" if answer.priced else "descales"
    lines += ["", f"What was assumed (values in {unit}):", *(f"  - {text}" for text in answer.assumptions)]
    return "\n".join(lines)
