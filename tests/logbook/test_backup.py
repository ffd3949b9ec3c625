"""A copy that is made while others write, checked before it gets its name; and the copy kept before a migration."""

import sqlite3
import threading
from contextlib import closing

import pytest

from scalemodel.errors import LogbookError
from scalemodel.logbook import backup, database
from scalemodel.logbook.records import Water
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import RECORDS, TODAY, aged, dump, filled, sqlite_error, today

SECOND = "CREATE TABLE extra (x INTEGER) STRICT;\nINSERT INTO extra VALUES (7);\n"


def test_a_backup_is_the_logbook(path, tmp_path):
    copy = tmp_path / "deep" / "copy.sqlite3"
    with Logbook.open(path, today=today) as book:
        assert book.backup(copy) == len(RECORDS)
        with Logbook.open(copy, today=today) as other:
            assert dump(other) == dump(book)
            assert other.facts("kitchen", TODAY) == book.facts("kitchen", TODAY)
            assert not other.verify().faults
    assert [one.name for one in copy.parent.iterdir()] == ["copy.sqlite3"]  # one file by itself, nothing left aside


def test_a_backup_can_be_written_to(path, tmp_path):
    with Logbook.open(path) as book:
        book.backup(tmp_path / "copy.sqlite3")
    with Logbook.open(tmp_path / "copy.sqlite3", write=True) as other:
        other.add(Water("rain"))
    with Logbook.open(path) as book:
        assert len(book.waters()) == 1


def test_a_logbook_in_memory_can_be_backed_up(book, tmp_path):
    assert book.backup(tmp_path / "copy.sqlite3") == len(RECORDS)


def test_a_backup_while_somebody_writes_is_one_state(path, tmp_path):
    """The writer's transaction is open: the copy holds nothing of it, and does not wait for its end."""
    with Logbook.open(path, write=True, today=today) as writer, Logbook.open(path) as reader, writer.transaction():
        writer.add(Water("rain"))
        assert reader.backup(tmp_path / "copy.sqlite3") == len(RECORDS)


def test_backups_while_others_write_all_the_time_are_sound(path, tmp_path):
    stop = threading.Event()

    def write() -> None:
        with Logbook.open(path, write=True, today=today) as writer:
            number = 0
            while not stop.is_set():
                writer.add(Water(f"water {(number := number + 1)}"))

    busy = threading.Thread(target=write)
    busy.start()
    try:
        with Logbook.open(path, today=today) as book:
            counts = [book.backup(tmp_path / f"copy {k}.sqlite3") for k in range(6)]
    finally:
        stop.set()
        busy.join()
    assert counts == sorted(counts)
    for k, count in enumerate(counts):
        with Logbook.open(tmp_path / f"copy {k}.sqlite3", today=today) as copy:
            found = copy.verify()
            assert (found.entries, found.faults) == (count, ())


def test_a_file_that_is_there_is_kept_unless_it_is_said_to_be_replaced(path, tmp_path):
    target = tmp_path / "copy.sqlite3"
    with Logbook.open(path) as book:
        book.backup(target)
        before = target.read_bytes()
        with pytest.raises(LogbookError, match=r"there is a file at .* already; name another"):
            book.backup(target)
        assert target.read_bytes() == before
        with Logbook.open(path, write=True) as writer:
            writer.add(Water("rain"))
        assert book.backup(target, replace=True) == len(RECORDS) + 1


def test_a_file_that_comes_while_the_copy_is_made_is_kept(path, tmp_path, monkeypatch):
    target, sound = tmp_path / "copy.sqlite3", backup._sound

    def meanwhile(copy):
        target.write_text("somebody else's")
        return sound(copy)

    monkeypatch.setattr(backup, "_sound", meanwhile)
    with Logbook.open(path) as book, pytest.raises(LogbookError, match="there is a file"):
        book.backup(target)
    assert target.read_text() == "somebody else's"
    assert sorted(one.name for one in tmp_path.iterdir() if "part" in one.name) == []


def test_what_is_never_replaced(path, tmp_path):
    other = tmp_path / "shopping.txt"
    other.write_text("bread " * 100)
    foreign = tmp_path / "other.db"
    connection = sqlite3.connect(foreign)
    connection.execute("CREATE TABLE other (x)")
    connection.close()
    with Logbook.open(path) as book:
        for target, said in ((path, "is the logbook itself"), (other, "is not a logbook"), (foreign, "not a logbook")):
            before = target.read_bytes()
            with pytest.raises(LogbookError, match=said):
                book.backup(target, replace=True)
            assert target.read_bytes() == before
        with pytest.raises(LogbookError, match="is a folder"):
            book.backup(tmp_path, replace=True)


def test_a_backup_in_use_is_not_replaced(path, tmp_path):
    target = tmp_path / "copy.sqlite3"
    with Logbook.open(path) as book:
        book.backup(target)
        with Logbook.open(target, write=True) as busy:
            busy.add(Water("rain"))
            with pytest.raises(LogbookError, match="is in use, or was not closed"):
                book.backup(target, replace=True)


def test_a_copy_that_is_not_sound_gets_no_name(path, tmp_path, monkeypatch):
    def rotten(copy):
        raise sqlite3.DatabaseError("the copy is not sound (a page is torn)")

    monkeypatch.setattr(backup, "_sound", rotten)
    with Logbook.open(path) as book, pytest.raises(LogbookError, match=r"cannot be written: the copy is not sound"):
        book.backup(tmp_path / "copy.sqlite3")
    assert [one.name for one in tmp_path.iterdir() if "copy" in one.name or "part" in one.name] == []


def test_where_no_file_can_be(path, tmp_path):
    (tmp_path / "file").touch()
    with Logbook.open(path) as book:
        for target in (tmp_path / "file" / "copy.sqlite3", tmp_path / ("x" * 300)):
            with pytest.raises(LogbookError, match="cannot be written"):
                book.backup(target)


# ---- before a migration


@pytest.fixture
def second(monkeypatch):
    """As if the program knew one version more."""
    first = database.MIGRATIONS
    monkeypatch.setattr(database, "MIGRATIONS", (*first, ("second.sql", lambda name: SECOND)))
    return first


def test_the_logbook_of_an_earlier_version_is_kept(path, second, monkeypatch):
    told = []
    Logbook.open(path, write=True, told=told.append).close()
    version = len(database.MIGRATIONS)
    kept = path.with_name(f"logbook.sqlite3.before-version-{version}")
    assert told == [f"the logbook {str(path)!r} is now of version {version}; as it was it is kept in {str(kept)!r}"]
    Logbook.open(path, write=True, told=told.append).close()
    assert len(told) == 1
    with Logbook.open(path, today=today) as book:
        assert not book.verify().faults
        facts = book.facts("kitchen", TODAY)
    monkeypatch.setattr(database, "MIGRATIONS", second)
    with Logbook.open(kept, today=today) as old:
        assert old.facts("kitchen", TODAY) == facts
        assert not old.verify().faults


@pytest.mark.parametrize("version", range(1, len(database.MIGRATIONS)))
def test_a_logbook_of_each_earlier_version_is_brought_up_to_date(tmp_path, version):
    """By the released scripts themselves: all that it held is there, its copy is as it was, and both are sound."""
    path, told = tmp_path / "old.sqlite3", []
    held = aged(path, version)
    before = path.read_bytes()
    with Logbook.open(path, today=today) as read:
        assert tuple(entry.record for entry in read.history()) == held
        assert not read.verify().faults
    assert path.read_bytes() == before
    with Logbook.open(path, write=True, today=today, told=told.append) as book:
        assert tuple(entry.record for entry in book.history()) == held
        assert not book.verify().faults
        book.add(Water("rain"), key="a-key-of-its-own")
    (kept,) = tmp_path.glob("*.before-version-*")
    assert str(kept) in told[0]
    with closing(sqlite3.connect(kept)) as old:
        assert old.execute("PRAGMA user_version").fetchone() == (version,)
        assert old.execute("SELECT count(*) FROM entry").fetchone() == (len(held),)
    with Logbook.open(kept, today=today) as book:
        assert book.waters() == (RECORDS[2],)


def test_an_earlier_copy_is_never_overwritten(path, second):
    first = f"logbook.sqlite3.before-version-{len(database.MIGRATIONS)}"
    for name in (first, f"{first}-2"):
        path.with_name(name).write_text("an earlier copy")
    told = []
    Logbook.open(path, write=True, told=told.append).close()
    assert told[0].endswith(f"{first}-3'")
    assert path.with_name(first).read_text() == "an earlier copy"


def test_no_copy_no_migration(path, second, monkeypatch):
    def full(reader, target):
        raise sqlite_error(sqlite3.SQLITE_FULL, "database or disk is full")

    monkeypatch.setattr(backup, "copy_whole", full)
    with pytest.raises(LogbookError, match="the disk is full; nothing was written"):
        Logbook.open(path, write=True)
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA user_version").fetchone() == (len(second),)
    connection.close()


def test_a_new_logbook_needs_no_copy(tmp_path, second):
    told = []
    Logbook.open(tmp_path / "new.sqlite3", write=True, told=told.append).close()
    assert (told, list(tmp_path.glob("*before*"))) == ([], [])
    Logbook.in_memory().close()


def test_two_that_meet_at_a_migration_do_it_once(path, second):
    told, gate = [], threading.Barrier(4)

    def begin() -> None:
        gate.wait()
        Logbook.open(path, write=True, told=told.append).close()

    hands = [threading.Thread(target=begin) for _ in range(4)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    assert len(told) == 1
    assert len(list(path.parent.glob("*.before-version-*"))) == 1
    with Logbook.open(path, today=today) as book:
        assert book._connection.execute("SELECT count(*) FROM extra").fetchone() == (1,)


@pytest.mark.parametrize("ending", database.SIDE_FILES)
@pytest.mark.parametrize("replace", [False, True])
def test_a_backup_never_takes_the_place_of_a_side_file(tmp_path, ending, replace):
    path = tmp_path / "logbook.sqlite3"
    filled(path).close()
    with Logbook.open(path) as book, pytest.raises(LogbookError, match="side file"):
        book.backup(tmp_path / f"logbook.sqlite3{ending}", replace)
    with Logbook.open(path) as book:
        assert len(book.history()) == len(RECORDS)
