"""``descale-plan`` and ``inspection-guide`` as people and scripts meet them."""

import json
from dataclasses import replace

import pytest
from click.testing import CliRunner

from scalemodel.cli.main import main
from scalemodel.logbook.store import Logbook
from tests.builders import day, history, look

QUICK = ("--as-of", str(day(360)), "--particles", "200")
KEYS = {
    "scale_g", "site", "acid", "filled_by", "acid_g", "solution_l", "strength_percent", "passes", "rinse_l",
    "residual_acid_g_l", "steps", "cautions",
}  # fmt: skip
CAUTIONS = ("CAUTIONS", "Never heat an empty", "bleach", "aluminium", "maker's instructions", "No vinegar", "gloves")


@pytest.fixture(scope="module")
def book_path(tmp_path_factory):
    path = tmp_path_factory.mktemp("plan") / "book.sqlite3"
    with Logbook.create(path, today=lambda: day(360)) as book:
        facts = history(look(90, 1), look(180, 1, 2))
        for record in (*facts.waters, *facts.water_tests):
            book.add(record)
        notes = (("bar: left", ""), ("plain", "nickel-plated copper"))
        for name, note in notes:
            for record in (facts.boiler, *facts.sites, *facts.fills, *facts.uses, *facts.inspections):
                changed = {"note": note} if record is facts.boiler else {}
                book.add(replace(record, boiler=name, **changed))
        book.add(replace(facts.boiler, boiler="bare"))
        book.add(replace(facts.boiler, boiler="poured", filled_by="hand"))
    return path


@pytest.fixture
def run(book_path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return lambda *args: CliRunner().invoke(main, ["--logbook", str(book_path), *args])


@pytest.fixture
def say(run):
    def said(*args):
        result = run(*args)
        assert (result.exit_code, result.stderr) == (0, ""), result.output
        return result.stdout

    return said


def test_the_promised_keys(say):
    body = json.loads(say("descale-plan", "bar: left", *QUICK, "--json"))
    assert set(body) == KEYS
    assert set(body["scale_g"]) == {"mean", "p10", "p90"}
    assert (body["acid"], body["site"], body["filled_by"], body["passes"]) == ("citric-monohydrate", "wall", "pump", 2)
    assert 1.0 <= body["strength_percent"] <= 5.0
    assert body["acid_g"] == pytest.approx(10.0 * body["strength_percent"] * body["solution_l"])
    assert body["solution_l"] == pytest.approx(1.6)
    assert body["residual_acid_g_l"] <= 0.05
    assert all(isinstance(text, str) and text for key in ("steps", "cautions") for text in body[key])
    assert any(
        "\nscalemodel add inspection 'bar: left' DATE GRADE --site wall --after-descale" in s for s in body["steps"]
    )


def test_options_count(say):
    body = json.loads(say("descale-plan", "bar: left", *QUICK, "--json", "--acid", "sulfamic", "--strength", "8"))
    assert (body["acid"], body["strength_percent"]) == ("sulfamic", 8.0)
    by_hand = json.loads(say("descale-plan", "bar: left", *QUICK, "--json", "--filled-by", "hand", "--fill-to", "0.5"))
    assert (by_hand["filled_by"], by_hand["solution_l"], by_hand["passes"]) == ("hand", 0.5, 1)
    assert by_hand["acid_g"] < body["acid_g"]
    early = json.loads(say("descale-plan", "bar: left", "--as-of", str(day(100)), "--json"))
    late = json.loads(say("descale-plan", "bar: left", *QUICK, "--json"))
    assert early["scale_g"]["mean"] < late["scale_g"]["mean"]


@pytest.mark.parametrize("acid", ["citric-monohydrate", "citric-anhydrous", "sulfamic"])
def test_every_text_holds_the_cautions_and_fits_a_phone(say, tmp_path, acid):
    text = say("descale-plan", "bar: left", *QUICK, "--acid", acid, "--out", "plan.md")
    markdown = (tmp_path / "plan.md").read_text(encoding="utf-8")
    for page in (text, markdown, say("descale-plan", "bar: left", *QUICK, "--acid", acid)):
        whole = " ".join(page.split())
        for words in CAUTIONS[1:]:
            assert words in whole
        assert "CAUTIONS" in page.upper()
        assert page.upper().index("CAUTIONS") < page.upper().index("WHAT IT TAKES") < page.upper().index("STEPS")
        assert max(map(len, page.splitlines())) <= 60
        for number in range(1, 18 + 1):
            assert any(line.startswith(f"{number}. ") for line in page.splitlines())


@pytest.mark.parametrize("filled_by", ["pump", "hand"])
def test_one_amount_in_every_output(say, tmp_path, filled_by):
    asked = ("descale-plan", "bar: left", *QUICK, "--filled-by", filled_by)
    body, text = json.loads(say(*asked, "--json")), say(*asked, "--out", "plan.md")
    for page in (text, (tmp_path / "plan.md").read_text(encoding="utf-8")):
        whole = " ".join(page.replace("\\\n", " ").split())
        assert f"Acid: {body['acid_g']:g} g of citric acid monohydrate in {body['solution_l']:g} L" in whole
        assert f"weigh {body['acid_g']:g} g of" in whole
        assert f"--acid-g {body['acid_g']:g}" in whole
        assert f"{body['rinse_l']:g} L of fresh water" in whole
        assert whole.count(" g of citric acid") == 2


def test_attacked_metals_come_first(say):
    lines = say("descale-plan", "plain", *QUICK).splitlines()
    first = lines.index("CAUTIONS") + 1
    assert lines[first].startswith("- STOP. A note of plain names nickel")


def test_the_file_is_whole_and_said(say, tmp_path):
    text = say("descale-plan", "bar: left", *QUICK, "--out", "plan.md")
    assert text.endswith("\nWritten to plan.md\n")
    markdown = (tmp_path / "plan.md").read_text(encoding="utf-8")
    assert markdown.startswith("# Descaling plan for bar: left, as on 2025-12-27\n")
    assert markdown.count("```") == 2 * 3
    assert [p.name for p in tmp_path.iterdir()] == ["plan.md"]
    say("descale-plan", "bar: left", *QUICK, "--out", "plan.md")
    assert (tmp_path / "plan.md").read_text(encoding="utf-8") == markdown


def test_a_boiler_without_use_on_record(run, say):
    assert "--litres-per-day" in run("descale-plan", "bare", *QUICK).stderr
    assert "STEPS" in say("descale-plan", "bare", *QUICK, "--litres-per-day", "0.4", "--water", "tap")


def test_the_way_of_filling_on_record_counts_until_another_is_said(say):
    asked = ("descale-plan", "poured", *QUICK, "--litres-per-day", "0.4", "--water", "tap", "--json")
    assert json.loads(say(*asked))["filled_by"] == "hand"
    assert json.loads(say(*asked, "--filled-by", "pump"))["filled_by"] == "pump"
    assert "filled by hand" in say("history", "poured")


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("bar: left", "--strength", "0"), "1 to 20 %"),
        (("bar: left", "--strength", "nan"), "'nan' will not do"),
        (("bar: left", "--strength", "60"), "--strength: '60' will not do"),
        (("bar: left", "--strength", "-5"), "1 to 20 %"),
        (("bar: left", "--filled-by", "mains"), "no way of filling is called 'mains'; known: hand, pump"),
        (("bar: left", "--fill-to", "0.4"), "--fill-to: '0.4' will not do; expected none, as a pump fills the whole"),
        (("bar: left", "--filled-by", "hand", "--fill-to", "9"), "--fill-to: '9' will not do; expected 0.2 to 0.8 L"),
        (("bar: left", "--strength", "strong"), "strong"),
        (("bar: left", "--acid", "vinegar"), "no acid is called 'vinegar'; known: citric-anhydrous"),
        (("bar: left", "--acid", "citric"), "citric-"),
        (("bar: left", "--acid", ""), "no acid is called ''"),
        (("bar left",), "did you mean 'bar: left'?"),
        (("bar: left", "--out", "none/plan.md"), "none/plan.md' will not do; expected a place where a file can be"),
        (("bar: left", "--out", "none/plan.md"), "no folder none"),
        (("bar: left", "--out", "plan.pdf"), "ends in .md"),
        (("bar: left", "--water", "rain"), "no water is called 'rain'"),
        ((), "Missing argument"),
    ],
)
def test_mistakes_are_one_line_and_leave_no_file(run, tmp_path, args, said):
    result = run("descale-plan", *args, *QUICK, "--json")
    assert result.exit_code == 2
    assert said in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert json.loads(result.stdout) == {"error": result.stderr.removeprefix("error: ").rstrip("\n")}
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_written(run, tmp_path):
    (tmp_path / "plan.md").mkdir()
    result = run("descale-plan", "bar: left", *QUICK, "--out", "plan.md")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "plan.md" in result.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["plan.md"]


def test_the_guide(say, run, tmp_path):
    for text in (say("inspection-guide"), say("inspection-guide", "bar: left")):
        assert max(map(len, text.splitlines())) <= 60
        whole = " ".join(text.split())
        for words in (
            "CAUTIONS",
            "Never heat an empty",
            "seldom waterproof",
            "a haze, metal colour shows",
            "3 or worse",
        ):
            assert words in whole
    assert "chamber" in say("inspection-guide", "bar: left")
    body = json.loads(say("inspection-guide", "plain", "--json"))
    assert set(body) == {"boiler", "cautions", "steps", "grades", "ranges", "sites"}
    assert body["boiler"] == "plain"
    assert len(body["grades"]) == 5
    wrong = run("inspection-guide", "plan")
    assert wrong.exit_code == 2
    assert wrong.stderr == "error: no boiler is called 'plan'; did you mean 'plain'?\n"


def test_the_guide_needs_no_logbook(tmp_path):
    path = tmp_path / "none.sqlite3"
    result = CliRunner().invoke(main, ["--logbook", str(path), "inspection-guide"])
    assert result.exit_code == 0
    assert not path.exists()


@pytest.mark.parametrize("command", ["descale-plan", "inspection-guide"])
def test_every_help_has_an_example(say, command):
    assert say(command, "--help").count("Example:\n  ") == 1
