"""``priors adopt`` and ``fleet pool --adopt`` as people and scripts run them."""

import json

import pytest

import scalemodel
from scalemodel.fleet import pool as room
from scalemodel.logbook.store import Logbook
from tests.cli.runner import Desk

OURS = "[capture]\nmean = 0.8\nsd = 0.5\n"
ASKED = ("--as-of", "2026-11-01", "--particles", "100")


@pytest.fixture
def desk(tmp_path):
    desk = Desk(tmp_path / "logbook.sqlite3")
    desk.do("import", "data/demo")
    (tmp_path / "ours.toml").write_text(OURS)
    return desk


def test_what_is_adopted_is_in_every_answer_from_that_day_on_until_it_is_struck(desk, tmp_path):
    def answer(*more):
        return json.loads(desk.do("defer", "loft-brew", *ASKED, *more, "--json"))

    own, house = answer("--priors", tmp_path / "ours.toml"), answer()
    said = desk.do("priors", "adopt", tmp_path / "ours.toml", "--date", "2026-10-01", "--note", "a try")
    assert said.startswith("recorded adoption 156: 2026-10-01, priors of capture, note: a try")
    adopted = answer()
    assert adopted["crossing"] == own["crossing"] != house["crossing"]
    line = "priors adopted 2026-10-01 in place of the house's: capture (mean 0.8, sd 0.5)"
    assert line in adopted["assumptions"]
    assert answer("--priors", "house")["crossing"] == house["crossing"]
    before = ("defer", "loft-brew", "--as-of", "2026-09-30", *ASKED[2:])
    assert "priors" not in desk.do(*before)
    rows = {row["boiler"]: row for row in json.loads(desk.do("due", *ASKED, "--json"))}
    assert rows["loft-brew"]["risk_now"] == adopted["risk_now"]
    rows = json.loads(desk.do("fleet", "assess", *ASKED, "--jobs", "1", "--json"))["boilers"]
    assert {row["boiler"]: row for row in rows}["loft-brew"]["risk_now"] == adopted["risk_now"]
    page = tmp_path / "report"
    desk.do("report", "loft-brew", *ASKED, "--out", page)
    assert any("priors adopted" in one.read_text() for one in page.glob("*.html"))
    with scalemodel.open_logbook(desk.path) as book:
        assert (
            scalemodel.defer(book.facts("loft-brew", "2026-11-01"), particles=100).crossing["p50"].isoformat()
            == (adopted["crossing"]["p50"])
        )
    assert "adoption: 2026-10-01, priors of capture" in desk.do("history", "--kind", "adoption")
    assert "156 of them current" in desk.do("logbook", "verify")
    desk.do("logbook", "backup", tmp_path / "copy.sqlite3")
    with Logbook.open(tmp_path / "copy.sqlite3") as copy:
        assert len(copy.records("adoption")) == 1
    desk.do("strike", 156, "--reason", "another workshop's")
    assert answer()["crossing"] == house["crossing"]
    assert "struck" in desk.do("history", "--kind", "adoption")


def test_the_table_shows_what_is_adopted(desk, tmp_path):
    def capture(*more):
        rows = json.loads(desk.do("priors", "show", *more, "--json"))
        return next(row["mean"] for row in rows if row["unknown"] == "capture")

    assert capture() == 0.0
    (tmp_path / "ours.toml").write_text(OURS + "[boilers.loft-brew]\ncapture.mean = 0.3\n")
    assert json.loads(desk.do("priors", "adopt", tmp_path / "ours.toml", "--json")) == {"adopted": 156}
    assert desk.do("priors", "show").startswith("Priors adopted 2026-11-25.\n")
    assert [capture(), capture("--boiler", "loft-brew"), capture("--priors", "house")] == [0.8, 0.3, 0.0]
    assert capture("--as-of", "2026-11-24") == 0.0
    assert "Priors adopted 2026-11-25, for this boiler" in desk.do("priors", "show", "--boiler", "loft-brew")
    assert "no boiler is called 'loft'" in desk.refuse("priors", "show", "--boiler", "loft")


def test_what_cannot_be_adopted_is_a_line(desk, tmp_path):
    ours, bad = tmp_path / "ours.toml", tmp_path / "bad.toml"
    bad.write_text("[captur]\nmean = 1\n")
    assert "did you mean 'capture'" in desk.refuse("priors", "adopt", bad)
    assert "can be read" in desk.refuse("priors", "adopt", tmp_path / "none.toml")
    assert "or earlier" in desk.refuse("priors", "adopt", ours, "--date", "2027-01-01")
    desk.do("priors", "adopt", ours)
    assert "record 156 adopted just these already" in desk.refuse("priors", "adopt", ours)
    assert "give --adopt too" in desk.refuse("fleet", "pool", "--date", "2026-11-01")
    late = ("fleet", "pool", "--adopt", "--as-of", "2026-11-01", "--date")
    for day in ("2026-10-31", "2026-11-26"):
        assert "a day from 2026-11-01" in desk.refuse(*late, day)


def test_a_pool_is_adopted_and_set_aside_when_it_is_learned_anew(tmp_path, monkeypatch):
    """Each boiler is asked under what all the others say; a second pool does not take the first for granted."""
    monkeypatch.setattr(room, "QUICK", (1, 30, 30))
    monkeypatch.setattr(room, "THOROUGH", (2, 30, 30))
    monkeypatch.setattr(room, "MOST_ROUNDS", 1)
    desk, out = Desk(tmp_path / "logbook.sqlite3"), tmp_path / "ours.toml"
    desk.do("simulate", "--boilers", 3, "--looks", 3, "--out", tmp_path / "in")
    desk.do("import", tmp_path / "in")
    asked = (*ASKED, "--jobs", "1")
    first = json.loads(desk.do("fleet", "pool", "--out", out, "--adopt", *asked, "--json"))
    with scalemodel.open_logbook(desk.path) as book:
        boilers = [one.boiler for one in book.boilers()]
        facts = [book.facts(one, "2026-11-01") for one in boilers]
        (adoption,) = book.records("adoption")
    assert adoption.priors == out.read_text().strip()
    assert adoption.date.isoformat() == "2026-11-01"
    assert len({one.beliefs for one in facts}) == 3
    assert all(one.adoptions[-1].apart for one in facts)
    by_file = [scalemodel.with_priors(scalemodel.with_priors(one, "house"), out) for one in facts]
    assert [one.beliefs for one in by_file] == [one.beliefs for one in facts]
    said = "priors pooled from 3 boilers and 9 looks, adopted 2026-11-01, for this boiler from all the others"
    assert said in desk.do("defer", boilers[0], *ASKED)
    again = json.loads(desk.do("fleet", "pool", "--adopt", "--date", "2026-11-20", *asked, "--json"))
    assert (again["adopted"], again["population"]) == (first["adopted"] + 1, first["population"])
    assert desk.do("history", "--kind", "adoption").count("priors pooled from 3 boilers and 9 looks") == 2
