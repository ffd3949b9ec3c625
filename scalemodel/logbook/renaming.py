"""Whether a boiler, a site or a water may be called otherwise."""

from __future__ import annotations

from dataclasses import replace

from scalemodel.errors import BadValueError, RecordClashError, UnknownNameError
from scalemodel.logbook import rules
from scalemodel.logbook.book import Book, Numbered
from scalemodel.logbook.field_types import Name
from scalemodel.logbook.finding import check_not_former, find_boiler, find_water
from scalemodel.logbook.names import NAMED
from scalemodel.logbook.records import WALL


def prepared(book: Book, kind: str, old: str, new: str, boiler: str) -> tuple[str, str, str, str]:
    """What a change of name is: kind, first name of a site's boiler, its own first name, and what it is called now."""
    if kind not in NAMED:
        raise BadValueError("kind", kind, ", ".join(NAMED[:-1]) + f" or {NAMED[-1]}")
    called = Name().clean(new, "new name")
    number, record = _found(book, kind, old, boiler)
    owner = record.boiler if kind == "site" else ""
    if called == getattr(record, kind):
        raise RecordClashError(f"the {kind} {called!r} is called so already", "give a name that differs")
    rules.name_is_new(book, replace(record, **{kind: called}), number)
    names = book.names()
    first, begun = names.first(kind, getattr(record, kind), owner), names.first(kind, called, owner)
    if begun != first and book.was_named(kind, begun, names.first("boiler", owner)):
        raise RecordClashError(
            f"{called!r} is the name of a {kind} whose record was struck, which stays in the history",
            "choose another name",
        )
    return kind, names.first("boiler", owner) if owner else "", first, called


def _found(book: Book, kind: str, old: str, boiler: str) -> Numbered:
    if kind == "boiler":
        return find_boiler(book, old)
    if kind == "water":
        return find_water(book, old)
    owner = find_boiler(book, boiler).record.boiler
    if old == WALL:
        raise RecordClashError(
            f"every boiler has a site {WALL!r}, which keeps its name", "register the place by itself"
        )
    sites = book.current("site", "boiler = ?", (owner,))
    found = next((one for one in sites if one.record.site == old), None)
    if found is None:
        check_not_former(book, "site", old, owner)
        raise UnknownNameError("site", old, [one.record.site for one in sites], of=owner)
    return found
