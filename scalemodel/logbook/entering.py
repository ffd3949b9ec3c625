"""Rows of a file into the logbook: every fault and every question noted with its row, all of them entered or none."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from scalemodel.errors import (
    BadValueError,
    ImportRefusedError,
    LogbookError,
    Mention,
    RecordClashError,
    ScalemodelError,
)
from scalemodel.logbook.book import WholeBook
from scalemodel.logbook.faults import Faults, Place
from scalemodel.logbook.kinds import Record, kind_of
from scalemodel.logbook.origins import Import


class Imported(dict):
    """How many records of each kind were entered, and of them photographs.

    ``left_out`` is how many rows the logbook had held before, ``act`` the import that it is; None where nothing was.
    ``notes`` are lines on what was understood.
    """

    left_out = photographs = 0
    act: Import | None = None

    def __init__(self, kinds: Iterable[str]) -> None:
        super().__init__(dict.fromkeys(kinds, 0))
        self.notes: list[str] = []


class Entering:
    """One import while it lasts, within one transaction of the logbook.

    Parameters
    ----------
    book : WholeBook
    faults : Faults
        Where it is noted what is wrong with a row.
    kinds : iterable of str
        What is counted.
    again, only_new, sure : bool
        As `scalemodel.logbook.csv_folder.import_folder` takes them.
    """

    def __init__(
        self, book: WholeBook, faults: Faults, kinds: Iterable[str], again: bool, only_new: bool, sure: bool
    ) -> None:
        self._book, self._faults, self._again, self._sure = book, faults, again, sure
        self._known = {entry.record for entry in book.history()} if only_new else set()
        self._rows: dict[int, Place] = {}
        self._added: dict[int, Record] = {}
        self.counts = Imported(kinds)

    def enter(self, place: Place, record: Record, photos: Callable[[], list[bytes]] = list) -> None:
        """Enter the record of a row, or note why not."""
        if record in self._known:
            self.counts.left_out += 1
            return
        try:
            pictures = photos()
            with self._book.transaction():
                entry = self._book.add(record, self._again, sure=True, photos=pictures)
        except (LogbookError, ImportRefusedError):
            raise
        except ScalemodelError as error:
            self._refuse(place, record, error)
            return
        self.counts.photographs += len(pictures)
        self._rows[entry], self._added[entry] = place, record
        self.counts[kind_of(record).name] += 1

    def _refuse(self, place: Place, record: Record, error: ScalemodelError) -> None:
        if self._faults.explains(error):
            return
        same = self._book.same_as(record) if isinstance(error, RecordClashError) else []
        if same:
            error = RecordClashError((Mention(same[0]), " says just this already"))
        kind = kind_of(record)
        name = getattr(record, kind.naming[-1]) if kind.naming else ""
        self._faults.add_row(kind, place, name, said(error, _by_row(self._rows)))
        self._faults.held |= bool(same)

    def finish(self, source: Path) -> Imported:
        """Ask what is hard to believe, now that all others are there to compare with; note the import.

        ImportRefusedError if anything was at fault or is asked.
        """
        for entry, record in () if self._sure else self._added.items():
            for doubt in self._book.doubts(record, entry, typed=False):
                self._faults.add_doubt(self._rows[entry], doubt)
        self._faults.stop_if_any(source)
        if self._rows:
            self.counts.act = self._book.record_import(str(source), list(self._rows))
        return self.counts


def said(error: ScalemodelError, called: Callable[[Mention], str] = str) -> str:
    """An error behind a place: a cell's name is part of the place, anything else is not."""
    return (", " if isinstance(error, BadValueError) else ": ") + error.told(called)


def _by_row(entered: dict[int, Place]) -> Callable[[Mention], str]:
    """How an import calls records: those of its own by their rows, for they get numbers only if all is well."""

    def called(mention: Mention) -> str:
        if mention.number not in entered:
            return str(mention)
        row = "{} row {}".format(*entered[mention.number])
        return row if mention.amending is None else f"mend {row}"

    return called
