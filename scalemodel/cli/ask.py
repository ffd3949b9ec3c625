"""Questions to the posterior: risk by date, and how long a descale can be deferred."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, fields
from datetime import date
from functools import wraps
from shlex import quote
from typing import TYPE_CHECKING

import click

from scalemodel.api import Question
from scalemodel.cli.options_and_output import DATE, aligned, emit, opened, reading_options, watched
from scalemodel.cli.recording import FieldType
from scalemodel.cli.shell_completion import SITES, WATERS, boiler_argument
from scalemodel.decision.horizon import HORIZON_DAYS
from scalemodel.logbook import clock
from scalemodel.logbook.days import day_or
from scalemodel.wording import counted, percent

if TYPE_CHECKING:
    from scalemodel.decision.alarms import Alarm
    from scalemodel.decision.case import Answer, Case
    from scalemodel.logbook.records import BoilerFacts


OPTIONS = (
    click.option(
        "--site", metavar="S", shell_complete=SITES, help="Site to ask about (default: the reference surface)."
    ),
    click.option(
        "--threshold-grade", type=int, metavar="G", help="Grade not to be reached, 1 to 4 (default: the boiler's own)."
    ),
    click.option("--threshold-um", type=float, metavar="X", help="The same as a thickness, um."),
    click.option("--threshold-mg-cm2", type=float, metavar="X", help="The same as a deposit, mg/cm2."),
    click.option(
        "--tolerance",
        type=FieldType("boiler", "tolerance"),
        metavar="P",
        help="Risk you accept, such as 0.1 or 10% (default: the boiler's own).",
    ),
    click.option("--litres-per-day", type=float, metavar="X", help="Use from now on (default: last year's mean)."),
    click.option("--water", metavar="W", shell_complete=WATERS, help="Water from now on (default: the last fill's)."),
    click.option(
        "--horizon-days", type=int, metavar="N", help=f"How far to look ahead (default: {HORIZON_DAYS} days)."
    ),
)

OPTION_NAMES = tuple(f"--{field.name.replace('_', '-')}" for field in fields(Question))
"""In the order of OPTIONS, which is that of the fields."""


def question_options(command: Callable, without: tuple[str, ...] = ()) -> Callable:
    """The options shared by risk, defer and plot, handed to the command as one ``question``.

    ``without`` names those (such as "--water") that mean nothing to the command, or that it reads itself.
    """

    @wraps(command)
    def with_question(*args, **given):
        question = Question(**{field.name: given.pop(field.name, None) for field in fields(Question)})
        return command(*args, question=question, **given)

    for option, name in reversed(list(zip(OPTIONS, OPTION_NAMES, strict=True))):
        if name not in without:
            with_question = option(with_question)
    return with_question


MANY_LOOKS = 40
"""From so many looks on a solve takes seconds, and its progress is shown on a terminal."""


def read_facts(ctx: click.Context, boiler: str, as_of: date | None) -> BoilerFacts:
    """What the logbook knew of a boiler on ``as_of``, today by default."""

    with opened(ctx) as book:
        return book.facts(boiler, day_or(as_of, clock.today()))


def ask(
    ctx: click.Context, boiler: str, as_of: date | None, seed: int | None, particles: int | None, question: Question
) -> Case:
    """Open the logbook, draw the posterior and lay the question on it."""
    from scalemodel import api

    facts = read_facts(ctx, boiler, as_of)
    if facts.boiler.is_retired(facts.as_of):
        click.echo(f"note: {facts.boiler.boiler} was retired on {facts.boiler.retired_on}", err=True)
    with watched("drawing the posterior", hidden=len(facts.inspections) < MANY_LOOKS) as progress:
        return api.prepare(facts, seed=seed, particles=particles, progress=progress, **asdict(question))


def alarm_lines(answer: Answer, alarms: Sequence[Alarm]) -> list[str]:
    """The alarm that comes before any answer, where there is one."""
    from scalemodel.words.answer import alarm_headline

    return [alarm_headline(answer.boiler, alarm, answer.threshold_words) for alarm in alarms[:1]]


@click.command()
@boiler_argument
@click.option(
    "--on", "dates", type=DATE, multiple=True, required=True, metavar="DATE", help="A date ahead; may be repeated."
)
@question_options
@reading_options
@click.pass_context
def risk(ctx, boiler, dates, question, as_of, seed, particles, as_json) -> None:
    """What is the risk that scale in BOILER has reached the threshold by a date?

    \b
    Example:
      scalemodel risk kitchen --on 2026-12-31 --on 2027-03-31
    """
    from scalemodel import api

    case = ask(ctx, boiler, as_of, seed, particles, question)
    answer = api.risk(case, dates)
    lines = [
        *alarm_lines(answer, case.standing.alarms),
        f"{answer.boiler}, {answer.site}: risk that scale has reached {answer.threshold_words}",
        "",
    ]
    accepted = percent(answer.tolerance)
    rows = [
        (p.date, percent(p.probability), f"{p.mc_error:.1%}", "within" if p.probability <= answer.tolerance else "over")
        for p in answer.points
    ]
    lines += aligned(("date", "risk", "random error", f"your {accepted}"), rows)
    emit(asdict(answer), "\n".join(lines), as_json)


@click.command()
@boiler_argument
@click.option("--why", is_flag=True, help="Say also how the hardness came about and how well the runs agreed.")
@question_options
@reading_options
@click.pass_context
def defer(ctx, boiler, why, question, as_of, seed, particles, as_json) -> None:
    """How long can the descale of BOILER safely be deferred, and why?

    The date is the last one on which the risk that scale has reached the threshold is within what you accept. A look
    that shows as much already, or far more than all else foretells, comes first: then it says to look again.

    \b
    Example:
      scalemodel defer kitchen --tolerance 0.05
    """
    from scalemodel import api
    from scalemodel.words.advice import next_look_words

    case = ask(ctx, boiler, as_of, seed, particles, question)
    answer, looks = api.defer(case), api.next_inspection(case)
    best = None if looks.best is None else asdict(looks.best) | {"look_reason": looks.look_reason}
    findings = [asdict(one) for one in looks.findings]
    body = deferral_json(answer) | {"next_look": best, "findings": findings}
    emit(body, deferral_text(answer, *next_look_words(quote(answer.boiler), looks), why=why), as_json)


def deferral_json(answer) -> dict:
    """The answer as scripts may rely on it."""
    from scalemodel.words.account import assumptions_of, chemistry_of, evidence_of, hardness_of, residue_object
    from scalemodel.words.answer import reason_of

    basis = answer.basis
    return {
        "boiler": answer.boiler,
        "as_of": answer.as_of,
        "site": answer.site,
        "threshold_mg_cm2": answer.threshold_mg_cm2,
        "tolerance": answer.tolerance,
        "status": answer.status,
        "alarms": [asdict(alarm) for alarm in answer.alarms],
        "risk_now": answer.risk_now,
        "defer_until": answer.defer_until,
        "reason": reason_of(answer),
        "cheapest_on": answer.cheapest_on,
        "waiting_costs": answer.waiting_costs,
        "mc_error_days": answer.mc_error_days,
        "crossing": answer.crossing,
        "deposit_now_mg_cm2": asdict(answer.deposit_now_mg_cm2),
        "assumptions": [*assumptions_of(basis), *chemistry_of(basis)],
        "hardness": hardness_of(basis),
        "evidence": evidence_of(basis.facts),
        "change": None if answer.change is None else asdict(answer.change),
        "by_all_records": None if answer.by_all_records is None else asdict(answer.by_all_records),
        "as_since_then": None if answer.as_since_then is None else asdict(answer.as_since_then),
        "residue": [residue_object(one) for one in answer.residue],
        "engine": asdict(answer.engine),
    }


def deferral_text(answer, *more: str, why: bool = False) -> str:
    """The answer for people: the date first, then ``more`` sentences, then what it rests on; all of it with ``why``."""
    from scalemodel.words.account import assumptions_of, chemistry_of, evidence_of, hardness_of
    from scalemodel.words.advice import deposit_words, residue_sentences
    from scalemodel.words.answer import first_sentences, horizon_words

    basis = answer.basis
    lines = [*first_sentences(answer), *horizon_words(answer), *more]
    lines += ["", "What the boiler has shown:", *(f"  - {text}" for text in evidence_of(basis.facts))]
    lines.append(f"  - {deposit_words(answer.site, answer.deposit_now_mg_cm2)}; threshold {answer.threshold_mg_cm2:g}")
    lines += [f"  - {text}" for text in residue_sentences(answer)]
    chemistry = chemistry_of(basis) if why else ()
    hardness = hardness_of(basis) + ("" if why else " (how that came about: --why)")
    lines += ["", "What was assumed:", *(f"  - {text}" for text in (*assumptions_of(basis), *chemistry, hardness))]
    if not why:
        return "\n".join(lines)
    return "\n".join([*lines, "", *engine_lines(answer.engine)])


def engine_lines(engine) -> list[str]:
    """How the answer was computed, each term explained."""
    return [
        "How it was computed:",
        f"  - {engine.particles} draws of all that is unknown, in four runs that know nothing of each other, in "
        f"{engine.seconds:.2f} s",
        f"  - the records let in by {counted(engine.levels, 'step')}, with {counted(engine.sweeps, 'round')} of moves",
        f"  - the runs agree: R-hat {engine.r_hat:.3f} (1.000 where they agree wholly; below 1.05 will do)"
        if engine.settled
        else f"  - the runs do not agree as they should: R-hat {engine.r_hat:.3f} (below 1.05 where they do)",
    ]
