"""The next look, from the command line: where, how, when, what it may show, and what to do then."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scalemodel.cli.ask import ask, question_options, read_facts
from scalemodel.cli.options_and_output import aligned, emit, reading_options
from scalemodel.cli.recording import FieldType
from scalemodel.cli.shell_completion import SITES, boiler_argument

if TYPE_CHECKING:
    from scalemodel.decision.inspection_value import NextInspection


@click.command("next-inspection")
@boiler_argument
@click.option("--look-site", metavar="S", shell_complete=SITES, help="Say of a look at this site whether it pays.")
@click.option(
    "--method", "look_method", type=FieldType("inspection", "method"), metavar="M", help="And by this method (eye)."
)
@question_options
@reading_options
@click.pass_context
def next_inspection(ctx, boiler, look_site, look_method, question, as_of, seed, particles, as_json) -> None:
    """Where, how and when to look into BOILER next, and what would it decide?

    A look is worth what it may save: a descale too many, or one too late. Its cost comes from new site --look-cost. An
    alarm is answered first, and no boiler goes longer than a year without a look.

    \b
    Example:
      scalemodel next-inspection kitchen
      scalemodel next-inspection kitchen --look-site wall --method camera
    """
    from scalemodel import api
    from scalemodel.decision.inspection_value import check_look
    from scalemodel.words.assumed import answer_object

    check_look(read_facts(ctx, boiler, as_of), look_site, look_method)
    answer = api.next_inspection(ask(ctx, boiler, as_of, seed, particles, question), look_site, look_method)
    emit(answer_object(answer), inspection_text(answer), as_json)


def inspection_text(answer: NextInspection) -> str:
    """The answer for people: the best look in a sentence, a table of the others, what was assumed."""
    from scalemodel.words.advice import amount_unit, look_sentences
    from scalemodel.words.assumed import assumed_words
    from scalemodel.words.tables import FINDING_TITLES, LOOK_TITLES, finding_rows, look_rows

    lines = look_sentences(answer)
    if answer.options and not answer.alarms:
        lines += ["", f"Looks that were weighed, in {amount_unit(answer)}:"]
        lines += aligned(LOOK_TITLES, look_rows(answer))
    if answer.findings:
        findings = aligned(FINDING_TITLES, finding_rows(answer))
        lines += ["", "What the next look may show, and what to do then:", *findings]
    if not answer.alarms:
        lines += ["", "What was assumed:", *(f"  - {text}" for text in assumed_words(answer.assumptions))]
    return "\n".join(lines)
