"""The cost of descaling by age, from the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scalemodel.cli.ask import ask, question_options
from scalemodel.cli.options_and_output import aligned, emit, reading_options
from scalemodel.cli.shell_completion import boiler_argument
from scalemodel.wording import counted, figure

if TYPE_CHECKING:
    from scalemodel.decision.cost import Cost


@click.command()
@boiler_argument
@question_options
@reading_options
@click.pass_context
def cost(ctx, boiler, question, as_of, seed, particles, as_json) -> None:
    """What does descaling BOILER at a fixed age cost in the long run, and which age costs least?

    The age is that of the scale: days since the last full descale. Prices come from the logbook (scalemodel add
    prices, new site --look-cost, new water --cost-per-litre).

    \b
    Example:
      scalemodel cost kitchen
    """
    from scalemodel import api
    from scalemodel.words.assumed import answer_object

    answer = api.cost(ask(ctx, boiler, as_of, seed, particles, question))
    emit(answer_object(answer), cost_text(answer), as_json)


def cost_text(answer: Cost) -> str:
    """The answer for people: what may not wait, the age and its cost, the table, what it rests on."""
    from scalemodel.words.advice import cost_sentences
    from scalemodel.words.assumed import assumed_words
    from scalemodel.words.tables import AGE_TITLES, age_row

    error = answer.best_age_mc_error_days
    first, *rest = cost_sentences(answer)
    lines = [f"{answer.boiler}: {first}", *rest]
    lines.append(
        f"Another run of the same records would move the age by about {counted(max(1, round(error)), 'day')} and "
        f"the cost by {figure(answer.cost_a_year_mc_error, 2)}."
    )
    lines += ["", *aligned(AGE_TITLES, [age_row(point) for point in answer.curve]), ""]
    lines.append(
        "Passes first: the chance that scale passes the threshold before that age; it is found out then. All else is a "
        "year's."
    )
    lines.append(
        f"A descale costs {figure(answer.descale)}, scale past the threshold {figure(answer.strip_down)} more; looks "
        f"{figure(answer.looks_a_year)} and water {figure(answer.water_a_year)} a year, at any age."
    )
    return "\n".join([*lines, "", "What was assumed:", *(f"  - {text}" for text in assumed_words(answer.assumptions))])
