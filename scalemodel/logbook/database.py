"""The SQLite file itself: opening, telling ours from others, numbered migrations, transactions."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from errno import EDQUOT, ENOSPC, ENOTDIR
from functools import cache
from importlib.resources import files
from os import strerror
from os.path import realpath
from pathlib import Path

from scalemodel.errors import FullDiskError, LogbookError, Remedy
from scalemodel.logbook import backup
from scalemodel.logbook.backup import SIDE_FILES

APPLICATION_ID = 0x5343414C
"""Marks an SQLite file as a logbook (PRAGMA application_id); the letters SCAL."""

BUSY_SECONDS = 10.0
"""How long a command waits for another one that is writing."""

OLD_COPY = "{name}.before-version-{version}"
"""What the copy of a logbook is called that is kept beside it when it is brought up to a version."""

HOW_TO_START = Remedy("open it to write to start one", "start")


@cache
def _script(name: str) -> str:
    return files("scalemodel.logbook").joinpath(name).read_text(encoding="utf-8")


MIGRATIONS = (
    ("schema.sql", _script),
    ("schema_2.sql", _script),
    ("schema_3.sql", _script),
    ("schema_4.sql", _script),
    ("schema_5.sql", _script),
)
"""Step n brings a logbook from version n to n + 1: the name of a script, and what reads it."""


def untold(line: str) -> None:
    """Takes a line that nobody wants to hear."""


def exists(path: Path) -> bool:
    """Whether there is a file at the path; LogbookError if that cannot be told."""
    with said_plainly(path):
        return path.exists()


def open_reading(path: Path) -> sqlite3.Connection:
    """A connection that can neither create nor change the file; LogbookError if there is no logbook."""
    with said_plainly(path):
        if not exists(path):
            _check_not_orphaned(path)
            raise LogbookError(f"there is no logbook at {str(path)!r}", HOW_TO_START)
        try:
            return _open_checked(path, "ro")
        except sqlite3.OperationalError as error:
            if code_of(error) not in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY) or _log_beside(path).exists():
                raise
            # a folder in which SQLite may not make its side files, and where nobody is writing
            return _open_checked(path, "ro&immutable=1")


def _open_checked(path: Path, mode: str) -> sqlite3.Connection:
    """A reading connection to a logbook, which is of this version if only in memory."""
    connection = _connect(path, mode)
    try:
        version = _version(connection, path)
        if version == 0:
            raise LogbookError(f"the logbook at {str(path)!r} is empty", HOW_TO_START)
        return connection if version == len(MIGRATIONS) else _brought_up_to_date(connection)
    except BaseException:
        connection.close()
        raise


def _brought_up_to_date(connection: sqlite3.Connection) -> sqlite3.Connection:
    """A logbook of an earlier version as one of this version, in memory; its file stays as it is."""
    newer = sqlite3.connect(":memory:", isolation_level=None)
    try:
        with closing(connection):
            connection.backup(newer)
        _settle(newer)
        migrate(newer)
        newer.execute("PRAGMA query_only = ON")
    except BaseException:
        newer.close()
        raise
    return newer


def open_writing(path: Path, told: Callable[[str], None] = untold) -> sqlite3.Connection:
    """A connection for reading and writing; makes the file and its folder if missing, and migrates.

    A file that is no logbook, or is of a newer version, is refused before anything is written. One of an earlier
    version is copied aside first, and ``told`` is called with a line that says so.
    """
    with said_plainly(path):
        _make_folder(path.parent)
        if not exists(path):
            _check_not_orphaned(path)
        connection = _connect(path, "rwc")
        try:
            _version(connection, path)
            _write_ahead(connection)
            _settle(connection)
            migrate(connection, path, told)
        except BaseException:
            connection.close()
            raise
    return connection


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Set WAL, which a new file takes once; SQLite itself does not wait for that lock, so this does."""
    patience = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL").fetchall()
            return
        except sqlite3.OperationalError as error:
            if code_of(error) not in WAITING or time.monotonic() > patience:
                raise
            time.sleep(0.02)


def open_memory() -> sqlite3.Connection:
    """A new logbook in memory."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    _settle(connection)
    migrate(connection)
    return connection


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    if path.is_dir():
        raise LogbookError(f"{str(path)!r} is a folder", "name the logbook file itself")
    if path.exists() and not path.is_file():  # a pipe would be waited for without end
        raise LogbookError(f"{str(path)!r} is no file but a device or a pipe", "name the logbook file itself")
    if path.is_file() and path.stat().st_size == 1:  # which SQLite takes for an empty database
        raise LogbookError(f"{str(path)!r} is not a logbook but a file of one byte", "name another, or delete it")
    uri = f"{path.absolute().as_uri()}?mode={mode}"
    return sqlite3.connect(uri, uri=True, isolation_level=None, timeout=BUSY_SECONDS)


def _log_beside(path: Path) -> Path:
    """Where SQLite keeps what was written last: beside the file itself, not beside a link to it."""
    return _beside(Path(realpath(path)), "-wal")


def _check_not_orphaned(path: Path) -> None:
    """LogbookError where the last records of a logbook wait in its side file, but the logbook itself is gone."""
    aside = _log_beside(path)
    if aside.is_file() and aside.stat().st_size:
        raise LogbookError(
            f"the logbook at {str(path)!r} is gone, but {aside.name!r} still holds records of it",
            f"put the logbook back beside it; to begin anew, move {aside.name!r} away",
        )


def _beside(path: Path, suffix: str) -> Path:
    return path.with_name(path.name + suffix)


def _settle(connection: sqlite3.Connection) -> None:
    """What a connection that writes holds to."""
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA recursive_triggers = ON")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA trusted_schema = OFF")


def _version(connection: sqlite3.Connection, path: Path) -> int:
    """The logbook's version, 0 for an empty file; LogbookError for a foreign file or a newer version."""
    try:
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        objects = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    except sqlite3.OperationalError as error:
        if code_of(error) != sqlite3.SQLITE_ERROR:
            raise
        raise LogbookError(*_unreadable(str(path))) from error  # what every database can answer: a format of its own
    if application != APPLICATION_ID and (application, version, objects) != (0, 0, 0):
        raise LogbookError(
            f"{str(path)!r} is not a logbook but another program's database",
            Remedy("name another file", "another file"),
        )
    if version > len(MIGRATIONS):
        raise LogbookError(
            f"the logbook at {str(path)!r} is of a newer version ({version}) than this program knows "
            f"({len(MIGRATIONS)})",
            "update scalemodel",
        )
    return version


def migrate(connection: sqlite3.Connection, path: Path | None = None, told: Callable[[str], None] = untold) -> None:
    """Bring the logbook to the newest version, all steps with its number in one transaction.

    Before the first step away from an earlier version its file, if it has one, is copied aside, while nobody else can
    write.
    """
    where, kept = path or Path(":memory:"), None
    if _version(connection, where) == len(MIGRATIONS):
        return
    with transaction(connection):
        begun = _version(connection, where)  # again, now that nobody else can write
        if 0 < begun < len(MIGRATIONS) and path is not None:
            kept = keep_copy(path, OLD_COPY.format(name=path.name, version=len(MIGRATIONS)))
        for name, source in MIGRATIONS[begun:]:
            for statement in statements(source(name)):
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
    if kept is not None:
        told(f"the logbook {str(where)!r} is now of version {len(MIGRATIONS)}; as it was it is kept in {str(kept)!r}")


def keep_copy(path: Path, name: str) -> Path:
    """A copy of a logbook as it was last committed, beside it, under a name or, if that is taken, one like it."""
    plain = path.with_name(name)
    with closing(_connect(path, "ro")) as reader:
        for count in range(1, 1000):
            target = plain if count == 1 else _beside(plain, f"-{count}")
            try:
                backup.copy_whole(reader, target)
                return target
            except FileExistsError:
                continue
    raise LogbookError(f"there are too many copies beside {str(path)!r}", f"move {plain.name!r} and the like away")


def back_up(connection: sqlite3.Connection, target: Path, replace: bool = False) -> int:
    """Copy a logbook to a file, checked before it gets its name; gives how many entries it holds.

    Raises LogbookError for a target that is called like a side file, or is there already; with ``replace`` for one
    that is no logbook, is the logbook itself, or is in use.
    """
    source = connection.execute("PRAGMA database_list").fetchone()[2]
    if target.name.endswith(SIDE_FILES):
        raise LogbookError(
            f"{str(target)!r} would be taken for a side file of a logbook ({', '.join(SIDE_FILES)})",
            "name another file for the backup",
        )
    try:
        if target.exists():
            _check_replaceable(target, source, replace)
        else:
            _make_folder(target.parent)
        return backup.copy_whole(connection, target, replace)
    except FileExistsError:
        raise LogbookError(
            f"there is a file at {str(target)!r} already",
            Remedy("name another, or say that it is to be replaced", "replace"),
        ) from None
    except (sqlite3.Error, UnicodeDecodeError, OSError) as error:
        said = getattr(error, "strerror", None) or error
        raise LogbookError(
            f"the backup {str(target)!r} cannot be written: {said}", "check the folder, its permissions and its disk"
        ) from error


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise NotADirectoryError(ENOTDIR, strerror(ENOTDIR), str(folder)) from None


def _check_replaceable(target: Path, source: str, replace: bool) -> None:
    if source and target.samefile(source):
        raise LogbookError(f"{str(target)!r} is the logbook itself", "name another file for the backup")
    if target.is_dir():
        raise LogbookError(f"{str(target)!r} is a folder", "name the backup file itself")
    if not replace:
        raise FileExistsError
    if _log_beside(target).exists():
        raise LogbookError(f"{str(target)!r} is in use, or was not closed", "name another file for the backup")
    with said_plainly(target), closing(_connect(target, "ro&immutable=1")) as there:
        if _version(there, target) == 0 and target.stat().st_size:
            raise LogbookError(f"{str(target)!r} is not a logbook", "name another file for the backup")


def statements(script: str) -> Iterator[str]:
    """The statements of an SQL script, one by one; a trigger's body stays in one piece."""
    gathered = ""
    for line in script.splitlines(keepends=True):
        gathered += line
        if sqlite3.complete_statement(gathered):
            yield gathered
            gathered = ""
    if any(line.strip() and not line.strip().startswith("--") for line in gathered.splitlines()):
        raise ValueError(f"the script ends in the middle of a statement: {gathered!r}")


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All or nothing; inside another transaction, all or nothing of the inner part."""
    if connection.in_transaction:
        begin, commit, rollback = "SAVEPOINT part", "RELEASE part", "ROLLBACK TO part; RELEASE part"
    else:
        begin, commit, rollback = "BEGIN IMMEDIATE", "COMMIT", "ROLLBACK"
    connection.execute(begin)
    try:
        yield
        connection.execute(commit)
    except BaseException:
        if connection.in_transaction:  # some errors of SQLite end the transaction by themselves
            for statement in rollback.split("; "):
                connection.execute(statement)
        raise


@contextmanager
def snapshot(connection: sqlite3.Connection) -> Iterator[None]:
    """Several readings of one state, whatever others write meanwhile."""
    if connection.in_transaction:
        yield
        return
    connection.execute("BEGIN")
    try:
        yield
    finally:
        connection.execute("ROLLBACK")


@contextmanager
def said_plainly(path: Path | str) -> Iterator[None]:
    """Turn what SQLite and the file system say into LogbookError."""
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as error:
        kind = FullDiskError if code_of(error) == sqlite3.SQLITE_FULL else LogbookError
        raise kind(*_plain_words(str(path), error)) from error
    except OSError as error:
        if error.errno in NO_ROOM:
            raise FullDiskError(*_full(str(path))) from error
        raise LogbookError(
            f"the logbook at {str(path)!r} cannot be used: {error.strerror or error}",
            ("check the folder and its permissions, or ", Remedy("name another file", "another file")),
        ) from error


def damaged(path: Path | str, what: str) -> LogbookError:
    """The refusal to read what this program cannot have written."""
    said = f"{what} in the logbook at {str(path)!r} is damaged"
    return LogbookError(said, "`scalemodel logbook verify` says more; restore a backup")


WAITING = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
"""Results of SQLite while somebody else writes."""

NO_ROOM = (ENOSPC, EDQUOT)
"""Errors of a file system that has no room left, or none for this user."""

DAMAGE = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
"""Results of SQLite for a file that it did not write so."""


def code_of(error: Exception) -> int | None:
    """SQLite's primary result code of an error; None for one that SQLite itself did not give.

    >>> code_of(ValueError("something else")) is None
    True
    """
    code = getattr(error, "sqlite_errorcode", None)
    return None if code is None else code & 0xFF  # the bits above tell where, not what


def tells_of_damage(error: sqlite3.Error | UnicodeDecodeError) -> bool:
    """Whether an error says that what stands in the file is not what SQLite once wrote."""
    code = code_of(error)
    if code is None:  # a text that is no UTF-8
        return isinstance(error, (sqlite3.OperationalError, UnicodeDecodeError))
    return code in DAMAGE


def _unreadable(path: str) -> tuple[str, str]:
    return f"{path!r} is not a logbook, or is damaged", "name another file, or restore a copy"


def _full(path: str) -> tuple[str, str]:
    return f"the logbook at {path!r} cannot grow: the disk is full", "nothing was written; make room and try again"


def _plain_words(path: str, error: sqlite3.Error | UnicodeDecodeError) -> tuple[str, str]:
    code = code_of(error)
    if code in WAITING:
        waited = f"waited {BUSY_SECONDS:g} s, but another program is still writing to the logbook at {path!r}"
        return waited, "nothing was written; try again when it is done"
    if tells_of_damage(error):
        return _unreadable(path)
    if code == sqlite3.SQLITE_READONLY:
        return f"the logbook at {path!r} may only be read", "check the permissions of the file and its folder"
    if code == sqlite3.SQLITE_CANTOPEN:
        return f"the logbook at {path!r} cannot be opened", "check its folder, its permissions and its disk"
    if code == sqlite3.SQLITE_FULL:
        return _full(path)
    if code == sqlite3.SQLITE_IOERR:
        return f"the disk refused to read or write the logbook at {path!r}", "nothing was written; check the disk"
    return f"the logbook at {path!r} refused: {error}", "nothing was written"
