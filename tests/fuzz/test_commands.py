"""Every command with hostile words: no traceback, one line of error, nothing written in part, nothing beside the point.

The commands are found by walking the program, and their words are made from what they declare. Commands that draw a
posterior are asked for the fewest particles. ``check`` is asked for its beliefs, since its other sampler takes a minute
a run, and ``calibrate`` is given a place for its figure that it has to refuse before its run of invented boilers: of
these two what is read and refused is tried, and what they compute elsewhere. ``serve`` ends as soon as it would wait.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import pymc  # noqa: F401  it sets a limit of recursion, which hypothesis would remark in the midst of an example
import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from scalemodel.cli.main import main
from scalemodel.logbook.store import Logbook
from tests.fuzz.depth import fuzzed
from tests.fuzz.hostile import TEXTS
from tests.fuzz.sandbox import contents, dump, workshop
from tests.fuzz.words import PASSWD, Leaf, command_lines, leaves

LEAVES = {" ".join(leaf.words): leaf for leaf in leaves()}
WRITING = ("new", "add", "amend", "strike", "retire", "rename", "import")
"""Commands that may change the ledger; every other only reads it."""

FORCED = {"check": ("--beliefs",), "calibrate": ("--figure", "nowhere/figure.png")}
RARE = {"check": 2, "demo": 2, "serve": 5}
"""Examples of commands that take long; the others have 30, or 10 where they draw a posterior."""

OWN_PLACES = {
    "demo": ("reports",),
    "report": ("reports",),
    "plot": (".",),
    "import": ("sheet.csv", "columns.toml"),
}
"""Where a command writes that is told no place."""

LOGBOOKS = ("none.sqlite3", "deep/er/new.sqlite3", "other.sqlite3", "notes.txt", "empty", PASSWD, "backup.sqlite3")


def strict(text: str):
    """JSON by the letter: neither NaN nor Infinity, and one value alone."""

    def refuse(constant):
        raise AssertionError(f"{constant} is no JSON")

    return json.loads(text, parse_constant=refuse)


def forced_for(leaf: Leaf) -> tuple[str, ...]:
    return (*FORCED.get(" ".join(leaf.words), ()), *(("--particles", "100") if leaf.asks else ()))


class Ended:
    """A server that has nothing to wait for."""

    def __init__(self, *given: object) -> None:
        self.run = self.close = lambda: None


@pytest.fixture(autouse=True)
def a_server_that_does_not_wait(monkeypatch):
    monkeypatch.setattr("scalemodel.serve.run.make_server", Ended)


def run(leaf: Leaf, logbook: str, as_json: bool, words: list[str]) -> Result:
    """Run a command as a person's words would, by the entry point that they reach."""
    first = ["--logbook", logbook, *leaf.words, *forced_for(leaf), *(["--json"] if as_json else [])]
    return CliRunner().invoke(main, [*first, *words])


def said_properly(result: Result, as_json: bool) -> None:
    """Exit code 0 or 2, never a traceback; a refusal is one line, and an object where scripts asked for one."""
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output
    assert result.exit_code in (0, 2)
    if result.exit_code == 2:
        first, *more = [line for line in result.stderr.splitlines() if not line.startswith("note: ")]
        assert first.startswith("error: ")
        assert all(line.startswith("  ") for line in more), result.stderr
        assert len(result.stderr) < 40_000
        assert not as_json or strict(result.stdout)["error"]
        assert as_json or result.stdout == "" or result.stdout.startswith('{"error": ')


def touched(before: dict, after: dict) -> list[Path]:
    """What is new, gone or other than before."""
    return [path for path in before.keys() | after.keys() if before.get(path, 0) != after.get(path, 0)]


def named(words: list[str], logbook: str, leaf: Leaf) -> list[Path]:
    """The places that a command line names: each word, what follows an equals sign, and the command's own place."""
    behind = [word.partition("=")[2] for word in words if "=" in word]
    kept = f"{logbook}.before-import-1"
    places = [*words, *behind, logbook, kept, *OWN_PLACES.get(leaf.words[0], ())]
    return [Path(os.path.abspath(place)) for place in places if "\0" not in place]


@pytest.mark.parametrize("name", LEAVES)
def test_no_words_break_a_command(name):
    leaf = LEAVES[name]
    takes_json = any("--json" in param.opts for param in leaf.command.params)

    @fuzzed(RARE.get(leaf.words[0], 10 if leaf.asks else 30))
    @given(
        st.integers(0, 11).flatmap(lambda k: st.sampled_from(LOGBOOKS) if k == 0 else st.just("logbook.sqlite3")),
        st.booleans() if takes_json else st.just(False),
        command_lines(leaf, forced_for(leaf)),
    )
    def no_words_break_it(logbook, as_json, words):
        with workshop() as root:
            book = Path("logbook.sqlite3")
            before, ledger = contents(root), dump(book)
            result = run(leaf, logbook, as_json, words)
            said_properly(result, as_json)
            after, now = contents(root), dump(book)
            changed = touched(before, after)
            if result.exit_code == 2:
                assert now == ledger
                assert changed == []
            elif as_json and not {"--help", "-h"} & set(words):
                strict(result.stdout)
            if leaf.words[0] not in WRITING and "--adopt" not in words:
                assert now == ledger
            places = named(words, logbook, leaf)
            for path in changed:
                assert any(place == path or place in path.parents or path in place.parents for place in places), path
            with Logbook.open(book) as opened:
                assert opened.verify().faults == ()

    no_words_break_it()


@fuzzed(40)
@given(st.lists(TEXTS | st.sampled_from([word for leaf in leaves() for word in leaf.words]), max_size=4))
def test_no_words_break_the_program(words):
    """Words that need not be a command at all."""
    with workshop() as root:
        before = contents(root)
        said_properly(CliRunner().invoke(main, ["--logbook", "none.sqlite3", *words]), False)
        assert not [path for path in touched(before, contents(root)) if "reports" not in str(path)]


def test_every_command_is_found():
    assert {"demo", "add water-test", "logbook backup", "water compare", "trial"} <= LEAVES.keys()
    assert len(LEAVES) > 25
    assert any(leaf.asks for leaf in LEAVES.values())
    assert set(WRITING) <= {leaf.words[0] for leaf in LEAVES.values()}
