"""``scalemodel fleet``: many boilers at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scalemodel.cli.ask import question_options
from scalemodel.cli.due import answer_words, as_object, csv_of, reasons, risk_words
from scalemodel.cli.options_and_output import (
    aligned,
    answers_folder,
    emit,
    opened,
    reading_options,
    watched,
    workers_options,
)
from scalemodel.cli.pooling import pool
from scalemodel.errors import EvidenceError
from scalemodel.logbook import clock
from scalemodel.logbook.days import day_or
from scalemodel.wording import counted, figure

if TYPE_CHECKING:
    from scalemodel.answers.rows import Due
    from scalemodel.report.fleet_pages import FleetPages

FIELDS = {
    "boiler": "boiler",
    "defer_until": "defer_until",
    "risk_now": "risk_now",
    "p50": "p50",
    "deposit_now_mg_cm2": "deposit_mean_mg_cm2",
    "looks": "looks",
    "r_hat": "r_hat",
    "status": "status",
    "reason": "reason",
}
"""Of a row, as scripts may rely on it, and what `Due` calls each."""

TITLES = ("boiler", "the descale can wait until", "risk now", "mg/cm2", "looks")


@click.group()
def fleet() -> None:
    """Ask all boilers of a fleet at once, or have them teach each other, with all cores or a cluster.

    \b
    Example:
      scalemodel fleet assess --out fleet.csv
      scalemodel fleet pool --out ours.toml
    """


fleet.add_command(pool)


@fleet.command()
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.csv", help="Write the rows there.")
@click.option(
    "--html",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Write a page for every boiler there too, and one that lists them.",
)
@workers_options
@question_options
@reading_options
@click.pass_context
def assess(ctx, out, html, scheduler, jobs, question, as_of, seed, particles, as_json) -> None:
    """Until when can each boiler wait? A row a boiler, alarms on top, then the soonest.

    The rows are those of `defer`, whichever way they are worked out. Answers are kept in your user folder as they come:
    a run that was stopped goes on where it was. A boiler that cannot be answered stands last, with the reason.

    \b
    Example:
      scalemodel fleet assess --out fleet.csv
      scalemodel fleet assess --html workshop
      scalemodel fleet assess --scheduler tcp://192.0.2.7:8786
    """
    from scalemodel import api
    from scalemodel.report.files import check_place, write_whole

    if out is not None:
        check_place(out, (".csv",))
    day = day_or(as_of, clock.today())
    means = {"workers": jobs, "scheduler": scheduler, "folder": answers_folder()}
    asked = {**means, "seed": seed, "particles": particles, **asdict(question)}
    with opened(ctx) as book:
        with watched("assessing the boilers") as progress:
            rows = api.assess(book, day, next_look=html is not None, progress=progress, **asked).rows()
        if not rows:
            raise EvidenceError(f"no boiler was installed by {day}", "ask as of a later day")
        if out is not None:
            write_whole(out, csv_of(rows, FIELDS).encode())
        pages = None
        if html is not None:
            with watched("drawing the reports") as progress:
                pages = api.fleet_pages(book, rows, html, day, progress=progress, **asked)
    body = {
        "as_of": day,
        "out": out and str(out),
        "html": pages and str(pages.index),
        "boilers": [as_object(row, FIELDS) for row in rows],
    }
    emit(body, "\n".join([*lines_of(rows, out), *page_lines(pages)]), as_json)


def page_lines(pages: FleetPages | None) -> list[str]:
    """Where the pages are."""
    if pages is None:
        return []
    return [f"{pages.index}, and beside it {counted(pages.pages, 'page')}, one a boiler"]


def lines_of(rows: Sequence[Due], out: Path | None) -> list[str]:
    """The rows for people; where they were written, how many there are and why some have no answer."""
    if out is None:
        return [*aligned(TITLES, [_line(row) for row in rows]), *reasons(rows)]
    return [f"{counted(len(rows), 'boiler')} in {out}", *reasons(rows)]


def _line(row: Due) -> tuple[object, ...]:
    deposit = "-" if row.deposit_mean_mg_cm2 is None else figure(row.deposit_mean_mg_cm2, 2)
    return row.boiler, answer_words(row), risk_words(row), deposit, row.looks
