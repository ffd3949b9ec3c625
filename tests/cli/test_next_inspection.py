"""next-inspection as a person and as a script meet it, and its line in defer."""

import json

import pytest

from tests.cli.test_ask import AS_OF, DEMO, run

PAYING = ("--as-of", "2026-05-01")
"""A day of the demo on which a look pays."""

PAIR = ("--as-of", "2026-10-14")
"""One on which two looks pay, and one alone does not."""


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    path = tmp_path_factory.mktemp("looks") / "logbook.sqlite3"
    assert run(path, "import", str(DEMO)).exit_code == 0
    return path


def test_json_has_the_promised_keys(book):
    result = run(book, "next-inspection", "loft-brew", *AS_OF, "--json")
    assert result.exit_code == 0, result.stderr
    body = json.loads(result.stdout)
    assert {"options", "best"} <= set(body)
    for option in body["options"]:
        assert {"site", "method", "date", "value", "cost", "net"} <= set(option)
    assert {"chamber", "element", "wall"} == {o["site"] for o in body["options"]}
    pair = json.loads(run(book, "next-inspection", "loft-brew", *PAIR, "--json").stdout)
    assert (pair["best"] in pair["options"], pair["look_reason"]) == (True, "pair")  # one alone does not pay
    none = json.loads(run(book, "next-inspection", "mill-brew", *AS_OF, "--json").stdout)
    assert (none["best"], none["look_reason"]) == (None, None)
    body = json.loads(run(book, "next-inspection", "loft-brew", *PAYING, "--json").stdout)
    assert body["best"] in body["options"]
    assert body["best"]["site"] == body["options"][0]["site"]


def test_defer_quotes_the_same_look(book):
    asked = ("loft-brew", *PAYING)
    body = json.loads(run(book, "next-inspection", *asked, "--json").stdout)
    quoted, best = json.loads(run(book, "defer", *asked, "--json").stdout), body["best"]
    assert quoted["next_look"] == best | {"look_reason": "pays"}
    assert quoted["findings"] == body["findings"]
    text = run(book, "defer", *asked).stdout
    assert best is not None
    assert f"Next look: the {best['site']}, by {best['method']}, around {best['date']}" in text


def test_it_speaks_plainly(book):
    text = run(book, "next-inspection", "loft-brew", *PAYING).stdout
    assert text.startswith("loft-brew: look at the ")
    for words in (
        "it lets the descale wait about",
        "Likely findings: grade",
        "Without a look: descale on 2026-",
        "What was assumed",
    ):
        assert words in text
    none = run(book, "next-inspection", "mill-steam", *AS_OF).stdout
    assert "do not defer: the risk is more than you accept.\nNo look would save more than it takes: descale" in none
    assert "Without a look: descale now." in none
    assert "No look would save more than it takes" in run(book, "defer", "mill-steam", *AS_OF).stdout


def test_an_alarm_is_asked_about_first_at_its_site_today(tmp_path):
    """Through the whole command line: recorded, told with its number, confirmed, answered by a descale."""
    path = tmp_path / "logbook.sqlite3"
    assert run(path, "import", str(DEMO)).exit_code == 0
    run(path, "add", "inspection", "loft-brew", "2026-10-30", "4", "--site", "chamber", "--inspector", "Ada")
    body = json.loads(run(path, "next-inspection", "loft-brew", *AS_OF, "--json").stdout)
    assert (body["status"], body["look_reason"], body["findings"]) == ("look_again", "alarm", [])
    assert (body["best"]["site"], body["best"]["date"], body["descale_on"]) == ("chamber", "2026-11-01", "2026-11-01")
    answer = json.loads(run(path, "defer", "loft-brew", *AS_OF, "--json").stdout)
    (alarm,) = answer["alarms"]
    wanted = {"site": "chamber", "date": "2026-10-30", "grade": "4", "inspector": "Ada", "confirmed": False}
    assert {key: alarm[key] for key in wanted} == wanted
    assert f"record {alarm['record']} is mistaken" in run(path, "next-inspection", "loft-brew", *AS_OF).stdout
    assert answer["next_look"] == body["best"] | {"look_reason": "alarm"}
    for command in (("defer",), ("next-inspection",), ("cost",), ("risk", "--on", "2026-12-01")):
        first = run(path, command[0], "loft-brew", *command[1:], *AS_OF).stdout.splitlines()[0]
        assert first.startswith(
            "loft-brew: look again now, do not defer: grade 4 (thick, flaking or bridging) was seen"
        )
        assert "at the chamber on 2026-10-30 by Ada" in first
    assert json.loads(run(path, "defer", "loft-brew", "--as-of", "2026-10-29", "--json").stdout)["alarms"] == []
    run(path, "add", "inspection", "loft-brew", "2026-10-30", "3+", "--site", "chamber", "--inspector", "Ben")
    (alarm,) = json.loads(run(path, "defer", "loft-brew", *AS_OF, "--json").stdout)["alarms"]
    assert (alarm["confirmed"], alarm["inspector"], alarm["grade"]) == (True, "Ben", "3+")
    run(path, "add", "descale", "loft-brew", "2026-10-31")
    assert json.loads(run(path, "defer", "loft-brew", *AS_OF, "--json").stdout)["status"] in ("within", "beyond")


def test_bad_input_is_one_line(book):
    result = run(book, "next-inspection", "nobody", *AS_OF)
    assert result.exit_code == 2
    assert result.stderr.startswith("error: ")
    assert result.stderr.count("\n") == 1
