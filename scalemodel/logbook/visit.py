"""What somebody who stands at a boiler wants to have filled in: the last site, water, stretch of use and reading."""

from __future__ import annotations

from datetime import date

from scalemodel.logbook.records import Inspection, Use
from scalemodel.logbook.store import Logbook


def last_entered_look(book: Logbook, boiler: str) -> Inspection | None:
    """The look of a boiler that was entered last, whatever its day."""
    found = book.current("inspection", "boiler = ?", (book.boiler(boiler).boiler,), first_by="held.entry DESC")
    return found[0].record if found else None


def last_use(book: Logbook, boiler: str) -> Use | None:
    """The stretch of use that ends last."""
    found = book.current("use", "boiler = ?", (book.boiler(boiler).boiler,), first_by="held.to_date DESC")
    return found[0].record if found else None


def use_recorded_until(book: Logbook, boiler: str) -> date:
    """The day up to which use is on record: the end of the last stretch, else the installation."""
    use = last_use(book, boiler)
    return book.boiler(boiler).installed_on if use is None else use.to_date


def water_now(book: Logbook, boiler: str) -> str | None:
    """The water that a boiler draws today; None where no fill is on record."""
    fills = [one for one in book.records("fill", boiler) if one.from_date <= book.today()]
    return fills[-1].water if fills else None


def keep_drink_size(book: Logbook, boiler: str, litres: float, sure: bool = False) -> None:
    """Keep with a boiler how much a drink from it is [L], as it was asked with its first drinks."""
    (held,) = book.current("boiler", "boiler = ?", (book.boiler(boiler).boiler,))
    book.amend(held.number, {"litres_per_drink": f"{litres:.12g}"}, "asked with its first drinks", sure=sure)
