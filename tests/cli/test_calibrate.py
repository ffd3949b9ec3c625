"""``scalemodel calibrate``: words first, tables after, JSON, and the figure."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from scalemodel.cli.calibrate import calibration_lines, risk_words, unknown_words
from scalemodel.cli.main import main
from scalemodel.validation.calibration import RANKS, rank_histograms
from scalemodel.validation.reliability import DAYS_AHEAD, FULL, QUICK, Calibration, reliability


def run(*words):
    return CliRunner().invoke(main, ["calibrate", *map(str, words)])


def made(distort=lambda p: p, lean=0.0) -> Calibration:
    rng = np.random.default_rng(1)
    true = np.sort(rng.beta(0.4, 0.4, size=(400, len(DAYS_AHEAD))), axis=1)
    ranks = [{"capture": min(RANKS - 1, int(RANKS * rng.random() ** np.exp(-lean)))} for _ in range(400)]
    risks = reliability(distort(true), rng.random((400, 1)) < true)
    return Calibration(400, 1, 125, rank_histograms(ranks, {"capture": "capture fraction"}), risks, 0, 1.0)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    figure = tmp_path_factory.mktemp("calibrate") / "c.png"
    return run("--replications", 20, "--seed", 5, "--figure", figure), figure


def test_words_first_then_tables(told):
    result, figure = told
    assert result.exit_code == 0, result.stderr
    assert result.stderr == ""  # a bar is for terminals
    lines = result.stdout.splitlines()
    assert lines[0].startswith("Stated risks came true: of 100 risks stated for 20 invented boilers")
    assert lines[1].startswith("None of the")
    assert any(line.startswith("capture fraction") for line in lines)
    assert lines[-1] == f"Drawn in {figure}"
    assert figure.stat().st_size > 30_000


def test_json_is_one_object_and_the_seed_repeats_it(told):
    body = json.loads(run("--replications", 20, "--seed", 5, "--json").stdout)
    assert set(body) >= {"replications", "seed", "particles", "ranks", "reliability", "faults", "seconds", "figure"}
    assert (body["replications"], body["seed"], body["figure"], body["faults"]) == (20, 5, None, {})
    assert sum(body["ranks"][0]["counts"]) == 20
    assert sum(b["forecasts"] for b in body["reliability"]["bins"]) == body["reliability"]["forecasts"] == 100
    stated = body["reliability"]["stated"] * 100
    assert f"{stated:.0f} were to come true" in told[0].stdout


def test_what_is_off_is_said():
    fine, sure, slanted = made(), made(lambda p: p**2 / (p**2 + (1 - p) ** 2)), made(lean=0.5)
    assert risk_words(fine).startswith("Stated risks came true")
    assert unknown_words(fine).startswith("None of the 1 kinds of unknown is off")
    assert risk_words(sure).startswith("Stated risks did NOT come true")
    assert "too sure" in risk_words(sure)
    assert unknown_words(slanted).startswith("Off: capture fraction: draws too low")
    assert [line.endswith("off") for line in calibration_lines(slanted) if line.startswith("capture")] == [True]


def test_the_help_names_the_sizes_and_an_example():
    text = " ".join(run("--help").stdout.split())
    assert f"default: {QUICK}" in text
    assert str(FULL) in text
    assert "Example: scalemodel calibrate" in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--figure", "c.pdf"), "ends in .png or .svg"),
        (("--replications", 5), "20 to 100000"),
        (("--full", "--replications", 50), "exclude each other"),
    ],
)
def test_refusals_come_before_the_work(words, said):
    result = run(*words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert said in result.stderr
    assert result.stderr.count("\n") == 1
