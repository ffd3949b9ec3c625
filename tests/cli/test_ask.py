"""risk and defer as a person and as a script meet them."""

import json
import re
import shlex
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from scalemodel.cli.main import main

DEMO = Path(__file__).parents[2] / "data" / "demo"
AS_OF = ("--as-of", "2026-11-01")


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    path = tmp_path_factory.mktemp("ask") / "logbook.sqlite3"
    assert run(path, "import", str(DEMO)).exit_code == 0
    return path


def run(path, *arguments):
    return CliRunner().invoke(main, ["--logbook", str(path), *arguments])


def answer(path, *arguments):
    result = run(path, *arguments, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_defer_gives_the_promised_keys(book):
    body = answer(book, "defer", "loft-brew", *AS_OF)
    assert set(body) >= {
        "boiler", "as_of", "site", "threshold_mg_cm2", "tolerance", "risk_now", "defer_until", "reason",
        "mc_error_days", "crossing", "deposit_now_mg_cm2", "assumptions", "engine",
    }  # fmt: skip
    assert set(body["crossing"]) == {"p10", "p50", "p90"}
    assert set(body["deposit_now_mg_cm2"]) == {"mean", "p10", "p50", "p90"}
    assert set(body["engine"]) >= {"particles", "levels", "sweeps", "r_hat", "seconds"}
    assert date.fromisoformat(body["defer_until"]) > date(2026, 11, 1)
    assert body["site"] == "wall"
    assert body["as_of"] == "2026-11-01"


def test_risk_gives_the_promised_keys(book):
    body = answer(book, "risk", "loft-brew", "--on", "2026-12-01", "--on", "2028-12-01", *AS_OF)
    assert set(body) == {"boiler", "as_of", "site", "threshold_mg_cm2", "threshold_words", "tolerance", "points"}
    early, late = body["points"]
    assert set(early) == {"date", "probability", "mc_error"}
    assert early["probability"] < late["probability"]


def test_defer_speaks_plainly(book):
    text = run(book, "defer", "loft-brew", *AS_OF).stdout
    assert text.startswith("loft-brew: the descale can wait until 20")
    for words in (
        "Risk that scale at the wall",
        "It would probably reach it",
        "How sure",
        "What the boiler has shown",
        "What was assumed",
        "L a day",
        "hardness, by the water tests: town about 205 mg/L as CaCO3 (12 dH)",
    ):
        assert words in text  # fmt: skip
    for words in ("no pH measured", "R-hat", "charge balance", "level", "sweep"):
        assert words not in text
    assert "do not defer" in run(book, "defer", "mill-steam", *AS_OF).stdout


def test_as_of_ignores_later_records(book):
    then = answer(book, "defer", "loft-brew", "--as-of", "2026-01-01")
    now = answer(book, "defer", "loft-brew", *AS_OF)
    assert then["as_of"] == "2026-01-01"
    assert then["deposit_now_mg_cm2"]["p50"] < now["deposit_now_mg_cm2"]["p50"]


def test_seed_and_particles(book):
    one, two, other = (answer(book, "defer", "loft-brew", *AS_OF, "--seed", s) for s in ("3", "3", "4"))
    for body in (one, two, other):
        body["engine"].pop("seconds")
    assert one == two
    assert one != other
    assert answer(book, "defer", "loft-brew", *AS_OF, "--particles", "200")["engine"]["particles"] == 800


def test_every_option_of_the_question_counts(book):
    plain = answer(book, "defer", "mill-brew", *AS_OF)
    for option in (
        ("--site", "element"),
        ("--threshold-grade", "2"),
        ("--threshold-um", "45"),
        ("--threshold-mg-cm2", "9"),
        ("--tolerance", "0.02"),
        ("--litres-per-day", "9"),
        ("--water", "demin"),
        ("--horizon-days", "20"),
    ):
        other = answer(book, "defer", "mill-brew", *AS_OF, *option)
        changed = {k for k in plain if k != "engine" and plain[k] != other[k]}
        assert changed, option


BAD = [
    ("defer", "nobody"),
    ("defer", "loft-brew", "--site", "roof"),
    ("defer", "loft-brew", "--water", "rain"),
    ("defer", "loft-brew", "--tolerance", "2"),
    ("defer", "loft-brew", "--tolerance", "nan"),
    ("defer", "loft-brew", "--tolerance", "lots"),
    ("defer", "loft-brew", "--threshold-grade", "7"),
    ("defer", "loft-brew", "--threshold-grade", "3", "--threshold-um", "20"),
    ("defer", "loft-brew", "--threshold-um", "-1"),
    ("defer", "loft-brew", "--threshold-mg-cm2", "inf"),
    ("defer", "loft-brew", "--litres-per-day", "-2"),
    ("defer", "loft-brew", "--litres-per-day", "1e99"),
    ("defer", "loft-brew", "--horizon-days", "0"),
    ("defer", "loft-brew", "--particles", "3"),
    ("defer", "loft-brew", "--seed", "-1"),
    ("defer", "loft-brew", "--as-of", "2026-02-30"),
    ("defer", "loft-brew", "--as-of", "31.10.2026"),
    ("defer", "loft-brew", "--as-of", "2024-01-01"),
    ("defer", "loft-brew", "--as-of", "2999-01-01"),
    ("defer",),
    ("defer", "loft-brew", "--colour", "red"),
    ("risk", "loft-brew"),
    ("risk", "loft-brew", "--on", "yesterday"),
    ("risk", "loft-brew", "--on", "2026-10-31"),
    ("risk", "loft-brew", "--on", "9999-12-31"),
    ("plot", "loft-brew", "--out", "figure.bmp"),
    ("plot", "nobody"),
    ("frobnicate",),
]


@pytest.mark.parametrize("arguments", BAD, ids=" ".join)
def test_bad_input_is_one_line_and_exit_code_two(book, arguments, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    given = list(arguments)
    if len(given) > 1 and "--as-of" not in given:
        given += AS_OF
    before = book.read_bytes()
    result = run(book, *given)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("error: ")
    assert result.stderr.count("\n") == 1
    assert book.read_bytes() == before
    assert list(tmp_path.iterdir()) == []
    as_json = run(book, *given, "--json")
    if given[0] != "frobnicate":
        assert json.loads(as_json.stdout)["error"] == result.stderr.removeprefix("error: ").strip()


def test_a_logbook_that_is_none(tmp_path):
    missing = run(tmp_path / "none.sqlite3", "defer", "x")
    assert missing.exit_code == 2
    assert "scalemodel new boiler" in missing.stderr
    assert not (tmp_path / "none.sqlite3").exists()
    (tmp_path / "text.sqlite3").write_text("not a logbook")
    assert run(tmp_path / "text.sqlite3", "defer", "x").exit_code == 2


def test_a_boiler_with_nothing_on_record(tmp_path):
    path = tmp_path / "b.sqlite3"
    assert (
        run(path, "new", "boiler", "k", "--volume", "1", "--temperature", "93", "--installed", "2026-01-01").exit_code
        == 0
    )
    result = run(path, "defer", "k")
    assert result.exit_code == 2
    assert "--litres-per-day" in result.stderr
    assert run(path, "new", "water", "tap").exit_code == 0
    assert run(path, "add", "water-test", "tap", "2026-01-02", "--tds", "240").exit_code == 0
    stated = run(path, "defer", "k", "--litres-per-day", "0.4", "--water", "tap")
    assert stated.exit_code == 0
    assert "thin evidence" in stated.stdout


def named_in(text, command):
    """What follows a command that a text tells people to type, as a shell parts it."""
    told = re.search(rf"scalemodel {command} ([^;`]*?)(?=\)|\.\n|$)", text)
    return shlex.split(told[1])


@pytest.mark.parametrize("name", ["bar left", "it's", "who?", "a$b", 'the "new" one'])
def test_a_command_that_is_told_names_the_boiler_as_a_shell_takes_it(tmp_path, name):
    path, water = tmp_path / "logbook.sqlite3", f"{name} water"
    run(path, "new", "boiler", name, "--volume", "1", "--temperature", "93", "--installed", "2025-11-01")
    run(path, "new", "water", water)
    assert named_in(run(path, "defer", name, *AS_OF).stderr, "add use")[0] == name
    run(path, "add", "use", name, "2025-11-01", "2026-11-01", "--litres", "150")
    assert named_in(run(path, "defer", name, *AS_OF).stderr, "add fill")[0] == name
    run(path, "add", "fill", name, "2025-11-01", water)
    assert named_in(run(path, "defer", name, *AS_OF).stderr, "add water-test")[0] == water
    run(path, "add", "water-test", water, "2025-11-01", "--tds", "150")
    run(path, "add", "inspection", name, "2026-03-01", "1")
    said = run(path, "cost", name, *AS_OF)
    assert named_in(said.stderr, "add prices")[0] == name
    run(path, "add", "prices", name, "2025-11-01", "--descale-materials", "4", "--strip-down", "150")
    said = run(path, "defer", name, *AS_OF, "--tolerance", "0.9").stdout
    assert named_in(said, "next-inspection")[0] == name


def test_why_tells_the_rest_and_json_all_of_it(book):
    brief, whole = (run(book, "defer", "loft-brew", *AS_OF, *more).stdout for more in ((), ("--why",)))
    assert "(how that came about: --why)" in brief
    assert "--why" not in whole
    for words in ("no pH measured: 7.5 taken", "charge balance", "R-hat 1.0", "draws of all that is unknown"):
        assert words in whole
        assert words not in brief
    body = answer(book, "defer", "loft-brew", *AS_OF)
    assert any("no pH measured: 7.5 taken" in said for said in body["assumptions"])
    assert all(said in whole for said in (*body["assumptions"], body["hardness"]))


def test_the_status_says_how_each_stands(book):
    told = {name: answer(book, "defer", name, *AS_OF) for name in ("loft-brew", "mill-steam")}
    assert {name: body["status"] for name, body in told.items()} == {"loft-brew": "within", "mill-steam": "past"}
    assert answer(book, "defer", "loft-brew", *AS_OF, "--horizon-days", "20")["status"] == "beyond"
    past = run(book, "defer", "mill-steam", *AS_OF).stdout
    assert past.startswith("mill-steam: do not defer: the risk is more than you accept. Descale now.")
    assert not re.search(r"[Nn]ext look: .* around 20", past)
