"""``scalemodel calendar``: a file, written again over itself; and what is refused with the file as it was."""

import json
import os
from datetime import date
from pathlib import Path

import pytest
import vobject

from tests.cli.runner import Desk

DEMO = Path(__file__).parents[2] / "data" / "demo"
QUICK = ("--particles", "100", "--seed", "1", "--as-of", "2026-11-01")


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A desk with the demo's four boilers."""
    desk = Desk(tmp_path_factory.mktemp("demo") / "logbook.sqlite3")
    desk.do("import", DEMO)
    return desk


def events(path: Path) -> dict[str, dict]:
    parts = vobject.readOne(path.read_text(encoding="utf-8")).contents.get("vevent", [])
    return {one.uid.value: {name: held.value for name, (held,) in one.contents.items()} for one in parts}


def test_all_boilers_are_written_and_read_back(demo, tmp_path):
    out = tmp_path / "all.ics"
    found = json.loads(demo.do("calendar", "--out", out, *QUICK, "--json"))
    held = events(out)
    assert {one["uid"]: (one["date"], one["summary"], str(one["sequence"])) for one in found["events"]} == {
        uid: (str(one["dtstart"]), one["summary"], one["sequence"]) for uid, one in held.items()
    }
    assert {one["boiler"] for one in found["events"]} == {"loft-brew", "mill-brew", "mill-steam", "hall-urn"}
    assert (found["cancelled"], found["missing"], found["as_of"]) == (0, {}, "2026-11-01")
    before = out.read_bytes()
    said = demo.do("calendar", "--out", out, *QUICK)
    assert out.read_bytes() == before
    assert f"{len(held)} events in {out}" in said
    assert f"{date(2026, 11, 1)}  " in said


def test_the_dates_are_those_that_defer_and_next_inspection_say(demo, tmp_path):
    out = tmp_path / "one.ics"
    found = json.loads(demo.do("calendar", "mill-brew", "--out", out, *QUICK, "--json"))["events"]
    until = json.loads(demo.do("defer", "mill-brew", *QUICK, "--json"))["defer_until"]
    best = json.loads(demo.do("next-inspection", "mill-brew", *QUICK, "--json"))["best"]
    assert {one["kind"]: one["date"] for one in found} == {"descale": until} | ({"look": best["date"]} if best else {})


def test_one_boiler_leaves_the_others_as_they_are(demo, tmp_path):
    out = tmp_path / "all.ics"
    demo.do("calendar", "--out", out, *QUICK)
    before = events(out)
    demo.do("calendar", "mill-brew", "--out", out, *QUICK, "--tolerance", "0.3")
    after = events(out)
    moved = [uid for uid in before if before[uid] != after[uid]]
    assert [(after[uid]["summary"], after[uid]["sequence"]) for uid in moved] == [
        ("mill-brew: descale by this day", "1")
    ]
    assert after[moved[0]]["dtstart"] > before[moved[0]]["dtstart"]


def test_a_boiler_without_an_answer_keeps_its_events_and_one_that_is_gone_is_called_off(busy_desk, tmp_path):
    out = tmp_path / "all.ics"
    attic = ("new", "boiler", "attic", "--volume", "1", "--temperature", "93", "--installed", "2026-01-10")
    for words in (
        ("add", "water-test", "tap", "2026-01-11", "--tds", "310"),
        ("add", "use", "kitchen", "2026-01-10", "2026-10-30", "--litres", "200"),
        attic,
        ("add", "fill", "attic", "2026-01-10", "tap"),
        ("add", "use", "attic", "2026-01-10", "2026-10-30", "--litres", "200"),
    ):
        busy_desk.do(*words)
    busy_desk.do("calendar", "--out", out, *QUICK)
    before = events(out)
    assert {one["summary"].split(":")[0] for one in before.values()} == {"attic", "kitchen"}
    numbers = [one["number"] for one in json.loads(busy_desk.do("history", "attic", "--json"))["entries"]]
    busy_desk.do("strike", numbers[1], "--reason", "another boiler's")
    assert "no event for attic: " in busy_desk.do("calendar", "--out", out, *QUICK)
    assert events(out) == before
    assert busy_desk.refuse("calendar", "attic", "--out", out, *QUICK)
    for number in (numbers[2], numbers[0]):
        busy_desk.do("strike", number, "--reason", "another boiler's")
    said = busy_desk.do("calendar", "--out", out, *QUICK)
    after = events(out)
    gone = {uid for uid, one in before.items() if one["summary"].startswith("attic: ")}
    assert {uid for uid, one in after.items() if one["status"] == "CANCELLED"} == gone
    assert f"and {len(gone)} that an earlier one held cancelled" in said
    assert after.keys() == before.keys()


@pytest.mark.parametrize("held", [b"BEGIN:VCALENDAR\r\nPRODID:-//other//EN\r\nEND:VCALENDAR\r\n", b"a list\n"])
def test_another_programs_file_is_left_alone(demo, tmp_path, held):
    out = tmp_path / "theirs.ics"
    out.write_bytes(held)
    said = demo.refuse("calendar", "--out", out, *QUICK)
    assert (
        said
        == "--out: 'the calendar that is there' will not do; expected one that this program wrote; name another file"
    )
    assert out.read_bytes() == held


def test_places_where_no_calendar_can_be(demo, tmp_path):
    (tmp_path / "folder.ics").mkdir()
    (tmp_path / "large.ics").write_bytes(b"x" * 5_000_001)
    for name, said in (
        ("dates.txt", "ends in .ics"),
        ("none/dates.ics", "there is no folder"),
        ("folder.ics", "Is a directory"),
        ("large.ics", "at most 5 MB"),
    ):
        assert said in demo.refuse("calendar", "--out", tmp_path / name, *QUICK)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["folder.ics", "large.ics"]


def test_unknown_boilers_and_empty_logbooks(demo, desk, tmp_path):
    out = tmp_path / "x.ics"
    assert "did you mean 'mill-brew'?" in demo.refuse("calendar", "mill-brw", "--out", out)
    desk.refuse("calendar", "--out", out)
    assert not out.exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a system without named pipes")
def test_a_pipe_is_not_waited_for(demo, tmp_path):
    os.mkfifo(tmp_path / "pipe.ics")
    assert "pipe" in demo.refuse("calendar", "--out", tmp_path / "pipe.ics", *QUICK)


def test_a_write_that_fails_leaves_the_earlier_file(demo, tmp_path, monkeypatch):
    out = tmp_path / "all.ics"
    demo.do("calendar", "mill-brew", "--out", out, *QUICK)
    before = out.read_bytes()

    def full(path):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("scalemodel.atomic.force", full)
    assert "No space left" in demo.refuse("calendar", "mill-brew", "--out", out, *QUICK, "--tolerance", "0.3")
    assert out.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["all.ics"]
