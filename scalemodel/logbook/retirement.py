"""What may stand beside the day on which a boiler was retired."""

from __future__ import annotations

from scalemodel.errors import BadValueError, Mention, RecordClashError, Remedy
from scalemodel.logbook.book import Book
from scalemodel.logbook.finding import find_boiler
from scalemodel.logbook.kinds import KINDS, Record, kind_of
from scalemodel.logbook.records import Boiler

IN_USE = ("use", "inspection", "descale")
"""Kinds of record that a boiler has only while it is in use."""


def retirement_after_records(book: Book, boiler: Boiler, replacing: int | None) -> None:
    """A boiler is retired no earlier than it was installed, and than its last look, descale or use."""
    retired = boiler.retired_on
    if retired is None:
        return
    if not boiler.installed_on <= retired <= book.today():
        raise BadValueError("retired_on", retired, f"a date from {boiler.installed_on} to today ({book.today()})")
    for name in IN_USE:
        field = KINDS[name].known_on
        for number, late in book.current(name, f"boiler = ? AND {field} > ?", (boiler.boiler, retired.isoformat())):
            raise RecordClashError(
                (f"{boiler.boiler!r} was in use after {retired}: ", Mention(number), f" is of {getattr(late, field)}"),
                "retire it on a later day, or amend or strike that record first",
            )


def not_after_retirement(book: Book, record: Record, replacing: int | None) -> None:
    """The record's boiler was not retired before."""
    field = kind_of(record).known_on
    retired, day = find_boiler(book, record.boiler).record.retired_on, getattr(record, field)
    if retired is not None and day > retired:
        raise BadValueError(
            field,
            day,
            (
                f"{retired}, when {record.boiler!r} was retired, or earlier; ",
                Remedy("clear its retired_on", "unretire", record.boiler),
            ),
        )
