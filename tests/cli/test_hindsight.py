"""``scalemodel hindsight``: one sentence first, then every look; a figure, JSON, all boilers together."""

import json

import pytest

from scalemodel import api
from scalemodel.cli.hindsight import FEW_SOLVES, fleet_json, hindsight_json, processes
from tests.cli.runner import Desk

TYPED = ("--as-of", "2026-11-01", "--seed", "7", "--particles", "100")


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    desk = Desk(tmp_path_factory.mktemp("hindsight") / "logbook.sqlite3")
    desk.do("import", "data/demo")
    return desk


@pytest.fixture(scope="module")
def facts(workshop):
    from datetime import date

    with api.open_logbook(workshop.path) as book:
        return [book.facts(one.boiler, date(2026, 11, 1)) for one in book.boilers()]


@pytest.fixture(scope="module")
def boiler(facts):
    """The boiler with the most looks."""
    return max(facts, key=lambda one: len(one.inspections))


def test_one_sentence_comes_first_then_every_look(workshop, boiler):
    name = boiler.boiler.boiler
    lines = workshop.do("hindsight", name, *TYPED).splitlines()
    assert lines[0].startswith(f"{name}: ")
    assert "as foretold" in lines[0]
    assert "model is right" in lines[-1]
    for look in boiler.inspections[-3:]:
        assert any(line.startswith(f"{look.date}  {look.site}") for line in lines)


def test_the_object_is_what_the_function_answers(workshop, boiler):
    name = boiler.boiler.boiler
    said = json.loads(workshop.do("hindsight", name, *TYPED, "--jobs", "2", "--json"))
    expected = hindsight_json(api.hindsight(boiler, seed=7, particles=100))
    assert said.pop("figure") is None
    assert said == json.loads(json.dumps(expected, default=str))
    for look in said["looks"]:
        assert {"record", "date", "site", "grade", "probabilities", "p_value"} <= set(look)
        assert 0.0 < look["p_value"] <= 1.0
    assert {"model", "last_grade", "prior"} <= set(said["score"])
    assert said["change"] is None or {"since", "evidence", "direction"} <= set(said["change"])


def test_all_boilers_are_told_together(workshop, facts):
    said = json.loads(workshop.do("hindsight", "--all", *TYPED, "--json"))
    expected = fleet_json(api.fleet_hindsight(facts, seed=7, particles=100))
    assert said == json.loads(json.dumps(expected, default=str))
    assert [one["boiler"] for one in said["boilers"]] == [one.boiler.boiler for one in facts]
    assert all(set(one) == {"boiler", "looks", "score", "change"} for one in said["boilers"])
    assert all({"water", "change"} <= set(one) for one in said["waters"])
    assert all({"inspector", "change"} <= set(one) for one in said["inspectors"])
    text = workshop.do("hindsight", "--all", *TYPED)
    assert "looks were as foretold" in text.splitlines()[0]
    assert all(one.boiler.boiler in text for one in facts)


def test_a_figure_is_drawn_where_it_is_asked_for(workshop, boiler, tmp_path):
    path = tmp_path / "seen.svg"
    text = workshop.do("hindsight", boiler.boiler.boiler, *TYPED, "--figure", str(path))
    assert text.endswith(f"Drawn in {path}\n")
    drawn = path.read_text(encoding="utf-8")
    assert "Has something changed?" in drawn
    assert "mathdefault" not in drawn


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ((), "give one boiler, or --all"),
        (("mill-brew", "--all"), "give one boiler, or --all"),
        (("--all", "--figure", "x.png"), "--figure draws one boiler"),
        (("mill-brew", "--figure", "x.pdf"), ".png or .svg"),
        (("nobody",), "nobody"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_a_line(workshop, typed, said):
    assert said in workshop.refuse("hindsight", *typed)


def test_few_looks_are_foretold_in_one_process():
    assert processes(None, FEW_SOLVES) == 1
    assert processes(None, FEW_SOLVES + 1) >= 1
    assert processes(3, 1) == 3
