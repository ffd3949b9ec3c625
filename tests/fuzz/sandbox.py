"""A small workshop on disk: a logbook that holds every kind of record, and what lies beside it, to be copied."""

from __future__ import annotations

import atexit
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from functools import cache
from pathlib import Path

from scalemodel.logbook.csv_folder import export_folder
from scalemodel.logbook.records import Absence, Boiler, Descale, Fill, Inspection, Prices, Site, Use, Water, WaterTest
from scalemodel.logbook.store import Logbook

INSTALLED = date(2026, 1, 5)
AWKWARD = '=Küche\'s <b>&"$(x)" ☕'
BOILERS = ("kitchen", "--json", AWKWARD)
WATERS = ("tap", "demin", "rain", "untested")
SITES = ("wall", "port", "lid")

RECORDS = (
    Boiler("kitchen", 0.75, 93.0, INSTALLED, note="in the\nkitchen"),
    Boiler(AWKWARD, 5.0, 121.0, INSTALLED, 1700.0, 0.3, "unknown", 4, 0.2),
    Boiler("--json", 0.05, 20.0, date(2026, 11, 24)),
    Site("kitchen", "port", look_cost=2.0),
    Site("kitchen", "lid", relative_deposit=0.7, relative_log_sd=0.4),
    Site(AWKWARD, "port", reference=True),
    Water("tap", cost_per_litre=0.004),
    Water("demin", note="'=x"),
    Water("rain"),
    Water("untested"),
    Inspection("kitchen", date(2026, 4, 12), "port", 1, 2),
    Inspection("kitchen", date(2026, 5, 1), "wall", 0, 0, after_descale=True, method="mirror", inspector="Ann"),
    Inspection("kitchen", date(2026, 8, 1), "wall", 1, 1, thickness_um=12.0, note='"so, so";\n=1+1'),
    WaterTest("tap", date(2026, 1, 11), hardness=9.0, hardness_unit="dH", alkalinity=6.0, alkalinity_unit="dH", ph=7.5),
    WaterTest("demin", date(2026, 1, 11), tds_mg_l=4.0, tds_factor=0.5, kit="meter"),
    WaterTest("rain", date(2026, 3, 1), conductivity_us_cm=60.0, temperature_c=12.0),
    Fill("kitchen", INSTALLED, "tap"),
    Fill(AWKWARD, INSTALLED, "demin"),
    Use("kitchen", date(2026, 2, 10), date(2026, 3, 10), litres=42.0),
    Use("kitchen", date(2026, 3, 10), date(2026, 6, 10), drinks=300.0, litres_per_drink=0.15),
    Use("kitchen", date(2026, 6, 20), date(2026, 10, 10), meter_from_l=100.0, meter_to_l=190.0),
    Use(AWKWARD, INSTALLED, date(2026, 10, 10), litres=700.0),
    Descale("kitchen", date(2026, 5, 1), acid="citric", acid_g=30.0, scale_recovered_g=1.5),
    Prices("kitchen", INSTALLED, 4.0, 1.5, 20.0, 1.0, 120.0, 14.0, 60.0),
    Absence("kitchen", date(2026, 12, 20), date(2027, 1, 4), note="winter"),
)
"""Entries 1 to 25; today is 2026-11-25."""


@cache
def _template() -> Path:
    """The workshop as it is before anything happens."""
    root = Path(tempfile.mkdtemp(prefix="scalemodel-fuzz-"))
    atexit.register(shutil.rmtree, root, ignore_errors=True)
    desk = root / "home" / "people" / "desk"
    desk.mkdir(parents=True)
    (root / "etc").mkdir()
    (root / "etc" / "passwd").write_text("not yours\n")
    with Logbook.create(desk / "logbook.sqlite3") as book:
        for record in RECORDS:
            book.add(record, sure=True)
        book.amend(22, {"litres": "720"}, "read again", sure=True)
        book.strike(13, "another boiler's")
        export_folder(book, desk / "records")
        book.backup(desk / "backup.sqlite3")
    (desk / "empty").mkdir()
    (desk / "broken").mkdir()
    (desk / "broken" / "waters.csv").write_bytes(b'water,cost_per_litre\ntap,cheap\n"')
    (desk / "data" / "demo").mkdir(parents=True)
    (desk / "data" / "demo" / "waters.csv").write_text("water,cost_per_litre\nwell,0.001\n")
    (desk / "notes.txt").write_text("milk\n")
    connection = sqlite3.connect(desk / "other.sqlite3")
    connection.execute("CREATE TABLE other (x)")
    connection.close()
    return root


@contextmanager
def workshop() -> Iterator[Path]:
    """A fresh copy of the workshop's root, with its desk as the working directory."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory(prefix="scalemodel-fuzz-") as place:
        root = Path(place).resolve() / "root"
        shutil.copytree(_template(), root)
        os.chdir(root / "home" / "people" / "desk")
        try:
            yield root
        finally:
            os.chdir(before)


def contents(root: Path) -> dict[Path, bytes | str | None]:
    """Every file and folder below a root with what it holds, but for what SQLite keeps beside a logbook.

    Of a database that is what it holds as SQL: opening one to write marks the file, whatever comes of it.
    """
    found: dict[Path, bytes | str | None] = {}
    for path in root.rglob("*"):
        if not path.name.endswith(("-wal", "-shm")):
            data = path.read_bytes() if path.is_file() else None
            found[path] = dump(path) if data is not None and data.startswith(b"SQLite format 3") else data
    return found


def dump(path: Path) -> str | None:
    """All that the logbook holds, as SQL; None where there is none."""
    if not path.is_file():
        return None
    connection = sqlite3.connect(path)
    try:
        return "\n".join(connection.iterdump())
    finally:
        connection.close()
