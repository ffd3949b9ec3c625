"""Is the logbook sound? The file, the ledger, and every record by the rules of its entry.

A fault should never be found: it means that the file was changed by another program, or that a disk failed. A remark
is about something allowed that deserves a second thought; a question is about a record that is hard to believe.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import NamedTuple, Protocol

from scalemodel.errors import ScalemodelError
from scalemodel.logbook import album, database, names, rules
from scalemodel.logbook.book import Book
from scalemodel.logbook.doubt import Doubt
from scalemodel.logbook.fields import clean, loader
from scalemodel.logbook.kinds import KINDS, Record
from scalemodel.logbook.remarks import remarks_on


class Examined(Book, Protocol):
    """What is asked of a logbook that is examined."""

    def doubts(self, record: Record, besides: int | None = None, typed: bool = True) -> tuple[Doubt, ...]:
        """What is hard to believe of a record."""


class Finding(NamedTuple):
    """What is wrong, or worth a thought, and with which entry; ``record`` is None for the file itself."""

    record: int | None
    problem: str

    def __str__(self) -> str:
        return self.problem if self.record is None else f"record {self.record}: {self.problem}"


@dataclass(frozen=True, slots=True)
class Findings:
    """How many entries, how many of them current; what is at fault, deserves a thought, or is hard to believe."""

    entries: int
    current: int
    faults: tuple[Finding, ...]
    remarks: tuple[Finding, ...]
    questions: tuple[Finding, ...] = ()


class _Line(NamedTuple):
    kind: str
    entered_at: str
    replaces: int | None


def examine(book: Examined, connection: sqlite3.Connection) -> Findings:
    """Every fault of an open logbook, in the order of the checks, each by the number of the entry."""
    try:
        with closing(database.open_memory()) as fresh:
            expected = _schema(fresh)
        there = _schema(connection)
        faults = [*_file(connection), *_schema_faults(expected, there)]
        if any(sort == "table" for sort, _ in expected.keys() - there.keys()):
            return Findings(0, 0, (*faults, Finding(None, "nothing more was checked because of that")), ())
        lines = {
            number: _Line(*rest)
            for number, *rest in connection.execute("SELECT number, kind, entered_at, replaces FROM entry")
        }
        strikes = dict(connection.execute("SELECT entry, struck_at FROM strike"))
        replaced = {line.replaces for line in lines.values()}
        faults += _ledger(lines, strikes)
        faults += (Finding(*one) for one in album.faults(connection))
        current = {number for number in lines if number not in replaced and number not in strikes}
        misnamed = [Finding(None, said) for said in names.faults(connection)]
        held, rows = _records(connection, lines, names.Names(()) if misnamed else book.names())
        rows = [*misnamed, *rows]
        faults += rows
        if rows:
            faults.append(Finding(None, "records were not checked beside each other because of that"))
            return Findings(len(lines), len(current), tuple(faults), ())
        present = {number: held[number] for number in sorted(current & held.keys())}
        faults += _rules(book, present)
        remarks = (*_twins(present), *_remarks(book, present))
        return Findings(len(lines), len(current), tuple(faults), remarks, tuple(_questions(book, present)))
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        if isinstance(error, sqlite3.OperationalError) and not database.tells_of_damage(error):
            raise  # the file cannot be reached; what is in it is another matter
        return Findings(0, 0, (Finding(None, f"the file is damaged: {error}"),), ())


def _file(connection: sqlite3.Connection) -> Iterator[Finding]:
    """What SQLite itself finds wrong."""
    for (said,) in connection.execute("PRAGMA integrity_check"):
        if said != "ok":
            yield Finding(None, f"the file is damaged: {said}")
    for table, row, parent, _ in connection.execute("PRAGMA foreign_key_check").fetchall():
        number = row if table in KINDS or table in ("entry", "strike") else None
        yield Finding(number, f"its line in table {table!r} refers to one of {parent!r} that is not there")


Schema = dict[tuple[str, str], str]
"""The SQL of each table, index and trigger, by its sort and name."""


def _schema(connection: sqlite3.Connection) -> Schema:
    ask = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
    return {(sort, name): sql for sort, name, sql in connection.execute(ask)}


def _schema_faults(expected: Schema, there: Schema) -> Iterator[Finding]:
    """Tables, indexes and triggers that a new logbook has and this one has not, or has otherwise."""
    for sort, name in sorted(expected):
        if (sort, name) not in there:
            yield Finding(None, f"the {sort} {name!r} is missing")
        elif there[sort, name] != expected[sort, name]:
            yield Finding(None, f"the {sort} {name!r} is not as this program makes it")
    for sort, name in sorted(there.keys() - expected.keys()):
        yield Finding(None, f"the {sort} {name!r} is none of a logbook")


def _ledger(lines: dict[int, _Line], strikes: dict[int, str]) -> Iterator[Finding]:
    """Times, chains of amendments, and strikes."""
    successors = defaultdict(list)
    for number, line in lines.items():
        if line.kind not in KINDS:
            yield Finding(number, f"its kind {line.kind!r} is none of a logbook")
        if not _is_utc(line.entered_at):
            yield Finding(number, f"the time of its entry, {line.entered_at!r}, is not one in UTC")
        if line.replaces is not None:
            successors[line.replaces].append(number)
            yield from _amendment(number, line, lines.get(line.replaces))
    for number, those in successors.items():
        if len(those) > 1:
            yield Finding(number, "it was amended more than once, by records " + ", ".join(map(str, those)))
    for number, struck_at in strikes.items():
        if not _is_utc(struck_at):
            yield Finding(number, f"the time of its strike, {struck_at!r}, is not one in UTC")
        if number in successors:
            yield Finding(number, f"it was amended by {successors[number][0]} and struck as well")


def _amendment(number: int, line: _Line, old: _Line | None) -> Iterator[Finding]:
    """An entry that replaces another: that is an earlier one, of the same kind; so no chain runs in a circle."""
    if line.replaces >= number:
        yield Finding(number, f"it amends record {line.replaces}, which is not an earlier one")
    if old is not None and old.kind != line.kind:
        yield Finding(number, f"it amends record {line.replaces}, which is of another kind")


def _is_utc(text: str) -> bool:
    try:
        return datetime.fromisoformat(text).utcoffset() == timedelta(0)
    except (TypeError, ValueError):
        return False


def _records(
    connection: sqlite3.Connection, lines: dict[int, _Line], called: names.Names
) -> tuple[dict[int, Record], list[Finding]]:
    """The records that can be read, by number; and what is wrong with the others."""
    held: dict[int, Record] = {}
    faults: list[Finding] = []
    rows: dict[int, list[str]] = defaultdict(list)
    for kind in KINDS.values():
        loaded, columns = loader(kind), ", ".join(f'"{name}"' for name in kind.columns)
        for number, *stored in connection.execute(f"SELECT entry, {columns} FROM {kind.name}"):
            rows[number].append(kind.name)
            try:
                record = called.present(loaded(stored))
                if clean(record) != record:
                    faults.append(Finding(number, "it is not written as this program writes it"))
                held[number] = record
            except ScalemodelError as error:
                faults.append(Finding(number, error.problem))
            except (TypeError, ValueError) as error:
                faults.append(Finding(number, f"it cannot be read ({error})"))
    for number in sorted(lines.keys() | rows.keys()):
        expected = [str(lines[number].kind)] if number in lines else []
        if rows[number] != expected:
            found = " and ".join(rows[number]) or "no table"
            faults.append(Finding(number, f"it stands in {found}, not once in {''.join(expected) or 'no table'}"))
    return held, faults


class _Tomorrow:
    """A book a day on: where somebody has travelled west since, or set a clock right, today's records stand."""

    def __init__(self, book: Book) -> None:
        self.current, self.names = book.current, book.names
        self._today = book.today() + timedelta(days=1)

    def today(self) -> date:
        return self._today


def _rules(book: Book, present: dict[int, Record]) -> Iterator[Finding]:
    """Current records that could not be entered today as they stand."""
    ahead = _Tomorrow(book)
    for number, record in present.items():
        try:
            rules.check(ahead, record, replacing=number)
        except ScalemodelError as error:
            yield Finding(number, str(error))


def _twins(present: dict[int, Record]) -> Iterator[Finding]:
    """Records equal to an earlier one in every field."""
    first: dict[Record, int] = {}
    for number, record in present.items():
        if first.setdefault(record, number) != number:
            yield Finding(number, f"it says just what record {first[record]} says; strike one if the two are one")


def _remarks(book: Book, present: dict[int, Record]) -> Iterator[Finding]:
    for number, record in present.items():
        for line in remarks_on(book, record, number):
            yield Finding(number, line)


def _questions(book: Examined, present: dict[int, Record]) -> Iterator[Finding]:
    """Records that are hard to believe beside all others."""
    for number, record in present.items():
        for doubt in book.doubts(record, number, typed=False):
            yield Finding(number, str(doubt))
