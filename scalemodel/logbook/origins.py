"""Which import a record came from, in the tables of a logbook."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Import:
    """One import.

    Attributes
    ----------
    number : int
    imported_at : str
        UTC, ISO 8601.
    source : str
        The folder or the sheet that was read.
    backup : str
        Where the logbook was copied to before it; blank if it held nothing.
    repeats : int or None
        The import that was struck and is entered once more by this one.
    records : int
        How many entries came from it.
    struck : int
        How many of them, or of those that amend them, were struck when it was taken back as a whole.
    """

    number: int
    imported_at: str
    source: str
    backup: str
    repeats: int | None
    records: int
    struck: int


def imports(connection: sqlite3.Connection) -> tuple[Import, ...]:
    """Every import, oldest first."""
    ask = (
        "SELECT number, imported_at, source, backup, repeats, "
        "(SELECT count(*) FROM imported WHERE imported.import = import.number), "
        "(SELECT count(*) FROM strike WHERE strike.import = import.number) FROM import ORDER BY number"
    )
    return tuple(Import(*line) for line in connection.execute(ask))


def next_number(connection: sqlite3.Connection) -> int:
    """The number that the next import gets."""
    return connection.execute("SELECT coalesce(max(number), 0) + 1 FROM import").fetchone()[0]


def held_before(connection: sqlite3.Connection, entries: Sequence[int]) -> bool:
    """Whether a logbook held any entry before some new ones."""
    return connection.execute("SELECT count(*) FROM entry").fetchone()[0] > len(entries)


def note(
    connection: sqlite3.Connection, at: str, source: str, backup: str, repeats: int | None, entries: Sequence[int]
) -> None:
    """Write an import and which entries came from it."""
    number = connection.execute(
        "INSERT INTO import (imported_at, source, backup, repeats) VALUES (?, ?, ?, ?)", (at, source, backup, repeats)
    ).lastrowid
    connection.executemany("INSERT INTO imported VALUES (?, ?)", [(entry, number) for entry in entries])


def standing(connection: sqlite3.Connection, number: int) -> list[int]:
    """The current entries that came from an import, or amend those that did, oldest first."""
    ask = (
        "WITH RECURSIVE line(entry) AS (SELECT entry FROM imported WHERE import = ? "
        "UNION SELECT entry.number FROM entry JOIN line ON entry.replaces = line.entry) "
        "SELECT entry FROM line WHERE NOT EXISTS (SELECT 1 FROM entry AS later WHERE later.replaces = line.entry) "
        "AND NOT EXISTS (SELECT 1 FROM strike WHERE strike.entry = line.entry) ORDER BY entry"
    )
    return [entry for (entry,) in connection.execute(ask, (number,))]


def taken_back(connection: sqlite3.Connection, number: int) -> list[int]:
    """The entries that were struck when an import was taken back, in the order of their first entry."""
    return [
        entry for (entry,) in connection.execute("SELECT entry FROM strike WHERE import = ? ORDER BY entry", (number,))
    ]
