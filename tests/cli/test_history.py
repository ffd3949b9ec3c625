"""``scalemodel history``, ``amend`` and ``strike``."""

import json
import re

import pytest

from scalemodel.cli.options_and_output import aligned
from scalemodel.logbook import store
from tests.cli.runner import Desk

pytestmark = pytest.mark.calendar

NOON = "2026-06-01T12:00:00+00:00"


@pytest.fixture(autouse=True)
def noon(monkeypatch):
    """Whatever is recorded in a test is recorded at noon, UTC."""
    monkeypatch.setattr(store.clock, "stamp", lambda: NOON)


def test_history_is_a_table_newest_last(busy_desk):
    busy_desk.do("amend", "5", "grade=2", "--reason", "misread")
    busy_desk.do("strike", "6", "--reason", "another boiler")
    busy_desk.do("add", "inspection", "kitchen", "2025-05-01", "3+", "--site", "wall")
    lines = busy_desk.do("history", "kitchen").splitlines()
    assert [line.split()[0] for line in lines] == ["number", "1", "2", "4", "5", "6", "7"]
    assert [line.partition(" [")[2] for line in lines[1:]] == [
        "",
        "",
        "",
        "amended by 6: misread]",
        "amends 5; struck 2026-06-01 12:00Z: another boiler]",
        "",
    ]
    look = "inspection: kitchen, 2025-04-12, wall, grade 2, by eye ["
    assert lines[5].startswith(f"     6  2025-04-12  2026-06-01 12:00Z  {look}")
    assert lines[2][:19] == "     2  -          "
    assert lines[2][39:].startswith("site: kitchen, gauge")


def test_every_record_shows_when_it_was_entered_in_utc(busy_desk):
    """The moment is the machine's, in UTC and marked so; the day is the owner's, as it was given."""
    busy_desk.do("add", "descale", "kitchen", "2025-05-01")
    *_, last = busy_desk.do("history").splitlines()
    assert last.startswith("     6  2025-05-01  2026-06-01 12:00Z  descale: kitchen, 2025-05-01, full")
    entries = json.loads(busy_desk.do("history", "--json"))["entries"]
    assert entries[-1]["entered_at"] == NOON
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\+00:00", one["entered_at"]) for one in entries)
    assert entries[-1]["record"]["date"] == "2025-05-01"


def test_an_amendment_and_a_strike_keep_time_and_reason(busy_desk):
    busy_desk.do("amend", "5", "grade=2", "--reason", "misread")
    busy_desk.do("strike", "6", "--reason", "another boiler")
    old, new = json.loads(busy_desk.do("history", "kitchen", "--json"))["entries"][-2:]
    assert (old["replaced_at"], old["replace_reason"]) == (NOON, "misread")
    assert (new["entered_at"], new["struck_at"], new["strike_reason"]) == (NOON, NOON, "another boiler")
    assert old["record"] != new["record"]


def test_an_amendment_that_changes_nothing_is_refused(busy_desk):
    assert busy_desk.refuse("amend", "5", "grade=1-2") == ("record 5 says so already; give a FIELD=VALUE that differs")


def test_an_amendment_that_makes_a_twin_is_refused_unless_insisted_on(busy_desk):
    busy_desk.do("add", "inspection", "kitchen", "2025-04-12", "3")
    said = busy_desk.refuse("amend", "6", "grade=1-2")
    assert said.startswith("record 5 says just this already (kitchen, 2025-04-12, wall, grade 1 to 2, by eye)")
    assert "amends 6" in busy_desk.do("amend", "6", "grade=1-2", "--again")


def test_columns_stay_aligned_beside_wide_letters():
    table = aligned(("water", "days"), [("水道水", 12), ("tap", 101)])
    assert table == ["water   days", "水道水    12", "tap      101"]


def test_history_of_everything_holds_the_waters_too(busy_desk):
    assert len(busy_desk.do("history").splitlines()) == 6
    assert len(busy_desk.do("history", "kitchen").splitlines()) == 5


def test_history_for_scripts(busy_desk):
    busy_desk.do("amend", "5", "grade=2", "--reason", "misread")
    busy_desk.do("strike", "6", "--reason", "another boiler")
    entries = json.loads(busy_desk.do("history", "kitchen", "--json"))["entries"]
    assert [entry["number"] for entry in entries] == [1, 2, 4, 5, 6]
    old, new = entries[-2:]
    assert (old["state"], old["replaced_by"], old["replaces"]) == ("amended by 6", 6, None)
    assert (new["state"], new["replaces"], new["reason"]) == ("struck: another boiler", 5, "misread")
    assert new["strike_reason"] == "another boiler"
    assert new["kind"] == "inspection"
    assert new["record"] == {
        "boiler": "kitchen",
        "date": "2025-04-12",
        "site": "wall",
        "grade_low": 2,
        "grade_high": 2,
        "method": "eye",
        "inspector": "",
        "after_descale": False,
        "thickness_um": None,
        "note": "",
    }


def test_an_empty_history_is_said_in_words(desk, tmp_path):
    (tmp_path / "none").mkdir()
    (tmp_path / "none" / "waters.csv").touch()
    desk.do("import", tmp_path / "none")
    assert desk.do("history") == "no records yet\n"
    assert json.loads(desk.do("history", "--json")) == {"entries": [], "renames": [], "imports": []}


def test_history_neither_makes_a_logbook_nor_writes_to_one(tmp_path, busy_desk):
    other = Desk(tmp_path / "other" / "logbook.sqlite3")
    said = other.refuse("history")
    assert "scalemodel new boiler" in said
    assert not other.path.parent.exists()
    before = busy_desk.path.read_bytes()
    busy_desk.do("history")
    assert busy_desk.path.read_bytes() == before


def test_errors_for_scripts(busy_desk):
    result = busy_desk.run("history", "kitchn", "--json")
    assert result.exit_code == 2
    assert json.loads(result.stdout) == {"error": "no boiler is called 'kitchn'; did you mean 'kitchen'?"}
    assert result.stderr == "error: no boiler is called 'kitchn'; did you mean 'kitchen'?\n"


def test_amend_says_what_is_stored_now(busy_desk):
    assert busy_desk.do("amend", "5", "grade=3+", "date=2025-04-13", "note=by lamp = light") == (
        "recorded inspection 6, which amends 5: kitchen, 2025-04-13, wall, grade 3 to 4, by eye, "
        "note: by lamp = light\n"
    )
    busy_desk.do("amend", "6", "note=")
    assert busy_desk.do("amend", "1", "temperature_c=200 F").startswith(
        "recorded boiler 8, which amends 1: kitchen, 0.75 L at 93.33 C"
    )


def test_amend_a_quantity_with_its_unit(busy_desk):
    busy_desk.do("add", "water-test", "tap", "2025-05-01", "--hardness", "160")
    assert "hardness 9 dH" in busy_desk.do("amend", "6", "hardness=9 dH")
    assert "hardness 160 mg/L as CaCO3" in busy_desk.do("amend", "7", "hardness=160")
    assert "alkalinity 6 dH" in busy_desk.do("amend", "8", "hardness=", "alkalinity=6 dH")


def test_strike_says_what_was_struck(busy_desk):
    assert busy_desk.do("strike", "5", "--reason", "another boiler") == (
        "struck inspection 5: kitchen, 2025-04-12, wall, grade 1 to 2, by eye\n"
    )


@pytest.mark.parametrize("command", ["history", "amend", "strike"])
def test_every_help_has_an_example(desk, command):
    assert desk.do(command, "--help").count("Example:\n  ") == 1
