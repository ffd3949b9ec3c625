"""next-inspection as a person and as a script meet it, and its line in defer."""

import json

import pytest

from tests.cli.test_ask import AS_OF, DEMO, run


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
    assert body["best"] is None or body["best"] == body["options"][0]


def test_defer_quotes_the_same_look(book):
    best = json.loads(run(book, "next-inspection", "loft-brew", *AS_OF, "--json").stdout)["best"]
    assert json.loads(run(book, "defer", "loft-brew", *AS_OF, "--json").stdout)["next_look"] == best
    text = run(book, "defer", "loft-brew", *AS_OF).stdout
    assert best is not None
    assert f"Next look worth its trouble: the {best['site']}, by {best['method']}, around {best['date']}" in text


def test_it_speaks_plainly(book):
    text = run(book, "next-inspection", "loft-brew", *AS_OF).stdout
    assert text.startswith("loft-brew: look at the ")
    for words in ("it is worth about", "Likely findings: grade", "Without a look: descale around", "What was assumed"):
        assert words in text
    none = run(book, "next-inspection", "mill-steam", *AS_OF).stdout
    assert "no look is worth its trouble now" in none
    assert "descale now" in none
    assert "No look is worth its trouble" in run(book, "defer", "mill-steam", *AS_OF).stdout


def test_bad_input_is_one_line(book):
    result = run(book, "next-inspection", "nobody", *AS_OF)
    assert result.exit_code == 2
    assert result.stderr.startswith("error: ")
    assert result.stderr.count("\n") == 1
