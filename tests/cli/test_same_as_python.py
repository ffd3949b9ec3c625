"""Every question's ``--json`` is what the public function answers."""

import json
from dataclasses import asdict
from datetime import date

import pytest

from scalemodel import api
from scalemodel.cli.ask import deferral_json
from scalemodel.cli.descale_plan import plan_json
from scalemodel.words.assumed import answer_object
from tests.cli.runner import Desk

DAY = date(2026, 11, 1)
DRAWS = {"seed": 7, "particles": 100}
TYPED = ("--as-of", "2026-11-01", "--seed", "7", "--particles", "100", "--json")
QUESTIONS = {
    ("defer",): lambda facts: api.defer(facts, **DRAWS),
    ("risk", "--on", "2026-12-31"): lambda facts: api.risk(facts, [date(2026, 12, 31)], **DRAWS),
    ("next-inspection",): lambda facts: api.next_inspection(facts, **DRAWS),
    ("next-inspection", "--look-site", "wall", "--method", "camera"): lambda facts: api.next_inspection(
        facts, "wall", "camera", **DRAWS
    ),
    ("cost",): lambda facts: api.cost(facts, **DRAWS),
    ("water", "compare", "--water", "town", "--mix", "town:0.4,demin:0.6"): lambda facts: api.compare_waters(
        facts, ["town"], ["town:0.4,demin:0.6"], **DRAWS
    ),
    ("trial", "--water", "town", "--days", "30"): lambda facts: api.trial(facts, "town", 30, **DRAWS),
    ("descale-plan",): lambda facts: api.descale_plan(facts, **DRAWS),
}
"""What is typed, and what is called; `check` is compared in its own tests, `report` and `plot` write files."""

ASSUMING = dict.fromkeys(("next-inspection", "cost", "water"), answer_object)
"""Whose assumptions are fields in Python, and sentences in JSON."""


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    desk = Desk(tmp_path_factory.mktemp("same") / "logbook.sqlite3")
    desk.do("import", "data/demo")
    return desk


def without_clock(body):
    body.get("engine", {}).pop("seconds", None)
    return body


@pytest.mark.parametrize("typed", QUESTIONS, ids=" ".join)
def test_the_command_says_what_the_function_answers(workshop, typed):
    words = 2 if typed[0] == "water" else 1
    said = json.loads(workshop.do(*typed[:words], "mill-brew", *typed[words:], *TYPED))
    with api.open_logbook(workshop.path) as book:
        answer = QUESTIONS[typed](book.facts("mill-brew", DAY))
    shaped = {"defer": deferral_json, "descale-plan": plan_json, **ASSUMING}.get(typed[0], asdict)(answer)
    expected = without_clock(json.loads(json.dumps(shaped, default=str)))
    assert expected == {key: value for key, value in without_clock(said).items() if key in expected}
    assert set(said) - set(expected) <= {"next_look", "findings"}
