"""``scalemodel due``: every boiler in one list, soonest first."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

import click

from scalemodel.cli.options_and_output import (
    WholeType,
    aligned,
    answers_folder,
    emit,
    opened,
    reading_options,
    watched,
)
from scalemodel.decision.horizon import LONGEST_HORIZON_DAYS
from scalemodel.errors import RecordClashError
from scalemodel.logbook.csv_text import guarded
from scalemodel.wording import percent

if TYPE_CHECKING:
    from scalemodel.answers.rows import Due

NAMES = ("boiler", "status", "defer_until", "days", "risk_now", "last_look", "next_look", "water", "reason")
FIELDS = {name: name for name in NAMES}
"""Of a row, as scripts may rely on it, and what `Due` calls each; the reason is blank where there is an answer."""

TITLES = ("boiler", "the descale can wait until", "risk now", "last look", "next look", "water")


@click.command()
@click.option(
    "--within",
    type=WholeType(0, LONGEST_HORIZON_DAYS),
    metavar="DAYS",
    help="Only what is due within so many days, or cannot be told.",
)
@click.option("--csv", "as_csv", is_flag=True, help="Print the list as CSV.")
@reading_options
@click.pass_context
def due(ctx, within, as_csv, as_of, seed, particles, as_json) -> None:
    """What is due? Every boiler, soonest first; one that must be looked at again, or cannot wait, on top.

    The date is that of defer. Answers are kept in your user folder, so that a list in which nothing changed is there
    at once; a boiler that cannot be answered stands last, with the reason.

    \b
    Example:
      scalemodel due --within 30
    """
    from scalemodel import api

    if as_csv and as_json:
        raise RecordClashError("--csv and --json are two forms of one list", "give one of them")
    with opened(ctx) as book, watched("asking the boilers") as progress:
        rows = api.due(
            book,
            as_of,
            within,
            folder=answers_folder(),
            progress=progress,
            seed=seed,
            particles=particles,
        )
    if as_csv:
        click.echo(csv_of(rows), nl=False)
    else:
        emit([as_object(row) for row in rows], "\n".join(text_of(rows, within)), as_json)


def as_object(row: Due, columns: Mapping[str, str] = FIELDS) -> dict:
    """A row as scripts may rely on it: each column by the field of `Due` that it shows."""
    return {name: getattr(row, field) for name, field in columns.items()}


def csv_of(rows: Iterable[Due], columns: Mapping[str, str] = FIELDS) -> str:
    """The list as CSV, its header first."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(value) for value in as_object(row, columns).values()])
    return file.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, float):
        return f"{value:.6g}"
    return guarded(str(value)) if isinstance(value, str) else value


def text_of(rows: Sequence[Due], within: int | None) -> list[str]:
    """The list for people, and why some boilers have no answer."""
    if not rows:
        return ["no boilers yet" if within is None else f"nothing is due within {within} days"]
    return [*aligned(TITLES, [_line(row) for row in rows]), *reasons(rows)]


def reasons(rows: Iterable[Due]) -> list[str]:
    """Why some boilers have no answer."""
    return [f"{row.boiler}: no answer: {row.reason}" for row in rows if row.reason]


def answer_words(row: Due) -> str:
    """The answer in a few words."""
    return "no answer" if row.reason else row.verdict


def _line(row: Due) -> tuple[object, ...]:
    return (
        row.boiler,
        answer_words(row),
        risk_words(row),
        *map(_day, (row.last_look, row.next_look)),
        row.water or "-",
    )


def risk_words(row: Due) -> str:
    """The risk now, or the dash where there is no answer."""
    return "-" if row.risk_now is None else percent(row.risk_now)


def _day(day: date | None) -> object:
    return "-" if day is None else day
