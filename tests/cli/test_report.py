"""``report`` as people and scripts run it."""

import json
import re
from dataclasses import replace

import pytest
from click.testing import CliRunner

from scalemodel.cli.main import main
from scalemodel.logbook.records import Boiler
from scalemodel.logbook.store import Logbook
from tests.builders import START, day, history, look
from tests.report.checked_html import Page

QUICK = ("--as-of", str(day(360)), "--particles", "100")
NAMES = ("bar: left", "bar left", "κουζίνα <b>&")


@pytest.fixture(scope="module")
def book_path(tmp_path_factory):
    """Three boilers with records, one without, one installed later."""
    path = tmp_path_factory.mktemp("report") / "book.sqlite3"
    with Logbook.create(path, today=lambda: day(800)) as book:
        facts = history(look(90, 0), look(180, 1), tds=60.0)
        for record in (*facts.waters, *facts.water_tests):
            book.add(record)
        for k, name in enumerate(NAMES):
            sites = facts.sites if k == 0 else ()
            looks = facts.inspections if k < 2 else ()
            for record in (facts.boiler, *sites, *facts.fills, *facts.uses, *looks):
                book.add(replace(record, boiler=name))
        book.add(Boiler("empty", 1.0, 93.0, START))
        book.add(Boiler("later", 1.0, 93.0, day(700)))
    return path


@pytest.fixture
def run(tmp_path, book_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return lambda *args: CliRunner().invoke(main, ["--logbook", str(book_path), *args])


def files_of(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


def test_a_page_goes_to_reports_here_and_says_what_defer_says(run, tmp_path):
    result = run("report", NAMES[0], *QUICK)
    assert (result.exit_code, result.stderr) == (0, "")
    (name,) = files_of(tmp_path)
    assert result.stdout == f"{name}\n"
    assert name.startswith("reports/")
    page = Page((tmp_path / name).read_text(encoding="utf-8"))
    page.check()
    said = run("defer", NAMES[0], *QUICK).stdout.splitlines()
    for line in said[:5]:
        assert line in page.text
    assert any(line.startswith("Next look") or line.startswith("No look") for line in said)
    assert not page.all("a")


def test_the_question_reaches_the_page(run, tmp_path):
    stated = (
        "--site",
        "chamber",
        "--threshold-um",
        "20",
        "--tolerance",
        "0.25",
        "--litres-per-day",
        "2",
        "--water",
        "soft",
        "--horizon-days",
        "500",
    )
    result = run("report", NAMES[0], *QUICK, *stated, "--json", "--out", "x")
    body = json.loads(result.stdout)
    assert body["as_of"] == str(day(360))
    assert body["missing"] == {}
    (path,) = body["paths"]
    page = Page((tmp_path / path).read_text(encoding="utf-8"))
    answer = json.loads(run("defer", NAMES[0], *QUICK, *stated, "--json").stdout)
    assert page.text.count(answer["defer_until"]) > 3
    for words in (
        "scale at the chamber has reached 20 um of scale",
        "you accept 25%",
        "soft at 2 L a day",
        "500 days",
    ):
        assert words in page.text


def test_all_boilers_soonest_first_each_with_its_page(run, tmp_path):
    result = run("report", "--all", *QUICK, "--out", "workshop")
    assert (result.exit_code, result.stderr) == (0, "")
    lines = result.stdout.splitlines()
    assert lines[:2] == ["workshop/index.html", "and beside it 3 pages, one a boiler"]
    assert len(lines) == 3
    assert lines[2].startswith("no page for empty: ")
    assert len(files_of(tmp_path)) == 4
    index = Page((tmp_path / "workshop" / "index.html").read_text(encoding="utf-8"))
    index.check()
    links = [a["href"] for a in index.all("a")]
    assert len(set(links)) == 3
    rows = index.tables["boilers"][1:]
    assert rows[-1][0] == "empty"
    assert rows[-1][1].startswith("no answer: ")
    dates = [re.match(r"\d{4}-\d\d-\d\d", row[1])[0] for row in rows[:-1]]
    assert dates == sorted(dates)
    for row in rows[:-1]:
        answer = json.loads(run("defer", row[0], *QUICK, "--json").stdout)
        assert row[1].startswith(answer["defer_until"])
    for name in files_of(tmp_path / "workshop"):
        page = Page((tmp_path / "workshop" / name).read_text(encoding="utf-8"))
        page.check()
        if name != "index.html":
            assert [a["href"] for a in page.all("a")] == ["index.html"]


def test_one_page_has_the_same_name_alone_and_among_all(run, tmp_path):
    run("report", "--all", *QUICK)
    together = files_of(tmp_path)
    for name in NAMES:
        assert run("report", name, *QUICK).exit_code == 0
    assert files_of(tmp_path) == together


def test_the_same_question_gives_the_same_bytes(run, tmp_path):
    for folder in ("one", "two"):
        assert run("report", "--all", *QUICK, "--out", folder).exit_code == 0
    for name in files_of(tmp_path / "one"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_a_site_that_only_one_boiler_has(run):
    body = json.loads(run("report", "--all", *QUICK, "--site", "chamber", "--json").stdout)
    assert len(body["paths"]) == 2
    assert set(body["missing"]) == {*NAMES[1:], "empty"}


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((), "give one boiler, --all or --owner"),
        (("--all", NAMES[0]), "give one boiler, --all or --owner"),
        (("bar: lefft",), "did you mean"),
        ((NAMES[0], "--site", "lid"), "no site is called 'lid'"),
        (("--all", "--site", "lid"), "no site is called 'lid'"),
        (("--all", "--tolerance", "2"), "tolerance"),
        (("empty",), "empty"),
        ((NAMES[0], "--out", "taken"), "a folder where files can be written"),
        (("--all", "--out", "taken"), "a folder where files can be written"),
    ],
)
def test_mistakes_are_one_line_and_write_nothing(run, tmp_path, args, said):
    (tmp_path / "taken").write_text("", encoding="utf-8")
    result = run("report", *args, *QUICK, "--json")
    assert result.exit_code == 2, result.output
    assert said in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert said in json.loads(result.stdout)["error"]
    assert [p.name for p in tmp_path.iterdir()] == ["taken"]


def test_before_any_boiler_was_installed(run):
    result = run("report", "--all", "--as-of", "2024-01-01")
    assert result.exit_code == 2
    assert "no boiler was installed by 2024-01-01" in result.stderr
