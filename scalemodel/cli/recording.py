"""What the commands that write records share: options read by the field rules, one way to write."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import click

from scalemodel.cli.common import logbook_path
from scalemodel.cli.completing import completing_field
from scalemodel.cli.streams import say_done
from scalemodel.cli.typed import typed_label
from scalemodel.errors import AlreadyRecordedError
from scalemodel.logbook.describe import describe
from scalemodel.logbook.fields import parse_grade, parse_hardness, read
from scalemodel.logbook.kinds import KINDS, Record
from scalemodel.logbook.remarks import remarks_on
from scalemodel.logbook.store import Logbook


class FieldType(click.ParamType):
    """The value of one field of a kind of record."""

    def __init__(self, kind: str, field: str) -> None:
        self.name = field
        self.kind = KINDS[kind]

    def convert(self, value, param, ctx):
        return read(self.kind, self.name, value, typed_label(param)) if isinstance(value, str) else value


class GradeType(click.ParamType):
    """A grade or a range of grades, as (low, high)."""

    name = "grade"

    def convert(self, value, param, ctx):
        return parse_grade(value, typed_label(param)) if isinstance(value, str) else value


class HardnessType(click.ParamType):
    """A hardness-like number with its unit, as (value, unit)."""

    name = "hardness"

    def convert(self, value, param, ctx):
        return parse_hardness(value, typed_label(param)) if isinstance(value, str) else value


def field_option(kind: str, field: str, name: str, help: str, metavar: str = "X", **more) -> Callable:
    """An option whose text is read by the field's rule; the parameter is called as the field.

    A default worth saying is the record's own, and stands at the end of the help.
    """
    default = KINDS[kind].defaults.get(field)
    if default:
        help = f"{help.removesuffix('.')} (default: {default})."
    names = completing_field(KINDS[kind], field)
    return click.option(
        name, field, type=FieldType(kind, field), metavar=metavar, help=help, shell_complete=names, **more
    )


def field_argument(kind: str, field: str, metavar: str) -> Callable:
    """An argument whose text is read by the field's rule; the parameter is called as the field."""
    names = completing_field(KINDS[kind], field)
    return click.argument(field, type=FieldType(kind, field), metavar=metavar, shell_complete=names)


def again_option(command: Callable) -> Callable:
    """``--again``: enter a record although one just like it is there."""
    return click.option(
        "--again", is_flag=True, help="Enter it even if a record says just this already (two looks that agree)."
    )(command)


def open_to_write(path: Path) -> Logbook:
    """The logbook in a file, for writing, made if missing; says so if it was brought up to date."""
    return Logbook.open(path, write=True, told=lambda line: click.echo(f"note: {line}", err=True))


def record_into(ctx: click.Context, make: Callable[[Logbook], Record], again: bool = False) -> None:
    """Write the record that ``make`` gives and say what was stored; a missing logbook is made.

    For a missing one the record is first tried in memory, so that a refusal leaves no file behind. A record just
    like one that is there is asked about on a terminal, and refused off one, unless ``again``.
    """
    path = logbook_path(ctx)
    if not Logbook.exists(path):
        with Logbook.in_memory() as trial:
            trial.add(make(trial))
    with open_to_write(path) as book:
        try:
            number = _enter(book, make, again)
        except AlreadyRecordedError as same:
            if not (on_terminal() and click.confirm(f"{same.problem}. Enter it once more?", err=True)):
                raise
            number = _enter(book, make, True)
        entry = book.entry(number)
        remarks = remarks_on(book, entry.record, number)
    say_done(f"recorded {KINDS[entry.kind].title} {number}: {describe(entry.record)}")
    for line in remarks:
        click.echo(f"note: {line}", err=True)


def _enter(book: Logbook, make: Callable[[Logbook], Record], again: bool) -> int:
    with book.transaction():
        return book.add(make(book), again)


def on_terminal() -> bool:
    """Whether somebody is there to be asked."""
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr))


def writable_logbook(ctx: click.Context) -> Logbook:
    """A logbook that is there already, open for writing; LogbookError if it is missing."""
    path = logbook_path(ctx)
    if not Logbook.exists(path):
        Logbook.open(path).close()  # says that there is none
    return open_to_write(path)
