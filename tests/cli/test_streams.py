"""What happens where standard input, output or error is closed, full, or lacks a letter."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.runner import Desk

ROOT = Path(__file__).parents[2]
needs_full = pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device that is always full")


def shell(desk: Desk, words: str, redirected: str = "", **more: str) -> subprocess.CompletedProcess:
    """A command on the desk's logbook, by a shell that redirects its streams."""
    line = f'"{sys.executable}" -m scalemodel.cli --logbook "{desk.path}" {words} {redirected}'
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "0", **more}
    return subprocess.run(line, shell=True, capture_output=True, env=environment, timeout=60, check=False)


@needs_full
@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("new water rain", "recorded water 6: rain"),
        ("amend 5 grade=2", "recorded inspection 6, which amends 5"),
        ("strike 5 --reason slip", "struck inspection 5"),
    ],
)
def test_what_was_recorded_is_said_although_the_output_is_full(busy_desk, words, said):
    result = shell(busy_desk, words, ">/dev/full")
    line = result.stderr.decode()
    assert (result.returncode, line.count("\n")) == (2, 1)
    assert line.startswith(f"error: {said}")
    assert "the output cannot be written" in line
    assert line.endswith("do not do it again\n")
    assert "no fault found" in busy_desk.do("logbook", "verify")


@needs_full
@pytest.mark.parametrize("words", ["history", "history --json", "logbook verify --json", "export {} --json", "--help"])
def test_an_output_that_is_full_is_one_line(busy_desk, tmp_path, words):
    for number in range(60):
        busy_desk.do("new", "water", f"water {number} {'x' * 60}")  # more than is written at once
    result = shell(busy_desk, words.format(tmp_path / "out"), ">/dev/full")
    line = result.stderr.decode()
    assert (result.returncode, line.count("\n")) == (2, 1), line
    assert line.startswith("error: ")


@needs_full
@pytest.mark.parametrize("redirected", ["2>/dev/full", "2>&-", ">/dev/full 2>/dev/full"])
def test_an_error_that_nobody_can_read_keeps_its_exit_code(busy_desk, redirected):
    assert shell(busy_desk, "risk nowhere --on 2030-01-01", redirected).returncode == 2


def test_without_an_input_a_record_entered_twice_is_refused(busy_desk):
    result = shell(busy_desk, "add inspection kitchen 2025-04-12 1-2 --site gauge", "<&-")
    before = busy_desk.dump()
    again = shell(busy_desk, "add inspection kitchen 2025-04-12 1-2 --site gauge", "<&-")
    assert (result.returncode, again.returncode, again.stderr.count(b"\n")) == (0, 2, 1)
    assert busy_desk.dump() == before


@pytest.mark.parametrize("encoding", ["latin-1", "cp437"])
def test_letters_that_the_output_lacks_are_escaped(busy_desk, encoding):
    result = shell(busy_desk, 'new water "Quell\u00fc \u6c34 \U0001f4a7"', PYTHONIOENCODING=encoding, PYTHONUTF8="1")
    assert (result.returncode, result.stderr) == (0, b"")
    assert b"\\u6c34" in result.stdout
    assert shell(busy_desk, "history", PYTHONIOENCODING=encoding).returncode == 0
    told = shell(busy_desk, "history --json", PYTHONIOENCODING=encoding)
    waters = [one["record"].get("water") for one in json.loads(told.stdout.decode(encoding))["entries"]]
    assert "Quell\u00fc \u6c34 \U0001f4a7" in waters
