"""What is believed before any record: the table of priors, and what a file of one's own would say."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from scalemodel.cli.options_and_output import (
    DATE,
    PRIORS_FILE,
    aligned,
    as_of_option,
    emit,
    json_option,
    logbook_path,
    seed_option,
    watched,
)
from scalemodel.cli.recording import field_option, writable_logbook
from scalemodel.cli.shell_completion import BOILERS
from scalemodel.cli.streams import say_done
from scalemodel.logbook import clock
from scalemodel.logbook.days import day_or
from scalemodel.wording import Sentence

if TYPE_CHECKING:
    from datetime import date

    from scalemodel.fleet.pool import Pool
    from scalemodel.logbook.belief import Belief


@click.group()
def priors() -> None:
    """What is believed before any record, and how to believe otherwise.

    Every command that reads takes --priors FILE: a TOML file of what differs from the table of priors show. Without it
    what the logbook adopted is believed from that day on, and before, or with --priors house, what the table says.
    Answers that follow from other priors than the house's say so among what was assumed.

    \b
    Example:
      scalemodel priors show
      scalemodel priors check ours.toml
      scalemodel priors adopt ours.toml
    """


@priors.command()
@click.option(
    "--priors",
    "own",
    type=PRIORS_FILE,
    metavar="FILE",
    default=None,
    help="With what this file puts there, or house for the house's (default: with what the logbook adopted).",
)
@click.option(
    "--boiler",
    metavar="B",
    shell_complete=BOILERS,
    help="As they are of this boiler (default: of one that they do not name).",
)
@as_of_option
@json_option
@click.pass_context
def show(ctx, own: str | None, boiler: str | None, as_of: date | None, as_json: bool) -> None:
    """The prior of every unknown, and what a grade and a thickness stand for, by their names in a priors file.

    \b
    Example:
      scalemodel priors show --priors ours.toml
      scalemodel priors show --boiler kitchen
    """
    from scalemodel.logbook.priors_text import CONSTANTS, OF_SEVERAL
    from scalemodel.model.beliefs import believed, house
    from scalemodel.model.grading import constants_of, grading_of

    told, whose = _told(ctx, own, boiler, day_or(as_of, clock.today()))
    rows = [(name, "", believed(told, name)) for name in house()]
    alone = [one for one in told if one.subject and one.name not in CONSTANTS]
    rows += [(one.name, one.subject, believed(told, one.name, one.subject)) for one in alone]
    rows.sort(key=lambda row: list(house()).index(row[0]))
    body = [
        {"unknown": name, "of": of, "mean": prior.mean, "sd": prior.sd, "scale": prior.scale, "meaning": prior.meaning}
        for name, of, prior in rows
    ]
    constants = constants_of(grading_of(told))
    body += [
        {"unknown": name, "of": "", "mean": value, "sd": None, "scale": unit, "meaning": meaning}
        for name, value, unit, meaning in constants
    ]
    titles = ("unknown", *(("of",) if any(of for _, of, _ in rows) else ()), "mean", "sd", "scale", "meaning")
    lines = [(name, of, f"{prior.mean:.4g}", f"{prior.sd:.4g}", prior.scale, prior.meaning) for name, of, prior in rows]
    table = aligned(titles, lines if "of" in titles else [(name, *more) for name, _, *more in lines])
    several = ", ".join(f"{name} by {whose}" for name, whose in OF_SEVERAL.items())
    lines = [
        *whose,
        *table,
        "",
        *(
            f"{name} = {list(value) if isinstance(value, tuple) else value}: {meaning}"
            for name, value, _, meaning in constants
        ),
        "",
        "In a file, a table an unknown, such as [capture] with mean = 0.4 or sd = 0.6; only what differs.",
        f"A table within it is of one alone, such as [relative.chamber]: {several}.",
        "What is one number, or the list of cut points, stands before all tables.",
    ]
    emit(body, "\n".join(lines), as_json)


def _told(ctx: click.Context, own: str | None, boiler: str | None, day: date) -> tuple[tuple[Belief, ...], list[str]]:
    """What is believed of a boiler beside the house's priors, and lines that say since when and whence."""
    from scalemodel.logbook.believing import adopted_in
    from scalemodel.logbook.store import Logbook
    from scalemodel.model.beliefs import as_priors
    from scalemodel.words.account import adopted_words

    if own is not None:
        return as_priors(own).of(boiler or ""), []
    path = logbook_path(ctx)
    if boiler is None and not Logbook.exists(path):
        return (), []
    with Logbook.open(path) as book:
        found = adopted_in(book, day, boiler or "")
    if found is None:
        return (), []
    return found.beliefs, [str(Sentence(adopted_words(found).begun(), ".")), ""]


@priors.command()
@click.argument("file", type=PRIORS_FILE)
@click.option("--date", "day", type=DATE, metavar="DATE", help="Day from which they are believed (default: today).")
@field_option("adoption", "note")
@json_option
@click.pass_context
def adopt(ctx: click.Context, file: str, day: date | None, note: str | None, as_json: bool) -> None:
    """Adopt FILE: from DATE on every question believes it, until others are adopted.

    It is kept in the logbook as a record: history shows it, strike takes it back. A question as of an earlier day does
    not know of it.

    \b
    Example:
      scalemodel priors adopt ours.toml --date 2026-11-20
    """
    number, said = adopted_into(ctx, file, day, note or "")
    say_done(said, lambda line: emit({"adopted": number}, line, as_json))


def adopted_into(ctx: click.Context, found: Pool | str, day: date | None, note: str = "") -> tuple[int, str]:
    """Adopt a pool or a priors file: the number of the record, and a line that says so."""
    from scalemodel import api
    from scalemodel.logbook.describe import describe

    with writable_logbook(ctx) as book:
        number = api.adopt(book, found, day, note)
        return number, f"recorded adoption {number}: {describe(book.entry(number).record)}"


@priors.command()
@click.argument("file", type=PRIORS_FILE)
@seed_option
@json_option
def check(file: str, seed: int | None, as_json: bool) -> None:
    """What FILE would say of a new boiler on three waters, beside the house's priors.

    The boiler holds 0.8 L at 93 C, 500 cm2, and draws 3 L a week; its waters are known by a meter alone. Days until the
    risk that scale passes grade 3, by the house 6 mg/cm2, is 10, 50 and 90 %.

    \b
    Example:
      scalemodel priors check ours.toml
    """
    from scalemodel.model.beliefs import as_beliefs, differing
    from scalemodel.model.grading import grading_of
    from scalemodel.validation.prior_predictive import prior_predictive

    beliefs = as_beliefs(file)
    with watched("drawing from the priors") as progress:
        found = prior_predictive(beliefs, seed, progress)
    body = {
        "differs": differing(beliefs),
        "waters": [
            {"water": one.water, "tds_mg_l": one.tds_mg_l, "days": one.days, "house_days": one.house} for one in found
        ],
    }
    passed = [f"{grading_of(told).threshold(3):g}" for told in (beliefs, ())]
    titles = ("water", "TDS mg/L", "10%", "50%", "90%", "house 10%", "50%", "90%")
    rows = [(one.water, f"{one.tds_mg_l:g}", *(map(_days, (*one.days, *one.house)))) for one in found]
    lines = [
        f"Differs from the house: {differing(beliefs) or 'nothing'}.",
        "A new boiler of 0.8 L at 93 C that draws 3 L a week; days until the risk of passing "
        f"{' or by the house '.join(dict.fromkeys(passed))} mg/cm2 is so much:",
        "",
        *aligned(titles, rows),
    ]
    emit(body, "\n".join(lines), as_json)


def _days(days: int | None) -> str:
    return "never" if days is None else str(days)
