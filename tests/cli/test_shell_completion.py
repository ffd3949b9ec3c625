"""Completion in the shell: commands, options, names from the logbook; quick, silent, and it never fails."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.shell_completion import ShellComplete

from scalemodel.cli.main import COMMANDS, main
from tests.cli.runner import Desk

ROOT = Path(__file__).parents[2]


def completed(desk: Desk, *words: str) -> list[str]:
    """What the shell would offer for the last word."""
    shell = ShellComplete(main, {}, "scalemodel", "_SCALEMODEL_COMPLETE")
    return [item.value for item in shell.get_completions(["--logbook", str(desk.path), *words[:-1]], words[-1])]


def test_commands_are_offered_with_their_lines(desk):
    assert completed(desk, "") == list(COMMANDS)
    assert completed(desk, "de") == ["demo", "defer", "descale-plan"]
    assert completed(desk, "--ver") == ["--version"]
    assert completed(desk, "add", "ins") == ["inspection"]


def test_options_and_words_are_offered(desk):
    assert completed(desk, "defer", "--threshold") == ["--threshold-grade", "--threshold-um", "--threshold-mg-cm2"]
    assert completed(desk, "add", "inspection", "--method", "m") == ["mirror"]
    assert completed(desk, "add", "water-test", "--kit", "") == ["meter", "drops", "laboratory"]


@pytest.mark.parametrize(
    "words",
    [
        ("defer", "kit"),
        ("risk", "KIT"),
        ("next-inspection", ""),
        ("cost", "k"),
        ("plot", "k"),
        ("check", "k"),
        ("trial", "k"),
        ("water", "compare", "k"),
        ("descale-plan", "k"),
        ("inspection-guide", "k"),
        ("history", "k"),
        ("export", "--boiler", "k"),
        ("new", "site", "k"),
        ("add", "inspection", "k"),
        ("add", "use", "k"),
        ("add", "descale", "k"),
        ("add", "prices", "k"),
        ("add", "absence", "k"),
    ],
)
def test_boilers_are_offered(busy_desk, words):
    before = busy_desk.dump()
    assert completed(busy_desk, *words) == ["kitchen"]
    assert busy_desk.dump() == before


@pytest.mark.parametrize(
    "words",
    [
        ("defer", "kitchen", "--water", "t"),
        ("water", "analyse", "--water", ""),
        ("water", "compare", "kitchen", "--water", ""),
        ("trial", "kitchen", "--water", ""),
        ("descale-plan", "kitchen", "--water", ""),
        ("add", "fill", "kitchen", "2025-01-10", "t"),
        ("add", "water-test", ""),
    ],
)
def test_waters_are_offered(busy_desk, words):
    assert completed(busy_desk, *words) == ["tap"]


def test_sites_are_those_of_the_boiler_typed_so_far(busy_desk):
    busy_desk.do("new", "boiler", "attic", "--volume", "1", "--temperature", "93", "--installed", "2025-01-10")
    busy_desk.do("new", "site", "attic", "lid")
    assert completed(busy_desk, "defer", "kitchen", "--site", "") == ["wall", "gauge"]
    assert completed(busy_desk, "add", "inspection", "attic", "2025-04-01", "1", "--site", "") == ["wall", "lid"]
    assert completed(busy_desk, "defer", "--site", "") == ["gauge", "lid"]
    assert completed(busy_desk, "defer", "nowhere", "--site", "") == []


def test_a_name_that_is_to_be_new_is_not_offered(busy_desk):
    assert completed(busy_desk, "new", "boiler", "k") == []
    assert completed(busy_desk, "new", "site", "kitchen", "g") == []
    assert completed(busy_desk, "new", "water", "t") == []


@pytest.mark.parametrize("content", [None, b"", b"no logbook", b"SQLite format 3\0 and no more"])
def test_without_a_sound_logbook_nothing_is_offered_and_nothing_is_made(tmp_path, content):
    desk = Desk(tmp_path / "l.sqlite3")
    if content is not None:
        desk.path.write_bytes(content)
    assert completed(desk, "defer", "") == []
    assert [p.name for p in tmp_path.iterdir()] == ([] if content is None else ["l.sqlite3"])
    assert content is None or desk.path.read_bytes() == content


def asked_by_a_shell(words: str, **variables: str) -> tuple[str, set[str]]:
    """What a subprocess answers a bash that completes the words, and the modules that it loaded."""
    code = (
        "import atexit, sys\natexit.register(lambda: print('LOADED', *sys.modules))\n"
        "from scalemodel.cli.main import main\nmain(prog_name='scalemodel')"
    )
    given = {"COMP_WORDS": words, "COMP_CWORD": str(words.count(" ")), "_SCALEMODEL_COMPLETE": "bash_complete"}
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, **given, **variables},
    )
    assert done.stderr == ""
    said, loaded = done.stdout.rsplit("LOADED", 1)
    return said, set(loaded.split())


def test_a_shell_is_answered_without_numpy_from_the_logbook_in_the_environment(busy_desk):
    said, loaded = asked_by_a_shell("scalemodel defer k", SCALEMODEL_LOGBOOK=str(busy_desk.path))
    assert said == "plain,kitchen\n"
    assert not loaded & {"numpy", "scipy", "pandas", "matplotlib", "pymc", "arviz"}


def test_the_list_of_commands_imports_none_of_them(tmp_path):
    said, loaded = asked_by_a_shell("scalemodel ")
    assert [line.removeprefix("plain,") for line in said.splitlines()] == list(COMMANDS)
    assert not loaded & {target.split(":")[0] for target, _ in COMMANDS.values()}


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_is_given_its_script(shell):
    said, _ = asked_by_a_shell("scalemodel", _SCALEMODEL_COMPLETE=f"{shell}_source")
    assert "_SCALEMODEL_COMPLETE" in said
