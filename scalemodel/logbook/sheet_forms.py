"""In which form a sheet writes its dates and numbers: as its map says, else as the sheet itself decides."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from scalemodel.errors import BadValueError, ImportRefusedError, shortened
from scalemodel.logbook.sheet_map import SheetMap
from scalemodel.logbook.sheet_rows import Row
from scalemodel.logbook.usual_forms import (
    DATE_ALLOWED,
    DAY_FIRST,
    MARKS,
    MONTH_FIRST,
    NUMBER_ALLOWED,
    Dates,
    decimal_marks,
    read_dates,
    read_numbers,
)

FIGURES = ("meter", "tds", "conductivity", "tds_factor")
"""Fields that hold numbers."""


@dataclass(frozen=True, slots=True)
class Forms:
    """How dates and numbers are read: an order, a decimal mark (blank where none is in doubt), today, more months."""

    order: str
    decimal: str
    latest: date
    months: Sequence[str]

    def day(self, text: str, label: str) -> date:
        """The day that a cell means; BadValueError if it means none."""
        readings = read_dates(text, self.latest, self.months)
        found = readings.get("", readings.get(self.order))
        if found is None:
            read_as = f", {self.order} as in the other rows" if readings else ""
            raise BadValueError(label, text, DATE_ALLOWED + read_as)
        return found

    def figure(self, text: str, label: str, unit: str) -> str:
        """A cell's number with a decimal point, and its unit; BadValueError if it is no number."""
        numbers, written = read_numbers(text)
        found = numbers.get("", numbers.get(self.decimal))
        if found is None:
            raise BadValueError(label, text, NUMBER_ALLOWED)
        return f"{found:.15g} {written or unit}".strip()


def decide(rows: Sequence[Row], how: SheetMap, today: date, place: Path) -> Forms:
    """The forms of a sheet; ImportRefusedError, in one line, where neither it nor its map decides."""
    order = how.dates or _order(rows, how, today, place)
    return Forms(order, how.decimal or _mark(rows, place), today, how.months)


def _refused(place: Path, row: Row, text: str, said: str, right: str) -> ImportRefusedError:
    problem = f"nothing was imported from {str(place)!r}: {shortened(text)!r} (row {row.number}) {said}"
    return ImportRefusedError(problem, (), right)


def _order(rows: Sequence[Row], how: SheetMap, today: date, place: Path) -> str:
    """Day or month first: what makes most of the dates days that exist and have come."""
    doubtful: list[tuple[Row, Dates]] = []
    for row in rows:
        readings = read_dates(row.cells.get("date", ""), today, how.months)
        if readings and "" not in readings:
            doubtful.append((row, readings))
    misses = {
        order: sum(not _has_come(one.get(order), today) for _, one in doubtful) for order in (DAY_FIRST, MONTH_FIRST)
    }
    if misses[DAY_FIRST] != misses[MONTH_FIRST]:
        return min(misses, key=misses.get)
    for row, one in doubtful:
        first, second = one.get(DAY_FIRST), one.get(MONTH_FIRST)
        if first != second:
            said = " or ".join(
                f"{day:%Y-%m-%d} ({order})" for day, order in ((first, DAY_FIRST), (second, MONTH_FIRST)) if day
            )
            right = f'say in the map, under [reading]: dates = "{DAY_FIRST}" or "{MONTH_FIRST}"'
            raise _refused(place, row, row.cells["date"], f"may be {said}", right)
    return DAY_FIRST


def _has_come(day: date | None, today: date) -> bool:
    return day is not None and day <= today


def _mark(rows: Sequence[Row], place: Path) -> str:
    """The decimal mark that the sheet shows beyond doubt; blank where no number needs one."""
    shown = {mark for _, text in _figures(rows) for mark in decimal_marks(text)}
    if len(shown) == 1:
        return shown.pop()
    for row, text in _figures(rows):
        numbers, _ = read_numbers(text)
        if len(numbers) > 1:
            said = "may be " + " or ".join(f"{numbers[mark]:.10g}" for mark in MARKS)
            right = 'say in the map, under [reading]: decimal = "." or ","'
            raise _refused(place, row, text, said, right)
    return ""


def _figures(rows: Sequence[Row]) -> Iterator[tuple[Row, str]]:
    for row in rows:
        for name in FIGURES:
            if name in row.cells:
                yield row, row.cells[name]
