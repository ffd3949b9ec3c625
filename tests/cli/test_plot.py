"""``plot`` as people and scripts run it."""

import json
from dataclasses import replace

import pytest
from click.testing import CliRunner
from PIL import Image

from scalemodel.cli.main import main
from scalemodel.logbook.store import Logbook
from tests.builders import day, history, look

AS_OF = str(day(360))
QUICK = ("--as-of", AS_OF, "--particles", "200")


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    name = "bar: left"
    with Logbook.create(tmp_path / "book.sqlite3", today=lambda: day(360)) as book:
        facts = history(look(90, 1), look(180, 1, 2))
        for record in (*facts.waters, *facts.water_tests):
            book.add(record)
        for record in (facts.boiler, *facts.sites, *facts.fills, *facts.uses, *facts.inspections):
            book.add(replace(record, boiler=name))
    book = str(tmp_path / "book.sqlite3")
    return lambda *args: CliRunner().invoke(main, ["--logbook", book, "plot", *args])


def test_the_default_place_is_a_safe_name_here(run, tmp_path):
    result = run("bar: left", *QUICK)
    assert result.exit_code == 0, result.output
    assert result.stdout == "bar-left-risk.png\n"
    with Image.open(tmp_path / "bar-left-risk.png") as picture:
        picture.verify()


def test_json_names_boiler_and_path_and_the_question_reaches_the_figure(run, tmp_path):
    out = tmp_path / "x.svg"
    stated = ("--site", "chamber", "--threshold-um", "45", "--tolerance", "0.25")
    result = run("bar: left", *QUICK, "--json", "--out", str(out), *stated)
    assert json.loads(result.stdout) == {"boiler": "bar: left", "path": str(out)}
    text = out.read_text(encoding="utf-8")
    for said in ("deposit at the chamber, mg/cm2", "threshold: 45 um of scale", "tolerance 25 %"):
        assert f">{said}</text>" in text


def test_the_same_question_gives_the_same_file(run, tmp_path):
    for name in ("one.svg", "two.svg"):
        assert run("bar: left", *QUICK, "--out", name).exit_code == 0
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("bar: left", "--out", "x.pdf"), ".png or .svg"),
        (("bar: left", "--out", "none/x.png"), "no folder none"),
        (("bar left",), "did you mean 'bar: left'?"),
        (("bar: left", "--site", "lid"), "no site is called 'lid'"),
        (("bar: left", "--tolerance", "2"), "tolerance"),
    ],
)
def test_mistakes_are_one_line_and_leave_no_file(run, tmp_path, args, said):
    before = sorted(tmp_path.iterdir())
    result = run(*args, *QUICK, "--json")
    assert result.exit_code == 2
    assert said in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert said in json.loads(result.stdout)["error"]
    assert [p for p in sorted(tmp_path.iterdir()) if p.suffix in (".png", ".svg", ".part")] == []
    assert before[0] in tmp_path.iterdir()
