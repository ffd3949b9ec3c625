"""What the commands that write records share: options read by the field rules, one way to write."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import MISSING
from functools import partial, reduce
from pathlib import Path

import click

from scalemodel.cli.errors_as_typed import in_typed_words, typed_label
from scalemodel.cli.options_and_output import logbook_path
from scalemodel.cli.shell_completion import completing_field
from scalemodel.cli.streams import say_done
from scalemodel.errors import QuestionedError
from scalemodel.logbook.columns import Column
from scalemodel.logbook.describe import photographed
from scalemodel.logbook.field_types import Choice, Day, YesNo
from scalemodel.logbook.fields import parse_grade, parse_hardness, read
from scalemodel.logbook.kinds import KINDS, Record, kind_of
from scalemodel.logbook.photographs import prepare, read_file
from scalemodel.logbook.records import QUANTITIES
from scalemodel.logbook.remarks import remarks_on
from scalemodel.logbook.store import Logbook
from scalemodel.words.recorded import described, meaning


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


def field_option(kind: str, field: str, otherwise: str = "") -> Callable:
    """The option of a field, as its declaration has it; the parameter is called as the field.

    A default worth saying is the record's own, and stands at the end of the help; ``otherwise`` says what the command
    itself puts in where the option of a required field is left out.
    """
    column = KINDS[kind].column(field)
    default = otherwise or (column.default if _worth_saying(column) else "")
    help = f"{column.about.removesuffix('.')} (default: {default})." if default else column.about
    if isinstance(column.rule, YesNo):
        more = {"is_flag": True, "flag_value": "yes", "default": None}
    else:
        more = {"metavar": _metavar(column), "required": column.required and not otherwise}
    return click.option(
        column.option,
        field,
        type=HardnessType() if field in QUANTITIES else FieldType(kind, field),
        help=help,
        shell_complete=completing_field(KINDS[kind], field),
        **more,
    )


def _worth_saying(column: Column) -> bool:
    return column.default is not MISSING and bool(column.default)


def _metavar(column: Column) -> str:
    """What the value of a field's option is called: by its unit or its words if nothing else is said."""
    if column.metavar:
        return column.metavar
    if isinstance(column.rule, Choice):
        return "|".join(column.rule.options)
    if isinstance(column.rule, Day):
        return "DATE"
    return column.rule.unit.upper() or "X"


def field_options(kind: str, *names: str) -> Callable:
    """The options of some fields, in that order; if none is named, all that a kind has, its note last."""
    having = [name for name, column in KINDS[kind].fields.items() if column.option]
    return _in_order([field_option(kind, name) for name in names or sorted(having, key=lambda name: name == "note")])


def field_arguments(kind: str, **metavars: str) -> Callable:
    """Arguments that are read by their fields' rules, with what each is called; the parameters are called as fields."""

    def argument(field: str, metavar: str) -> Callable:
        names = completing_field(KINDS[kind], field)
        return click.argument(field, type=FieldType(kind, field), metavar=metavar, shell_complete=names)

    return _in_order([argument(*one) for one in metavars.items()])


def _in_order(decorators: list[Callable]) -> Callable:
    """One decorator that does what all do, the first on top."""
    return lambda command: reduce(lambda done, decorator: decorator(done), reversed(decorators), command)


def again_option(command: Callable) -> Callable:
    """``--again``: enter a record although one just like it is there."""
    return click.option(
        "--again", is_flag=True, help="Enter it even if a record says just this already (two looks that agree)."
    )(command)


def sure_option(command: Callable) -> Callable:
    """``--sure``: enter what is hard to believe."""
    return click.option("--sure", is_flag=True, help="Enter it even if it looks like a slip of the keyboard.")(command)


def photo_option(help: str) -> Callable:
    """``--photo FILE``, as often as there are photographs; the parameter is called ``photos``."""
    return click.option("--photo", "photos", multiple=True, type=click.Path(path_type=Path), metavar="FILE", help=help)


def pictures_from(paths: Sequence[Path]) -> list[bytes]:
    """The photographs in files, ready to be kept; BadValueError that names the first file that is none."""
    return [prepare(read_file(path), str(path)).jpeg for path in paths]


def open_to_write(path: Path) -> Logbook:
    """The logbook in a file, for writing, made if missing; says so if it was brought up to date."""
    return Logbook.open(path, write=True, told=lambda line: click.echo(f"note: {line}", err=True))


def record_into(
    ctx: click.Context,
    make: Callable[[Logbook], Record],
    again: bool = False,
    sure: bool = False,
    added: Callable[[int], list[str]] = lambda number: [],
    photos: Sequence[bytes] = (),
) -> None:
    """Write the record that ``make`` gives and say what was stored; a missing logbook is made.

    For a missing one the record is first tried in memory, so that a refusal leaves no file behind. A record just
    like one that is there, or hard to believe, is asked about on a terminal, and refused off one, unless ``again`` or
    ``sure`` insists. ``added`` gives lines to be said of the record by its number; ``photos`` are those of a look.
    """
    path, insisted = logbook_path(ctx), {"again": again, "sure": sure}
    if not Logbook.exists(path):
        with Logbook.in_memory() as trial:
            insisting(partial(trial.add, make(trial), photos=photos), insisted)
    with open_to_write(path) as book:
        number = insisting(partial(book.add, make(book), photos=photos), insisted)
        entry = book.entry(number)
        record, said = entry.record, described(book, entry.record) + photographed(entry.photographs)
        lines = [f"recorded {kind_of(record).title} {number}: {said}"]
        lines += [f"  {line}" for line in (*meaning(book, record), *added(number))]
        remarks = remarks_on(book, record, number)
    say_done("\n".join(lines))
    for line in remarks:
        click.echo(f"note: {line}", err=True)


def insisting(enter: Callable[..., int], insisted: dict[str, bool]) -> int:
    """What ``enter`` gives; whatever it questions is asked on a terminal, and a yes is kept in ``insisted``."""
    while True:
        try:
            return enter(**insisted)
        except QuestionedError as error:
            asked = in_typed_words(error, click.get_current_context().command)
            if not (on_terminal() and click.confirm(f"{asked.problem}. {asked.asks}", err=True)):
                raise asked from None
            insisted[error.insist] = True


def on_terminal() -> bool:
    """Whether somebody is there to be asked."""
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr))


def writable_logbook(ctx: click.Context) -> Logbook:
    """A logbook that is there already, open for writing; LogbookError if it is missing."""
    path = logbook_path(ctx)
    if not Logbook.exists(path):
        Logbook.open(path).close()  # says that there is none
    return open_to_write(path)
