"""Pages whose commands are run: what a page says they print is held to what they print.

A console block holds commands, each behind ``$ ``, and under each what it prints; a line ``...`` stands for lines left
out. Words must be the same, and what was recorded wholly so; in an answer a date, a percentage or a number may differ a
little, as another machine or release of a library may draw other random numbers.

``python -m tests.pages PAGE`` runs a page and pastes the numbers anew, where the words are still the same.
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
import tempfile
from contextlib import chdir
from datetime import date
from pathlib import Path
from typing import NamedTuple
from urllib.request import HTTPCookieProcessor, ProxyHandler, build_opener

from click.testing import CliRunner

from scalemodel.cli.main import main

DAYS, AHEAD = 15, 0.1
"""Dates, and counts of days, may differ by so many days, or by so much of the time from the day of asking to them."""

POINTS = 3.0
"""Percentages may differ by so many points at most, and by a quarter of themselves or one point."""

SHARE = 0.15
"""Other numbers may differ by so much of themselves, or by one of their last decimal digit; below 10 without decimals,
which are grades or counts, not at all."""

LEFT_OUT = "..."

VALUE = re.compile(
    r"(?P<date>\d{4}-\d\d-\d\d)|(?P<percent>(?:under |over )?\d+(?:\.\d+)?(?= ?%))|(?P<days>\d+(?= days?\b)|"
    r"(?<=every )\d+)|(?P<number>\d+(?:\.\d+)?)"
)


class Command(NamedTuple):
    """A command of a page, and the lines that the page says it prints."""

    typed: str
    said: list[str]


def console_blocks(text: str) -> list[Command]:
    """Every command of a page's console blocks; blank lines do not count."""
    found: list[Command] = []
    for block in re.findall(r"```console\n(.*?)```", text, re.S):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append(Command(line.removeprefix("$ "), []))
            elif line.strip():
                found[-1].said.append(line)
    return found


def run(typed: str, logbook: Path) -> list[str]:
    """The lines that a command prints on that logbook; AssertionError unless it succeeds without a word of trouble."""
    program, *words = shlex.split(typed)
    assert program == "scalemodel", typed
    if words[0] == "serve":
        return run_server(words, logbook)
    result = CliRunner().invoke(main, ["--logbook", str(logbook), *words])
    assert (result.exit_code, result.stderr) == (0, ""), (typed, result.output)
    return [line for line in result.stdout.splitlines() if line.strip()]


def run_server(words: list[str], logbook: Path) -> list[str]:
    """The first line of a server, its address and token as a page writes them; a device is paired, then it is ended."""
    command = [sys.executable, "-m", "scalemodel.cli", "--logbook", str(logbook), *words, "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        line = server.stdout.readline().rstrip("\n")
        match = re.fullmatch(r"address: http://([\d.]+):(\d+)/pair/([\w-]+)", line)
        assert match, line
        opener = build_opener(ProxyHandler({}), HTTPCookieProcessor())
        page = opener.open(f"http://127.0.0.1:{match[2]}/pair/{match[3]}", timeout=60).read().decode()
        server.terminate()
        server.wait(30)
    assert "What is due" in page
    assert server.returncode == 0
    return ["address: http://192.0.2.7:8765/pair/TOKEN"]


def masked(line: str) -> list[str]:
    """The words of a line, each value replaced by the sort that it is of."""
    return re.sub(r"(<days> day)s?\b", r"\1", VALUE.sub(lambda match: f"<{match.lastgroup}>", line)).split()


def near(sort: str, said: str, printed: str, asked: date | None) -> bool:
    """Whether two values of a sort may be told apart by chance alone; ``asked`` is the day of asking, if known."""
    if sort == "date":
        one, other = date.fromisoformat(said), date.fromisoformat(printed)
        ahead = 0 if asked is None else (one - asked).days
        return abs((one - other).days) <= max(DAYS, AHEAD * ahead) and (one == asked) == (other == asked)
    a, b = (float(value.split()[-1]) for value in (said, printed))
    if sort == "days":
        return abs(a - b) <= max(DAYS, AHEAD * a)
    if sort == "percent":
        return abs(a - b) <= min(POINTS, max(1.0, 0.25 * a))
    decimals = said.partition(".")[2]
    if not decimals:
        return a == b if min(a, b) < 10 else abs(a - b) <= SHARE * a
    return abs(a - b) <= max(SHARE * a, 1.01 * 10.0 ** -len(decimals))


def alike(said: str, printed: str, asked: date | None = None) -> bool:
    """Whether a page's line is the printed line, its values within what chance may move."""
    if said.startswith("recorded ") or masked(said) != masked(printed):
        return said.split() == printed.split()
    pairs = zip(VALUE.finditer(said), VALUE.finditer(printed), strict=True)
    return all(near(one.lastgroup, one[0], other[0], asked) for one, other in pairs)


def day_of_asking(typed: str) -> date | None:
    """The ``--as-of`` of a command."""
    words = shlex.split(typed)
    return date.fromisoformat(words[words.index("--as-of") + 1]) if "--as-of" in words else None


def matched(said: list[str], printed: list[str], asked: date | None = None) -> list[str] | None:
    """The printed lines that a page's lines stand for, in order, ``...`` as it is; None if they do not fit.

    Without a ``...`` every printed line has to be there.
    """
    found, k, skipping = [], 0, False
    for line in said:
        if line == LEFT_OUT:
            found.append(line)
            skipping = True
            continue
        while skipping and k < len(printed) and not alike(line, printed[k], asked):
            k += 1
        if k == len(printed) or not alike(line, printed[k], asked):
            return None
        found.append(printed[k])
        k, skipping = k + 1, False
    return found if skipping or k == len(printed) or not said else None


def refreshed(page: Path) -> str:
    """The page with the values of this run; AssertionError for a command whose words changed."""
    text = page.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as place, chdir(place):
        for typed, said in console_blocks(text):
            printed = run(typed, Path(place) / "logbook.sqlite3")
            values = matched(said, printed, day_of_asking(typed))
            assert values is not None, "\n".join([typed, *printed])
            before, after = ("\n".join([f"$ {typed}", *lines]) + "\n" for lines in (said, values))
            assert before in text, f"blank lines in the output of: {typed}"
            text = text.replace(before, after)
    return text


if __name__ == "__main__":
    for name in sys.argv[1:]:
        place = Path(name).resolve()
        place.write_text(refreshed(place), encoding="utf-8")
