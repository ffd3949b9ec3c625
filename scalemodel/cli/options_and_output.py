"""What commands share: dates, the logbook to open, output for people or for scripts."""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scalemodel.cli.errors_as_typed import typed_label
from scalemodel.cli.streams import json_text
from scalemodel.errors import BadValueError, RecordClashError
from scalemodel.logbook import clock
from scalemodel.logbook.days import parse_date
from scalemodel.logbook.field_types import Whole

if TYPE_CHECKING:
    from scalemodel.logbook.store import Logbook


class DateType(click.ParamType):
    """An ISO calendar date."""

    name = "date"

    def convert(self, value, param, ctx) -> date:
        return value if isinstance(value, date) else parse_date(value, typed_label(param))


class DayReachedType(DateType):
    """An ISO calendar date that has come: nothing is known as of a day to come."""

    def convert(self, value, param, ctx) -> date:
        day, today = super().convert(value, param, ctx), clock.today()
        if day > today:
            raise BadValueError(
                typed_label(param), day, f"a date up to today, {today}; for later dates ask risk --on DATE"
            )
        return day


class WholeType(click.ParamType):
    """A whole number from ``low`` to ``high``, both allowed."""

    name = "number"

    def __init__(self, low: int, high: int) -> None:
        self.rule = Whole(low, high)

    def convert(self, value, param, ctx) -> int:
        return value if isinstance(value, int) else self.rule.read(value, typed_label(param))


DATE, DAY_REACHED = DateType(), DayReachedType()


def logbook_path(ctx: click.Context) -> Path:
    """The logbook that ``--logbook`` or SCALEMODEL_LOGBOOK names, else the one in the user's folder."""
    root = ctx.find_root()
    chosen = root.obj or root.params.get("path")  # while the shell completes a line, the command itself is not run
    return Path(chosen) if chosen else Path(click.get_app_dir("scalemodel")) / "logbook.sqlite3"


def answers_folder() -> Path:
    """Where answers are kept from one command to the next, beside the usual logbook."""
    return Path(click.get_app_dir("scalemodel")) / "answers"


def json_option(command: Callable) -> Callable:
    """``--json``: one object on standard output instead of text for people."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON object, for scripts.")(command)


def as_of_option(command: Callable) -> Callable:
    """``--as-of``: answer as if it were that day."""
    return click.option(
        "--as-of",
        type=DAY_REACHED,
        metavar="DATE",
        default=None,
        help="Answer as on that day, without later records (default: today).",
    )(command)


def seed_option(command: Callable) -> Callable:
    """``--seed``: another run of the random numbers."""
    said = "Seed of the random numbers; another one shows how far chance moves the answer."
    return click.option("--seed", type=WholeType(0, 2**63 - 1), default=None, metavar="N", help=said)(command)


PRIORS_FILE = click.Path()


def priors_option(command: Callable) -> Callable:
    """``--priors``: beliefs of the user's own, or the house's, which `opened` hands to the facts."""

    def keep(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
        ctx.meta[PRIORS] = value or None

    return click.option(
        "--priors",
        type=PRIORS_FILE,
        metavar="FILE",
        default=None,
        expose_value=False,
        callback=keep,
        help="A TOML file of priors of your own, or house: in place of those adopted (see scalemodel priors show).",
    )(command)


PRIORS = "scalemodel.priors"


@contextmanager
def opened(ctx: click.Context) -> Iterator[Logbook]:
    """The logbook, open for reading, with the priors that the command was given."""
    from scalemodel import api

    with api.open_logbook(logbook_path(ctx), priors=ctx.meta.get(PRIORS)) as book:
        yield book


def jobs_option(command: Callable) -> Callable:
    """``--jobs``: how many processes of this machine solve."""
    said = "How many processes solve at once (default: one a core)."
    return click.option("--jobs", type=WholeType(1, 256), metavar="N", help=said)(command)


def workers_options(command: Callable) -> Callable:
    """``--scheduler`` or ``--jobs``: who solves; RecordClashError for both."""

    @wraps(command)
    def with_workers(*args, scheduler: str | None, jobs: int | None, **given):
        if scheduler is not None and jobs is not None:
            raise RecordClashError("--jobs are processes of this machine, --scheduler names others", "give one of them")
        return command(*args, scheduler=scheduler, jobs=jobs, **given)

    said = "Have a Dask cluster solve, by the address of its scheduler, tcp://HOST:PORT."
    return click.option("--scheduler", metavar="ADDRESS", help=said)(jobs_option(with_workers))


def reading_options(command: Callable) -> Callable:
    """The options of every command that asks the posterior: as-of, seed, particles, priors, json."""
    command = priors_option(json_option(command))
    command = click.option(
        "--particles",
        type=WholeType(100, 50_000),
        default=None,
        metavar="N",
        help="Effort: particles in each of the four populations, 100 to 50000.",
    )(command)
    return as_of_option(seed_option(command))


@contextmanager
def watched(label: str, hidden: bool = False) -> Iterator[Callable[[float], None]]:
    """A progress bar, on a terminal only; gives what is told the share in [0, 1] that is done."""
    hidden = hidden or not sys.stderr.isatty()
    with click.progressbar(length=100, label=label, file=sys.stderr, hidden=hidden) as bar:
        yield lambda share: bar.update(int(100 * share) - bar.pos)


def emit(result: dict | list, text: str, as_json: bool) -> None:
    """Print the result: JSON with ISO dates for scripts, the text for people."""
    if as_json:
        click.echo(json_text(result, _plain))
    else:
        click.echo(text)


def _plain(value):
    if isinstance(value, date):
        return value.isoformat()
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"{type(value).__name__} has no JSON form")


def aligned(titles: tuple[str, ...], rows: list[tuple]) -> list[str]:
    """A plain table: titles, then rows, columns two spaces apart; columns of numbers alone are set right."""
    cells = [titles, *([str(cell) for cell in row] for row in rows)]
    widths = [max(text_width(row[k]) for row in cells) for k in range(len(titles))]
    columns = list(zip(*cells[1:], strict=True)) or [()] * len(titles)
    right = [all(map(_is_number, column)) and any(cell not in ("", "-") for cell in column) for column in columns]
    return ["  ".join(_pad(c, w, r) for c, w, r in zip(row, widths, right, strict=True)).rstrip() for row in cells]


def text_width(text: str) -> int:
    """Cells that a text takes on a terminal: two for a wide letter, none for a combining mark."""
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def _pad(text: str, width: int, right: bool) -> str:
    blanks = " " * (width - text_width(text))
    return blanks + text if right else text + blanks


def _is_number(cell: str) -> bool:
    """Whether a cell is a number, "under" or "over" one, or the dash or blank that stands for none.

    >>> [_is_number(cell) for cell in ("-1.5", "under 0.1%", "-", "3 to 4", "2026-01-01")]
    [True, True, True, False, False]
    """
    figure = cell.strip().removeprefix("under ").removeprefix("over ").rstrip("%")
    return figure in ("", "-") or figure.replace(".", "", 1).removeprefix("-").isdigit()
