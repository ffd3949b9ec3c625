"""``due`` as people and scripts run it."""

import csv
import io
import json
import time
from dataclasses import replace

import pytest
from click.testing import CliRunner

import scalemodel
from scalemodel.answers.rows import Due
from scalemodel.cli.due import csv_of
from scalemodel.cli.main import main
from scalemodel.logbook.records import Boiler
from scalemodel.logbook.store import Logbook
from tests.builders import START, day, history, look

DAY = str(day(360))
QUICK = ("--as-of", DAY, "--particles", "100")
KEYS = ["boiler", "status", "defer_until", "days", "risk_now", "last_look", "next_look", "water"]


@pytest.fixture(scope="module")
def book_path(tmp_path_factory):
    """One of each: to be looked at again, past, within, beyond the horizon, without records, installed later."""
    path = tmp_path_factory.mktemp("due") / "book.sqlite3"
    looks = {
        "calm": (look(90, 0), look(180, 0), look(300, 0)),
        "near": (look(90, 1), look(180, 2), look(330, 2)),
        "seen": (look(90, 0), look(330, 4)),
    }
    with Logbook.create(path, today=lambda: day(800)) as book:
        facts = history(tds=60.0)
        for record in (*facts.waters, *facts.water_tests):
            book.add(record)
        for name, seen in looks.items():
            for record in (replace(facts.boiler, note=f"{name} house"), *facts.fills, *facts.uses, *seen):
                book.add(replace(record, boiler=name), again=True)
        book.add(Boiler("empty", 1.0, 93.0, START))
        book.add(Boiler("later", 1.0, 93.0, day(700)))
    return path


@pytest.fixture
def run(book_path):
    return lambda *args: CliRunner().invoke(main, ["--logbook", str(book_path), *args])


def test_alarms_first_then_the_soonest_and_what_cannot_be_told_last(run):
    result = run("due", *QUICK, "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    rows = json.loads(result.stdout)
    assert rows[0]["boiler"] == "seen"
    assert {row["boiler"] for row in rows} == {"seen", "near", "calm", "empty"}
    assert rows[0]["status"] == "look_again"
    assert rows[0]["defer_until"] is None
    assert all(list(row)[: len(KEYS)] == KEYS for row in rows)
    assert rows[-1]["boiler"] == "empty"
    assert rows[-1]["status"] is None
    assert "water" in rows[-1]["reason"] or "use" in rows[-1]["reason"]
    dates = [row["defer_until"] for row in rows if row["defer_until"]]
    assert dates == sorted(dates)


def test_a_row_says_what_defer_and_next_inspection_say(run):
    (row,) = (row for row in json.loads(run("due", *QUICK, "--json").stdout) if row["boiler"] == "near")
    said = json.loads(run("defer", "near", *QUICK, "--json").stdout)
    assert {key: row[key] for key in ("status", "defer_until", "risk_now")} == {
        key: said[key] for key in ("status", "defer_until", "risk_now")
    }
    best = json.loads(run("next-inspection", "near", *QUICK, "--json").stdout)["best"]
    assert row["next_look"] == (best and best["date"])
    assert row["last_look"] == str(day(330))
    assert row["water"] == "tap"


def test_within_keeps_what_is_due_and_what_cannot_be_told(run):
    names = {
        days: [r["boiler"] for r in json.loads(run("due", *QUICK, "--json", "--within", str(days)).stdout)]
        for days in (0, 36500)
    }
    assert {"seen", "empty"} <= set(names[0])
    assert "calm" not in names[0]
    assert "near" in names[36500]


def test_as_csv(run):
    result = run("due", *QUICK, "--csv")
    rows = list(csv.DictReader(io.StringIO(result.stdout)))
    assert [row["boiler"] for row in rows] == [row["boiler"] for row in json.loads(run("due", *QUICK, "--json").stdout)]
    assert rows[0]["status"] == "look_again"
    refused = run("due", "--csv", "--json")
    assert refused.exit_code == 2
    assert csv_of([Due("=cmd", START, reason="@x")]).splitlines()[1].startswith("'=cmd,")


def test_as_a_table_with_the_reason_below(run):
    lines = run("due", *QUICK).stdout.splitlines()
    assert lines[0].split()[0] == "boiler"
    assert lines[1].startswith("seen")
    assert "look again now" in lines[1]
    assert lines[-1].startswith("empty: no answer: ")


def test_nothing_to_list(tmp_path):
    path = tmp_path / "b.sqlite3"
    Logbook.create(path).close()
    for words, said in (((), "no boilers yet"), (("--within", "7"), "nothing is due within 7 days")):
        result = CliRunner().invoke(main, ["--logbook", str(path), "due", *words])
        assert (result.exit_code, result.stdout) == (0, f"{said}\n")


def test_days_that_are_none_are_refused(run):
    for words in ("-1", "soon", "1.5"):
        result = run("due", "--within", words)
        assert result.exit_code == 2
        assert result.stderr.count("\n") == 1
    with Logbook.in_memory() as book, pytest.raises(scalemodel.ScalemodelError):
        scalemodel.due(book, within=-1)


def test_a_hundred_boilers_are_there_at_once_the_second_time(tmp_path, monkeypatch):
    """The second list is many times quicker than the solves of the first; none is made."""
    path = tmp_path / "many.sqlite3"
    with Logbook.create(path, today=lambda: day(800)) as book:
        facts = history(look(90, 0), tds=60.0, days=120)
        for record in (*facts.waters, *facts.water_tests):
            book.add(record)
        for k in range(100):
            for record in (facts.boiler, *facts.fills, *facts.uses, *facts.inspections):
                book.add(replace(record, boiler=f"b{k:02}"))
    with Logbook.open(path) as book:
        asked = {"as_of": day(120), "particles": 50, "folder": tmp_path / "answers", "workers": 2}
        began = time.perf_counter()
        first = scalemodel.due(book, **asked)
        middle = time.perf_counter()
        second = scalemodel.due(book, **asked)
        cold, warm = middle - began, time.perf_counter() - middle
        assert first == second
        assert len(first) == 100
        assert warm < cold / 4
