"""A sheet as it is kept at the machines, into the logbook: a row may tell a look, a meter reading and a water test.

Whatever is understood is taken; each row that is not is one line with its number, and then nothing is entered. The
rules and questions of the records are those of every other way in.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from scalemodel.errors import BadValueError, ScalemodelError
from scalemodel.logbook.entering import Entering, Imported, said
from scalemodel.logbook.faults import Faults, Place
from scalemodel.logbook.fields import build, read
from scalemodel.logbook.kinds import KINDS, Record
from scalemodel.logbook.records import Use
from scalemodel.logbook.sheet_forms import Forms, decide
from scalemodel.logbook.sheet_map import SheetMap, read_map
from scalemodel.logbook.sheet_names import SheetNames
from scalemodel.logbook.sheet_rows import Row, read_sheet
from scalemodel.logbook.store import Logbook
from scalemodel.logbook.usual_forms import read_grades

LOOK, TEST = KINDS["inspection"], KINDS["water_test"]
TESTED = {"tds": "tds_mg_l", "conductivity": "conductivity_us_cm"}
"""Readings of a water, and their fields."""


class RowFaults(Faults):
    """Faults of which each row has one line, however many it has."""

    def __init__(self) -> None:
        super().__init__()
        self._lines: dict[Place, int] = {}

    def add(self, place: Place, what: object) -> None:
        if place in self._lines:
            k = self._lines[place]
            self.found[k] = (place, f"{self.found[k][1]}; {str(what).removeprefix(', ').removeprefix(': ')}")
            return
        self._lines[place] = len(self.found)
        super().add(place, what)


@dataclass
class Gathered:
    """What the rows of a sheet say: records by row, and meter readings by boiler as (day, row, reading)."""

    records: list[tuple[int, Record]] = field(default_factory=list)
    meters: dict[str, list[tuple[date, int, float]]] = field(default_factory=lambda: defaultdict(list))
    silent: int = 0


def import_sheet(
    book: Logbook, sheet: str | Path, map: str | Path, again: bool = False, only_new: bool = False, sure: bool = False
) -> Imported:
    """Enter what a sheet says, all or nothing; gives how many records of each kind, with notes on what was left.

    ``again``, ``only_new`` and ``sure`` are as `scalemodel.logbook.csv_folder.import_folder` takes them. A meter
    reading ends the stretch of use that the reading before it began, in the sheet or in the logbook. A water test is of
    the water that the boiler drew on the day. Raises ImportRefusedError with a line for each row that is at fault or is
    hard to believe; and, with none, for a sheet or a map that cannot be read.
    """
    place, how = Path(sheet), read_map(Path(map))
    rows, faults = read_sheet(place, how), RowFaults()
    with book.transaction():
        forms = decide(rows, how, book.today(), place)
        found = Gathered()
        reader = _Reader(SheetNames(book, how), how, forms, found)
        for row in rows:
            for problem in reader.take(row):
                faults.add((place.name, row.number), problem)
        uses, notes = _stretches(book, found.meters)
        entering = Entering(book, faults, ("water_test", "use", "inspection"), again, only_new, sure)
        for number, record in (*found.records, *uses):
            entering.enter((place.name, number), record)
        counts = entering.finish(place)
    counts.notes = notes
    if found.silent:
        counts.notes.append(f"rows that say no more than a day and a machine: {found.silent}")
    return counts


class _Reader:
    """What turns a row into records."""

    def __init__(self, names: SheetNames, how: SheetMap, forms: Forms, found: Gathered) -> None:
        self._names, self._how, self._forms, self._found = names, how, forms, found
        self._tests: set[Record] = set()

    def take(self, row: Row) -> list[str]:
        """Gather what a row says; gives what is wrong with it, and then nothing of it is gathered."""
        wrong: list[str] = []

        def tried(make: Callable[[], object]) -> object:
            try:
                return make()
            except ScalemodelError as error:
                wrong.append(said(error))
                return None

        cells, label = {**self._how.always, **row.cells}, self._label
        for name in ("date", "boiler"):
            if name not in row.cells:
                wrong.append(said(BadValueError(label(name), "", f"{name} in every row that says anything")))
        day = tried(lambda: self._forms.day(cells["date"], label("date"))) if "date" in row.cells else None
        boiler = tried(lambda: self._names.boiler(cells, label)) if "boiler" in row.cells else None
        if not any(name in row.cells for name in ("grade", "meter", *TESTED)):
            self._found.silent += not wrong
            return wrong
        look = tried(lambda: self._look(cells, boiler, day)) if "grade" in row.cells else None
        test = tried(lambda: self._test(cells, boiler, day)) if row.cells.keys() & TESTED.keys() else None
        meter = tried(lambda: self._meter(cells)) if "meter" in row.cells else None
        if wrong:
            return wrong
        if look is not None:
            self._found.records.append((row.number, look))
        if test is not None and test not in self._tests:  # two machines on one tap, the same reading
            self._tests.add(test)
            self._found.records.append((row.number, test))
        if meter is not None:
            self._found.meters[boiler].append((day, row.number, meter))
        return []

    def _label(self, name: str) -> str:
        return self._how.columns.get(name, name)

    def _number(self, cells: Mapping[str, str], name: str, kind: str, column: str) -> float:
        text = self._forms.figure(cells[name], self._label(name), self._how.units.get(name, ""))
        return read(KINDS[kind], column, text, self._label(name))

    def _meter(self, cells: Mapping[str, str]) -> float:
        return self._number(cells, "meter", "use", "meter_to_l")

    def _look(self, cells: Mapping[str, str], boiler: str | None, day: date | None) -> Record | None:
        low, high = read_grades(cells["grade"], self._label("grade"))
        given: dict[str, object] = {"grade_low": low, "grade_high": high}
        for name in ("method", "note", "inspector"):
            if name in cells:
                text = self._how.called(name, cells[name])
                given[name] = read(LOOK, name, text, self._label(name))
        if boiler is None or day is None:
            return None
        site = self._names.site(cells, boiler, self._label)
        return build(LOOK, {**given, "boiler": boiler, "date": day, "site": site})

    def _test(self, cells: Mapping[str, str], boiler: str | None, day: date | None) -> Record | None:
        given: dict[str, object] = {}
        for name, column in TESTED.items():
            if name in cells:
                given[column] = self._number(cells, name, "water_test", column)
        given["kit"] = read(TEST, "kit", cells.get("kit", "meter"), self._label("kit"))
        if "tds_factor" in cells and "tds" in cells:
            text = self._forms.figure(cells["tds_factor"], self._label("tds_factor"), "")
            given["tds_factor"] = read(TEST, "tds_factor", text, self._label("tds_factor"))
        if boiler is None or day is None:
            return None
        water = self._names.water(cells, boiler, day, self._label)
        return build(TEST, {**given, "water": water, "date": day})


def _stretches(
    book: Logbook, meters: Mapping[str, list[tuple[date, int, float]]]
) -> tuple[list[tuple[int, Use]], list[str]]:
    """The stretches of use that meter readings end, each with the row of its end; and which reading begins one only."""
    found, notes = [], []
    for boiler, readings in meters.items():
        held = dict(_held(book.records("use", boiler)))
        points = sorted(
            {(day, 0, value) for day, value in held.items()} | {one for one in readings if one[0] not in held}
        )
        days, made = [day for day, *_ in points], set()
        for day, number, value in sorted(readings):
            last = bisect_left(days, day) - 1
            if last >= 0:
                begun, _, reading = points[last]
                use = Use(boiler, begun, day, meter_from_l=reading, meter_to_l=value)
                if use not in made:
                    made.add(use)
                    found.append((number, use))
            elif day not in held:
                notes.append(
                    f"row {number}: the first meter reading of {boiler}, {value:.10g} L on {day}, is where its use "
                    "begins to be counted"
                )
    return sorted(found, key=lambda one: (one[1].boiler, one[1].from_date, one[0])), notes


def _held(uses: Iterable[Use]) -> Iterable[tuple[date, float]]:
    """Meter readings in a logbook by their days."""
    for use in uses:
        if use.meter_to_l is not None:
            yield use.from_date, use.meter_from_l
            yield use.to_date, use.meter_to_l
