"""A whole copy of a database, also while others write to it; the copy gets its name only when it is good."""

from __future__ import annotations

import os
import sqlite3
import uuid
from contextlib import closing, suppress
from pathlib import Path

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
    aside = target.parent / f".scalemodel-{uuid.uuid4().hex}.part"
    if target.exists() and not replace:
        raise FileExistsError(str(target))
    try:
        with closing(sqlite3.connect(aside, isolation_level=None)) as copy:
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE").fetchall()
            entries = _sound(copy)
        _force(aside)
        _name(aside, target, replace)
        with suppress(OSError):  # not every system lets a folder be opened
            _force(target.parent)
    finally:
        for left in (aside, *(aside.with_name(aside.name + more) for more in SIDE_FILES)):
            left.unlink(missing_ok=True)
    return entries


def _sound(copy: sqlite3.Connection) -> int:
    """How many entries a copy holds; DatabaseError if it is not sound."""
    said = [line for (line,) in copy.execute("PRAGMA integrity_check")]
    if said != ["ok"]:
        raise sqlite3.DatabaseError(f"the copy is not sound ({said[0]})")
    return copy.execute("SELECT count(*) FROM entry").fetchone()[0]


def _name(aside: Path, target: Path, replace: bool) -> None:
    """Give the finished copy its name; FileExistsError if that was taken meanwhile."""
    if replace:
        os.replace(aside, target)
        return
    try:
        os.link(aside, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if target.exists():
            raise FileExistsError(str(target)) from None
        os.rename(aside, target)


def _force(path: Path) -> None:
    """Have the system write a file or a folder to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
