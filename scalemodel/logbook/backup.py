"""A whole copy of a database, also while others write to it; the copy gets its name only when it is good."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from scalemodel import atomic

SIDE_FILES = ("-journal", "-wal", "-shm")
"""How SQLite's own files beside a database end; what stands there it takes for a part of that database."""


def copy_whole(source: sqlite3.Connection, target: Path, replace: bool = False) -> int:
    """Copy what a connection sees, committed, to a file; gives how many entries the copy holds.

    The copy is one file by itself, with no side files. It is written aside in the same folder, checked, forced to
    the disk, and only then named.

    Raises
    ------
    FileExistsError
        If the target is there already, unless ``replace``.
    sqlite3.Error, OSError
        If the copy cannot be written or is not sound; nothing is left behind.
    """
    if target.exists() and not replace:
        raise FileExistsError(str(target))
    with atomic.beside(target) as aside:
        with closing(sqlite3.connect(aside, isolation_level=None)) as copy:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE").fetchall()
            entries = _sound(copy)
        atomic.force(aside)
        atomic.move(aside, target, replace)
    return entries


def _sound(copy: sqlite3.Connection) -> int:
    """How many entries a copy holds; DatabaseError if it is not sound."""
    said = [line for (line,) in copy.execute("PRAGMA integrity_check")]
    if said != ["ok"]:
        raise sqlite3.DatabaseError(f"the copy is not sound ({said[0]})")
    return copy.execute("SELECT count(*) FROM entry").fetchone()[0]
