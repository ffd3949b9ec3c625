"""A folder of CSV files in and out: UTF-8, ISO dates, one file a kind of record.

What is exported is what is current; amended and struck records stay in the logbook alone. A
text that a spreadsheet would take for a formula is written behind an apostrophe, which reading
takes off again.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from difflib import get_close_matches
from functools import partial
from pathlib import Path

from scalemodel import atomic
from scalemodel.errors import (
    BadValueError,
    ImportRefusedError,
    LogbookError,
    shortened,
)
from scalemodel.logbook import photo_files
from scalemodel.logbook.book import WholeBook
from scalemodel.logbook.csv_text import decoded, guarded, separated, unguarded
from scalemodel.logbook.entering import Entering, Imported, said
from scalemodel.logbook.faults import OUR_FILES, Faults
from scalemodel.logbook.field_types import Choice, Name, Text
from scalemodel.logbook.fields import build, read, rule
from scalemodel.logbook.kinds import KINDS, Kind, Record
from scalemodel.logbook.priors_text import LARGEST

Row = tuple[int, dict[str, str]]


class Exported(dict):
    """How many records of each kind were written, and of them photographs."""

    photographs = 0


def import_folder(
    book: WholeBook, folder: str | Path, again: bool = False, only_new: bool = False, sure: bool = False
) -> Imported:
    """Enter every record of a folder, or none; gives how many of each kind.

    Files may be missing or empty, columns in any order, separated by commas, semicolons or tabs. A row that says
    just what a current record or an earlier row says is refused, unless ``again`` insists; so is one that is hard to
    believe beside all the others, unless ``sure`` does. With ``only_new`` rows that the logbook ever held, also
    amended or struck since, are left out. Raises ImportRefusedError with every
    fault (file, row, column, what was expected), be it in a cell or between records; the header is row 1.
    """
    place, faults = Path(folder), Faults()
    with _long_cells():
        found = _read_files(place, faults)
    with book.transaction():
        entering = Entering(book, faults, found, again, only_new, sure)
        for kind, rows in found.items():
            for number, record, names in rows:
                photos = partial(photo_files.read_photographs, place, names)
                entering.enter((KINDS[kind].file, number), record, photos)
        return entering.finish(place)


@contextmanager
def _long_cells() -> Iterator[None]:
    """Cells may be as long as a text of priors: how long each may be is for the rule of its field."""
    before = csv.field_size_limit(LARGEST)
    try:
        yield
    finally:
        csv.field_size_limit(before)


def _read_files(folder: Path, faults: Faults) -> dict[str, list[tuple[int, Record, Sequence[str]]]]:
    """The records that can be read, with their rows and the photographs named there, by kind; all else is noted."""
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
            faults.add((name, 0), f": not a file of a logbook; did you mean {near[0]}?")
            faults.blind.add(OUR_FILES[near[0]].name)
    found = {}
    for kind in KINDS.values():
        path = folder / kind.file
        rows = _read_rows(kind, path, faults) if kind.file in names else ()
        read_rows = ((number, _read_row(kind, number, cells, faults)) for number, cells in rows)
        found[kind.name] = [(number, *read) for number, read in read_rows if read is not None]
    if "inspection" not in faults.blind and "inspection" not in faults.lost:
        named = [name for _, _, names in found["inspection"] for name in names]
        photo_files.note_unnamed(folder, named, faults)
    return found


def _read_row(kind: Kind, number: int, cells: dict[str, str], faults: Faults) -> tuple[Record, Sequence[str]] | None:
    """The record in a row's cells and the photographs that they name, or None with every bad cell noted."""
    names, sound = (), True
    try:
        names = photo_files.names_in(cells.pop(photo_files.COLUMN, ""))
    except BadValueError as error:
        faults.add_row(kind, (kind.file, number), "", said(error))
        sound = False
    record = _read_record(kind, number, cells, faults)
    return (record, names) if sound and record is not None else None


def _read_record(kind: Kind, number: int, cells: dict[str, str], faults: Faults) -> Record | None:
    """The record in a row's cells, or None with every bad cell noted."""
    values, before = {}, len(faults.found)
    name = cells.get(kind.naming[-1], "") if kind.naming else ""
    for column, text in cells.items():
        if not text and column not in kind.required:
            continue
        try:
            values[column] = read(kind, column, text)
        except BadValueError as error:
            faults.add_row(kind, (kind.file, number), name, said(error))
    if len(faults.found) > before:
        return None
    try:
        return build(kind, values)
    except BadValueError as error:
        faults.add_row(kind, (kind.file, number), name, said(error))
        return None


def _read_rows(kind: Kind, path: Path, faults: Faults) -> Iterator[Row]:
    """Rows of a file with their numbers in a spreadsheet, each as text by column."""
    try:
        if path.exists() and not (path.is_file() or path.is_dir()):  # a pipe would be waited for without end
            raise ValueError(": cannot be read: it is a pipe or a device")
        text, separator = separated(decoded(path.read_bytes()))
    except (ValueError, OSError) as error:
        why = f": cannot be read: {error.strerror or error}" if isinstance(error, OSError) else error
        faults.add_file(kind, 0, why)
        return
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
                    faults.blind.add(kind.name)
                    return
                continue
            row = _read_cells(columns, cells)
            if row is None:
                hint = "; a decimal comma must be a point, and a text with commas stands in quotes"
                faults.add_file(
                    kind,
                    number,
                    f": has {len(cells)} cells, the header has {len(columns)}" + hint * (separator == ","),
                )
            else:
                yield number, row
    except csv.Error as error:
        faults.add_file(kind, number + 1, f": not to be read as CSV ({error})")


def _read_header(kind: Kind, cells: list[str], faults: Faults) -> list[str] | None:
    """The columns that a header names, or None with what is wrong noted."""
    columns = [cell.strip().lower() for cell in cells]
    before, known = len(faults.found), (*kind.columns, *photo_files.more_columns(kind))
    for column in dict.fromkeys(columns):
        if column and column not in known:
            near = get_close_matches(column, known, n=1, cutoff=0.6)
            hint = f"did you mean {near[0]!r}?" if near else "known: " + ", ".join(known)
            shown = shortened(column)
            faults.add((kind.file, 1), f", {shown if shown.isprintable() else repr(shown)}: no such column; {hint}")
        elif column and columns.count(column) > 1:
            faults.add((kind.file, 1), f", {column}: the column stands twice; keep one")
    for column in kind.required:
        if column not in columns:
            faults.add((kind.file, 1), f", {column}: the column is missing; it is required")
    return None if len(faults.found) > before else columns


def _read_cells(columns: list[str], cells: list[str]) -> dict[str, str] | None:
    """Cells by column, blanks at the end left out or not; None if there is more than the header names."""
    named = [*columns, *("" for _ in cells[len(columns) :])]
    padded = [*cells, *("" for _ in columns[len(cells) :])]
    row = {}
    for column, cell in zip(named, padded, strict=True):
        text = cell.strip()
        if column:
            row[column] = unguarded(text)
        elif text:
            return None
    return row


def export_folder(book: WholeBook, folder: str | Path) -> Exported:
    """Write every current record to a folder of CSV files, photographs beside them; gives how many of each kind.

    The folder is made if missing. One that holds anything but files of a logbook is refused with
    LogbookError. Files are written aside and then moved into place.
    """
    target = Path(folder)
    try:
        _check_target(target, book)
        found, photos, files = _all_current(book)
        target.parent.mkdir(parents=True, exist_ok=True)
        with atomic.beside(target) as aside:
            aside.mkdir()
            photo_files.write_folder(aside / photo_files.COLUMN, files, lambda one: book.photograph(one).jpeg)
            for kind, records in found.items():
                text = csv_text(KINDS[kind], records, photos if files and kind == "inspection" else None)
                atomic.put(aside / KINDS[kind].file, text.encode())
            if target.exists():
                photo_files.move_folder(aside / photo_files.COLUMN, target / photo_files.COLUMN)
                for kind in found:
                    atomic.move(aside / KINDS[kind].file, target / KINDS[kind].file)
                photo_files.clear_folder(target / photo_files.COLUMN, files)
            else:
                atomic.move(aside, target)
    except OSError as error:
        raise LogbookError(
            f"cannot write to {str(target)!r}: {error.strerror or error}",
            "name a folder that you may write to",
        ) from error
    counts = Exported((kind, len(records)) for kind, records in found.items())
    counts.photographs = len(files)
    return counts


def _all_current(book: WholeBook) -> tuple[dict[str, tuple[Record, ...]], list[str], dict[str, str]]:
    """Every current record by kind, in the order in which an import enters them again; what each look's row says of its
    photographs, and the hash of each by its file."""
    with book.reading():
        looks = book.pictured()
        found = {name: book.records(name) for name in KINDS}
    return found, *photo_files.names_for((look.record, hashes) for look, hashes in looks)


def _check_target(target: Path, book: WholeBook) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise LogbookError(f"{str(target)!r} is a file", "name a folder")
    for one in sorted(target.iterdir()):
        if one.name == photo_files.COLUMN:
            photo_files.check_folder(one, book.has_photograph)
            continue
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
    return not head or _read_header(kind, re.split("[,;]", head.replace('"', "")), Faults()) is not None


def csv_text(kind: Kind, records: Sequence[Record], photos: Sequence[str] | None = None) -> str:
    """The file of some records of a kind, its header first; ``photos`` are the cells of one more column."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    more = [()] * len(records) if photos is None else [(cell,) for cell in photos]
    writer.writerow((*kind.columns, *(() if photos is None else photo_files.more_columns(kind))))
    for record, last in zip(records, more, strict=True):
        writer.writerow([*(cell_text(kind, column, getattr(record, column)) for column in kind.columns), *last])
    return file.getvalue()


def cell_text(kind: Kind, column: str, value: object) -> str:
    """A value as its cell says it, blank for None; a text that a spreadsheet would run stands behind an apostrophe."""
    if value is None:
        return ""
    meaning = rule(kind, column)
    text = meaning.write(value)
    plain = not isinstance(meaning, (Name, Text)) or isinstance(meaning, Choice)
    return text if plain else guarded(text)
