"""Priors from the command line."""

import json

import pytest

from scalemodel.model.beliefs import house

OURS = "[capture]\nmean = 0.8\nsd = 0.5\n[relative.chamber]\nmean = -0.7\n"


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    from tests.cli.runner import Desk

    desk = Desk(tmp_path_factory.mktemp("priors") / "logbook.sqlite3")
    desk.do("import", "data/demo")
    return desk


def test_the_table_and_what_a_file_puts_there(busy_desk, tmp_path):
    plain = busy_desk.do("priors", "show")
    assert all(f"\n{name} " in f"\n{plain}" for name in house())
    (tmp_path / "ours.toml").write_text(OURS)
    rows = json.loads(busy_desk.do("priors", "show", "--priors", tmp_path / "ours.toml", "--json"))
    told = {(row["unknown"], row["of"]): (row["mean"], row["sd"]) for row in rows}
    assert told["capture", ""] == (0.8, 0.5)
    assert told["relative", "chamber"] == (-0.7, 0.5)
    assert told["cut_points_mg_cm2", ""] == ([0.3, 1.5, 6.0, 25.0], None)
    (tmp_path / "scale.toml").write_text("density_g_cm3 = 1.6\n")
    assert "\ndensity_g_cm3 = 1.6: bulk density" in busy_desk.do("priors", "show", "--priors", tmp_path / "scale.toml")


def test_a_threshold_by_a_grade_moves_with_the_cut_points(busy_desk, tmp_path):
    (tmp_path / "ours.toml").write_text("cut_points_mg_cm2 = [0.3, 1.5, 9, 25]\ncontamination = 0.05\n")
    said = busy_desk.do("priors", "check", tmp_path / "ours.toml")
    assert "cut points at 0.3, 1.5, 9, 25 mg/cm2, contamination 0.05" in said
    assert "passing 9 or by the house 6 mg/cm2" in said
    body = json.loads(busy_desk.do("priors", "check", tmp_path / "ours.toml", "--json"))
    assert all(row["days"][0] > row["house_days"][0] for row in body["waters"])


def test_what_a_file_would_say_of_a_new_boiler(busy_desk, tmp_path):
    (tmp_path / "ours.toml").write_text(OURS)
    said = busy_desk.do("priors", "check", tmp_path / "ours.toml")
    assert said.startswith("Differs from the house: capture (mean 0.8, sd 0.5), relative of chamber (mean -0.7).")
    body = json.loads(busy_desk.do("priors", "check", tmp_path / "ours.toml", "--json"))
    assert [row["water"] for row in body["waters"]] == ["soft", "middling", "hard"]
    assert all(row["days"][0] < row["house_days"][0] for row in body["waters"])


def test_reading_commands_take_a_file_and_say_so(workshop, tmp_path):
    (tmp_path / "ours.toml").write_text(OURS)
    own = ("--priors", tmp_path / "ours.toml", "--as-of", "2026-11-01", "--particles", "100")
    said = workshop.do("defer", "loft-brew", *own)
    assert "priors of your own in place of the house's: capture (mean 0.8, sd 0.5)" in said
    answers = [json.loads(workshop.do("defer", "loft-brew", *more, "--json")) for more in (own, own[2:])]
    assert answers[0]["crossing"]["p50"] < answers[1]["crossing"]["p50"]
    rows = {row["boiler"]: row for row in json.loads(workshop.do("due", *own, "--json"))}
    assert rows["loft-brew"]["defer_until"] == answers[0]["defer_until"]
    assert rows["loft-brew"]["risk_now"] == answers[0]["risk_now"]


def test_a_file_that_will_not_do_is_one_line(workshop, tmp_path):
    (tmp_path / "ours.toml").write_text("[captur]\nmean = 1\n")
    assert "did you mean 'capture'" in workshop.refuse("defer", "loft-brew", "--priors", tmp_path / "ours.toml")
    assert "can be read" in workshop.refuse("risk", "loft-brew", "--on", "2027-01-01", "--priors", tmp_path / "none")
    assert "expected house, or a TOML file that can be read" in workshop.refuse(
        "defer", "loft-brew", "--priors", "hause"
    )
