"""Pages that cannot go stale: their commands are run, what they print is compared, tables are held to the data."""

import re
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from scalemodel.cli.main import COMMANDS, main
from scalemodel.model import priors

ROOT = Path(__file__).parents[1]
NUMBER = re.compile(r"\d{4}-\d\d-\d\d|\d+(?:\.\d+)?")


def console_blocks(page: Path) -> list[tuple[str, list[str]]]:
    """Every command of a page's console blocks, with the lines that the page says it prints."""
    found = []
    for block in re.findall(r"```console\n(.*?)```", page.read_text(encoding="utf-8"), re.S):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append((line.removeprefix("$ "), []))
            elif line.strip():
                found[-1][1].append(line)
    return found


def alike(said: str, printed: str) -> bool:
    """The same words, dates within 12 days, numbers within 10 % or one of their last digit."""
    if NUMBER.sub("#", said).split() != NUMBER.sub("#", printed).split():
        return False
    for a, b in zip(NUMBER.findall(said), NUMBER.findall(printed), strict=True):
        if "-" in a and "-" in b:
            if abs((date.fromisoformat(a) - date.fromisoformat(b)).days) > 12:
                return False
        else:
            digit = 10.0 ** -len(a.partition(".")[2])
            if abs(float(a) - float(b)) > max(0.1 * abs(float(a)), 1.01 * digit):
                return False
    return True


def test_alike_can_fail():
    assert alike("risk 10.2 % on 2026-01-05", "risk 10.3 % on 2026-01-09")
    assert not alike("risk 10.2 %", "risk 13 %")
    assert not alike("until 2026-01-05", "until 2026-03-05")
    assert not alike("risk now", "risk then")


@pytest.mark.parametrize("page", ["docs/model.md"])
def test_the_commands_of_a_page_print_what_it_says(page, tmp_path, monkeypatch):
    monkeypatch.chdir(ROOT)
    commands = console_blocks(ROOT / page)
    assert commands
    checked = 0
    for command, said in commands:
        words = command.removeprefix("scalemodel ").split()
        result = CliRunner().invoke(main, ["--logbook", str(tmp_path / "l.sqlite3"), *words])
        assert result.exit_code == 0, (command, result.stderr)
        printed = result.stdout.splitlines()
        for line in said:
            assert any(alike(line, other) for other in printed), (command, line, result.stdout)
            checked += 1
    assert checked


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
