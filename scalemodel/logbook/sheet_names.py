"""Which boiler, site and water the cells of a sheet mean: names of the logbook, in any case, or as its map has them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date

from scalemodel.errors import EvidenceError, RecordClashError, UnknownNameError
from scalemodel.logbook.field_types import tidy_name
from scalemodel.logbook.finding import check_not_former, find_boiler, find_water
from scalemodel.logbook.sheet_map import SheetMap
from scalemodel.logbook.store import Logbook

Cells = Mapping[str, str]
Label = Callable[[str], str]


class SheetNames:
    """The names of one state of a logbook, read once."""

    def __init__(self, book: Logbook, how: SheetMap) -> None:
        self._book, self._how = book, how
        self._boilers = {one.boiler.casefold(): one.boiler for one in book.boilers()}
        self._waters = {one.water.casefold(): one.water for one in book.waters()}
        self._sites: dict[str, dict[str, str]] = {}
        self._only: dict[str, str | None] = {}
        self._drawn: dict[str, list[tuple[date, str]]] = {}

    def boiler(self, cells: Cells, label: Label) -> str:
        """The boiler of a row: called as its machine, or as its place and machine together."""
        machine, place = cells["boiler"], cells.get("place", "")
        said = [machine, *([f"{place} {machine}", f"{machine} {place}"] if place else [])]
        found = dict.fromkeys(
            name for one in said if (name := self._boilers.get(tidy_name(self._how.called("boiler", one)).casefold()))
        )
        if len(found) > 1:
            raise RecordClashError(
                f"{label('boiler')} {machine!r} in {place!r} may be {' or '.join(map(repr, found))}",
                "say which in the map, under [boilers]",
            )
        if found:
            return next(iter(found))
        return find_boiler(self._book, tidy_name(self._how.called("boiler", machine))).record.boiler  # says why not

    def site(self, cells: Cells, boiler: str, label: Label) -> str:
        """The site of a look: as the row says, else the only one that there can be."""
        if boiler not in self._sites:
            self._sites[boiler] = {name.casefold(): name for name in self._book.site_names(boiler)}
            self._only[boiler] = self._book.site_of_look(boiler)
        known = self._sites[boiler]
        if "site" not in cells:
            if self._only[boiler] is None:
                raise RecordClashError(
                    f"{boiler!r} can be looked at in more than one place ({', '.join(known.values())})",
                    'map a column to site, or say in the map, under [always]: site = "..."',
                )
            return self._only[boiler]
        name = tidy_name(self._how.called("site", cells["site"]))
        if name.casefold() not in known:
            check_not_former(self._book, "site", name, boiler)
            raise UnknownNameError("site", name, known.values(), of=boiler)
        return known[name.casefold()]

    def water(self, cells: Cells, boiler: str, day: date, label: Label) -> str:
        """The water of a test: as the row says, else the one that the boiler drew on the day."""
        if "water" in cells:
            name = tidy_name(self._how.called("water", cells["water"]))
            return self._waters.get(name.casefold()) or find_water(self._book, name).record.water
        if boiler not in self._drawn:
            self._drawn[boiler] = [(one.from_date, one.water) for one in self._book.records("fill", boiler)]
        drawn = [water for begun, water in self._drawn[boiler] if begun <= day]
        if not drawn:
            raise EvidenceError(
                f"{label('tds')}: no water is on record that {boiler!r} drew on {day}",
                "record one with `scalemodel add fill`, or map a column to water",
            )
        return drawn[-1]
