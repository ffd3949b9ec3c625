"""The tables are held to the records: columns, sorts, what may be blank, words, and ranges no tighter than the rule's.

A released script is never edited, so the range that counts is the record's own; the CHECK behind it is the last line
of defence, and may be looser (a pH of 0 to 14), never tighter.
"""

import re
import sqlite3
from dataclasses import replace
from datetime import date

import pytest

from scalemodel.logbook.field_types import Choice, Day, Number, Temperature, Whole, YesNo
from scalemodel.logbook.kinds import KINDS, kind_of
from scalemodel.logbook.records import Use
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import DESCALE, LOOK, PRICES, RECORDS, SITE, TEST, TODAY, today

SORTS = {float: "REAL", int: "INTEGER", str: "TEXT"}
EVERY_FIELD = [(kind.name, name) for kind in KINDS.values() for name in kind.columns]

FULL = {kind_of(record).name: [record] for record in RECORDS}
FULL["boiler"] = [
    replace(RECORDS[0], area_cm2=500.0, litres_per_drink=0.2, filled_by="pump", graded="patch", retired_on=TODAY)
]
FULL["site"] = [replace(RECORDS[SITE - 1], relative_deposit=1.0, relative_log_sd=0.5)]
FULL["water_test"] = [
    replace(
        RECORDS[TEST - 1],
        tds_mg_l=300.0,
        tds_factor=0.5,
        conductivity_us_cm=600.0,
        calcium=8.0,
        calcium_unit="dH",
        alkalinity=7.0,
        alkalinity_unit="dH",
        ph=7.5,
        temperature_c=15.0,
    )
]
FULL["use"] = [
    Use("kitchen", date(2026, 1, 10), date(2026, 2, 10), **amount)
    for amount in (
        {"litres": 42.0},
        {"drinks": 200.0, "litres_per_drink": 0.2},
        {"meter_from_l": 0.0, "meter_to_l": 1e9},
    )
]
FULL["inspection"] = [replace(RECORDS[LOOK - 1], grade_low=0, grade_high=4, thickness_um=100.0)]
FULL["descale"] = [replace(RECORDS[DESCALE - 1], scale_recovered_g=3.0)]
FULL["prices"] = [
    replace(RECORDS[PRICES - 1], descale_wear=1.0, strip_down=9.0, cartridge_cost=14.0, cartridge_litres=60.0)
]
"""Records in which, between them, every field that can be is filled, each free to move within its range."""


@pytest.fixture(scope="module")
def connection():
    with Logbook.in_memory(today) as book:
        book._connection.execute("PRAGMA foreign_keys = OFF")
        yield book._connection


def test_the_samples_fill_every_field():
    empty = {
        (name, field)
        for name, records in FULL.items()
        for field in KINDS[name].columns
        if all(getattr(record, field) is None for record in records)
    }
    assert not empty


def insert(connection, record, **changed):
    """Put a record's values into its table, some changed to what the database would be given; then take them back."""
    kind = kind_of(record)
    held = {name: getattr(record, name) for name in kind.columns}
    stored = {name: None if value is None else kind.column(name).rule.store(value) for name, value in held.items()}
    connection.execute("SAVEPOINT trial")
    try:
        values = [
            connection.execute("INSERT INTO entry (kind, entered_at) VALUES (?, 'now')", (kind.name,)).lastrowid,
            *(stored | changed).values(),
        ]
        connection.execute(f"INSERT INTO {kind.name} VALUES ({', '.join('?' for _ in values)})", values)
    finally:
        connection.execute("ROLLBACK TO trial")
        connection.execute("RELEASE trial")


def table(connection, name: str) -> str:
    return connection.execute("SELECT sql FROM sqlite_master WHERE type = 'table' AND name = ?", (name,)).fetchone()[0]


def words_in(sql: str, column: str) -> list[tuple[str, ...]]:
    """The words that a CHECK of a column admits."""
    found = re.findall(rf"\b{column} IN \(\s*('[^)]*')\)", sql)
    return [tuple(re.findall("'([^']*)'", words)) for words in found]


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_columns_are_the_fields_of_their_sort_and_blank_where_they_may_be(connection, kind):
    info = connection.execute('SELECT name, type, "notnull" FROM pragma_table_info(?)', (kind.name,)).fetchall()
    assert info[0][:2] == ("entry", "INTEGER")
    said = [(name, SORTS[one.rule.stored_as], int(not one.optional)) for name, one in kind.fields.items()]
    assert info[1:] == said


def test_the_ledger_knows_every_kind(connection):
    assert words_in(table(connection, "entry"), "kind") == [tuple(KINDS)]


@pytest.mark.parametrize(("name", "field"), EVERY_FIELD)
def test_what_a_rule_allows_the_table_takes(connection, name, field):
    rule = KINDS[name].column(field).rule
    record = next(one for one in FULL[name] if getattr(one, field) is not None)
    if isinstance(rule, Choice):
        assert words_in(table(connection, name), field) == [rule.options]
    if isinstance(rule, (Number, Whole)):
        values = (rule.low, rule.high)
    elif isinstance(rule, YesNo):
        values = (True, False)
    else:
        values = getattr(rule, "options", ())
    for value in values:
        insert(connection, record, **{field: rule.store(value)})


@pytest.mark.parametrize(("name", "field"), EVERY_FIELD)
def test_what_is_absurd_the_table_refuses(connection, name, field):
    rule = KINDS[name].column(field).rule
    record = next(one for one in FULL[name] if getattr(one, field) is not None)
    absurd = []
    if isinstance(rule, Whole):
        absurd = [rule.low - 1, rule.high + 1]
    elif isinstance(rule, Temperature):
        absurd = [-1.0, 131.0]
    elif isinstance(rule, Number):
        absurd = [-1.0] if rule.low == 0 else [0.0, -1.0] if field != "ph" else [-1.0, 15.0]
    elif isinstance(rule, (Choice, YesNo)):
        absurd = [2] if isinstance(rule, YesNo) else ["", "other", rule.options[0].upper() + "x"]
    elif isinstance(rule, Day):
        absurd = ["", "2026-13-01", "2026-02-30", "20260101"]
    for value in absurd:
        with pytest.raises(sqlite3.IntegrityError, match="CHECK constraint failed"):
            insert(connection, record, **{field: value})
    if not KINDS[name].column(field).optional:
        with pytest.raises(sqlite3.IntegrityError, match="NOT NULL constraint failed"):
            insert(connection, record, **{field: None})
