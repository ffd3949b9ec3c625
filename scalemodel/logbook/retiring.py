"""A boiler goes out of use on a day, by an amendment of its record; the day is cleared in the same way."""

from __future__ import annotations

from datetime import date

from scalemodel.errors import RecordClashError, Remedy
from scalemodel.logbook.field_types import tidy_name
from scalemodel.logbook.finding import find_boiler
from scalemodel.logbook.store import Logbook


def retire(book: Logbook, boiler: str, day: date | None = None, reason: str = "") -> int:
    """Retire a boiler on a day, today by default; gives the number of the record that says so.

    Raises UnknownNameError for an unknown boiler, RecordClashError for one that is retired, or was in use after that
    day, BadValueError for a day before it was installed or after today.
    """
    with book.transaction():
        number, held = find_boiler(book, tidy_name(boiler))
        if held.retired_on is not None:
            raise RecordClashError(
                f"{held.boiler!r} was retired on {held.retired_on} already",
                Remedy("clear its retired_on first", "unretire", held.boiler),
            )
        since = str(book.today() if day is None else day)
        return book.amend(number, {"retired_on": since}, reason or "retired", sure=True)


def unretire(book: Logbook, boiler: str, reason: str = "") -> int:
    """Take a boiler into use again; gives the number of the record that says so. RecordClashError if it is in use."""
    with book.transaction():
        number, held = find_boiler(book, tidy_name(boiler))
        if held.retired_on is None:
            raise RecordClashError(f"{held.boiler!r} is not retired", "name a boiler that is")
        return book.amend(number, {"retired_on": ""}, reason or "in use again", sure=True)
