"""The next look, from the command line: which is worth its trouble, what it may show, and what to do then."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from scalemodel.cli.ask import ask, question_options
from scalemodel.cli.common import aligned, emit, reading_options
from scalemodel.cli.completing import boiler_argument

if TYPE_CHECKING:
    from scalemodel.decision.inspection_value import Finding, NextInspection

HARDLY = 0.02
"""A grade less likely than this is left out of the sentence."""


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


def amount(value: float, priced: bool) -> str:
    """A worth in words: money as the owner counts it, or descales.

    >>> amount(0.304, False), amount(12.0, True)
    ('0.30 descales', '12.00')
    """
    return f"{value:.2f}" if priced else f"{value:.2f} descales"


def act_words(finding: Finding, answer: NextInspection) -> str:
    """What the owner would do on a grade."""
    from scalemodel.decision.inspection_value import contradicting

    if finding.grade in contradicting(answer.findings):
        return "look again: it would contradict all else"
    if finding.descale_on is None:
        return "no descale within the horizon"
    return "descale at once" if finding.descale_on <= answer.best.date else f"wait until about {finding.descale_on}"


def likely_words(answer: NextInspection) -> str:
    """The likely findings, then what to do on each, grades that lead to the same act together."""
    likely = [f for f in answer.findings if f.probability >= HARDLY]
    shown = ", ".join(f"grade {f.grade} {f.probability:.0%}" for f in likely)
    acts: dict[str, list[str]] = {}
    for finding in likely:
        acts.setdefault(act_words(finding, answer), []).append(str(finding.grade))
    said = "; ".join(f"on grade {' or '.join(grades)} {act}" for act, grades in acts.items())
    return f"Likely findings: {shown}. Then {said}."


def without_words(answer: NextInspection) -> str:
    """The plan without a look."""
    if answer.descale_on is None:
        return "Without a look: no descale within the horizon."
    if answer.descale_on == answer.as_of:
        return "Without a look: descale now."
    return f"Without a look: descale around {answer.descale_on}."


def inspection_text(answer: NextInspection) -> str:
    """The answer for people: the best look in a sentence, a table of the others, what was assumed."""
    if answer.best is None:
        head = f"{answer.boiler}: no look is worth its trouble now; none would save much more than it costs."
        lines = [head, without_words(answer)]
    else:
        best = answer.best
        cost = f", its cost {amount(best.cost, answer.priced)}" if best.cost > 0.0 else ""
        lines = [
            f"{answer.boiler}: look at the {best.site} by {best.method} around {best.date}: "
            f"it is worth about {amount(best.value, answer.priced)}{cost}.",
            likely_words(answer),
            without_words(answer),
        ]
    lines += ["", *aligned(("site", "method", "date", "value", "+/-", "cost", "net"), table_rows(answer))]
    if answer.best is not None:
        rows = [(f.grade, f"{f.probability:.1%}", act_words(f, answer)) for f in answer.findings]
        lines += ["", "What the best look may show, and what to do then:", *aligned(("grade", "chance", "then"), rows)]
    unit = "money as the logbook has it" if answer.priced else "descales"
    lines += ["", f"What was assumed (values in {unit}):", *(f"  - {text}" for text in answer.assumptions)]
    return "\n".join(lines)


def table_rows(answer: NextInspection) -> list[tuple]:
    """The best date of each site and method, best first; all dates are in the JSON."""
    rows, seen = [], set()
    for option in answer.options:
        if (option.site, option.method) not in seen:
            seen.add((option.site, option.method))
            figures = (f"{x:.2f}" for x in (option.value, option.mc_error, option.cost, option.net))
            rows.append((option.site, option.method, option.date, *figures))
    return rows
