"""A program that is killed while it writes, again and again, and looks at what is left; run by test_durability.py.

``python -m tests.logbook.crashing WHAT FOLDER ...`` prints one JSON object. It works in a process of its own and
forks, so that a kill costs a few milliseconds and takes nothing else along.
"""

import json
import os
import random
import resource
import shutil
import signal
import sqlite3
import sys
import time
from contextlib import suppress
from datetime import date
from pathlib import Path

from scalemodel.errors import LogbookError
from scalemodel.logbook import database
from scalemodel.logbook.csv_folder import import_folder
from scalemodel.logbook.records import Boiler, Descale, Inspection, Water
from scalemodel.logbook.store import Logbook
from tests.logbook.pictures import photograph
from tests.logbook.samples import LOOK, TODAY, aged, filled, today

SECOND = "CREATE TABLE extra (x INTEGER) STRICT;\nINSERT INTO extra VALUES (7);\nCREATE INDEX extra_x ON extra (x);\n"
TODAYS = database.MIGRATIONS
ONE_MORE = (*TODAYS, ("second.sql", lambda name: SECOND))
DAY = date(2026, 5, 20)
PHOTOGRAPHS = [photograph(1), photograph(2)]
CONNECT = sqlite3.connect


def looks(count: int) -> str:
    return "boiler,date,site,grade_low,note\n" + "".join(f"kitchen,2026-05-20,wall,2,row {k}\n" for k in range(count))


def add(path: Path) -> None:
    with Logbook.open(path, write=True, today=today) as book:
        book.add(Descale("kitchen", DAY))


def picture(path: Path) -> None:
    with Logbook.open(path, write=True, today=today) as book:
        book.add(Inspection("kitchen", DAY, "wall", 2, 2), photos=PHOTOGRAPHS)


def amend(path: Path) -> None:
    with Logbook.open(path, write=True, today=today) as book:
        book.amend(LOOK, {"grade": "3"}, "misread")


def strike(path: Path) -> None:
    with Logbook.open(path, write=True, today=today) as book:
        book.strike(LOOK, "another boiler")


def imported(path: Path) -> None:
    with Logbook.open(path, write=True, today=today) as book:
        import_folder(book, path.parent / "rows")


def rename(path: Path) -> None:
    with Logbook.open(path, write=True, today=today) as book:
        book.rename("boiler", "kitchen", "galley")


def create(path: Path) -> None:
    with Logbook.open(path, write=True, today=today) as book:
        book.add(Boiler("kitchen", 0.75, 93.0, DAY))


def migrate(path: Path) -> None:
    database.MIGRATIONS = ONE_MORE
    try:
        Logbook.open(path, write=True, today=today).close()
    finally:
        database.MIGRATIONS = TODAYS


def update(path: Path) -> None:
    Logbook.open(path, write=True, today=today).close()


def backup(path: Path) -> None:
    with Logbook.open(path) as book:
        book.backup(path.with_name("backup.sqlite3"))


OPERATIONS = {f.__name__: f for f in (add, picture, amend, strike, imported, rename, create, migrate, update, backup)}


# ---- what is there


def state(path: Path) -> list | None:
    """All that a logbook says, but for the moments of entry; None if there is none yet. It has to be sound."""
    if not path.exists():
        return None
    there = version(path)
    database.MIGRATIONS = ONE_MORE if there == len(ONE_MORE) else TODAYS  # an earlier one is read as one of today
    try:
        with Logbook.open(path, today=today) as book:
            found = book.verify()
            assert not found.faults, found.faults
            entries = [
                [e.number, e.kind, repr(e.record), e.replaces, e.reason, e.state, e.photographs] for e in book.history()
            ]
        return [there, *entries]
    except LogbookError as error:
        if "is empty" not in error.problem:
            raise
        return None
    finally:
        database.MIGRATIONS = TODAYS


def version(path: Path) -> int:
    connection = CONNECT(path)
    try:
        return connection.execute("PRAGMA user_version").fetchone()[0]
    finally:
        connection.close()


def lay(base: Path | None, path: Path) -> None:
    """A fresh logbook file, as the base is, with nothing beside it but the rows to import."""
    for left in path.parent.iterdir():
        if left.is_file():
            left.unlink()
    if base is not None:
        shutil.copyfile(base, path)


# ---- killed at a step


class Steps:
    """Kills this process at the n-th step of whatever its database connections do."""

    def __init__(self, fine: bool, fatal: int) -> None:
        self.fine, self.fatal, self.done = fine, fatal, 0

    def step(self, *_) -> None:
        self.done += 1
        if self.done == self.fatal:
            os.kill(os.getpid(), signal.SIGKILL)

    def connect(self, *args, **more):
        connection = CONNECT(*args, **more)
        if self.fine:
            connection.set_progress_handler(self.step, 1)  # each instruction of SQLite's own machine
        else:
            connection.set_trace_callback(self.step)  # each statement
        return connection


def run_until(operation, path: Path, steps: Steps) -> tuple[bool, int]:
    """Run an operation in a child that dies at a step: whether it told of its end, and how many steps it took."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        sqlite3.connect = steps.connect
        operation(path)
        os.write(writing, steps.done.to_bytes(4, "big"))
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        told = pipe.read()
    _, status = os.waitpid(child, 0)
    died = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
    assert died or os.waitstatus_to_exitcode(status) == 0, status
    assert bool(told) != died
    return bool(told), int.from_bytes(told, "big")


def begin(folder: Path, name: str) -> tuple[Path | None, Path, list | None]:
    """The logbook to begin with, where to work, and what that logbook says."""
    (folder / "work" / "rows").mkdir(parents=True)
    (folder / "work" / "rows" / "inspections.csv").write_text(looks(5))
    path = folder / "work" / "logbook.sqlite3"
    if name == "create":
        return None, path, None
    base = folder / "base.sqlite3"
    if name == "update":
        aged(base, 1)
    else:
        filled(base).close()
    return base, path, state(base)


def check_copies(path: Path, name: str, before: list | None) -> None:
    """A copy that has its name is whole; a version that was left is kept."""
    if name == "backup" and (copy := path.with_name("backup.sqlite3")).exists():
        assert state(copy) == before
    if name in ("migrate", "update"):
        kept = sorted(path.parent.glob("*.before-version-*"))
        assert all(state(one) == before for one in kept)
        assert kept or state(path) == before


def at_steps(folder: Path, name: str, fine: str, most: str) -> dict:
    """Kill an operation at its steps, all of them or as many as ``most``, evenly spread; both ends among them."""
    operation, (base, path, before) = OPERATIONS[name], begin(folder, name)
    lay(base, path)
    told, total = run_until(operation, path, Steps(fine == "fine", 0))
    assert told
    after = state(path)
    assert name == "backup" or after != before
    between = ([len(TODAYS)],) if name == "create" else ()  # a logbook without records yet
    stride = max(1, total // int(most))
    kills = lost = 0
    for fatal in sorted({*range(1, total + 1, stride), total}):
        lay(base, path)
        told, _ = run_until(operation, path, Steps(fine == "fine", fatal))
        assert not told
        kills += 1
        found = state(path)
        assert found in (before, after, *between), (fatal, found)
        check_copies(path, name, before)
        lost += found != after
        if found != after and kills % 5 == 0:  # whoever was interrupted simply does it again
            with suppress(OSError):
                path.with_name("backup.sqlite3").unlink()
            operation(path)
            assert state(path) == after
    return {"steps": total, "kills": kills, "before": lost, "after": kills - lost}


# ---- killed at random


def numbered(path: Path, first: int, pipe: int, opened: bool = False) -> None:
    """Add looks whose notes count up, each told once it is written; until killed. ``opened`` is told too, as 0."""
    book = Logbook.open(path, write=True, today=today)
    if opened:
        os.write(pipe, bytes(4))
    for number in range(first, first + 1_000_000):
        book.add(Inspection("kitchen", DAY, "wall", 2, 2, note=str(number)))
        os.write(pipe, number.to_bytes(4, "big"))


def at_random(folder: Path, rounds: str, seed: str) -> dict:
    """Kill a writer at random moments, on one growing logbook."""
    path, rng = folder / "logbook.sqlite3", random.Random(int(seed))
    filled(path).close()
    acknowledged: set[int] = set()
    unspoken, first = 0, 1
    for lap in range(int(rounds)):
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            numbered(path, first, writing, opened=True)
        os.close(writing)
        assert os.read(reading, 4) == bytes(4)  # however busy the machine: it is killed while it writes
        time.sleep(rng.expovariate(1 / 0.03))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with os.fdopen(reading, "rb") as pipe:
            told = pipe.read()
        acknowledged |= {int.from_bytes(told[k : k + 4], "big") for k in range(0, len(told), 4)}
        with Logbook.open(path, today=today) as book:
            held = [int(one.note) for one in book.records("inspection") if one.note]
            assert lap % 20 or not book.verify().faults
        assert sorted(held) == list(range(1, len(held) + 1)), "lost, doubled or out of order"
        assert acknowledged <= set(held)
        assert len(held) - len(acknowledged) <= lap + 1  # written, and killed before it could be told
        unspoken, first = len(held) - len(acknowledged), len(held) + 1
    assert state(path) is not None
    return {"rounds": int(rounds), "acknowledged": len(acknowledged), "written but not told": unspoken}


def resent(folder: Path, rounds: str, seed: str) -> dict:
    """Kill a writer that sends each look under a key of its own; the next one begins with what was not acknowledged."""
    path, rng = folder / "logbook.sqlite3", random.Random(int(seed))
    filled(path).close()
    done = twice = 0
    for _ in range(int(rounds)):
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            with Logbook.open(path, write=True, today=today) as book:
                os.write(writing, bytes(4))
                for number in range(done + 1, done + 1_000_000):
                    look = Inspection("kitchen", DAY, "wall", 2, 2, note=str(number))
                    book.add(look, key=f"look-{number:06d}")
                    os.write(writing, number.to_bytes(4, "big"))
        os.close(writing)
        assert os.read(reading, 4) == bytes(4)
        time.sleep(rng.expovariate(1 / 0.03))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with os.fdopen(reading, "rb") as pipe:
            told = pipe.read()
        done = max(done, int.from_bytes(told[-4:], "big"))
        with Logbook.open(path, today=today) as book:
            held = sorted(int(one.note) for one in book.records("inspection") if one.note)
        assert held == list(range(1, len(held) + 1)), "lost or doubled"
        assert done <= len(held) <= done + 1
        twice += len(held) - done  # the next one sends this again
    assert state(path) is not None
    return {"rounds": int(rounds), "acknowledged": done, "sent twice": twice}


def together(folder: Path, rounds: str, seed: str) -> dict:
    """Three writers on one logbook; again and again one of them is killed, amid the others, and another begins."""
    path, rng = folder / "logbook.sqlite3", random.Random(int(seed))
    filled(path).close()
    first, pipes, hands = 1, [], {}

    def begin_one() -> None:
        nonlocal first
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            numbered(path, first, writing)
        os.close(writing)
        pipes.append(reading)
        hands[child] = reading
        first += 1_000_000

    for _ in range(3):
        begin_one()
    for _ in range(int(rounds)):
        time.sleep(rng.expovariate(1 / 0.02))
        unlucky = rng.choice(sorted(hands))
        del hands[unlucky]
        os.kill(unlucky, signal.SIGKILL)
        os.waitpid(unlucky, 0)
        begin_one()
    for child in hands:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    acknowledged = []
    for reading in pipes:
        with os.fdopen(reading, "rb") as pipe:
            told = pipe.read()
        acknowledged += [int.from_bytes(told[k : k + 4], "big") for k in range(0, len(told), 4)]
    with Logbook.open(path, today=today) as book:
        held = [int(one.note) for one in book.records("inspection") if one.note]
        assert not book.verify().faults
    assert len(held) == len(set(held))
    assert set(acknowledged) <= set(held)
    assert len(held) - len(acknowledged) <= len(pipes)
    return {
        "writers": len(pipes),
        "acknowledged": len(acknowledged),
        "written but not told": len(held) - len(acknowledged),
    }


# ---- a file that was only written in part


def torn(folder: Path) -> dict:
    """Cut the write-ahead log of an import short at every page and within pages; half a checkpoint with a whole log."""
    base, path, before = begin(folder, "imported")
    lay(base, path)
    child = os.fork()
    if child == 0:
        book = Logbook.open(path, write=True, today=today)
        import_folder(book, path.parent / "rows")
        os.kill(os.getpid(), signal.SIGKILL)  # written, but the log is not yet moved into the file
    os.waitpid(child, 0)
    log, first = path.with_name(path.name + "-wal").read_bytes(), path.read_bytes()
    frame = 24 + int.from_bytes(first[16:18], "big")
    cuts = sorted(
        {0, len(log), *(32 + k * frame + d for k in range(len(log) // frame) for d in (0, 1, 30, frame // 2))}
    )
    found = []
    for cut in cuts:
        lay(base, path)
        path.with_name(path.name + "-wal").write_bytes(log[:cut])
        found.append(state(path))
    after = found[-1]
    assert found == [before] * found.count(before) + [after] * found.count(after)
    page = frame - 24
    moved = sorted({int.from_bytes(log[k : k + 4], "big") for k in range(32, len(log), frame)})
    for done in range(len(moved)):  # so many pages moved into the file, the next half written
        lay(base, path)
        with path.open("r+b") as file:
            for number in moved[: done + 1]:
                file.seek((number - 1) * page)
                file.write(b"\xff" * (page // 2) if number == moved[done] else _last(log, number, frame))
        path.with_name(path.name + "-wal").write_bytes(log)
        assert state(path) == after
    return {"cuts": len(cuts), "before": found.count(before), "after": found.count(after), "pages": len(moved)}


def _last(log: bytes, number: int, frame: int) -> bytes:
    """What a log last says about a page."""
    starts = [k for k in range(32, len(log), frame) if int.from_bytes(log[k : k + 4], "big") == number]
    return log[starts[-1] + 24 : starts[-1] + frame]


# ---- a file that may not grow


def limited(folder: Path, over: str) -> dict:
    """Add waters while no file may grow past a limit, until the logbook says so; then without the limit."""
    path = folder / "logbook.sqlite3"
    filled(path).close()
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        most = path.stat().st_size + int(over)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
        with Logbook.open(path, write=True, today=today) as book:
            for number in range(10_000):
                try:
                    book.add(Water(f"water {number}", note="x" * 1500))
                except LogbookError as error:
                    os.write(writing, json.dumps([number, str(error)]).encode())
                    break
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        count, said = json.loads(pipe.read())
    os.waitpid(child, 0)
    state(path)
    with Logbook.open(path, write=True, today=today) as book:
        held = len(book.waters()) - 1
        book.add(Water("afterwards"))
    state(path)
    return {"acknowledged": count, "held": held, "said": said}


if __name__ == "__main__":
    assert today() == TODAY
    tried = {"steps": at_steps, "random": at_random, "resent": resent, "together": together, "torn": torn}
    what = (tried | {"limited": limited})[sys.argv[1]]
    print(json.dumps(what(Path(sys.argv[2]), *sys.argv[3:])))
