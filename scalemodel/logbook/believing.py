"""What a logbook's adopted priors say of a boiler, where nothing else of it is asked."""

from __future__ import annotations

from datetime import date

from scalemodel.logbook.adopted import adopted_by
from scalemodel.logbook.belief import Adopted, Belief
from scalemodel.logbook.store import Logbook


def adopted_in(book: Logbook, day: date, boiler: str = "") -> Adopted | None:
    """The last priors that were adopted up to a day, as far as they are of a boiler; blank: one that they do not name.

    None where there are none. UnknownNameError for an unknown boiler.
    """
    with book.reading():
        name = book.boiler(boiler).boiler if boiler else ""
        found = adopted_by(book.shared().adopted, name, day, book.names())
    return found[-1] if found else None


def believed_in(book: Logbook, boiler: str = "") -> tuple[Belief, ...]:
    """What is believed today of a boiler beside the house's priors, as `adopted_in` has it."""
    now = adopted_in(book, book.today(), boiler)
    return () if now is None else now.beliefs
