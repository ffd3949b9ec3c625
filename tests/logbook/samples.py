"""A small logbook for tests, and a way to see that nothing in one has changed."""

import sqlite3
from datetime import date
from pathlib import Path

from scalemodel.logbook import database
from scalemodel.logbook.adoption import Adoption
from scalemodel.logbook.kinds import KINDS, kind_of
from scalemodel.logbook.records import (
    Absence,
    Boiler,
    Descale,
    Fill,
    Inspection,
    Prices,
    Site,
    Use,
    Water,
    WaterTest,
)
from scalemodel.logbook.store import Logbook

TODAY = date(2026, 6, 1)
INSTALLED = date(2026, 1, 10)

RECORDS = (
    Boiler("kitchen", 0.75, 93.0, INSTALLED),
    Site("kitchen", "gauge", look_cost=2.0),
    Water("tap", cost_per_litre=0.004),
    WaterTest("tap", date(2026, 1, 11), hardness=9.0, hardness_unit="dH", kit="drops"),
    Fill("kitchen", INSTALLED, "tap"),
    Use("kitchen", INSTALLED, date(2026, 2, 10), litres=42.0),
    Inspection("kitchen", date(2026, 4, 12), "gauge", 1, 2),
    Descale("kitchen", date(2026, 5, 1), acid="citric", acid_g=30.0),
    Prices("kitchen", INSTALLED, descale_materials=4.0, descale_hours=1.5, hour_cost=20.0, strip_down=120.0),
    Absence("kitchen", date(2026, 7, 1), date(2026, 7, 15), note="summer"),
    Adoption(date(2026, 5, 20), "[capture]\nmean = -0.5\nsd = 0.6"),
)
"""One record of each kind; in a fresh logbook they get the numbers 1 to 11. The absence lies ahead."""

BOILER, SITE, WATER, TEST, FILL, USE, LOOK, DESCALE, PRICES, ABSENCE, ADOPTION = range(1, 12)


def today() -> date:
    return TODAY


def filled(path: Path | None = None) -> Logbook:
    """An open logbook with RECORDS, in memory or at a path."""
    book = Logbook.in_memory(today) if path is None else Logbook.create(path, today)
    for record in RECORDS:
        book.add(record)
    return book


def aged(path: Path, version: int) -> tuple:
    """Lay a logbook of an earlier version at a path, with as much of RECORDS as it could hold, which it gives."""
    old = sqlite3.connect(path, isolation_level=None)
    for name, source in database.MIGRATIONS[:version]:
        old.executescript(source(name))
    old.execute(f"PRAGMA application_id = {database.APPLICATION_ID}")
    old.execute(f"PRAGMA user_version = {version}")
    old.execute("PRAGMA journal_mode = WAL").fetchall()
    with filled() as book:
        there = {name for (name,) in old.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        kinds = [name for name in KINDS if name in there]
        for table in ("entry", "boiler_name", "site_name", "water_name", *kinds):
            columns = [name for (name,) in old.execute("SELECT name FROM pragma_table_info(?)", (table,))]
            listed, marks = ", ".join(f'"{name}"' for name in columns), ", ".join("?" for _ in columns)
            known = f" WHERE kind IN ({', '.join(map(repr, kinds))})" if table == "entry" else ""
            rows = book._connection.execute(f"SELECT {listed} FROM {table}{known}").fetchall()
            old.executemany(f"INSERT INTO {table} ({listed}) VALUES ({marks})", rows)
    old.close()
    return tuple(record for record in RECORDS if kind_of(record).name in kinds)


def sqlite_error(code: int, said: str = "said in some words") -> sqlite3.OperationalError:
    """An error as SQLite gives it, told by its code and not by its words."""
    error = sqlite3.OperationalError(said)
    error.sqlite_errorcode = code
    return error


def dump(book: Logbook) -> str:
    """All that the logbook's database holds, as SQL."""
    return "\n".join(book._connection.iterdump())
