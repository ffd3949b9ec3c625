"""``scalemodel logbook``; and what every command says when the disk is full or may not be written to."""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from scalemodel.logbook import database
from tests.cli.runner import Desk

ROOT = Path(__file__).parents[2]


def spoil(path: Path, statement: str, trigger: str) -> None:
    """Change a record behind the program's back."""
    connection = sqlite3.connect(path)
    (sql,) = connection.execute("SELECT sql FROM sqlite_master WHERE name = ?", (trigger,)).fetchone()
    connection.execute(f"DROP TRIGGER {trigger}")
    connection.execute(statement)
    connection.execute(sql)
    connection.commit()
    connection.close()


def test_a_sound_logbook(busy_desk):
    assert busy_desk.do("logbook", "verify") == "no fault found: 5 records, 5 of them current\n"
    busy_desk.do("amend", "5", "grade=2")
    assert json.loads(busy_desk.do("logbook", "verify", "--json")) == {
        "logbook": str(busy_desk.path), "records": 6, "current": 5, "faults": [], "remarks": [], "questions": [],
    }  # fmt: skip


def test_each_fault_is_a_line(busy_desk):
    spoil(busy_desk.path, "UPDATE inspection SET inspector = ' a ' WHERE entry = 5", "inspection_no_update")
    spoil(busy_desk.path, "UPDATE entry SET entered_at = 'noon' WHERE number = 4", "entry_no_update")
    result = busy_desk.run("logbook", "verify")
    assert (result.exit_code, result.stdout) == (2, "")
    line = f"the logbook at {str(busy_desk.path)!r} has 3 faults; restore a backup, or mend the records"
    faults = [
        "record 4: the time of its entry, 'noon', is not one in UTC",
        "record 5: it is not written as this program writes it",
        "records were not checked beside each other because of that",
    ]
    assert result.stderr.splitlines() == [f"error: {line}", *(f"  {fault}" for fault in faults)]
    result = busy_desk.run("logbook", "verify", "--json")
    assert result.exit_code == 2
    body = json.loads(result.stdout)
    assert body["error"] == line
    assert [one["record"] for one in body["faults"]] == [4, 5, None]
    assert body["faults"][1]["problem"] == "it is not written as this program writes it"


def test_a_backup(busy_desk, tmp_path):
    copy = tmp_path / "copy.sqlite3"
    assert busy_desk.do("logbook", "backup", copy) == f"backed up 5 records to {copy}\n"
    assert Desk(copy).dump() == busy_desk.dump()
    busy_desk.do("new", "water", "rain")
    assert "say --replace" in busy_desk.refuse("logbook", "backup", copy)
    body = json.loads(busy_desk.do("logbook", "backup", copy, "--replace", "--json"))
    assert body == {"backup": str(copy), "records": 6}
    assert "no fault found: 6 records" in Desk(copy).do("logbook", "verify")


@pytest.mark.parametrize("words", [("verify",), ("backup", "copy.sqlite3")])
def test_without_a_logbook(desk, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    assert "scalemodel new boiler" in desk.refuse("logbook", *words)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", [(), ("verify",), ("backup",)])
def test_every_help_has_an_example(desk, words):
    assert desk.do("logbook", *words, "--help").count("Example:\n  ") == 1


def test_a_logbook_of_an_earlier_version_is_brought_up_to_date_and_kept(busy_desk, monkeypatch):
    second = ("second.sql", lambda name: "CREATE TABLE extra (x INTEGER) STRICT;")
    monkeypatch.setattr(database, "MIGRATIONS", (*database.MIGRATIONS, second))
    before = busy_desk.path.read_bytes()
    assert "kitchen" in busy_desk.do("history")
    assert "no fault found" in busy_desk.do("logbook", "verify")
    assert busy_desk.path.read_bytes() == before
    version = len(database.MIGRATIONS)
    result = busy_desk.run("amend", "5", "grade=2")
    assert result.exit_code == 0
    kept = busy_desk.path.with_name(f"logbook.sqlite3.before-version-{version}")
    done = f"note: the logbook {str(busy_desk.path)!r} is now of version {version}"
    assert result.stderr == f"{done}; as it was it is kept in {str(kept)!r}\n"
    assert kept.exists()
    busy_desk.do("new", "water", "rain")


# ---- a full disk, and one that may only be read


def command(path: Path, *words: str) -> subprocess.CompletedProcess:
    run = [sys.executable, "-m", "scalemodel.cli", "--logbook", str(path), *words]
    return subprocess.run(run, capture_output=True, text=True, cwd=ROOT)


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 600 kB, where one may be mounted."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = shutil.which("mount")
    if (
        mount is None
        or subprocess.run(
            [mount, "-t", "tmpfs", "-o", "size=600k", "tmpfs", str(place)], capture_output=True
        ).returncode
    ):
        pytest.skip("a disk may not be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_is_one_line_and_loses_nothing(begun, small_disk):
    path = small_disk / "logbook.sqlite3"
    shutil.copyfile(begun, path)
    filler = small_disk / "filler"
    with filler.open("wb", buffering=0) as file:
        while file.write(b"x" * 4096) == 4096 and shutil.disk_usage(small_disk).free > 90_000:
            pass
    told = 0
    for number in range(40):
        done = command(path, "new", "water", f"water {number}", "--note", "x" * 2000)
        if done.returncode:
            break
        told += 1
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("error: ")
    assert done.stderr.count("\n") == 1
    assert "disk" in done.stderr
    backup = command(path, "logbook", "backup", str(small_disk / "copy.sqlite3"))
    assert (backup.returncode, backup.stderr.count("\n")) == (2, 1)
    assert not (small_disk / "copy.sqlite3").exists()
    filler.unlink()
    assert f"no fault found: {5 + told} records" in command(path, "logbook", "verify").stdout
    assert command(path, "new", "water", "afterwards").returncode == 0


AS_NOBODY = """
import os, sys
from pathlib import Path
from click.testing import CliRunner
from scalemodel.cli import add, import_export, options_and_output, history, logbook, main, new, recording
from scalemodel.logbook.store import Logbook
Logbook.in_memory().verify()  # so that everything is loaded before this is nobody, who may not read where Python lies
Path.cwd().as_uri()
if os.getuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
for words in sys.argv[2:]:
    result = CliRunner().invoke(main.main, ["--logbook", sys.argv[1], *words.split()])
    print(repr((result.exit_code, result.stdout, result.stderr or repr(result.exception) * (result.exit_code == 1))))
"""


@pytest.fixture
def open_place():
    """A folder that others than its owner can look into."""
    place = Path(tempfile.mkdtemp())
    place.chmod(0o755)
    yield place
    shutil.rmtree(place)


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="no other user to be")
@pytest.mark.parametrize("folder_mode", [0o555, 0o777], ids=["folder too", "file only"])
def test_a_logbook_that_may_only_be_read_is_read_and_refuses_in_a_line(begun, open_place, folder_mode):
    path = open_place / "deep" / "logbook.sqlite3"
    path.parent.mkdir()
    shutil.copyfile(begun, path)
    path.chmod(0o444)
    path.parent.chmod(folder_mode)
    before = path.read_bytes()
    done = subprocess.run(
        [sys.executable, "-c", AS_NOBODY, str(path), "history", "logbook verify", "new water rain",
         "strike 5 --reason x", "amend 5 grade=2", "logbook backup /nowhere/copy.sqlite3"],
        capture_output=True, text=True, cwd=ROOT,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    history, verified, *refused = [eval(line) for line in done.stdout.splitlines()]
    assert (history[0], verified[0]) == (0, 0), verified
    assert "grade 1 to 2" in history[1]
    for code, out, err in refused:
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert err.startswith("error: ")
    assert "may only be read" in refused[0][2]
    path.parent.chmod(0o755)
    assert path.read_bytes() == before
