"""A boiler, a water or a site by its name, or the error that says what is wrong with that name."""

from __future__ import annotations

from scalemodel.errors import FormerNameError, Remedy, UnknownNameError
from scalemodel.logbook.book import Book, Numbered
from scalemodel.logbook.records import WALL


def find_boiler(book: Book, name: str) -> Numbered:
    """The current record of a boiler; UnknownNameError if there is none."""
    found = book.current("boiler", "boiler = ?", (name,))
    if not found:
        check_not_former(book, "boiler", name)
        known = [one.record.boiler for one in book.current("boiler")]
        raise UnknownNameError("boiler", name, known, Remedy("record a boiler first", "first boiler"))
    return found[0]


def find_water(book: Book, name: str) -> Numbered:
    """The current record of a water; UnknownNameError if there is none."""
    found = book.current("water", "water = ?", (name,))
    if not found:
        check_not_former(book, "water", name)
        known = [one.record.water for one in book.current("water")]
        raise UnknownNameError("water", name, known, Remedy("record a water first", "first water"))
    return found[0]


def check_not_former(book: Book, kind: str, name: str, boiler: str = "") -> None:
    """FormerNameError for what a boiler, a water, or a site of a boiler was called once."""
    was = book.names().now(kind, name, boiler)
    if was is not None:
        raise FormerNameError(kind, name, was.called, was.since)


def site_names(book: Book, boiler: str) -> list[str]:
    """The sites of a boiler that a look can be made at: its wall and what is registered."""
    registered = book.current("site", "boiler = ?", (boiler,))
    return list(dict.fromkeys([WALL, *(one.record.site for one in registered)]))
