"""`check` and the export of draws, as a script and a person meet them."""

import json
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner

from scalemodel.cli.main import main
from scalemodel.validation import audit
from scalemodel.validation.pymc_twin import run_nuts

pytest.importorskip("pymc", reason="the audit extra is not installed")
DEMO = Path(__file__).parents[2] / "data" / "demo"
AS_OF = ("--as-of", "2025-09-01")


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    path = tmp_path_factory.mktemp("check") / "logbook.sqlite3"
    assert run(path, "import", str(DEMO)).exit_code == 0
    return path


def run(path, *arguments):
    return CliRunner().invoke(main, ["--logbook", str(path), *arguments])


def test_check_lays_both_samplers_side_by_side(book, monkeypatch):
    """With NUTS tuned for a third of its time, which is enough for this history."""
    monkeypatch.setattr(audit, "run_nuts", partial(run_nuts, tune=500))
    result = run(book, "check", "loft-brew", *AS_OF, "--draws", "300", "--json")
    assert result.exit_code == 0, result.stderr
    body = json.loads(result.stdout)
    assert set(body["risk"][0]) >= {"date", "quick", "nuts"}
    assert set(body["nuts"]) == {"r_hat", "divergences", "ess_bulk", "seconds"}
    assert set(body["quick"]) == {"r_hat", "seconds"}
    assert set(body["parameters"][0]) >= {"name", "quick_mean", "quick_sd", "nuts_mean", "nuts_sd"}
    assert body["verdict"].startswith("Both samplers agree")
    assert len(body["looks"]) == 5
    assert result.stderr == ""


def test_check_priors(book):
    text = run(book, "check", "loft-brew", *AS_OF, "--beliefs", "--particles", "200").stdout
    assert "leans most on one belief" in text
    for belief in ("capture", "strength", "relative", "use"):
        assert f"\n{belief} " in text
    body = json.loads(run(book, "check", "loft-brew", *AS_OF, "--beliefs", "--particles", "200", "--json").stdout)
    assert len(body["leans"]) == 3 * len(body["moves"])


def test_export_of_draws(book, tmp_path):
    target = tmp_path / "loft.nc"
    result = run(book, "export", "--posterior", str(target), "--boiler", "loft-brew", *AS_OF)
    assert result.exit_code == 0, result.stderr
    assert target.stat().st_size > 10_000


@pytest.mark.parametrize(
    "arguments",
    [
        ("export",),
        ("export", "folder", "--posterior", "x.nc"),
        ("export", "--posterior", "x.csv", "--boiler", "loft-brew"),
        ("export", "--posterior", "x.nc"),
        ("export", "--posterior", "x.nc", "--boiler", "nobody"),
        ("check", "nobody"),
        ("check", "loft-brew", "--draws", "1"),
        ("check", "loft-brew", "--as-of", "2999-01-01"),
    ],
    ids=" ".join,
)
def test_bad_input(book, arguments, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = run(book, *arguments)
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []
