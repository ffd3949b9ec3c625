"""``fleet assess`` and ``simulate`` as people and scripts run them."""

import csv
import io
import json

import pytest

import scalemodel
from scalemodel.cli.fleet import FIELDS
from scalemodel.model.beliefs import read_priors
from tests.cli.runner import Desk

QUICK = ("--as-of", "2026-11-01", "--particles", "100", "--jobs", "1")


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    place = tmp_path_factory.mktemp("fleet")
    desk = Desk(place / "logbook.sqlite3")
    said = desk.do("simulate", "--boilers", 3, "--looks", 3, "--seed", 2, "--out", place / "files")
    assert "3 invented boilers" in said
    desk.do("import", place / "files")
    return desk


def test_a_row_a_boiler_soonest_first_as_defer_gives_it(fleet):
    body = json.loads(fleet.do("fleet", "assess", *QUICK, "--json"))
    rows = body["boilers"]
    assert [list(row) for row in rows] == [list(FIELDS)] * 3
    assert list(FIELDS)[:7] == ["boiler", "defer_until", "risk_now", "p50", "deposit_now_mg_cm2", "looks", "r_hat"]
    dates = [row["defer_until"] for row in rows if row["status"] == "within"]
    assert dates == sorted(dates)
    for row in rows:
        said = json.loads(fleet.do("defer", row["boiler"], *QUICK[:4], "--json"))
        assert (row["defer_until"], row["risk_now"], row["status"]) == (
            said["defer_until"],
            said["risk_now"],
            said["status"],
        )
        assert row["p50"] == said["crossing"]["p50"]
        assert row["deposit_now_mg_cm2"] == said["deposit_now_mg_cm2"]["mean"]
        assert row["r_hat"] == said["engine"]["r_hat"]


def test_the_rows_of_due_are_the_same(fleet):
    due = json.loads(fleet.do("due", *QUICK[:4], "--json"))
    rows = json.loads(fleet.do("fleet", "assess", *QUICK, "--json"))["boilers"]
    shared = ("boiler", "status", "defer_until", "risk_now")
    assert [[row[name] for name in shared] for row in rows] == [[row[name] for name in shared] for row in due]


def test_a_file_and_a_table(fleet, tmp_path):
    out = tmp_path / "fleet.csv"
    assert fleet.do("fleet", "assess", *QUICK, "--out", out) == f"3 boilers in {out}\n"
    rows = list(csv.DictReader(io.StringIO(out.read_text())))
    lines = fleet.do("fleet", "assess", *QUICK).splitlines()
    assert [row["boiler"] for row in rows] == [line.split()[0] for line in lines[1:]]
    assert lines[0].split()[0] == "boiler"


def test_one_that_cannot_be_answered_is_the_last_row_with_its_reason(fleet, tmp_path):
    import shutil

    other = Desk(tmp_path / "other.sqlite3")
    shutil.copyfile(fleet.path, other.path)
    other.do("new", "boiler", "aaa dry", "--volume", "1", "--temperature", "93", "--installed", "2026-01-01")
    rows = json.loads(other.do("fleet", "assess", *QUICK, "--json"))["boilers"]
    assert rows[-1]["boiler"] == "aaa dry"
    assert rows[-1]["reason"]
    assert rows[-1]["defer_until"] is None
    assert other.do("fleet", "assess", *QUICK).splitlines()[-1].startswith("aaa dry: no answer: ")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("fleet", "assess", "--out", "rows.txt"), ".csv"),
        (("fleet", "assess", "--jobs", "0"), "--jobs"),
        (("fleet", "assess", "--jobs", "2", "--scheduler", "tcp://127.0.0.1:1"), "--scheduler"),
        (("fleet", "assess", "--scheduler", "nowhere"), "--scheduler"),
        (("fleet", "assess", "--as-of", "2020-01-01"), "no boiler"),
        (("simulate", "--boilers", "0", "--out", "x"), "--boilers"),
        (("simulate", "--boilers", "1", "--out", "."), "--out"),
        (("simulate", "--boilers", "1", "--out", "new", "--truth", "t.txt"), "--truth"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_a_line(fleet, words, said):
    assert said in fleet.refuse(*words)


def test_the_truth_is_told_on_request_alone(tmp_path):
    desk = Desk(tmp_path / "none.sqlite3")
    desk.do("simulate", "--boilers", 1, "--out", tmp_path / "a")
    body = json.loads(
        desk.do("simulate", "--boilers", 1, "--out", tmp_path / "b", "--truth", tmp_path / "t.csv", "--json")
    )
    assert sorted(one.name for one in tmp_path.iterdir()) == ["a", "b", "t.csv"]
    assert body["records"]["boiler"] == 1
    assert (tmp_path / "a" / "inspections.csv").read_text() == (tmp_path / "b" / "inspections.csv").read_text()


def test_a_fleet_is_drawn_from_priors_of_ones_own(tmp_path):
    desk, ours = Desk(tmp_path / "none.sqlite3"), tmp_path / "ours.toml"
    ours.write_text("[capture]\nmean = 4.0\nsd = 0.05\n[relative.chamber]\nmean = -2.0\nsd = 0.1\n")
    asked = ("simulate", "--boilers", 6, "--looks", 3, "--seed", 2)
    desk.do(*asked, "--out", tmp_path / "house", "--truth", tmp_path / "house.csv")
    body = json.loads(
        desk.do(*asked, "--out", tmp_path / "own", "--truth", tmp_path / "own.csv", "--priors", ours, "--json")
    )
    assert body["priors"] == str(ours)
    dates = [(tmp_path / name / "use.csv").read_text() for name in ("house", "own")]
    assert dates[0] == dates[1]  # only what is hidden differs, and what follows from it
    own = list(scalemodel.simulate(6, seed=2, looks=3, priors=str(ours)))
    house = list(scalemodel.simulate(6, seed=2, looks=3))
    assert all(3.3 < one.truth.unknowns["capture"] < 4.3 for one in own)
    assert not all(3.3 < one.truth.unknowns["capture"] < 4.3 for one in house)
    assert {one.facts.beliefs for one in own} == {read_priors(ours).beliefs}
    assert all(a.truth.deposit_mg_cm2 > b.truth.deposit_mg_cm2 for a, b in zip(own, house, strict=True))
    ours.write_text("[captur]\nmean = 4.0\n")
    assert "did you mean 'capture'" in desk.refuse(*asked, "--out", tmp_path / "no", "--priors", ours)
    assert not (tmp_path / "no").exists()
