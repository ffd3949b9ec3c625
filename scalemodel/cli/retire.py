"""``scalemodel retire``: a boiler goes out of use, and out of every list; its records stay."""

from __future__ import annotations

from datetime import date
from shlex import quote

import click

from scalemodel.cli.options_and_output import DATE, emit, json_option
from scalemodel.cli.recording import writable_logbook
from scalemodel.cli.shell_completion import boiler_argument
from scalemodel.logbook.retiring import retire as retire_boiler
from scalemodel.logbook.retiring import unretire


@click.command()
@boiler_argument
@click.option("--on", "day", type=DATE, default=None, metavar="DATE", help="Since when (default: today).")
@click.option("--undo", is_flag=True, help="Take it into use, and into the lists, again.")
@click.option("--reason", default="", metavar="TEXT", help="Why; kept with the record.")
@json_option
@click.pass_context
def retire(ctx: click.Context, boiler: str, day: date | None, undo: bool, reason: str, as_json: bool) -> None:
    """Take BOILER out of use: it stands in no list any more, while its records and its name stay.

    It leaves due, the pages of serve, report --all and the calendar; history and every question still know its name.
    Looks, use and descales after that day are refused.

    \b
    Example:
      scalemodel retire kitchen --on 2026-10-01 --reason "replaced by a larger one"
      scalemodel retire kitchen --undo
    """
    if undo and day is not None:
        raise click.UsageError("--undo takes no date; leave --on out", ctx)
    with writable_logbook(ctx) as book:
        name = book.boiler(boiler).boiler
        number = unretire(book, name, reason) if undo else retire_boiler(book, name, day, reason)
        since = book.boiler(name).retired_on
    if undo:
        said = f"{name} is in use again, and in every list (record {number})"
    else:
        back = f"scalemodel retire {quote(name)} --undo"
        said = f"retired {name} on {since} (record {number}); its records stay, and `{back}` takes it back"
    emit({"boiler": name, "retired_on": since, "record": number}, said, as_json)
