"""The logbook as pandas tables, one a kind, under the columns of its CSV files."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import date, datetime
from numbers import Integral, Real
from pathlib import Path
from typing import TYPE_CHECKING, Self

from scalemodel.errors import UnknownNameError
from scalemodel.frames import table
from scalemodel.logbook import clock
from scalemodel.logbook.book import WholeBook
from scalemodel.logbook.days import as_day
from scalemodel.logbook.field_types import Day
from scalemodel.logbook.fields import rule
from scalemodel.logbook.kinds import KINDS, Kind
from scalemodel.logbook.ledger import Ledger

if TYPE_CHECKING:
    from scalemodel.frames import DataFrame
    from scalemodel.logbook.csv_folder import Imported


class Tabled(Ledger):
    """The part of a logbook that is made of tables, and gives them."""

    @classmethod
    def from_frames(
        cls, frames: Mapping[str, DataFrame], sure: bool = False, today: Callable[[], date] = clock.today
    ) -> Self:
        """A logbook in memory from DataFrames, each under the name of its CSV file ("boilers", "inspections", ...).

        Columns are those of the files; dates may be Timestamps or text. All or nothing: ImportRefusedError lists every
        fault by file and row, and what is hard to believe unless ``sure``. UnknownNameError for any other table.
        """
        book = cls.in_memory(today=today)
        try:
            enter_frames(book, frames, sure)
        except BaseException:
            book.close()
            raise
        return book

    def to_frames(self) -> dict[str, DataFrame]:
        """Every current record, a DataFrame a CSV file by its name without ending; dates are Timestamps."""
        return frames_of(self)


def frames_of(book: WholeBook) -> dict[str, DataFrame]:
    """Every current record, a DataFrame a file by its name without ending, dates as Timestamps; empty ones too."""
    with book.reading():
        held = {name: book.records(name) for name in KINDS}
    return {_stem(KINDS[name]): _frame(KINDS[name], records) for name, records in held.items()}


def enter_frames(book: WholeBook, frames: Mapping[str, DataFrame], sure: bool = False) -> Imported:
    """Enter the rows of tables, all or nothing, as `import_folder` does those of files; faults name file and row.

    UnknownNameError for a table that is none of the logbook's.
    """
    import csv
    import tempfile

    from scalemodel.logbook.csv_folder import import_folder

    kinds = {_stem(kind): kind for kind in KINDS.values()}
    with tempfile.TemporaryDirectory() as folder:
        for name, frame in frames.items():
            if name not in kinds:
                raise UnknownNameError("table", str(name), kinds)
            with (Path(folder) / kinds[name].file).open("w", encoding="utf-8", newline="") as file:
                writer = csv.writer(file, lineterminator="\n")
                writer.writerow(frame.columns)
                writer.writerows([cell(value) for value in row] for row in frame.itertuples(index=False, name=None))
        return import_folder(book, folder, sure=sure)


def cell(value: object) -> str:
    """A value of a table as a cell of a file.

    >>> [cell(value) for value in (None, float("nan"), True, 3.0, 0.1, date(2026, 1, 1), "tap")]
    ['', '', 'yes', '3', '0.1', '2026-01-01', 'tap']
    """
    if value is None or value != value or str(value) in ("NaT", "<NA>"):
        return ""
    if isinstance(value, bool) or type(value).__name__ == "bool":
        return "yes" if value else "no"
    if isinstance(value, (date, datetime)):
        return as_day(value).isoformat()
    if isinstance(value, Real) and not isinstance(value, Integral):
        return str(int(value)) if float(value).is_integer() else repr(float(value))
    return str(value)


def _stem(kind: Kind) -> str:
    return kind.file.removesuffix(".csv")


def _frame(kind: Kind, records: tuple) -> DataFrame:
    dates = [name for name in kind.columns if isinstance(rule(kind, name), Day)]
    return table([asdict(record) for record in records], kind.columns, dates)
