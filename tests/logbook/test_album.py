"""Photographs in the logbook: with their look, through amendments and strikes, backups, and what damage is found."""

import contextlib
import sqlite3
from dataclasses import replace

import pytest

from scalemodel.errors import BadValueError, RecordClashError, ScalemodelError
from scalemodel.logbook.photographs import prepare
from scalemodel.logbook.records import Descale
from scalemodel.logbook.store import Logbook
from tests.logbook.pictures import photograph
from tests.logbook.samples import LOOK, RECORDS, TODAY, dump, today

SEEN = replace(RECORDS[LOOK - 1], note="by lamp")
KEY = "a-key-of-its-own"
FREE = ("photograph_no_update", "photograph_no_delete", "look_photograph_no_update", "look_photograph_no_delete",
        "look_photograph_kind")  # fmt: skip


def jpegs(book, number):
    return [one.jpeg for one in book.photographs(number)]


def test_a_look_is_kept_with_its_photographs_in_their_order(book):
    number = book.add(SEEN, photos=[photograph(3), photograph(1), photograph(2), photograph(1)])
    assert jpegs(book, number) == [prepare(photograph(k)).jpeg for k in (3, 1, 2)]
    assert jpegs(book, LOOK) == []
    assert [entry.photographs for entry in book.history()][-1] == 3
    assert book.photograph(book.photographs(number)[0].sha256) == prepare(photograph(3))
    assert not book.verify().faults


def test_facts_and_records_are_as_without(book):
    bare = book.facts("kitchen", TODAY)
    with Logbook.in_memory(today) as other:
        for record in RECORDS:
            other.add(record, photos=[photograph()] if record == RECORDS[LOOK - 1] else ())
        assert other.facts("kitchen", TODAY) == bare


def test_one_bad_photograph_and_nothing_is_stored(book):
    before = dump(book)
    for photos in ([photograph(), b"x"], [photograph()[:-300]], [photograph()] * 21):
        with pytest.raises(BadValueError, match="photo"):
            book.add(SEEN, photos=photos)
    assert dump(book) == before


def test_only_a_look_has_photographs(book):
    before = dump(book)
    with pytest.raises(BadValueError, match="photographs of an inspection alone"):
        book.add(Descale("kitchen", TODAY), photos=[photograph()])
    assert dump(book) == before


def test_a_refused_look_leaves_no_photograph(book):
    before = dump(book)
    with pytest.raises(RecordClashError):
        book.add(RECORDS[LOOK - 1], photos=[photograph()])
    assert dump(book) == before


def test_an_amended_look_keeps_its_photographs_and_a_struck_one_too(book):
    first = book.add(SEEN, photos=[photograph(1), photograph(2)])
    second = book.amend(first, {"grade": "3"})
    assert jpegs(book, second) == jpegs(book, first) != []
    assert [(look.number, len(hashes)) for look, hashes in book.pictured("kitchen")] == [(LOOK, 0), (second, 2)]
    book.strike(second, "the wrong boiler")
    assert len(jpegs(book, second)) == 2
    assert [look.number for look, _ in book.pictured("kitchen")] == [LOOK]
    assert book._connection.execute("SELECT count(*) FROM photograph").fetchone() == (2,)  # each held once
    assert not book.verify().faults


def test_a_forgotten_photograph_is_added_behind_the_others(book):
    first = book.add(SEEN, photos=[photograph(1)])
    second = book.add_photographs(first, [photograph(1), photograph(2)], "forgotten", key=KEY)
    before = dump(book)
    assert book.entry(second).record == book.entry(first).record
    assert (book.entry(second).replaces, book.entry(second).reason) == (first, "forgotten")
    assert jpegs(book, second) == [prepare(photograph(k)).jpeg for k in (1, 2)]
    assert len(jpegs(book, first)) == 1
    assert book.add_photographs(first, [photograph(1), photograph(2)], key=KEY) == second  # sent again
    refused = (
        (second, [photograph(2)], None, "has these photographs already"),
        (first, [photograph(3)], None, f"was amended by {second}"),
        (first, [photograph(3)], KEY, "which has other photographs"),
        (LOOK, [photograph(2)], KEY, "its key is that of record"),
        (1, [photograph(2)], None, "photographs of an inspection alone"),
        (second, [photograph(k) for k in range(3, 22)], None, "at most 20 photographs"),
        (second, [b"x"], None, "a photograph as JPEG or PNG"),
    )
    for number, photos, key, said in refused:
        with pytest.raises(ScalemodelError, match=said):
            book.add_photographs(number, photos, key=key)
    assert dump(book) == before
    assert not book.verify().faults


def test_looks_with_photographs_are_found_by_date(book):
    early = book.add(replace(SEEN, date=RECORDS[0].installed_on), photos=[photograph(2)])
    late = book.add(SEEN, photos=[photograph(1), photograph(2)])
    found = [(look, hashes) for look, hashes in book.pictured("kitchen") if hashes]
    assert [look.number for look, _ in found] == [early, late]
    assert [look.number for look, _ in book.pictured()] == [early, LOOK, late]
    assert [[book.photograph(one).jpeg for one in hashes] for _, hashes in found] == [
        jpegs(book, early),
        jpegs(book, late),
    ]


def test_what_is_not_there(book):
    for number in (0, 999):
        with pytest.raises(BadValueError, match="record number"):
            book.photographs(number)
    for sha256 in ("ab" * 32, "", "../../etc/passwd"):
        with pytest.raises(BadValueError, match="SHA-256 of a photograph"):
            book.photograph(sha256)


def test_under_a_key_the_photographs_count_too(book):
    number = book.add(SEEN, key=KEY, photos=[photograph(1)])
    before = dump(book)
    assert book.add(SEEN, key=KEY, photos=[photograph(1)]) == number
    for others in ([], [photograph(2)], [photograph(1), photograph(2)]):
        with pytest.raises(RecordClashError, match=f"its key is that of record {number}, which has other photographs"):
            book.add(SEEN, key=KEY, photos=others)
    assert dump(book) == before


def test_a_backup_and_a_moved_file_keep_them(path, tmp_path):
    with Logbook.open(path, write=True, today=today) as book:
        number = book.add(SEEN, photos=[photograph(1)])
        book.backup(tmp_path / "copy.sqlite3")
    moved = path.rename(tmp_path / "moved.sqlite3")
    for place in (tmp_path / "copy.sqlite3", moved):
        with Logbook.open(place, today=today) as book:
            assert jpegs(book, number) == [prepare(photograph(1)).jpeg]
            assert not book.verify().faults


def damaged(path, *statements) -> list[str]:
    """The faults of a logbook after statements of another program, which puts the triggers back."""
    connection = sqlite3.connect(path, isolation_level=None)
    triggers = dict(connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    connection.execute("PRAGMA ignore_check_constraints = ON")
    for name in FREE:
        connection.execute(f"DROP TRIGGER {name}")
    for statement, *bound in statements:
        connection.execute(statement, bound)
    for name in FREE:
        with contextlib.suppress(sqlite3.OperationalError):
            connection.execute(triggers[name])
    connection.close()
    with Logbook.open(path, today=today) as book:
        return [str(fault) for fault in book.verify().faults]


ONE = prepare(photograph(1))
WITH_COMMENT = ONE.jpeg[:20] + b"\xff\xfe\x00\x08secret" + ONE.jpeg[20:]


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        (("UPDATE photograph SET jpeg = ?", ONE.jpeg[:-3] + b"\0\xff\xd9"), "record 12: the photograph {0} is not the"),
        (
            ("UPDATE photograph SET jpeg = ?", b""),
            "record 12: the photograph {0} is not the file that it was (SHA-256)",
        ),
        (("UPDATE photograph SET width = 61",), "record 12: the photograph {0} is not a plain JPEG of 61 x 40 pixels"),
        (("DELETE FROM look_photograph",), "the photograph {0} belongs to no look"),
        (("DELETE FROM photograph",), "its line in table 'look_photograph' refers to one of 'photograph'"),
        (("UPDATE look_photograph SET place = 3",), "record 12: its photographs stand at 3, not at 1 to 1"),
        (("UPDATE look_photograph SET entry = 8",), "record 8: it is no inspection, but has photographs"),
        (("DROP TABLE look_photograph",), "the table 'look_photograph' is missing"),
    ],
)
def test_damage_is_named(path, statement, said):
    with Logbook.open(path, write=True, today=today) as book:
        book.add(SEEN, photos=[photograph(1)])
    faults = damaged(path, statement)
    assert any(said.format(ONE.sha256[:12]) in fault for fault in faults), faults


def test_a_photograph_that_tells_more_is_no_plain_one(path):
    """Another program put it there, hash and all."""
    from hashlib import sha256

    told = sha256(WITH_COMMENT).hexdigest()
    with Logbook.open(path, write=True, today=today) as book:
        number = book.add(SEEN, photos=[])
    faults = damaged(
        path,
        ("INSERT INTO photograph VALUES (?, 60, 40, ?)", told, WITH_COMMENT),
        ("INSERT INTO look_photograph VALUES (?, 1, ?)", number, told),
    )
    assert faults == [f"record {number}: the photograph {told[:12]} is not a plain JPEG of 60 x 40 pixels"]


def test_an_undamaged_one_has_no_fault(path):
    with Logbook.open(path, write=True, today=today) as book:
        book.add(SEEN, photos=[photograph(1)])
    assert damaged(path) == []
