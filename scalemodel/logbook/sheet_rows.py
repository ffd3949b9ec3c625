"""The rows of a sheet: its file as text, its heading row found, each cell by what the map says it holds."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from scalemodel.errors import ImportRefusedError, shortened
from scalemodel.logbook.csv_text import decoded, separated, unguarded
from scalemodel.logbook.sheet_map import SheetMap

MOST_BYTES = 20_000_000
"""A larger file is no sheet that somebody fills in."""

MOST_ROWS = 100_000
"""Nor one of more rows."""

HEADING_WITHIN = 20
"""The heading stands within so many rows."""

_WORKBOOK = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number in a spreadsheet, and its cells by field, blank ones left out."""

    number: int
    cells: dict[str, str]


def read_sheet(path: Path, how: SheetMap) -> list[Row]:
    """The rows that say anything; ImportRefusedError, in one line, for a file that cannot be read as the map says."""
    text, separator = separated(_text(path, how))
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        return list(_rows(path, reader, how))
    except csv.Error as error:
        raise _refused(path, f"is not to be read as CSV ({error})", "save it as CSV once more") from error


def _refused(path: Path, said: str, right: str) -> ImportRefusedError:
    return ImportRefusedError(f"nothing was imported: the sheet {str(path)!r} {said}", (), right)


def _text(path: Path, how: SheetMap) -> str:
    try:
        if path.exists() and not (path.is_file() or path.is_dir()):  # a pipe would be waited for without end
            raise _refused(path, "is a pipe or a device", "name a CSV file")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise _refused(path, f"cannot be read: {error.strerror or error}", "name a CSV file") from error
    if len(data) > MOST_BYTES:
        raise _refused(path, f"is larger than {MOST_BYTES // 1_000_000} MB", "split it")
    if data.startswith(_WORKBOOK):
        raise _refused(path, "is a workbook", "save its sheet as 'CSV UTF-8'")
    try:
        text = data.decode(how.encoding).removeprefix("\ufeff") if how.encoding else decoded(data)
    except (ValueError, LookupError) as error:
        said = f"is not {how.encoding}" if how.encoding else str(error).partition("; ")[0].lstrip(": ")
        right = "save it as 'CSV UTF-8', or say in the map: encoding = \"cp1252\""
        raise _refused(path, f"{'at' * said.startswith('line')} {said}".strip(), right) from error
    if "\0" in text:
        raise _refused(path, "holds NUL characters", "save it as 'CSV UTF-8'")
    return text


def _rows(path: Path, reader: Iterator[list[str]], how: SheetMap) -> Iterator[Row]:
    places: dict[str, int] | None = None
    seen: list[str] = []
    for number, cells in enumerate(reader, start=1):
        if places is None:
            headings = [_heading(cell) for cell in cells]
            if _heading(how.columns["date"]) in headings:
                places = _places(path, headings, cells, how)
            elif number >= HEADING_WITHIN:
                break
            seen = seen or [cell.strip() for cell in cells if cell.strip()]
            continue
        if number > MOST_ROWS:
            raise _refused(path, f"has more than {MOST_ROWS} rows", "split it")
        row = {}
        for name, place in places.items():
            text = unguarded(cells[place].strip()) if place < len(cells) else ""
            if text.casefold() not in how.blank:
                row[name] = text
        if row:
            yield Row(number, row)
    if places is None:
        known = ", ".join(shortened(one) for one in seen[:12]) or "nothing"
        raise _refused(
            path, f"has no column {how.columns['date']!r}, which the map names for the date", f"its first row: {known}"
        )


def _heading(text: str) -> str:
    return " ".join(text.split()).casefold()


def _places(path: Path, headings: list[str], cells: list[str], how: SheetMap) -> dict[str, int]:
    """Where each field stands in a row."""
    for name, heading in how.columns.items():
        count = headings.count(_heading(heading))
        if count != 1:
            said = f"has {'no' if count == 0 else 'more than one'} column {heading!r}, which the map names for {name}"
            listed = ", ".join(shortened(cell.strip()) for cell in cells if cell.strip())
            raise _refused(path, said, f"its columns: {listed}")
    return {name: headings.index(_heading(heading)) for name, heading in how.columns.items()}
