"""Answers that are kept: when one is found again, and that nothing about the folder is ever an error."""

import json
import os
import subprocess
import sys
from dataclasses import replace

import pytest

from scalemodel.answers import desk as desks
from scalemodel.answers import key as keys
from scalemodel.answers.desk import Desk
from scalemodel.answers.kept import Kept
from scalemodel.answers.told import PARTS, Failure, from_plain, plain
from scalemodel.decision.question import Question
from tests.builders import history, look

FACTS = history(look(90, 0), look(180, 1), tds=60.0)


@pytest.fixture(scope="module")
def parts():
    with Desk(particles=100) as desk:
        asked = desk.ask_here(FACTS)
    return {"date": asked.dated(), "look": asked.look()}


@pytest.fixture
def never(monkeypatch):
    """Nothing may be solved."""

    def solved(*job):
        raise AssertionError("solved again")

    monkeypatch.setattr(desks, "solved", solved)


def test_a_part_written_plainly_is_read_back(parts):
    for name, part in parts.items():
        assert from_plain(name, json.loads(json.dumps(plain(part)))) == part


def test_an_answer_is_kept_in_memory_and_in_the_folder(tmp_path, parts, monkeypatch):
    with Desk(tmp_path / "deep" / "answers", particles=100) as desk:
        first = desk.ask_here(FACTS)
        monkeypatch.setattr(desks, "solved", None)
        assert desk.ask_here(FACTS).dated() == first.dated() == parts["date"]
    with Desk(tmp_path / "deep" / "answers", particles=100) as other:
        assert other.knows(FACTS)
        assert other.ask(FACTS).look(0) == parts["look"]
    with Desk(tmp_path / "elsewhere", particles=100) as third:
        assert not third.knows(FACTS)


@pytest.mark.skipif(os.name != "posix", reason="modes of files are POSIX's")
def test_what_is_kept_is_for_its_owner_alone(tmp_path, parts):
    Kept(tmp_path / "answers").put("k", "date", parts["date"])
    (file,) = (tmp_path / "answers").iterdir()
    assert file.stat().st_mode & 0o077 == 0
    assert file.parent.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    "change",
    [
        {"facts": replace(FACTS, inspections=FACTS.inspections[:1])},
        {"facts": replace(FACTS, look_numbers=(7, 8))},
        {"question": Question(tolerance=0.2)},
        {"seed": 2},
        {"particles": 200},
        {"__version__": "9.9.9"},
        {"program_mark": lambda: "other"},
        {"priors_mark": lambda: "other"},
    ],
    ids=lambda change: next(iter(change)),
)
def test_whatever_an_answer_follows_from_is_in_its_key(change, monkeypatch):
    asked = {"facts": FACTS, "question": Question(), "seed": None, "particles": None}
    before = keys.key_of(**asked)
    assert keys.key_of(**asked) == before
    for name, value in change.items():
        if name in asked:
            asked[name] = value
        else:
            monkeypatch.setattr(keys, name, value)
    assert keys.key_of(**asked) != before


@pytest.mark.parametrize(
    "spoilt",
    [b"", b"\0\0\0", b"{", b"[]", b"{}", b'"text"', b"[" * 100_000, b"cut", b"wrong"],
)
def test_a_damaged_file_is_no_answer_and_no_error(tmp_path, parts, spoilt):
    for name, part in parts.items():
        Kept(tmp_path).put("k", name, part)
        file = tmp_path / f"k-{name}.json"
        whole = file.read_bytes()
        damaged = {b"cut": whole[:-20], b"wrong": whole.replace(b"null", b"7").replace(b'["', b'[7, "')}
        file.write_bytes(damaged.get(spoilt, spoilt))
        assert Kept(tmp_path).get("k", name) is None
        Kept(tmp_path).put("k", name, part)
        assert Kept(tmp_path).get("k", name) == part


def test_a_folder_that_cannot_be_used_is_no_error(tmp_path, parts):
    (tmp_path / "file").write_text("no folder")
    for folder in (tmp_path / "file", tmp_path / "file" / "below", None):
        kept = Kept(folder)
        kept.put("k", "date", parts["date"])
        assert kept.get("k", "date") == parts["date"]
        assert kept.get("other", "date") is None


def test_the_oldest_files_go(tmp_path, parts, monkeypatch):
    monkeypatch.setattr("scalemodel.answers.kept.MOST_FILES", 3)
    for k in range(6):
        Kept(tmp_path).put(f"k{k}", "look", parts["look"])
        os.utime(tmp_path / f"k{k}-look.json", (1000 + k, 1000 + k))
    assert sorted(file.name for file in tmp_path.iterdir()) == [f"k{k}-look.json" for k in (3, 4, 5)]


def test_workers_answer_as_this_process_does_and_a_refusal_is_told(parts):
    dry = replace(FACTS, fills=(), waters=(), water_tests=())
    with Desk(workers=2, particles=100) as desk:
        asked = [desk.ask(facts) for facts in (FACTS, dry, FACTS)]
        assert asked[0] is asked[2]
        assert (asked[0].dated(60), asked[0].look(60)) == (parts["date"], parts["look"])
        assert isinstance(asked[1].dated(60), Failure)
        assert "no water" in asked[1].dated(0).reason or "fill" in asked[1].dated(0).reason
        assert desk.knows(dry)  # in memory alone: it is soon said again
        assert desk.ask(dry).look(0) == asked[1].dated(0)


def test_a_worker_that_dies_is_replaced_and_one_that_always_dies_is_told(monkeypatch):
    monkeypatch.setattr("scalemodel.answers.crew.CODE", "import os; os._exit(1)")
    with Desk(workers=1, particles=100) as desk:
        assert "stopped" in desk.ask(FACTS).dated(60).reason
        monkeypatch.undo()
        assert not isinstance(desk.ask(FACTS).dated(60), Failure)
        desk._crew._members[0]._process.kill()
        other = replace(FACTS, inspections=())
        assert not isinstance(desk.ask(other).dated(60), Failure)


def test_a_desk_that_is_closed_lets_nobody_wait():
    desk = Desk(workers=1)
    asked = [desk.ask(replace(FACTS, inspections=FACTS.inspections[:k])) for k in range(3)]
    desk.close()
    assert all(isinstance(one.look(10), Failure) for one in [*asked[1:], desk.ask(FACTS)])


def test_a_worker_ends_with_its_starter():
    code = (
        "import os, sys, time\nfrom scalemodel.answers.crew import Crew\nfrom tests.answers.test_kept import FACTS\n"
        "from scalemodel.answers.solving import solved\nfrom scalemodel.decision.question import Question\n"
        "crew = Crew(1)\n"
        "crew.give((solved, FACTS, Question(), None, 100), lambda name, part: name == 'look' and (print("
        "crew._members[0]._process.pid, flush=True), os._exit(9)))\ntime.sleep(60)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120)
    assert done.returncode == 9, done.stderr
    worker = int(done.stdout)
    for _ in range(200):
        try:
            os.kill(worker, 0)
        except ProcessLookupError:
            return
        subprocess.run(["sleep", "0.05"], check=True)
        if "Z" in subprocess.run(["ps", "-o", "stat=", str(worker)], capture_output=True, text=True).stdout:
            return
    raise AssertionError("the worker lives on")


def test_every_part_has_a_name():
    assert list(PARTS) == ["date", "look"]
