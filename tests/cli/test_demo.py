"""The demo and the README's walk-through, as a newcomer runs them."""

import json
import re
from pathlib import Path

from click.testing import CliRunner

from scalemodel.cli.main import main

README = Path(__file__).parents[2] / "README.md"


def test_demo_prints_the_table_the_reasons_and_draws(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, ["demo"])
    assert result.exit_code == 0, result.stderr
    for boiler in ("loft-brew", "mill-brew", "mill-steam", "hall-urn"):
        assert boiler in result.stdout
    assert "Why, for loft-brew" in result.stdout
    assert (tmp_path / "reports" / "demo-loft-brew.png").stat().st_size > 20_000
    assert [p.name for p in tmp_path.iterdir()] == ["reports"]  # the logbook was a throw-away


def test_demo_json(tmp_path):
    body = json.loads(CliRunner().invoke(main, ["demo", "--json", "--out", str(tmp_path)]).stdout)
    assert len(body["boilers"]) == 4
    assert body["figure"].endswith(".png")


def test_the_readme_s_walk_through_works(tmp_path):
    own = README.read_text(encoding="utf-8").partition("## Your own boiler")[2]  # the phone's is tried in tests/serve
    block = re.search(r"```console\n(.*?)```", own, re.S)[1]
    commands = [line.removeprefix("$ scalemodel ").split() for line in block.splitlines()]
    assert len(commands) >= 7
    for arguments in commands:
        result = CliRunner().invoke(main, ["--logbook", str(tmp_path / "l.sqlite3"), *arguments])
        assert result.exit_code == 0, (arguments, result.stderr)
    assert result.stdout.startswith("kitchen: ")
