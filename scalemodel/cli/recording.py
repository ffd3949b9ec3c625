"""What the commands that write records share: options read by the field rules, one way to write."""

from __future__ import annotations

from collections.abc import Callable

import click

from scalemodel.cli.common import logbook_path
from scalemodel.cli.completing import completing_field
from scalemodel.cli.typed import typed_label
from scalemodel.logbook.describe import describe
from scalemodel.logbook.fields import parse_grade, parse_hardness, read
from scalemodel.logbook.kinds import KINDS, Record
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


def record_into(ctx: click.Context, make: Callable[[Logbook], Record]) -> None:
    """Write the record that ``make`` gives and say what was stored; a missing logbook is made.

    For a missing one the record is first tried in memory, so that a refusal leaves no file behind.
    """
    path = logbook_path(ctx)
    if not Logbook.exists(path):
        with Logbook.in_memory() as trial:
            trial.add(make(trial))
    with Logbook.open(path, write=True) as book:
        with book.transaction():
            number = book.add(make(book))
        entry = book.entry(number)
    click.echo(f"recorded {KINDS[entry.kind].title} {number}: {describe(entry.record)}")


def writable_logbook(ctx: click.Context) -> Logbook:
    """A logbook that is there already, open for writing; LogbookError if it is missing."""
    path = logbook_path(ctx)
    Logbook.open(path).close()
    return Logbook.open(path, write=True)
