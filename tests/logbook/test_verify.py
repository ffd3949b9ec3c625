"""What is wrong with a logbook is found: each sort of damage, done on purpose, gives its own line."""

import contextlib
import sqlite3
from datetime import date, timedelta

import pytest

from scalemodel.logbook.records import Descale, Inspection
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import BOILER, DESCALE, FILL, LOOK, RECORDS, TODAY, USE, today

FREE = (
    "DROP TRIGGER entry_no_update", "DROP TRIGGER entry_no_delete", "DROP TRIGGER use_no_update",
    "DROP TRIGGER use_no_delete", "DROP TRIGGER inspection_no_update", "DROP TRIGGER fill_no_delete",
    "DROP TRIGGER water_no_update", "DROP TRIGGER water_name_no_delete", "DROP TRIGGER strike_current",
    "DROP TRIGGER boiler_no_update", "DROP TRIGGER descale_kind",
)  # fmt: skip
"""What has to go before a record can be changed behind the program's back."""


def damaged(path, *statements) -> list[str]:
    """The faults of a logbook after statements of another program that holds to no rule, but puts the triggers back."""
    connection = sqlite3.connect(path, isolation_level=None)
    triggers = dict(connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    connection.execute("PRAGMA foreign_keys = OFF")
    connection.execute("PRAGMA ignore_check_constraints = ON")
    for drop in FREE:
        connection.execute(drop)
    for statement in statements:
        connection.execute(statement)
    for drop in FREE:
        with contextlib.suppress(sqlite3.OperationalError):  # the table may be gone
            connection.execute(triggers[drop.split()[-1]])
    connection.close()
    with Logbook.open(path, today=today) as book:
        found = book.verify()
    return [str(fault) for fault in found.faults]


def test_a_sound_logbook_has_no_fault(book, path):
    with Logbook.open(path, today=today) as other:
        for one in (book, other):
            found = one.verify()
            assert (found.entries, found.current, found.faults, found.remarks) == (len(RECORDS), len(RECORDS), (), ())
    book.amend(LOOK, {"grade": "3"})
    book.strike(DESCALE, "x")
    found = book.verify()
    assert (found.entries, found.current, found.faults) == (len(RECORDS) + 1, len(RECORDS) - 1, ())
    assert damaged(path) == []


NAMED = "INSERT INTO naming (kind, boiler, name, called, since, named_at, reason) VALUES ({}, 'then', '')"


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        (f"UPDATE use SET litres = -1 WHERE entry = {USE}", f"record {USE}: litres: '-1"),
        (f"UPDATE use SET from_date = 'soon' WHERE entry = {USE}", f"record {USE}: it cannot be read"),
        (f"UPDATE inspection SET grade_low = 4 WHERE entry = {LOOK}", f"record {LOOK}: grade_high: '2' will not do"),
        (f"UPDATE inspection SET grade_high = 7 WHERE entry = {LOOK}", f"record {LOOK}: grade_high: '7' will not do"),
        (f"UPDATE inspection SET date = '2027-01-01' WHERE entry = {LOOK}", f"record {LOOK}: date: '2027-01-01'"),
        (f"UPDATE inspection SET date = '2025-01-01' WHERE entry = {LOOK}", "when 'kitchen' was installed, or later"),
        (f"UPDATE inspection SET site = 'lid' WHERE entry = {LOOK}", "refers to one of 'site_name' that is not there"),
        (f"UPDATE inspection SET note = ' a ' WHERE entry = {LOOK}", "not written as this program writes it"),
        (f"UPDATE use SET litres = 99999 WHERE entry = {USE}", f"record {USE}: 99999 L in 31 days is more than 500"),
        (f"UPDATE boiler SET start = 'foul' WHERE entry = {BOILER}", f"record {BOILER}: start: 'foul' will not do"),
        (f"DELETE FROM use WHERE entry = {USE}", f"record {USE}: it stands in no table, not once in use"),
        (f"DELETE FROM entry WHERE number = {USE}", f"record {USE}: it stands in use, not once in no table"),
        (f"INSERT INTO descale SELECT {USE}, 'kitchen', '2026-05-02', 'full', '', NULL, NULL, ''",
         f"record {USE}: it stands in use and descale, not once in use"),
        ("DELETE FROM water_name", "refers to one of 'water_name' that is not there"),
        (f"UPDATE entry SET kind = 'kettle' WHERE number = {USE}", f"record {USE}: its kind 'kettle' is none"),
        (f"UPDATE entry SET entered_at = '2026-05-01 12:00' WHERE number = {USE}", "record 6: the time of its entry"),
        (f"UPDATE entry SET entered_at = '2026-05-01T12:00:00+02:00' WHERE number = {USE}", "is not one in UTC"),
        (f"UPDATE entry SET replaces = {DESCALE} WHERE number = {LOOK}", f"amends record {DESCALE}, which is not an e"),
        (f"UPDATE entry SET replaces = {LOOK} WHERE number = {LOOK}", f"amends record {LOOK}, which is not an earlier"),
        (f"UPDATE entry SET replaces = {FILL} WHERE number = {LOOK}", f"amends record {FILL}, which is of another kin"),
        (f"UPDATE entry SET replaces = 99 WHERE number = {LOOK}", f"record {LOOK}: its line in table 'entry' refers"),
        (f"INSERT INTO strike (entry, struck_at, reason) VALUES ({USE}, 'yesterday', 'x')",
         f"record {USE}: the time of its strike, 'yesterday'"),
        ("INSERT INTO strike (entry, struck_at, reason) VALUES (99, '2026-05-01T12:00:00+00:00', 'x')",
         "record 99: its line in table 'strike'"),
        (NAMED.format("'kettle', '', 'x', 'y', '2026-05-01'"), "change of name 1 is of 'kettle', which has none"),
        (NAMED.format("'water', '', 'rain', 'y', '2026-05-01'"), "is of a water 'rain' that is not there"),
        (NAMED.format("'site', 'kitchen', 'lid', 'y', '2026-05-01'"), "is of a site 'lid' that is not there"),
        (NAMED.format("'water', '', 'tap', 'y', 'soon'"), "change of name 1 is since 'soon', which is no day"),
        ("INSERT INTO imported VALUES (1, 7)", "refers to one of 'import' that is not there"),
        ("DROP TRIGGER water_no_delete", "the trigger 'water_no_delete' is missing"),
        ("DROP INDEX use_by_boiler", "the index 'use_by_boiler' is missing"),
        ("CREATE TABLE mine (x)", "the table 'mine' is none of a logbook"),
        ("DROP TABLE strike", "the table 'strike' is missing"),
    ],
)  # fmt: skip
def test_damage_is_named(path, statement, said):
    faults = damaged(path, statement)
    assert any(said in fault for fault in faults), faults
    assert all("\n" not in fault for fault in faults)


def test_a_chain_that_forks_or_was_struck_as_well_is_named(path):
    with Logbook.open(path, write=True, today=today) as book:
        second = book.amend(LOOK, {"grade": "3"})
        third = book.amend(second, {"grade": "2"})
        book.strike(USE, "x")
    assert f"record {second}: it was amended by {third} and struck as well" in damaged(
        path, f"INSERT INTO strike (entry, struck_at, reason) VALUES ({second}, '2026-05-01T12:00:00+00:00', 'x')"
    )
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA writable_schema = ON")  # the table's own UNIQUE stands in the way of a fork
    loose = "replace(sql, 'replaces INTEGER UNIQUE', 'replaces INTEGER')"
    connection.execute(f"UPDATE sqlite_master SET sql = {loose} WHERE name = 'entry'")
    connection.execute("DELETE FROM sqlite_master WHERE name = 'sqlite_autoindex_entry_1'")
    connection.close()
    faults = damaged(path, "VACUUM", f"UPDATE entry SET replaces = {LOOK} WHERE number = {third}")
    assert f"record {LOOK}: it was amended more than once, by records {second}, {third}" in faults
    assert "the table 'entry' is not as this program makes it" in faults


def test_a_page_that_another_hand_wrote_is_found(path):
    with sqlite3.connect(path) as connection:
        root, size = (
            connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'use_by_boiler'").fetchone()[0],
            connection.execute("PRAGMA page_size").fetchone()[0],
        )
    connection.close()
    torn = bytearray(path.read_bytes())
    torn[(root - 1) * size : root * size] = bytes(size)
    path.write_bytes(torn)
    with Logbook.open(path, today=today) as book:
        assert "damaged" in str(book.verify().faults[0])


@pytest.mark.parametrize(("days", "faults"), [(0, 0), (1, 0), (2, 1)])
def test_the_day_that_it_is_elsewhere_is_no_fault(path, days, faults):
    with Logbook.open(path, write=True, today=today) as book:
        book.add(Descale("kitchen", TODAY))
    with Logbook.open(path, today=lambda: TODAY - timedelta(days=days)) as book:
        assert len(book.verify().faults) == faults


def test_twins_are_remarked_on(book):
    number = book.add(RECORDS[LOOK - 1], again=True)
    found = book.verify()
    assert found.faults == ()
    assert [(one.record, one.problem) for one in found.remarks] == [
        (number, f"it says just what record {LOOK} says; strike one if the two are one")
    ]


def test_a_look_after_no_descale_is_remarked_on(book):
    day = date(2026, 4, 20)
    number = book.add(Inspection("kitchen", day, "wall", 0, 0, after_descale=True))
    (remark,) = book.verify().remarks
    assert str(remark).startswith(f"record {number}: the look is said to be after a descale, but none of 'kitchen'")
    assert f"`scalemodel amend {number} after_descale=no`" in str(remark)


def test_checking_changes_nothing(path):
    before = path.read_bytes()
    with Logbook.open(path, today=today) as book:
        book.verify()
    assert path.read_bytes() == before


def test_an_index_that_has_lost_its_entries_is_found(path):
    connection = sqlite3.connect(path)
    (root,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'use_by_boiler'").fetchone()
    (size,) = connection.execute("PRAGMA page_size").fetchone()
    connection.close()
    content = bytearray(path.read_bytes())
    empty = b"\x0a\0\0\0\0" + size.to_bytes(2, "big") + b"\0"  # a leaf of an index, without a cell
    content[(root - 1) * size : root * size] = empty.ljust(size, b"\0")
    path.write_bytes(content)
    with Logbook.open(path, today=today) as book:
        assert "use_by_boiler" in " ".join(str(fault) for fault in book.verify().faults)
