"""The photographs of a boiler, site by site in their order, so that grades can be compared between days and people."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from scalemodel.logbook.photographs import Photograph
from scalemodel.logbook.records import Inspection

if TYPE_CHECKING:
    from scalemodel.logbook.store import Logbook


@dataclass(frozen=True, slots=True)
class Shown:
    """A photograph and the look that it belongs to, with that look's number."""

    number: int
    look: Inspection
    photograph: Photograph


@dataclass(frozen=True, slots=True)
class Series:
    """The photographs of a site, oldest first; ``earlier`` are so many before these that were left out."""

    site: str
    shown: tuple[Shown, ...]
    earlier: int = 0


def photograph_series(
    book: Logbook, boiler: str, as_of: date | None = None, most: int | None = None
) -> tuple[Series, ...]:
    """The photographs of each site of a boiler that has any, of current looks up to a day.

    ``most`` keeps to the last so many of a site. UnknownNameError for an unknown boiler.
    """
    with book.reading():
        looks = [(look, one) for look, hashes in book.pictured(boiler) for one in hashes
                 if as_of is None or look.record.date <= as_of]  # fmt: skip
        found = []
        for site in book.site_names(boiler):
            there = [(look, one) for look, one in looks if look.record.site == site]
            kept = there if most is None else there[max(0, len(there) - most) :]
            shown = tuple(Shown(look.number, look.record, book.photograph(one)) for look, one in kept)
            found.append(Series(site, shown, len(there) - len(shown)))
        return tuple(series for series in found if series.shown)
