"""The ledger under the logbook: one file, opened and read; entries, what replaced them and what struck them."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

from scalemodel.errors import BadValueError, LogbookError, Remedy
from scalemodel.logbook import clock, database, origins
from scalemodel.logbook.adopted import Dated
from scalemodel.logbook.book import Numbered
from scalemodel.logbook.entries import Entry
from scalemodel.logbook.fields import loader
from scalemodel.logbook.kinds import KINDS, Kind, Record, kind_of
from scalemodel.logbook.names import Names
from scalemodel.logbook.origins import Import

_CURRENT = (
    "NOT EXISTS (SELECT 1 FROM entry AS later WHERE later.replaces = held.entry) "
    "AND NOT EXISTS (SELECT 1 FROM strike WHERE strike.entry = held.entry)"
)


class Lineage(NamedTuple):
    """What the ledger knows of entries that replace others, and of absences.

    ``first`` is, for each that replaces another, the number of the first of its line; ``entered_at`` is when each was
    entered.
    """

    first: dict[int, int]
    entered_at: dict[int, str]


class Shared(NamedTuple):
    """What the facts of all boilers have in common: where entries come from, all waters and their tests, and the priors
    that were ever adopted."""

    lineage: Lineage
    waters: list[Numbered]
    water_tests: list[Numbered]
    adopted: tuple[Dated, ...]


class Ledger:
    """One file of entries, open; a context manager that closes it. Made by `open`, `create` or `in_memory`."""

    def __init__(self, connection: sqlite3.Connection, place: str, today: Callable[[], date] = clock.today):
        self._connection = connection
        self._place = place
        self._today = today
        self._names: Names | None = None

    @classmethod
    def open(
        cls,
        path: str | Path,
        write: bool = False,
        today: Callable[[], date] = clock.today,
        told: Callable[[str], None] = database.untold,
    ) -> Self:
        """The logbook in a file; with ``write`` a missing one is made, without it nothing is written.

        With ``write`` a logbook of an earlier version is brought up to date; ``told`` is called with a line that says
        so and names the copy of the old one. Raises LogbookError if the file is missing (reading), is no logbook, is of
        a newer version or cannot be used.
        """
        opened = database.open_writing(Path(path), told) if write else database.open_reading(Path(path))
        return cls(opened, str(path), today)

    @classmethod
    def create(cls, path: str | Path, today: Callable[[], date] = clock.today) -> Self:
        """A new logbook, open for writing; LogbookError if there is a file already."""
        if cls.exists(path):
            raise LogbookError(f"there is a file at {str(path)!r} already", "choose another path")
        return cls.open(path, write=True, today=today)

    @staticmethod
    def exists(path: str | Path) -> bool:
        """Whether there is a file at the path; LogbookError if that cannot be told."""
        return database.exists(Path(path))

    @classmethod
    def in_memory(cls, today: Callable[[], date] = clock.today) -> Self:
        """A new logbook that lives only in memory."""
        return cls(database.open_memory(), ":memory:", today)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; further calls fail."""
        self._connection.close()

    def today(self) -> date:
        """The day after which no record may be dated."""
        return self._today()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything inside is written, or nothing; inner transactions can fail alone."""
        with database.said_plainly(self._place), self._one_state(), database.transaction(self._connection):
            yield

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Everything inside reads one state of the file, whatever others write meanwhile."""
        with database.said_plainly(self._place), self._one_state(), database.snapshot(self._connection):
            yield

    @contextmanager
    def _one_state(self) -> Iterator[None]:
        """Names are read once in a state of the file, which ends with the outermost transaction, or fails with any."""
        outermost = not self._connection.in_transaction
        if outermost:
            self._names = None
        try:
            yield
        except BaseException:
            self._names = None
            raise
        if outermost:
            self._names = None

    # ---- reading

    def current(
        self,
        kind: str,
        where: str = "",
        values: Sequence = (),
        besides: int | None = None,
        first_by: str = "",
        most: int = 1,
    ) -> list[Numbered]:
        """Current records of a kind by number; only the first ``most`` in an order if ``first_by`` gives one.

        ``where`` and ``first_by`` are SQL over its columns, never a person's text.
        """
        conditions = [_CURRENT, *([f"({where})"] if where else []), *(["held.entry <> ?"] if besides else [])]
        names = self.names()
        bound = (*names.bound(where, values), *((besides,) if besides else ()))
        order = f"{first_by} LIMIT {most}" if first_by else "held.entry"
        return self._rows(KINDS[kind], names, " AND ".join(conditions), bound, order)

    def _rows(
        self, kind: Kind, names: Names, where: str, values: Sequence, order: str = "held.entry"
    ) -> list[Numbered]:
        columns = ", ".join(f'held."{name}"' for name in kind.columns)
        query = f"SELECT held.entry, {columns} FROM {kind.name} AS held WHERE {where} ORDER BY {order}"
        with database.said_plainly(self._place):
            rows = self._connection.execute(query, tuple(values)).fetchall()
        loaded, found = loader(kind), []
        for number, *held in rows:
            try:
                found.append(Numbered(number, names.present(loaded(held))))
            except (TypeError, ValueError) as error:
                raise database.damaged(self._place, f"record {number}") from error
        return found

    def _in_order(
        self, kind: Kind, where: str = "", values: Sequence = (), lineage: Lineage | None = None
    ) -> list[Numbered]:
        """Current records of a kind by date, then by first entry; ``lineage`` spares reading it once more."""
        with self.reading():
            first = (lineage or self._lineage()).first
            found = self.current(kind.name, where, values)

        def place(one: Numbered) -> tuple:
            day = date.min if kind.naming else getattr(one.record, kind.dated_by)
            return day, first.get(one.number, one.number)

        return sorted(found, key=place)

    def _lineage(self) -> Lineage:
        """Where entries come from, and when those were made that may tell of days to come, in one statement."""
        lineage = Lineage({}, {})
        lines = self._connection.execute(
            "SELECT number, replaces, entered_at FROM entry WHERE replaces IS NOT NULL OR kind IN ('absence', 'fill') "
            "ORDER BY number"
        )
        for number, replaces, entered_at in lines:
            if replaces is not None:
                lineage.first[number] = lineage.first.get(replaces, replaces)
            lineage.entered_at[number] = entered_at
        return lineage

    def names(self) -> Names:
        """What boilers, sites and waters are called, and were."""
        if self._names is not None:
            return self._names
        try:
            with database.said_plainly(self._place):
                found = Names.of(self._connection)
        except ValueError as error:
            raise database.damaged(self._place, "a change of name") from error
        if self._connection.in_transaction:
            self._names = found
        return found

    def was_named(self, kind: str, name: str, boiler: str = "") -> bool:
        """Whether an entry ever brought a first name; of a site, under its boiler's first name."""
        values = (boiler, name) if kind == "site" else (name,)
        fields = KINDS[kind].naming
        ask = f"SELECT 1 FROM {kind}_name WHERE " + " AND ".join(f"{field} = ?" for field in fields)
        with database.said_plainly(self._place):
            return self._connection.execute(ask, values).fetchone() is not None

    def imports(self) -> tuple[Import, ...]:
        """Every import, oldest first."""
        with database.said_plainly(self._place):
            return origins.imports(self._connection)

    def standing_of(self, number: int) -> list[int]:
        """The current entries that came from an import, or amend those that did, oldest first."""
        with database.said_plainly(self._place):
            return origins.standing(self._connection, number)

    def taken_back_of(self, number: int) -> list[int]:
        """The entries that were struck when an import was taken back as a whole, oldest first."""
        with database.said_plainly(self._place):
            return origins.taken_back(self._connection, number)

    def entry(self, number: int) -> Entry:
        """The entry of a number; BadValueError if there is none."""
        if 0 < number < 2**63:
            for entry in self._entries("entry.number = ?", (number,)):
                return entry
        raise BadValueError("record number", number, Remedy("the number of an entry of the history", "number"))

    def _entries(self, where: str, values: Sequence) -> Iterator[Entry]:
        query = (
            "SELECT entry.number, entry.kind, entry.entered_at, entry.replaces, entry.reason, later.number, "
            "strike.struck_at, coalesce(strike.reason, ''), later.entered_at, coalesce(later.reason, ''), "
            "(SELECT count(*) FROM look_photograph AS kept WHERE kept.entry = entry.number), "
            "(SELECT import FROM imported WHERE imported.entry = entry.number) FROM entry "
            "LEFT JOIN entry AS later ON later.replaces = entry.number "
            f"LEFT JOIN strike ON strike.entry = entry.number WHERE {where} ORDER BY entry.number"
        )
        with database.said_plainly(self._place):
            lines = self._connection.execute(query, tuple(values)).fetchall()
        held, names = dict[int, Record](), self.names()
        one = ("held.entry = ?", (lines[0][0],)) if len(lines) == 1 else ("1", ())
        for kind in {line[1] for line in lines} & KINDS.keys():
            held.update(self._rows(KINDS[kind], names, *one))
        for number, kind, *rest in lines:
            if number not in held or kind_of(held[number]).name != kind:
                raise database.damaged(self._place, f"record {number}")
            yield Entry(number, kind, held[number], *rest)
