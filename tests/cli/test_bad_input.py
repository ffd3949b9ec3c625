"""Bad input of every sort: exit code 2, one line that says what would be right, nothing changed."""

import json
import sqlite3

import pytest
from click.testing import CliRunner

from scalemodel.cli.main import main
from tests.cli.runner import KITCHEN, Desk


def boiler(**changes):
    """Words for a second boiler with some options changed; None leaves an option out."""
    options = {"volume": "1", "temperature": "93", "installed": "2025-01-10", **changes}
    words = [w for name, value in options.items() if value is not None
             for w in (f"--{name.replace('_', '-')}", value)]  # fmt: skip
    return ("new", "boiler", "bar", *words)


LOOK = ("add", "inspection", "kitchen", "2025-05-01")
TEST = ("add", "water-test", "tap", "2025-05-01")
USE = ("add", "use", "kitchen", "2025-05-01", "2025-06-01")
DESCALE = ("add", "descale", "kitchen", "2025-05-01")

BAD = [
    # a boiler's figures
    (boiler(volume="0"), "--volume: '0' will not do; expected a number 0.05 to 1000 L"),
    (boiler(volume="-1"), "--volume: '-1'"),
    (boiler(volume="nan"), "--volume: 'nan'"),
    (boiler(volume="inf"), "--volume: 'inf'"),
    (boiler(volume="1e999"), "--volume: '1e999'"),
    (boiler(volume="1001"), "--volume: '1001'"),
    (boiler(volume="0,7,5"), "expected a number 0.05 to 1000 L"),
    (boiler(volume="two litres"), "--volume"),
    (boiler(volume=""), "--volume: ''"),
    (boiler(volume="x" * 10_000), "..."),
    (boiler(volume=None), "Missing option '--volume'"),
    (boiler(temperature="19"), "expected a temperature 20 to 130 C (or 68 F to 266 F)"),
    (boiler(temperature="300 F"), "--temperature: '300 F'"),
    (boiler(temperature="93 K"), "--temperature: '93 K'"),
    (
        boiler(installed="10.01.2025"),
        "--installed: '10.01.2025' will not do; expected a date as YYYY-MM-DD, such as",
    ),
    (boiler(installed="2025-02-30"), "expected a day that exists"),
    (boiler(installed="2999-01-01"), "or earlier"),
    (boiler(installed="1066-10-14"), "from 1900-01-01 on"),
    (boiler(area="0"), "--area: '0' will not do; expected a number 5 to 500000 cm2"),
    (boiler(steam_share="1.1"), "--steam-share: '1.1' will not do; expected a number 0 to 1"),
    (boiler(start="dirty"), "--start: 'dirty' will not do; expected clean or unknown"),
    (boiler(threshold_grade="5"), "--threshold-grade: '5' will not do; expected a whole number 1 to 4"),
    (boiler(threshold_grade="0"), "--threshold-grade: '0'"),
    (boiler(tolerance="1"), "--tolerance: '1' will not do; expected a number 0.001 to 0.9"),
    (boiler(tolerance="110 %"), "--tolerance: '110 %'"),
    (boiler(note="x" * 2001), "--note"),
    (boiler(note="a\x1b[31mb"), "no control characters"),
    # names
    (("new", "water", ""), "expected a name of 1 to 80 characters"),
    (("new", "water", " "), "expected a name of 1 to 80 characters"),
    (("new", "water", "../../etc"), "'../../etc' will not do"),
    (("new", "water", "a/b"), "without '/'"),
    (("new", "water", "a\nb"), "'a\\nb' will not do"),
    (("new", "water", "x" * 81), "1 to 80"),
    (("new", "water", "tap"), "already a water called 'tap', record 3; choose another name"),
    (("new", "water", "TAP"), "already a water called 'tap'"),
    (("new", "water", "rain", "--cost-per-litre", "-1"), "--cost-per-litre: '-1'"),
    (KITCHEN, "already a boiler called 'kitchen', record 1"),
    (("new", "site", "kitchen", "gauge"), "already a site called 'gauge', record 2"),
    (("new", "site", "kitchn", "lid"), "did you mean 'kitchen'?"),
    (("new", "site", "kitchen", "lid", "--look-cost", "nan"), "--look-cost: 'nan'"),
    (("new", "site", "kitchen", "lid", "--relative-deposit", "0"), "--relative-deposit: '0'"),
    (("new", "site", "kitchen", "lid", "--relative-log-sd", "-1"), "--relative-log-sd: '-1'"),
    (("new", "kettle", "x"), "No such command 'kettle'"),
    # looks
    ((*LOOK, "5"), "GRADE: '5' will not do; expected a grade 0 to 4, a range such as 1-2"),
    ((*LOOK, "2-1"), "the lower grade first: 1-2"),
    ((*LOOK, "1.5"), "GRADE: '1.5'"),
    ((*LOOK, "nan"), "GRADE: 'nan'"),
    (LOOK, "Missing argument 'GRADE'"),
    ((*LOOK, "2", "--site", "lid"), "no site of 'kitchen' is called 'lid'; known: gauge, wall"),
    ((*LOOK, "2", "--method", "nose"), "expected eye, mirror, camera or glance"),
    ((*LOOK, "2", "--thickness-um", "0"), "--thickness-um: '0'"),
    ((*LOOK, "2", "--inspector", "x" * 81), "at most 80 characters"),
    ((*LOOK, "2", "--colour", "white"), "No such option"),
    (("add", "inspection", "attic", "2025-05-01", "2"), "no boiler is called 'attic'; known: kitchen"),
    (
        ("add", "inspection", "kitchen", "2024-12-31", "2"),
        "2025-01-10, when 'kitchen' was installed, or later",
    ),
    (("add", "inspection", "kitchen", "2999-01-01", "2"), "or earlier"),
    (("add", "inspection", "kitchen", "1/5/2025", "2"), "DATE: '1/5/2025' will not do"),
    # water tests
    (TEST, "holds no reading; give one of tds_mg_l"),
    ((*TEST, "--kit", "drops"), "holds no reading"),
    ((*TEST, "--hardness", "9 dX"), "--hardness: '9 dX' will not do"),
    ((*TEST, "--hardness", "9,5,1 dH"), "such as 9 dH"),
    ((*TEST, "--hardness", "-9 dH"), "expected 0 to 280 dH"),
    ((*TEST, "--hardness", "nan"), "--hardness: 'nan'"),
    ((*TEST, "--alkalinity", "9000"), "expected 0 to 5000 mg/L"),
    ((*TEST, "--calcium", ""), "--calcium: ''"),
    ((*TEST, "--tds", "5001"), "--tds: '5001' will not do; expected a number 0 to 5000 mg/L"),
    ((*TEST, "--tds", "-1"), "--tds: '-1'"),
    ((*TEST, "--ph", "7.6", "--tds-factor", "0.5"), "tds_mg_l beside it"),
    ((*TEST, "--tds", "100", "--tds-factor", "5"), "--tds-factor: '5'"),
    ((*TEST, "--conductivity", "inf"), "--conductivity: 'inf'"),
    ((*TEST, "--ph", "14"), "--ph: '14' will not do; expected a number 3 to 12"),
    ((*TEST, "--ph", "7.5", "--temperature", "101"), "--temperature: '101'"),
    ((*TEST, "--ph", "7.5", "--kit", "tongue"), "expected meter, drops or laboratory"),
    (("add", "water-test", "rain", "2025-05-01", "--ph", "7"), "no water is called 'rain'; known: tap"),
    (("add", "water-test", "tap", "2999-05-01", "--ph", "7"), "or earlier"),
    # fills and use
    (("add", "fill", "kitchen", "2025-05-01", "rain"), "no water is called 'rain'; known: tap"),
    (("add", "fill", "kitchen", "2025-01-10", "tap"), "record 4 already has 'kitchen' draw 'tap'"),
    (("add", "fill", "kitchen", "2025-01-09", "tap"), "when 'kitchen' was installed"),
    (USE, "given no amount; give exactly one of litres, drinks or the two meter readings"),
    ((*USE, "--litres", "1", "--drinks", "1"), "given as litres and as drinks"),
    ((*USE, "--litres", "-1"), "--litres: '-1'"),
    ((*USE, "--litres", "1e7"), "--litres: '1e7'"),
    ((*USE, "--drinks", "some"), "--drinks: 'some'"),
    ((*USE, "--litres", "1", "--litres-per-drink", "0.2"), "a number of drinks beside it"),
    ((*USE, "--drinks", "1", "--litres-per-drink", "0"), "--litres-per-drink: '0'"),
    ((*USE, "--meter", "20", "10"), "20 L, the first reading, or more"),
    ((*USE, "--meter", "20", "x"), "--meter: 'x'"),
    ((*USE, "--meter", "20"), "--meter"),
    (("add", "use", "kitchen", "2025-06-01", "2025-05-01", "--litres", "1"), "the from_date, or later"),
    (("add", "use", "kitchen", "2024-06-01", "2025-05-01", "--litres", "1"), "when 'kitchen' was installed"),
    (("add", "use", "kitchen", "2025-06-01", "2999-05-01", "--litres", "1"), "or earlier"),
    # descales
    ((*DESCALE, "--scope", "half"), "expected full or partial"),
    ((*DESCALE, "--acid-g", "0"), "--acid-g: '0'"),
    ((*DESCALE, "--scale-recovered-g", "-2"), "--scale-recovered-g: '-2'"),
    ((*DESCALE, "--acid", "a\tb"), "--acid"),
    # putting right
    (("amend", "5"), "give FIELD=VALUE, or --photo FILE"),
    (("amend", "5", "grade"), "expected FIELD=VALUE, such as grade=2"),
    (("amend", "5", "=2"), "expected FIELD=VALUE"),
    (("amend", "5", "grad=2"), "did you mean 'grade_low'?"),
    (("amend", "5", "note=a", "note=b"), "note is given twice"),
    (("amend", "5", "grade=9"), "grade: '9' will not do"),
    (("amend", "5", "grade_low=9"), "grade_low: '9' will not do; expected a whole number 0 to 4"),
    (("amend", "5", "grade=1-2"), "says so already"),
    (("amend", "5", "site=lid"), "known: gauge, wall"),
    (("amend", "1", "boiler=bar"), "the name of a boiler is not amended"),
    (("amend", "1", "installed_on=2025-04-01"), "has records older than 2025-04-01"),
    (("amend", "99", "grade=2"), "expected a number that `scalemodel history` shows"),
    (("amend", "9" * 40, "grade=2"), "scalemodel history"),
    (("amend", "x", "grade=2"), "'x' is not a valid integer"),
    (("strike", "5"), "Missing option '--reason'"),
    (("strike", "5", "--reason", " "), "reason: ' ' will not do"),
    (("strike", "1", "--reason", "sold"), "boiler 'kitchen' cannot be struck: 3 records need it (2, 4, 5)"),
    (("strike", "99", "--reason", "x"), "scalemodel history"),
    (("history", "kitchn"), "did you mean 'kitchen'?"),
    (("import", "no such folder"), "cannot be read"),
    # words that are no text: bytes that are no UTF-8, as Python has them
    (("history", "caf\udce9"), r"'caf\udce9' is no text; write it in UTF-8"),
    (("logbook", "backup", "\udce9.sqlite3"), "is no text"),
    (("export", "a\0b"), "is no text"),
    (("water", "analyse", "--water", "a\nb", "--tds", "3"), "--water and --tds given together"),
    (("demo", "--out", f"{__file__}/a\nb"), "choose a place that can be written"),
    (("history", "x" * 5000), f"no boiler is called '{'x' * 57}...'"),
]


@pytest.mark.parametrize(
    ("words", "said"), BAD, ids=lambda part: None if isinstance(part, str) else " ".join(part)[:60]
)
def test_bad_input_is_one_line_and_changes_nothing(busy_desk, words, said):
    assert said in busy_desk.refuse(*words)


def test_overlapping_use_names_the_record_that_it_meets(busy_desk):
    busy_desk.do(*USE, "--litres", "30")
    said = busy_desk.refuse("add", "use", "kitchen", "2025-05-31", "2025-07-01", "--litres", "1")
    assert "overlaps record 6, from 2025-05-01 to 2025-06-01; begin on 2025-06-01 or later" in said


def test_a_second_reference_site_names_the_first(busy_desk):
    busy_desk.do("new", "site", "kitchen", "lid", "--reference")
    said = busy_desk.refuse("new", "site", "kitchen", "base", "--reference")
    assert "'lid', record 6; first `scalemodel amend 6 reference=no`" in said


@pytest.mark.parametrize(
    "words",
    [
        (*LOOK, "2"),
        (*TEST, "--ph", "7"),
        (*USE, "--litres", "1"),
        DESCALE,
        ("add", "fill", "kitchen", "2025-05-01", "tap"),
        ("new", "site", "kitchen", "lid"),
        ("new", "boiler", "x", "--volume", "1", "--temperature", "93", "--installed", "2999-01-01"),
        ("amend", "1", "note=x"),
        ("strike", "1", "--reason", "x"),
        ("history",),
        ("export", "out"),
        ("import", "no such folder"),
    ],
    ids=" ".join,
)
def test_a_refusal_without_a_logbook_leaves_none_behind(desk, words):
    desk.refuse(*words)
    assert not desk.path.parent.exists()


def test_a_logbook_whose_name_is_no_text(desk, monkeypatch):
    monkeypatch.setenv("SCALEMODEL_LOGBOOK", "\udce9.sqlite3")
    result = CliRunner().invoke(main, ["history", "--json"])
    assert result.exit_code == 2
    assert "is no text" in json.loads(result.stdout)["error"]


def test_a_logbook_without_a_name(desk, monkeypatch, tmp_path):
    monkeypatch.setenv("HOME", str(tmp_path))
    result = CliRunner().invoke(main, ["--logbook", "", *KITCHEN])
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("error: --logbook: '' will not do")
    assert list(tmp_path.iterdir()) == []
    monkeypatch.setenv("SCALEMODEL_LOGBOOK", "")
    assert CliRunner().invoke(main, list(KITCHEN)).exit_code == 0  # an empty variable is an unset one


@pytest.mark.parametrize("words", [("history",), KITCHEN, ("amend", "1", "note=x"), ("export", "out")])
def test_another_programs_file_is_refused_by_every_command(tmp_path, words):
    desk = Desk(tmp_path / "other.db")
    connection = sqlite3.connect(desk.path)
    connection.execute("CREATE TABLE other (x)")
    connection.close()
    assert "is not a logbook" in desk.refuse(*words)


def test_a_newer_logbook_is_refused(busy_desk):
    connection = sqlite3.connect(busy_desk.path)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    for words in (("history",), ("new", "water", "rain")):
        assert "newer version (99)" in busy_desk.refuse(*words)
