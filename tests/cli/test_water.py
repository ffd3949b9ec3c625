"""``water analyse`` and ``water mix`` as people and scripts run them."""

import json
from datetime import date

import pytest
from click.testing import CliRunner

from scalemodel.cli.main import main
from scalemodel.logbook.records import Water, WaterTest
from scalemodel.logbook.store import Logbook

ANALYSIS_KEYS = [
    "hardness",
    "calcium",
    "magnesium",
    "alkalinity",
    "tds_mg_l",
    "ph",
    "temperature_c",
    "boiler_temperature_c",
    "saturation_index",
    "langelier_index",
    "ryznar_index",
    "potential_closed_mg_l",
    "potential_open_mg_l",
    "assumptions",
]
MIX_KEYS = ["tap_share", "tds_mg_l", "hardness", "alkalinity", "litres_per_cartridge", "cost_per_litre"]


def run(*args: str):
    return CliRunner().invoke(main, ["water", *args])


def answer(*args: str) -> dict:
    result = run(*args, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_analyse_for_scripts():
    got = answer("analyse", "--tds", "310", "--boiler-temperature", "93")
    assert list(got) == ANALYSIS_KEYS
    assert list(got["saturation_index"]) == ["sample", "boiler"]
    assert got["hardness"] == 266.6
    assert got["alkalinity"] == 204.6
    assert got["calcium"] + got["magnesium"] == pytest.approx(got["hardness"])
    assert 0.0 < got["saturation_index"]["sample"] < got["saturation_index"]["boiler"] < 2.0
    assert 0.0 < got["potential_closed_mg_l"] < got["potential_open_mg_l"] < got["calcium"]
    assert "no pH measured: 7.5 taken" in got["assumptions"]
    # index = pH - pHs and Ryznar = 2 pHs - pH give the pH in the boiler back
    ph_hot = 2.0 * got["langelier_index"] + got["ryznar_index"]
    assert 6.5 < ph_hot < 7.5


def test_analyse_for_people():
    text = run("analyse", "--tds", "310").stdout
    first = text.splitlines()[0]
    assert first.startswith("At 93 C a litre can drop 77 mg of lime")
    assert "mg/L as CaCO3" in text
    assert text.index("hardness") < text.index("Assumed:")
    assert "Mind:" not in text
    soft = run("analyse", "--tds", "40").stdout
    assert soft.index("Assumed:") < soft.index("Mind:") < soft.index("flat taste")


def test_units_and_fahrenheit():
    german = answer("analyse", "--hardness", "10 dH", "--alkalinity", "6 °dH", "--ph", "7.6",
                    "--sample-temperature", "59 F", "--boiler-temperature", "199.4 F")  # fmt: skip
    plain = answer("analyse", "--hardness", "178.48", "--alkalinity", "107.09 mg/L", "--ph", "7.6",
                   "--sample-temperature", "15", "--boiler-temperature", "93 C")  # fmt: skip
    assert german["hardness"] == plain["hardness"]
    assert german["potential_closed_mg_l"] == pytest.approx(plain["potential_closed_mg_l"], rel=1e-3)
    assert german["temperature_c"] == 15.0
    assert german["boiler_temperature_c"] == 93.0


def test_demineralised_water_has_an_answer():
    got = answer("analyse", "--tds", "0")
    assert got["potential_closed_mg_l"] == got["potential_open_mg_l"] == 0.0
    assert got["saturation_index"] == {"sample": None, "boiler": None}
    assert got["langelier_index"] is got["ryznar_index"] is None
    assert "none" in run("analyse", "--tds", "0").stdout


@pytest.fixture
def logbook(tmp_path):
    path = tmp_path / "book.sqlite3"
    with Logbook.create(path) as book:
        book.add(Water("tap"))
        book.add(Water("untested"))
        book.add(WaterTest("tap", date(2024, 1, 10), tds_mg_l=300.0))
        book.add(WaterTest("tap", date(2024, 3, 10), tds_mg_l=200.0), sure=True)
    return str(path)


def test_water_of_the_logbook(logbook):
    def ask(*more):
        return CliRunner().invoke(main, ["--logbook", logbook, "water", "analyse", "--water", *more, "--json"])

    assert json.loads(ask("tap", "--as-of", "2024-04-01").stdout)["tds_mg_l"] == 250.0
    assert json.loads(ask("tap", "--as-of", "2024-02-01").stdout)["tds_mg_l"] == 300.0
    for args, said in (
        (("tap", "--as-of", "2024-01-01"), "no test by 2024-01-01"),
        (("untested",), "no test by"),
        (("tapp",), "did you mean 'tap'"),
        (("tap", "--tds", "100"), "not both"),
    ):
        result = ask(*args)
        assert result.exit_code == 2
        assert said in json.loads(result.stdout)["error"]


def test_mix_for_scripts():
    got = answer("mix", "--tap-tds", "310", "--target-tds", "120", "--cartridge-litres", "60", "--cartridge-cost", "14")
    assert list(got) == MIX_KEYS
    assert got["tap_share"] == 0.3871
    assert got["tds_mg_l"] == 120.0
    assert got["hardness"] == pytest.approx(0.43 * 240.0)
    assert got["alkalinity"] == pytest.approx(0.33 * 240.0)
    assert got["litres_per_cartridge"] == pytest.approx(60.0 / (1.0 - 120.0 / 310.0), rel=1e-4)
    assert got["cost_per_litre"] == pytest.approx(14.0 / got["litres_per_cartridge"], rel=1e-4)
    bare = answer("mix", "--tap-tds", "310", "--target-tds", "120")
    assert bare["litres_per_cartridge"] is bare["cost_per_litre"] is None


def test_mix_by_hardness():
    got = answer("mix", "--tap-hardness", "14 dH", "--tap-alkalinity", "10 dH", "--target-hardness", "4 dH",
                 "--treated-hardness", "1 dH", "--treated-alkalinity", "1 dH")  # fmt: skip
    assert got["tap_share"] == pytest.approx(3.0 / 13.0, rel=1e-4)
    assert got["hardness"] == pytest.approx(4 * 17.848, rel=1e-4)
    assert got["alkalinity"] == pytest.approx((3 * 10 + 10 * 1) / 13 * 17.848, rel=1e-4)


def test_mix_of_treated_water_that_is_not_pure():
    assert answer("mix", "--tap-tds", "300", "--target-tds", "120", "--treated-tds", "20")["tap_share"] == 0.35714
    whole = answer("mix", "--tap-tds", "120", "--target-tds", "120", "--cartridge-litres", "60")
    assert whole["tap_share"] == 1.0
    assert whole["litres_per_cartridge"] is None


def test_mix_for_people():
    text = run("mix", "--tap-tds", "310", "--target-tds", "60", "--cartridge-litres", "60").stdout
    assert text.startswith("Mix 19.4% of tap water with 80.6% of treated water.")
    assert "mix per cartridge" in text
    assert text.index("Assumed:") < text.index("Mind:") < text.index("flat taste: TDS 60")


BAD = [
    ("analyse",),
    ("analyse", "--ph", "7"),
    ("analyse", "--tds", "nan"),
    ("analyse", "--tds", "inf"),
    ("analyse", "--tds", "-1"),
    ("analyse", "--tds", "1e9"),
    ("analyse", "--tds", "much"),
    ("analyse", "--tds", "100", "--tds-factor", "0"),
    ("analyse", "--conductivity", "nan"),
    ("analyse", "--hardness", "9 dK"),
    ("analyse", "--hardness", "nan"),
    ("analyse", "--hardness", "-9 dH"),
    ("analyse", "--hardness", "1e9"),
    ("analyse", "--hardness", "50", "--calcium", "80"),
    ("analyse", "--tds", "100", "--ph", "nan"),
    ("analyse", "--tds", "100", "--ph", "0"),
    ("analyse", "--tds", "100", "--boiler-temperature", "131"),
    ("analyse", "--tds", "100", "--boiler-temperature", "nan"),
    ("analyse", "--tds", "100", "--sample-temperature", "-4"),
    ("analyse", "--tds", "100", "--as-of", "2026-01-01"),
    ("mix", "--tap-tds", "310"),
    ("mix", "--target-tds", "120"),
    ("mix", "--tap-tds", "310", "--target-tds", "120", "--target-hardness", "4 dH"),
    ("mix", "--tap-tds", "310", "--target-tds", "311"),
    ("mix", "--tap-tds", "310", "--target-tds", "nan"),
    ("mix", "--tap-tds", "310", "--target-tds", "-5"),
    ("mix", "--tap-tds", "0", "--target-tds", "100"),
    ("mix", "--tap-tds", "310", "--target-tds", "100", "--treated-tds", "-1"),
    ("mix", "--tap-tds", "310", "--target-hardness", "nan"),
    ("mix", "--tap-tds", "310", "--target-tds", "100", "--cartridge-litres", "0"),
    ("mix", "--tap-tds", "310", "--target-tds", "100", "--cartridge-litres", "inf"),
    ("mix", "--tap-tds", "310", "--target-tds", "100", "--cartridge-litres", "60", "--cartridge-cost", "-1"),
    ("mix", "--tap-tds", "310", "--target-tds", "100", "--cartridge-cost", "14"),
]


@pytest.mark.parametrize("args", BAD, ids=" ".join)
def test_one_line_and_exit_code_two(args):
    result = run(*args)
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert line.startswith("error: ")
    scripted = run(*args, "--json")
    assert scripted.exit_code == 2
    assert line == "error: " + json.loads(scripted.stdout)["error"]


@pytest.mark.parametrize("args", [("--help",), ("analyse", "--help"), ("mix", "--help")])
def test_help(args):
    result = run(*args)
    assert result.exit_code == 0
    if len(args) == 2:
        assert "Example:" in result.stdout
