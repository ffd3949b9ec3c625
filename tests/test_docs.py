"""Pages that cannot go stale: their commands are run, what they print is compared, tables are held to the data."""

import re
from dataclasses import fields
from datetime import date
from importlib import import_module
from pathlib import Path

import pytest
from click.testing import CliRunner

import scalemodel
from scalemodel.cli.main import COMMANDS, main
from scalemodel.decision.case import Answer
from scalemodel.logbook.csv_folder import csv_text, export_folder, import_folder
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.store import Logbook
from scalemodel.model import priors
from tests.pages import alike, console_blocks, day_of_asking, matched, refreshed, run

ROOT = Path(__file__).parents[1]
PAGES = {"docs/books.md": 25, "docs/fleet.md": 3, "docs/model.md": 3, "docs/tutorial.md": 60}
"""Pages with console blocks, and how many printed lines at least each has to show."""


@pytest.mark.parametrize(
    ("said", "printed", "same"),
    [
        ("risk 10.2% on 2026-01-05", "risk 10.9% on 2026-01-17", True),
        ("risk 10.2%", "risk 13.4%", False),
        ("risk 60%", "risk 64%", False),
        ("risk under 0.1%", "risk 0.2%", True),
        ("risk under 0.1%", "risk 1.2%", False),
        ("until 2026-01-05", "until 2026-01-21", False),
        ("wait 1 day", "wait 9 days", True),
        ("wait 100 days", "wait 116 days", False),
        ("every 296 days", "every 302 days", True),
        ("about 0.79 mg/cm2", "about 0.85 mg/cm2", True),
        ("about 0.79 mg/cm2", "about 0.92 mg/cm2", False),
        ("recorded look 16", "recorded look 17", False),
        ("a litre costs 120", "a litre costs 130", True),
        ("record 5", "record 6", False),
        ("grade 2", "grade 3", False),
        ("record 5, 2026-01-05", "record 5, 5", False),
        ("risk now", "risk then", False),
        ("Risk now", "risk now", False),
        ("a  b", "a b", True),
        ("none to speak of", "0.1 to speak of", False),
    ],
)
def test_lines_are_alike_in_their_words_and_near_in_their_values(said, printed, same):
    assert alike(said, printed) is same


def test_a_date_far_ahead_may_move_further_but_the_day_of_asking_may_not():
    asked = day_of_asking("scalemodel defer kitchen --as-of 2026-01-01")
    assert asked == date(2026, 1, 1)
    assert alike("by 2028-01-01", "by 2028-03-01", asked)
    assert not alike("by 2028-01-01", "by 2028-03-20", asked)
    assert not alike("as on 2026-01-01", "as on 2026-01-02", asked)


@pytest.mark.parametrize(
    ("said", "printed", "fits"),
    [
        (["a", "b"], ["a", "b"], True),
        (["a"], ["a", "b"], False),
        (["a", "..."], ["a", "b"], True),
        (["b"], ["a", "b"], False),
        (["...", "b"], ["a", "b"], True),
        (["b", "a"], ["a", "b"], False),
        (["...", "b", "...", "a"], ["a", "b"], False),
        (["a", "...", "d"], ["a", "b", "c", "d"], True),
        (["a", "...", "c"], ["a", "b", "c", "d"], False),
        (["a", "b", "c"], ["a", "b"], False),
        (["...", "c"], ["a", "b"], False),
        ([], ["a"], True),
    ],
)
def test_what_a_page_says_fits_what_is_printed_in_order_and_whole(said, printed, fits):
    assert (matched(said, printed) is not None) is fits


@pytest.mark.parametrize("page", PAGES)
def test_the_commands_of_a_page_print_what_it_says(page, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shown = 0
    for typed, said in console_blocks((ROOT / page).read_text(encoding="utf-8")):
        printed = run(typed, tmp_path / "logbook.sqlite3")
        fits = matched(said, printed, day_of_asking(typed)) is not None
        assert fits, "\n".join([f"read what changed, then run: python -m tests.pages {page}", typed, *printed])
        shown += len(said) - said.count("...")
    assert shown >= PAGES[page]


def test_a_page_that_is_wrong_is_seen(tmp_path):
    page = tmp_path / "page.md"
    page.write_text("```console\n$ scalemodel new water tap\nrecorded water 1: tap\n```\n", encoding="utf-8")
    assert refreshed(page) == page.read_text(encoding="utf-8")
    for wrong in ("recorded water 2: tap", "recorded water 1: rain", "recorded water 1: tap\nand more"):
        page.write_text(f"```console\n$ scalemodel new water tap\n{wrong}\n```\n", encoding="utf-8")
        with pytest.raises(AssertionError, match="new water tap"):
            refreshed(page)


def test_refreshing_a_page_pastes_the_values_of_the_run(tmp_path):
    page = tmp_path / "page.md"
    command = "scalemodel water mix --tap-tds 310 --target-tds 120"
    block = f"```console\n$ {command}\nMix {{}}% of tap water with {{}}% of treated water.\n...\n```\n"
    page.write_text(block.format("38.0", "62.0"), encoding="utf-8")
    assert refreshed(page) == block.format("38.7", "61.3")


def test_the_table_of_priors_is_the_data():
    rows = re.findall(
        r"^\| [^|]+ \| ([A-Z_]+) \| ([^|]+) \| ([^|]+) \| ([^|]+) \|", (ROOT / "docs/model.md").read_text(), re.M
    )
    data = {name for name, value in vars(priors).items() if isinstance(value, priors.Prior)}
    assert {row[0] for row in rows} == data
    for name, scale, mean, sd in rows:
        prior = getattr(priors, name)
        assert scale == prior.scale
        assert float(mean) == pytest.approx(prior.mean, abs=1e-3)
        assert float(sd) == prior.sd


def test_every_command_is_in_the_readme_and_has_help_with_an_example():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in COMMANDS:
        assert re.search(rf"`{name}\b", readme), name
        text = CliRunner().invoke(main, [name, "--help"]).stdout
        assert "Example" in text or "Commands" in text, name


def test_the_figure_of_the_model_page_is_kept():
    assert (ROOT / "docs" / "demo-loft-brew.png").stat().st_size > 20_000


def test_the_reference_page_is_the_help():
    from scalemodel.cli.manual import page

    kept = (ROOT / "docs" / "cli.md").read_text(encoding="utf-8")
    assert kept == page(), "run: python -m scalemodel.cli.manual > docs/cli.md"


def test_the_page_on_csv_files_is_the_records():
    from scalemodel.cli.csv_manual import page

    kept = (ROOT / "docs" / "csv.md").read_text(encoding="utf-8")
    assert kept == page(), "run: python -m scalemodel.cli.csv_manual > docs/csv.md"
    for kind in KINDS.values():
        section = kept.split(f"## {kind.file}\n")[1].split("\n## ")[0]
        named = re.findall(r"^\| `(\w+)` \|", section, re.M)
        assert named == list(kind.columns)


def test_the_examples_of_the_csv_page_are_a_logbook(tmp_path):
    from scalemodel.cli.csv_manual import EXAMPLES, examples_of

    files = {kind.file: csv_text(kind, examples_of(kind)) for kind in KINDS.values()}
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    with Logbook.in_memory(lambda: date(2025, 9, 2)) as book:
        import_folder(book, tmp_path)
        assert tuple(entry.record for entry in book.history()) == EXAMPLES
        export_folder(book, tmp_path / "out")
    assert {name: (tmp_path / "out" / name).read_text(encoding="utf-8") for name in files} == files


@pytest.mark.parametrize(
    ("module", "names"),
    [
        ("decision.case", ("Answer", "Case")),
        ("inference.posterior", ("Posterior",)),
        ("decision.risk", ("Risk", "RiskPoint")),
        ("decision.deferral", ("Deferral",)),
        ("answers.rows", ("Due",)),
        ("validation.fleets", ("Simulated", "Truth")),
        ("validation.hindsight", ("Hindsight", "LookBack", "Score")),
        ("validation.hindsight_fleet", ("FleetHindsight",)),
        ("decision.inspection_value", ("NextInspection", "LookOption", "PossibleGrade")),
        ("decision.cost", ("Cost", "AgePoint")),
        ("decision.water_plan", ("WaterPlans", "WaterOption")),
        ("decision.trial", ("Trial", "Arm", "Shown")),
        ("descaling.procedure", ("DescalePlan",)),
        ("logbook.photographs", ("Photograph",)),
        ("report.calendar", ("Calendar", "Event")),
    ],
)
def test_the_python_page_names_every_field_of_every_result(module, names):
    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    shared = {one.name for one in fields(Answer)}
    for name in names:
        kind = getattr(import_module(f"scalemodel.{module}"), name)
        own = {one.name for one in fields(kind) if not one.name.startswith("_")}
        own = own if kind is Answer or not issubclass(kind, Answer) else own - shared
        told = page[page.index(f"`{name}`") if f"`{name}`" in page else 0 :]
        assert [field for field in own if f"`{field}`" not in told] == [], name


def test_the_python_page_calls_every_public_function():
    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    assert all(name in page for name in scalemodel.__all__)
