"""A folder of CSV files in and out: UTF-8, ISO dates, one file a kind of record.

What is exported is what is current; amended and struck records stay in the logbook alone. A
text that a spreadsheet would take for a formula is written behind an apostrophe, which reading
takes off again.
"""

from __future__ import annotations

import csv
import io
import os
import re
import shutil
import uuid
from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path

from scalemodel.errors import BadValueError, ImportRefusedError, LogbookError, ScalemodelError
from scalemodel.logbook.fields import build, read, rule
from scalemodel.logbook.kinds import KINDS, Kind, Record
from scalemodel.logbook.store import Logbook
from scalemodel.logbook.values import Choice, Name, Text

FAULTS_LISTED = 50
"""Of more faults than this the rest are only counted."""

OUR_FILES = {kind.file: kind for kind in KINDS.values()}

_FORMULA = re.compile(r"'*[=+\-@]")
_GUARDED = re.compile(r"'+[=+\-@]")

Row = tuple[int, dict[str, str]]


class _Faults:
    """Bad cells, gathered so that a person can mend them all at once."""

    def __init__(self) -> None:
        self.found: list[str] = []

    def add(self, place: str, what: object) -> None:
        self.found.append(f"{place}{what}")

    def stop_if_any(self, folder: Path) -> None:
        if not self.found:
            return
        listed, more = self.found[:FAULTS_LISTED], len(self.found) - FAULTS_LISTED
        if more > 0:
            listed.append(f"... and {more} more")
        count = "1 fault" if len(self.found) == 1 else f"{len(self.found)} faults"
        raise ImportRefusedError(
            f"nothing was imported from {str(folder)!r}: {count}",
            listed,
            "mend what is listed and import again",
        )


def import_folder(book: Logbook, folder: str | Path) -> dict[str, int]:
    """Enter every record of a folder, or none; gives how many of each kind.

    Files may be missing or empty, columns in any order, separated by commas or semicolons. Raises
    ImportRefusedError with every fault (file, row, column, what was expected); the header is row 1.
    """
    place = Path(folder)
    found = read_folder(place)
    faults = _Faults()
    with book.transaction():
        for kind, rows in found.items():
            for number, record in rows:
                try:
                    with book.transaction():
                        book.add(record)
                except (LogbookError, ImportRefusedError):
                    raise
                except ScalemodelError as error:
                    faults.add(f"{KINDS[kind].file} row {number}", _said(error))
        faults.stop_if_any(place)
    return {kind: len(rows) for kind, rows in found.items()}


def read_folder(folder: Path) -> dict[str, list[tuple[int, Record]]]:
    """Records of a folder with their rows, by kind; each record is checked alone, not against others."""
    faults = _Faults()
    try:
        names = sorted(one.name for one in folder.iterdir())
    except OSError as error:
        raise ImportRefusedError(
            f"{str(folder)!r} cannot be read: {error.strerror or error}", (), "name a folder of CSV files"
        ) from error
    if not any(name in OUR_FILES for name in names):
        raise ImportRefusedError(
            f"{str(folder)!r} holds none of the files of a logbook",
            (),
            "expected some of " + ", ".join(OUR_FILES),
        )
    for name in names:
        near = get_close_matches(name.lower(), OUR_FILES, n=1, cutoff=0.8)
        if name not in OUR_FILES and name.lower().endswith(".csv") and near:
            faults.add(name, f": not a file of a logbook; did you mean {near[0]}?")
    found = {}
    for kind in KINDS.values():
        path = folder / kind.file
        rows = _read_rows(kind, path, faults) if kind.file in names else ()
        found[kind.name] = [
            (number, record)
            for number, cells in rows
            if (record := _read_record(kind, number, cells, faults)) is not None
        ]
    faults.stop_if_any(folder)
    return found


def _read_record(kind: Kind, number: int, cells: dict[str, str], faults: _Faults) -> Record | None:
    """The record in a row's cells, or None with every bad cell noted."""
    place = f"{kind.file} row {number}"
    values, before = {}, len(faults.found)
    for column, text in cells.items():
        if not text and column not in kind.required:
            continue
        try:
            values[column] = read(kind, column, text)
        except BadValueError as error:
            faults.add(place, _said(error))
    if len(faults.found) > before:
        return None
    try:
        return build(kind, values)
    except BadValueError as error:
        faults.add(place, _said(error))
        return None


def _said(error: ScalemodelError) -> str:
    """An error behind a place: a cell's name is part of the place, anything else is not."""
    return f", {error}" if isinstance(error, BadValueError) else f": {error}"


def _read_rows(kind: Kind, path: Path, faults: _Faults) -> Iterator[Row]:
    """Rows of a file with their numbers in a spreadsheet, each as text by column."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        faults.add(path.name, f" line {line}: not UTF-8; save the file as UTF-8")
        return
    except OSError as error:
        faults.add(path.name, f": cannot be read: {error.strerror or error}")
        return
    head = text.split("\n", 1)[0]
    separator = ";" if head.count(";") > head.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    columns: list[str] | None = None
    number = 0
    try:
        for number, cells in enumerate(reader, start=1):
            if not any(cell.strip() for cell in cells):
                continue
            if columns is None:
                columns = _read_header(kind, cells, faults)
                if columns is None:
                    return
                continue
            row = _read_cells(columns, cells)
            if row is None:
                faults.add(f"{path.name} row {number}", f": has {len(cells)} cells, the header has {len(columns)}")
            else:
                yield number, row
    except csv.Error as error:
        faults.add(f"{path.name} row {number + 1}", f": not to be read as CSV ({error})")


def _read_header(kind: Kind, cells: list[str], faults: _Faults) -> list[str] | None:
    """The columns that a header names, or None with what is wrong noted."""
    columns = [cell.strip().lower() for cell in cells]
    before = len(faults.found)
    for column in dict.fromkeys(columns):
        if column and column not in kind.columns:
            near = get_close_matches(column, kind.columns, n=1, cutoff=0.6)
            hint = f"did you mean {near[0]!r}?" if near else "known: " + ", ".join(kind.columns)
            faults.add(f"{kind.file} row 1", f", {column}: no such column; {hint}")
        elif column and columns.count(column) > 1:
            faults.add(f"{kind.file} row 1", f", {column}: the column stands twice; keep one")
    for column in kind.required:
        if column not in columns:
            faults.add(f"{kind.file} row 1", f", {column}: the column is missing; it is required")
    return None if len(faults.found) > before else columns


def _read_cells(columns: list[str], cells: list[str]) -> dict[str, str] | None:
    """Cells by column, blanks at the end left out or not; None if there is more than the header names."""
    named = [*columns, *("" for _ in cells[len(columns) :])]
    padded = [*cells, *("" for _ in columns[len(cells) :])]
    row = {}
    for column, cell in zip(named, padded, strict=True):
        text = cell.strip()
        if column:
            row[column] = text[1:] if _GUARDED.match(text) else text
        elif text:
            return None
    return row


def export_folder(book: Logbook, folder: str | Path) -> dict[str, int]:
    """Write every current record to a folder of CSV files; gives how many of each kind.

    The folder is made if missing. One that holds anything but files of a logbook is refused with
    LogbookError. Files are written aside and then moved into place.
    """
    target = Path(folder)
    try:
        _check_target(target)
        found = _current_records(book)
        target.parent.mkdir(parents=True, exist_ok=True)
        aside = target.parent / f".{target.name}-{uuid.uuid4().hex}"
        aside.mkdir()
        try:
            for kind, records in found.items():
                _write_file(aside / KINDS[kind].file, KINDS[kind], records)
            if target.exists():
                for kind in found:
                    os.replace(aside / KINDS[kind].file, target / KINDS[kind].file)
            else:
                aside.rename(target)
        finally:
            shutil.rmtree(aside, ignore_errors=True)
    except OSError as error:
        raise LogbookError(
            f"cannot write to {str(target)!r}: {error.strerror or error}",
            "name a folder that you may write to",
        ) from error
    return {kind: len(records) for kind, records in found.items()}


def _current_records(book: Logbook) -> dict[str, tuple[Record, ...]]:
    """Every current record by kind, in the order in which an import enters them again."""
    with book.reading():
        return {name: book.records(name) for name in KINDS}


def _check_target(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise LogbookError(f"{str(target)!r} is a file", "name a folder")
    for one in sorted(target.iterdir()):
        kind = OUR_FILES.get(one.name)
        if kind is None or not one.is_file() or not _is_ours(kind, one):
            raise LogbookError(
                f"{str(target)!r} holds {one.name!r}, which is no file of a logbook",
                "name an empty or a new folder",
            )


def _is_ours(kind: Kind, path: Path) -> bool:
    """Whether a file is empty or begins with a header of its kind."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        head = file.readline(10_000).strip()
    return not head or _read_header(kind, re.split("[,;]", head.replace('"', "")), _Faults()) is not None


def _write_file(path: Path, kind: Kind, records: tuple[Record, ...]) -> None:
    with path.open("x", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(kind.columns)
        for record in records:
            writer.writerow([_cell(kind, column, getattr(record, column)) for column in kind.columns])
        file.flush()
        os.fsync(file.fileno())


def _cell(kind: Kind, column: str, value: object) -> str:
    if value is None:
        return ""
    meaning = rule(kind, column)
    text = meaning.write(value)
    plain = not isinstance(meaning, (Name, Text)) or isinstance(meaning, Choice)
    return text if plain or not _FORMULA.match(text) else f"'{text}"
