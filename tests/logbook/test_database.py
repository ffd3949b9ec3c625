"""The file: ours or another's, old or new, shared between programs, and its last line of defence."""

import os
import sqlite3
import subprocess
import sys
import threading
import time
from datetime import date

import pytest

from scalemodel.errors import LogbookError
from scalemodel.logbook import database
from scalemodel.logbook.kinds import KINDS, kind_of
from scalemodel.logbook.records import Descale, Water
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import BOILER, DESCALE, LOOK, RECORDS, TODAY, dump, filled, sqlite_error, today

TABLES = [
    "entry",
    "strike",
    "boiler_name",
    "site_name",
    "water_name",
    "photograph",
    "look_photograph",
    "naming",
    "import",
    "imported",
    *KINDS,
]
HASH, OTHER = "ab" * 32, "cd" * 32


def pragma(path, name):
    connection = sqlite3.connect(path)
    try:
        return connection.execute(f"PRAGMA {name}").fetchone()[0]
    finally:
        connection.close()


# ---- ours or not


def test_a_logbook_is_marked_as_one(path):
    assert pragma(path, "application_id") == database.APPLICATION_ID
    assert pragma(path, "user_version") == len(database.MIGRATIONS)
    assert pragma(path, "journal_mode") == "wal"
    assert pragma(path, "integrity_check") == "ok"


def test_a_writing_connection_is_strict_and_safe(path):
    with Logbook.open(path, write=True) as book:
        asked = {
            name: book._connection.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("foreign_keys", "synchronous", "recursive_triggers")
        }
    assert asked == {"foreign_keys": 1, "synchronous": 2, "recursive_triggers": 1}


def test_tables_are_strict(book):
    strict = dict(book._connection.execute("SELECT name, strict FROM pragma_table_list WHERE schema = 'main'"))
    assert all(strict[name] for name in TABLES)


def test_reading_never_makes_a_file(tmp_path):
    with pytest.raises(LogbookError, match="open it to write to start one"):
        Logbook.open(tmp_path / "deep" / "logbook.sqlite3")
    assert list(tmp_path.iterdir()) == []


def test_reading_leaves_the_file_as_it_was(path):
    before, changed = path.read_bytes(), path.stat().st_mtime_ns
    with Logbook.open(path) as book:
        book.facts("kitchen", TODAY)
        book.history()
    assert path.read_bytes() == before
    assert path.stat().st_mtime_ns == changed


def foreign_database(path):
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE other (x)")
    connection.close()


def marked_database(path):
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA application_id = 1")
    connection.close()


def text_file(path):
    path.write_text("not a database, but long enough to be taken for the head of one: " + "x" * 200)


def one_byte(path):
    path.write_bytes(b"7")


@pytest.mark.parametrize("make", [foreign_database, marked_database, text_file, one_byte])
@pytest.mark.parametrize("write", [False, True])
def test_a_file_of_another_program_is_refused_and_left_alone(tmp_path, make, write):
    path = tmp_path / "other.db"
    make(path)
    before = path.read_bytes()
    with pytest.raises(LogbookError, match="is not a logbook"):
        Logbook.open(path, write=write)
    assert path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["other.db"]


@pytest.mark.parametrize("write", [False, True])
def test_a_newer_version_is_refused_and_left_alone(path, write):
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {len(database.MIGRATIONS) + 1}")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(LogbookError, match=rf"newer version \({len(database.MIGRATIONS) + 1}\).*update scalemodel"):
        Logbook.open(path, write=write)
    assert path.read_bytes() == before


def test_an_empty_file_is_read_as_no_logbook_and_written_as_a_new_one(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    path.touch()
    with pytest.raises(LogbookError, match="is empty; open it to write"):
        Logbook.open(path)
    with Logbook.open(path, write=True) as book:
        book.add(Water("tap"))
    with Logbook.open(path) as book:
        assert book.waters() == (Water("tap"),)


@pytest.mark.parametrize("write", [False, True])
def test_a_folder_is_no_logbook(tmp_path, write):
    with pytest.raises(LogbookError, match="is a folder"):
        Logbook.open(tmp_path, write=write)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a system without named pipes")
@pytest.mark.parametrize("write", [False, True])
def test_a_pipe_is_no_logbook_and_is_not_waited_for(tmp_path, write):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(LogbookError, match="no file but a device or a pipe"):
        Logbook.open(tmp_path / "pipe", write=write)
    assert [one.name for one in tmp_path.iterdir()] == ["pipe"]


@pytest.mark.parametrize("write", [False, True])
def test_a_logbook_that_is_gone_is_not_begun_anew_over_its_last_records(tmp_path, path, write):
    with Logbook.open(path, write=True, today=today) as book:
        book.add(Water("rain"))
        side = path.with_name(path.name + "-wal")
        last = side.read_bytes()
        path.rename(tmp_path / "kept")
    side.write_bytes(last)
    (tmp_path / "link").symlink_to(path)
    for place in (path, tmp_path / "link"):
        with pytest.raises(LogbookError, match=r"is gone, but 'logbook.sqlite3-wal' still holds records"):
            Logbook.open(place, write=write)
    assert side.read_bytes() == last
    side.write_bytes(b"")
    if write:
        Logbook.open(path, write=True).close()


def test_behind_a_link_too_the_last_records_are_not_passed_over(tmp_path, path, monkeypatch):
    link = tmp_path / "link"
    link.symlink_to(path)
    side = path.with_name(path.name + "-wal")
    side.write_bytes(b"records of another moment")
    asked = []

    def kept_out(where, mode):
        asked.append(mode)
        raise sqlite_error(sqlite3.SQLITE_CANTOPEN)

    monkeypatch.setattr(database, "_connect", kept_out)
    for place in (path, link):
        with pytest.raises(LogbookError, match="cannot be opened"):
            Logbook.open(place)
    assert asked == ["ro", "ro"]


def test_a_file_where_a_folder_should_be(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(LogbookError, match="cannot be used"):
        Logbook.open(tmp_path / "file" / "logbook.sqlite3", write=True)


def test_a_name_that_no_file_can_have(tmp_path):
    with pytest.raises(LogbookError, match="cannot be used"):
        Logbook.open(tmp_path / ("x" * 300))


def test_names_with_signs_that_an_address_would_read(tmp_path):
    path = tmp_path / "a?mode=memory#b%20c.db"
    filled(path).close()
    with Logbook.open(path) as book:
        assert book.boiler("kitchen") == RECORDS[0]
    assert path.name in {one.name for one in tmp_path.iterdir()}


def test_a_damaged_file_is_said_to_be_one(path):
    torn = bytearray(path.read_bytes())
    torn[4096:] = b"\xff" * (len(torn) - 4096)
    path.write_bytes(torn)
    with pytest.raises(LogbookError, match="damaged"), Logbook.open(path) as book:
        book.history()


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (sqlite3.SQLITE_BUSY, "another program is still writing"),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, "another program is still writing"),
        (sqlite3.SQLITE_LOCKED, "another program is still writing"),
        (sqlite3.SQLITE_CORRUPT, "is not a logbook, or is damaged"),
        (sqlite3.SQLITE_NOTADB, "is not a logbook, or is damaged"),
        (sqlite3.SQLITE_READONLY, "may only be read"),
        (sqlite3.SQLITE_READONLY_DIRECTORY, "may only be read"),
        (sqlite3.SQLITE_CANTOPEN, "cannot be opened"),
        (sqlite3.SQLITE_FULL, "the disk is full"),
        (sqlite3.SQLITE_IOERR_FSYNC, "the disk refused"),
        (sqlite3.SQLITE_CONSTRAINT_CHECK, "refused: locked, full, readonly, malformed"),
    ],
)
def test_an_error_is_told_by_its_code_whatever_its_words(code, words):
    with pytest.raises(LogbookError, match=words), database.said_plainly("book"):
        raise sqlite_error(code, "locked, full, readonly, malformed")


def test_a_file_of_another_format_is_said_to_be_damaged(path):
    other = bytearray(path.read_bytes())
    other[47] = 9  # the number of SQLite's schema format
    path.write_bytes(other)
    with pytest.raises(LogbookError, match="damaged"):
        Logbook.open(path)


def test_a_folder_that_may_not_be_written_can_still_be_read(path, monkeypatch):
    opened = []
    real = database._open_checked

    def kept_out(where, mode):
        opened.append(mode)
        if mode == "ro":
            raise sqlite_error(sqlite3.SQLITE_READONLY)
        return real(where, mode)

    monkeypatch.setattr(database, "_open_checked", kept_out)
    with Logbook.open(path) as book:
        assert book.boiler("kitchen") == RECORDS[0]
    assert opened == ["ro", "ro&immutable=1"]


# ---- migrations

SECOND = "CREATE TABLE extra (x INTEGER) STRICT;\nINSERT INTO extra VALUES (7);\n"


def with_second_step(monkeypatch, script):
    steps = (*database.MIGRATIONS, ("second.sql", lambda name: script))
    monkeypatch.setattr(database, "MIGRATIONS", steps)


def test_writing_brings_an_older_logbook_up_to_date(path, monkeypatch):
    with_second_step(monkeypatch, SECOND)
    before = path.read_bytes()
    with Logbook.open(path) as book:  # reading brings it up to date in memory alone
        assert book._connection.execute("SELECT x FROM extra").fetchall() == [(7,)]
        assert book.boiler("kitchen") == RECORDS[0]
        with pytest.raises(LogbookError, match="may only be read"):
            book.add(Water("rain"))
    assert path.read_bytes() == before
    with Logbook.open(path, write=True) as book:
        assert book._connection.execute("SELECT x FROM extra").fetchall() == [(7,)]
        assert book.boiler("kitchen") == RECORDS[0]
    assert pragma(path, "user_version") == len(database.MIGRATIONS)
    Logbook.open(path).close()
    Logbook.open(path, write=True).close()


def test_a_step_that_fails_leaves_nothing_behind(path, monkeypatch):
    with Logbook.open(path) as book:
        before = dump(book)
    with_second_step(monkeypatch, SECOND + "INSERT INTO missing VALUES (1);\n")
    with pytest.raises(LogbookError, match="no such table: missing"):
        Logbook.open(path, write=True)
    assert pragma(path, "user_version") == len(database.MIGRATIONS) - 1
    monkeypatch.undo()
    with Logbook.open(path) as book:
        assert dump(book) == before


def test_a_logbook_of_the_first_version_is_read_and_brought_up_to_date(tmp_path, monkeypatch):
    """As it was written before a boiler could say how much a drink is."""
    path = tmp_path / "old.sqlite3"
    with monkeypatch.context() as earlier:
        earlier.setattr(database, "MIGRATIONS", database.MIGRATIONS[:1])
        database.open_writing(path).close()
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("INSERT INTO entry VALUES (1, 'boiler', '2026-01-10T09:00:00+00:00', NULL, '')")
    connection.execute("INSERT INTO boiler_name VALUES ('kitchen')")
    connection.execute("INSERT INTO site_name VALUES ('kitchen', 'wall')")
    row = (1, "kitchen", 0.75, 93.0, "2026-01-10", None, 0.0, "clean", 3, 0.1, "")
    connection.execute(f"INSERT INTO boiler VALUES ({', '.join('?' * len(row))})", row)
    connection.close()
    for write in (False, True, False):
        with Logbook.open(path, write=write, today=today) as book:
            assert book.boiler("kitchen") == RECORDS[0]
            assert not book.verify().faults
    assert pragma(path, "user_version") == len(database.MIGRATIONS)


def test_a_script_is_cut_into_statements_with_triggers_whole():
    parts = [part for name, source in database.MIGRATIONS for part in database.statements(source(name))]
    assert sum("CREATE TRIGGER" in part for part in parts) == sum(part.count("CREATE TRIGGER") for part in parts)
    twice = 2  # version 5 lays the ledger anew, by way of another table
    assert sum("CREATE TABLE" in part for part in parts) == len(TABLES) + twice
    assert list(database.statements("-- nothing but words\n")) == []
    with pytest.raises(ValueError, match="middle of a statement"):
        list(database.statements("SELECT 1;\nSELECT 2"))


# ---- several programs at once

HOLD = """
import sys
from scalemodel.logbook.records import Water
from scalemodel.logbook.store import Logbook
with Logbook.open(sys.argv[1], write=True) as book, book.transaction():
    book.add(Water("theirs"))
    print("holding", flush=True)
    sys.stdin.readline()
"""

DIE = """
import os, sys
from scalemodel.logbook.records import Water
from scalemodel.logbook.store import Logbook
book = Logbook.open(sys.argv[1], write=True)
with book.transaction():
    book.add(Water("theirs"))
    os._exit(9)
"""

START = """
import sys
from scalemodel.logbook.records import Water
from scalemodel.logbook.store import Logbook
print("ready", flush=True)
sys.stdin.readline()
with Logbook.open(sys.argv[1], write=True) as book:
    book.add(Water(sys.argv[2]))
"""


def program(code, *arguments):
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


@pytest.fixture
def holder(path):
    """Another program in the middle of writing."""
    with program(HOLD, path) as other:
        assert other.stdout.readline() == "holding\n"
        yield other
        if other.poll() is None:
            other.communicate("\n")


def test_a_second_writer_waits_for_the_first(path, holder):
    done = []

    def write():
        with Logbook.open(path, write=True) as book:
            book.add(Water("ours"))
            done.append(book.waters())

    writer = threading.Thread(target=write)
    writer.start()
    time.sleep(0.3)  # long enough to meet the lock
    assert not done
    holder.communicate("\n")
    writer.join()
    assert [water.water for water in done[0]] == ["tap", "theirs", "ours"]


def test_a_reader_does_not_wait_and_does_not_see_what_is_unfinished(path, holder):
    with Logbook.open(path) as book:
        assert book.waters() == (RECORDS[2],)


def test_a_writer_gives_up_after_a_while(path, holder, monkeypatch):
    monkeypatch.setattr(database, "BUSY_SECONDS", 0.05)
    with (
        Logbook.open(path, write=True) as book,
        pytest.raises(LogbookError, match=r"waited 0.05 s, but another program is still writing"),
    ):
        book.add(Water("ours"))


def test_a_program_that_dies_leaves_nothing_half_written(path):
    with program(DIE, path) as other:
        assert other.wait() == 9
    with Logbook.open(path) as book:
        assert book.waters() == (RECORDS[2],)
        assert len(book.history()) == len(RECORDS)


def test_programs_that_start_a_logbook_at_once_share_it(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    others = [program(START, path, f"water {k}") for k in range(4)]
    for other in others:
        assert other.stdout.readline() == "ready\n"
    for other in others:
        other.stdin.write("\n")
        other.stdin.flush()
    for other in others:
        other.communicate()
        assert other.returncode == 0
    with Logbook.open(path) as book:
        assert {water.water for water in book.waters()} == {f"water {k}" for k in range(4)}


def test_a_reading_sees_one_state_while_others_write(path):
    with Logbook.open(path) as reader, Logbook.open(path, write=True, today=today) as writer:
        with reader.reading():
            before = reader.facts("kitchen", TODAY)
            writer.add(Descale("kitchen", TODAY))
            assert reader.facts("kitchen", TODAY) == before
        assert len(reader.facts("kitchen", TODAY).descales) == 2


# ---- the last line of defence


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize(
    "change", ["UPDATE {0} SET {1} = {1}", "DELETE FROM {0}", "INSERT OR REPLACE INTO {0} SELECT * FROM {0}"]
)
def test_no_row_is_ever_changed_or_deleted(book, table, change):
    book.strike(LOOK, "x")
    book._connection.execute("INSERT INTO photograph VALUES (?, 4, 3, x'00')", (HASH,))
    book._connection.execute("INSERT INTO look_photograph VALUES (?, 1, ?)", (LOOK, HASH))
    book.rename("water", "tap", "mains")
    book.record_import("a folder", [LOOK])
    before = dump(book)
    column = book._connection.execute("SELECT name FROM pragma_table_info(?)", (table,)).fetchone()[0]
    with pytest.raises(sqlite3.IntegrityError):
        book._connection.execute(change.format(table, column))
    assert dump(book) == before


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO entry (kind, entered_at) VALUES ('other', 'x')",
        "INSERT INTO entry (kind, entered_at, replaces) VALUES ('boiler', 'x', 99)",
        "INSERT INTO entry (kind, entered_at, replaces) VALUES ('boiler', 'x', 2)",
        "INSERT INTO strike (entry, struck_at, reason) VALUES (509, 'x', 'x')",
        "INSERT INTO strike (entry, struck_at, reason) VALUES (1, 'x', '')",
        "INSERT INTO fill VALUES (50, 'attic', '2026-01-01', 'tap')",
        "INSERT INTO fill VALUES (50, 'kitchen', '2026-01-01', 'rain')",
        "INSERT INTO fill VALUES (50, 'kitchen', '2026-02-30', 'tap')",
        "INSERT INTO fill VALUES (50, 'kitchen', 'some day', 'tap')",
        "INSERT INTO fill VALUES (1, 'kitchen', '2026-01-01', 'tap')",
        "INSERT INTO water VALUES (50, 'tap', 'dear', '')",
        "INSERT INTO inspection VALUES (50, 'kitchen', '2026-01-01', 'lid', 1, 1, 'eye', '', 0, NULL, '')",
        "INSERT INTO inspection VALUES (50, 'kitchen', '2026-01-01', 'wall', 3, 2, 'eye', '', 0, NULL, '')",
        "INSERT INTO inspection VALUES (50, 'kitchen', '2026-01-01', 'wall', 3, 5, 'eye', '', 0, NULL, '')",
        "INSERT INTO inspection VALUES (50, 'kitchen', '2026-01-01', 'wall', 3, 4, 'nose', '', 0, NULL, '')",
        "INSERT INTO use VALUES (50, 'kitchen', '2026-01-02', '2026-01-01', 1, NULL, NULL, NULL, NULL)",
        "INSERT INTO use VALUES (50, 'kitchen', '2026-01-02', '2026-01-03', 1, 1, NULL, NULL, NULL)",
        "INSERT INTO use VALUES (50, 'kitchen', '2026-01-02', '2026-01-03', NULL, NULL, NULL, NULL, NULL)",
        "INSERT INTO use VALUES (50, 'kitchen', '2026-01-02', '2026-01-03', NULL, NULL, NULL, 2, 1)",
        "INSERT INTO prices VALUES (50, 'attic', '2026-01-01', 1, 1, 1, 1, 1, 1, 1)",
        "INSERT INTO prices VALUES (50, 'kitchen', '2026-01-01', -1, 1, 1, 1, 1, 1, 1)",
        "INSERT INTO prices VALUES (50, 'kitchen', '2026-01-01', 1, 1, 1, 1, 1, 1, 0)",
        "INSERT INTO absence VALUES (50, 'kitchen', '2026-01-02', '2026-01-02', '')",
        "INSERT INTO absence VALUES (50, 'attic', '2026-01-02', '2026-01-03', '')",
        f"INSERT INTO photograph VALUES ('{HASH}', 0, 3, x'00')",
        f"INSERT INTO photograph VALUES ('{HASH}', 4, 3, x'')",
        f"INSERT INTO photograph VALUES ('{HASH}', 4, 3, zeroblob(1000001))",
        f"INSERT INTO photograph VALUES ('{HASH}', 4, 3, 'text')",
        f"INSERT INTO photograph VALUES ('{HASH[1:]}', 4, 3, x'00')",
        f"INSERT INTO photograph VALUES ('{HASH.upper()}', 4, 3, x'00')",
        "INSERT INTO look_photograph VALUES (7, 1, '00')",
        f"INSERT INTO look_photograph VALUES (50, 1, '{OTHER}')",
        f"INSERT INTO look_photograph VALUES (7, 0, '{OTHER}')",
        f"INSERT INTO look_photograph VALUES (7, 1, '{OTHER}'), (7, 2, '{OTHER}')",
        f"INSERT INTO look_photograph VALUES (8, 1, '{OTHER}')",
    ],
)
def test_the_database_itself_refuses(book, statement):
    run = book._connection.execute
    run("INSERT INTO photograph VALUES (?, 4, 3, x'00')", (OTHER,))
    for kind in ("fill", "water", "inspection", "use", "prices", "absence"):
        if f"INTO {kind} VALUES (50" in statement:
            run("INSERT INTO entry (number, kind, entered_at) VALUES (50, ?, 'x')", (kind,))
    with pytest.raises(sqlite3.IntegrityError):
        run(statement)


def test_an_entry_has_one_successor_and_only_while_it_is_current(book):
    run = book._connection.execute
    book.amend(BOILER, {"tolerance": "0.2"})
    book.strike(DESCALE, "x")
    successor = "INSERT INTO entry (kind, entered_at, replaces) VALUES (?, 'x', ?)"
    for refused in ((successor, ("boiler", BOILER)), (successor, ("descale", DESCALE))):
        with pytest.raises(sqlite3.IntegrityError):
            run(*refused)
    with pytest.raises(sqlite3.IntegrityError, match="replaced cannot be struck"):
        run("INSERT INTO strike (entry, struck_at, reason) VALUES (?, 'x', 'x')", (BOILER,))


def test_the_database_takes_one_record_of_each_kind(book):
    held = {kind_of(entry.record).name for entry in book.history()}
    assert held == set(KINDS)
    assert book._connection.execute("PRAGMA foreign_key_check").fetchall() == []


def test_dates_in_the_database_are_iso(book):
    assert book._connection.execute("SELECT date FROM inspection").fetchone()[0] == date(2026, 4, 12).isoformat()
