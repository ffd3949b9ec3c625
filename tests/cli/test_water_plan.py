"""``scalemodel water compare`` and ``scalemodel trial``."""

import json

import pytest

from tests.cli.runner import Desk

AS_OF = ("--as-of", "2026-11-01", "--particles", "100")
MIX = "town:0.4,demin:0.6"


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    desk = Desk(tmp_path_factory.mktemp("waters") / "logbook.sqlite3")
    desk.do("import", "data/demo")
    return desk


def test_waters_side_by_side(workshop):
    asked = ("water", "compare", "loft-brew", "--water", "town", "--water", "demin", "--mix", MIX, *AS_OF)
    said = workshop.do(*asked)
    assert said.startswith("loft-brew: on demin a descale is due least often, every ")
    assert "Cheapest: " in said
    body = json.loads(workshop.do(*asked, "--json"))
    assert [option["water"] for option in body["options"]] == ["blend", "town", "demin", MIX]
    rows = said[said.index("water  ") :].splitlines()
    assert rows[1].startswith("blend (now)")
    assert f"  {body['options'][1]['interval_days']} " in rows[2]
    assert body["options"][3]["cartridges_a_year"] > 0.0
    assert body["options"][3]["cost_draws_a_year"]["p10"] <= body["options"][3]["cost_a_year"]


def test_columns_without_a_meaning_are_left_out(busy_desk):
    busy_desk.do("add", "use", "kitchen", "2025-01-10", "2025-04-10", "--litres", "60")
    busy_desk.do("add", "water-test", "tap", "2025-01-11", "--tds", "240")
    said = busy_desk.do("water", "compare", "kitchen", "--water", "tap", "--as-of", "2025-05-01", "--particles", "100")
    assert "cost a year" not in said
    assert "cartridges" not in said
    assert "no prices of a descale are on record" in said


def test_a_trial(workshop):
    asked = ("trial", "loft-brew", "--water", "town", "--days", "60", *AS_OF)
    body = json.loads(workshop.do(*asked, "--json"))
    assert (body["until"], body["trying"]["water"], body["staying"]["water"]) == ("2026-12-31", "town", "blend")
    assert body["trying"]["risk_at_end"] > body["staying"]["risk_at_end"]
    said = workshop.do(*asked)
    assert said.startswith("loft-brew: with 60 days on town and then back to blend the descale can wait until 202")
    assert (
        f"wait until {body['defer_until']}; staying on blend the descale can wait until {body['staying_until']}" in said
    )
    assert "After 60 days on town, on 2026-12-31, the risk is " in said
    assert "A look at the chamber, by eye, at its end" in said
    assert "town" in workshop.do("trial", "loft-brew", "--mix", MIX, "--days", "30", *AS_OF)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("water", "compare", "loft-brew"), "no water was named"),
        (("water", "compare", "loft-brew", "--water", "towne"), "did you mean 'town'?"),
        (("water", "compare", "loft-brew", "--mix", "town"), "shares that add up to 1"),
        (("water", "compare", "loft-brew", "--mix", "town:0.5,wine:0.5"), "no water is called 'wine'"),
        (("water", "compare", "loft-brew", "--water", "town", "--tolerance", "2"), "tolerance"),
        (("trial", "loft-brew", "--days", "60"), "no water was named"),
        (("trial", "loft-brew", "--water", "town", "--mix", MIX, "--days", "60"), "a trial is of one of them"),
        (("trial", "loft-brew", "--water", "town", "--days", "0"), "a whole number of days, 1 to 3650"),
        (("trial", "loft-brew", "--water", "town"), "--days"),
        (("trial", "loftbrew", "--water", "town", "--days", "60"), "did you mean 'loft-brew'?"),
    ],
)
def test_bad_questions_are_one_line(workshop, words, line):
    assert line in workshop.refuse(*words)


def test_a_boiler_without_fills_is_asked_of_the_first_water(busy_desk):
    busy_desk.do("new", "boiler", "annex", "--volume", "1", "--temperature", "93", "--installed", "2025-01-10")
    busy_desk.do("add", "water-test", "tap", "2025-01-11", "--tds", "240")
    words = ("--litres-per-day", "1", "--as-of", "2025-05-01", "--particles", "100")
    assert "tap (now)" in busy_desk.do("water", "compare", "annex", "--water", "tap", *words)


@pytest.mark.parametrize("command", [("water", "compare"), ("trial",), ("cost",)])
def test_every_help_has_an_example(desk, command):
    assert desk.do(*command, "--help").count("Example:\n  ") == 1
