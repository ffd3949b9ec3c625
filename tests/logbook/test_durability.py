"""What was acknowledged is there: after kills at any instant, half-written files, full disks, many hands at once."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from scalemodel.logbook.store import Logbook
from tests.logbook.samples import filled

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.skipif(not hasattr(__import__("os"), "fork"), reason="kills forks of a process")


def crash(*words: object) -> dict:
    """What tests/logbook/crashing.py found; it fails by itself if anything is lost, doubled or half-written."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.logbook.crashing", *map(str, words)], capture_output=True, text=True, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


OPERATIONS = ["add", "picture", "amend", "strike", "imported", "rename", "create", "migrate", "update", "backup"]


@pytest.mark.parametrize("operation", OPERATIONS)
def test_killed_at_every_statement_nothing_is_half_written(tmp_path, operation):
    """Each statement that SQLite is given, reads and commits among them, is once the last."""
    found = crash("steps", tmp_path, operation, "coarse", 1_000)
    assert found["kills"] == found["steps"] >= 7


@pytest.mark.parametrize("operation", OPERATIONS)
def test_killed_within_statements_nothing_is_half_written(tmp_path, operation):
    """Instructions of SQLite's own machine: 25 or more of each operation, evenly spread, the last one among them."""
    found = crash("steps", tmp_path, operation, "fine", 25)
    assert found["kills"] >= 25
    if operation != "backup":
        assert found["after"] >= 1  # killed after the commit, before the operation came to its end


@pytest.mark.slow
@pytest.mark.parametrize("operation", OPERATIONS)
def test_killed_at_every_instruction_nothing_is_half_written(tmp_path, operation):
    """All instructions, up to some 3,000 of the long ones."""
    found = crash("steps", tmp_path, operation, "fine", 3_000)
    assert found["kills"] >= min(found["steps"], 3_000)


def test_killed_at_random_every_acknowledged_record_is_there_once(tmp_path):
    """100 kills of a busy writer on one growing logbook, each followed by a new writer."""
    found = crash("random", tmp_path, 100, 1)
    assert found["acknowledged"] > 50


def test_killed_at_random_what_is_sent_again_under_its_key_is_there_once(tmp_path):
    """60 kills of a writer, each followed by one that begins with what was not acknowledged."""
    assert crash("resent", tmp_path, 60, 4)["acknowledged"] > 5


@pytest.mark.slow
def test_killed_at_random_a_thousand_times(tmp_path):
    assert crash("random", tmp_path, 1_000, 2)["acknowledged"] > 500


def test_a_writer_killed_amid_others_takes_nothing_of_theirs_along(tmp_path):
    """Three writers at once, of which one is killed and another begins, 30 times."""
    found = crash("together", tmp_path, 30, 3)
    assert found["writers"] == 33
    assert found["acknowledged"] > 30


def test_a_log_cut_short_anywhere_gives_all_of_an_import_or_nothing(tmp_path):
    """The log of an import cut at and within each page; and pages half moved from it into the file."""
    found = crash("torn", tmp_path)
    assert found["cuts"] > 15
    assert found["pages"] > 3
    assert found["after"] >= 1
    assert found["before"] >= 15


@pytest.mark.parametrize("room", [0, 4_000, 20_000, 60_000])
def test_a_file_that_may_not_grow_loses_nothing(tmp_path, room):
    """A limit on the size of files, held by the system: the record that does not fit is refused in a line."""
    found = crash("limited", tmp_path, room)
    assert found["held"] == found["acknowledged"]
    assert "nothing was written" in found["said"]
    assert "\n" not in found["said"]


# ---- many hands

MANY = """
import sys
from datetime import date
from scalemodel.logbook.records import Inspection
from scalemodel.logbook.store import Logbook
print("ready", flush=True)
sys.stdin.readline()
for number in range(int(sys.argv[3])):
    with Logbook.open(sys.argv[1], write=True) as book:
        look = Inspection("kitchen", date(2026, 5, 20), "wall", 2, 2, note=f"{sys.argv[2]} {number}")
        print(book.add(look), flush=True)
"""

ONE_OF_MANY = """
import sys
from scalemodel.cli.main import main
print("ready", flush=True)
sys.stdin.readline()
main(["--logbook", sys.argv[1], "add", "inspection", "kitchen", "2026-05-20", "2", "--note", sys.argv[2]])
"""


def at_once(code: str, path: Path, *more: object) -> list[list[str]]:
    """Eight processes that begin together: the lines that each printed."""
    others = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(path), f"hand {k}", *map(str, more)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
        )
        for k in range(8)
    ]  # fmt: skip
    for other in others:
        assert other.stdout.readline() == "ready\n"
    for other in others:
        other.stdin.write("\n")
        other.stdin.flush()
    ended = [(*other.communicate(), other.returncode) for other in others]
    assert [(said, code) for _, said, code in ended] == [("", 0)] * 8
    return [out.splitlines() for out, _, _ in ended]


def test_eight_programs_that_write_at_once_lose_nothing_and_double_nothing(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    filled(path).close()
    numbers = [int(line) for lines in at_once(MANY, path, 15) for line in lines]
    with Logbook.open(path) as book:
        notes = {e.number: e.record.note for e in book.history() if e.kind == "inspection" and e.record.note}
        assert not book.verify().faults
    assert sorted(notes) == sorted(numbers)
    assert len(set(numbers)) == 120
    assert sorted(notes.values()) == sorted(f"hand {k} {n}" for k in range(8) for n in range(15))


def test_eight_commands_at_once_lose_nothing_and_double_nothing(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    filled(path).close()
    said = at_once(ONE_OF_MANY, path)
    with Logbook.open(path) as book:
        held = {e.number: e.record.note for e in book.history() if e.kind == "inspection" and e.record.note}
        assert not book.verify().faults
    assert sorted(held.values()) == [f"hand {k}" for k in range(8)]
    assert sorted(f"recorded inspection {number}" for number in held) == sorted(
        line.split(":")[0] for lines in said for line in lines
    )


def test_the_same_record_by_many_hands_is_entered_once(tmp_path):
    """Nobody can slip a twin in between another's look for one and its entry."""
    path = tmp_path / "logbook.sqlite3"
    filled(path).close()
    code = ONE_OF_MANY.replace("sys.argv[2]]", "'the same']")
    others = [
        subprocess.Popen([sys.executable, "-c", code, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                         stderr=subprocess.PIPE, text=True, cwd=ROOT)
        for _ in range(8)
    ]  # fmt: skip
    for other in others:
        other.stdout.readline()
    for other in others:
        other.stdin.write("\n")
        other.stdin.flush()
    said = [other.communicate()[1] for other in others]
    assert sorted(other.returncode for other in others) == [0, *[2] * 7]
    assert sum("says just this already" in line for line in said) == 7
