"""The server killed, crowded, and with its logbook locked, full, replaced or gone: nothing lost, nothing doubled."""

import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import suppress
from datetime import date, timedelta
from pathlib import Path
from urllib.error import HTTPError, URLError
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, HTTPRedirectHandler, ProxyHandler, Request, build_opener

import pytest

from scalemodel.logbook import database
from scalemodel.logbook.store import Logbook
from tests.serve.conftest import Phone, entries, words


class Server:
    """The program itself in a process of its own, and phones that speak to it."""

    def __init__(self, logbook: Path, *more: str) -> None:
        command = [sys.executable, "-m", "scalemodel.cli", "--logbook", str(logbook), "serve", "--port", "0", *more]
        environment = {**os.environ, "XDG_CONFIG_HOME": str(logbook.parent / "user")}
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
        address = self.process.stdout.readline().removeprefix("address: ").strip()
        self.base, self.pair = re.match(r"(http://[^/]+)(/pair/.*)", address).groups()

    def end(self, how: int = signal.SIGTERM) -> int:
        self.process.send_signal(how)
        code = self.process.wait(30)
        self.process.stdout.close()
        return code


class Staying(HTTPRedirectHandler):
    """Follows no redirection."""

    def redirect_request(self, *given):
        return None


class Caller:
    """A phone over a real connection."""

    def __init__(self) -> None:
        self.opener = build_opener(ProxyHandler({}), HTTPCookieProcessor(), Staying())
        self.token = ""

    def ask(self, server: Server, path: str, form: dict | None = None) -> tuple[int, str]:
        """The status and the text of a page; it does not go on to another by itself."""
        data = None if form is None else urlencode({**form, "form_token": self.token}).encode()
        request = Request(server.base + path, data, {} if form is None else {"Origin": server.base})
        try:
            reply = self.opener.open(request, timeout=60)
        except HTTPError as refused:
            reply = refused
        with reply:
            return reply.status, reply.read().decode()

    def paired(self, server: Server) -> "Caller":
        self.ask(server, server.pair)
        self.token = re.search(r'name="form_token" value="(\w+)"', self.ask(server, "/devices")[1])[1]
        return self


def stored_keys(logbook: Path) -> list[str]:
    with sqlite3.connect(logbook) as connection:
        rows = connection.execute("SELECT key FROM entry WHERE key IS NOT NULL").fetchall()
    connection.close()
    return [key for (key,) in rows]


def absence(number: int) -> dict[str, str]:
    """A day of absence, each number another one."""
    day = date(2026, 12, 1) + timedelta(days=2 * number)
    return {"from_date": str(day), "to_date": str(day + timedelta(days=1)), "sure": "yes"}


def kill_rounds(logbook: Path, rounds: int) -> tuple[set[str], list[str]]:
    """Save days of absence while the server is killed at random; what was acknowledged, and what is stored."""
    chance, acknowledged, sent = random.Random(8), set(), 0
    caller = Caller()
    server = Server(logbook)
    caller.paired(server)
    for _ in range(rounds):
        stop = threading.Timer(chance.uniform(0.0, 0.4), server.process.kill)
        stop.start()
        with suppress(URLError, OSError, ConnectionError):
            while True:
                sent += 1
                key = f"a-visit-{sent:05}"
                form = {"boiler": "kitchen", "what": "absence", "key": key, **absence(sent)}
                for _ in range(2):  # a phone that did not hear the first answer sends it once more
                    assert caller.ask(server, "/visit", form)[0] == 303
                    acknowledged.add(key)
        stop.join()
        server.process.wait(30)
        server.process.stdout.close()
        server = Server(logbook)
    assert server.end() == 0
    return acknowledged, stored_keys(logbook)


@pytest.mark.parametrize("rounds", [4, pytest.param(200, marks=pytest.mark.slow)])
def test_killed_at_random_what_was_acknowledged_is_there_once(logbook, rounds, monkeypatch):
    acknowledged, stored = kill_rounds(logbook, rounds)
    assert len(acknowledged) > rounds / 2  # otherwise nothing was tried
    assert acknowledged <= set(stored)
    assert len(stored) == len(set(stored))
    with Logbook.open(logbook) as book:
        assert book.verify().faults == ()


def test_eight_phones_that_save_at_once_lose_nothing_and_double_nothing(site, logbook):
    phones = [Phone(site) for _ in range(8)]
    count, statuses = len(entries(logbook)), []

    def save(number: int) -> None:
        phone = phones[number]
        for k in range(5):
            form = {"boiler": "kitchen", "what": "absence", "key": f"phone-{number}-{k}", **absence(5 * number + k)}
            reply = phone.post("/visit", follow=False, note=f"{number} {k}", **form)
            statuses.append(reply.status_code)

    threads = [threading.Thread(target=save, args=(number,)) for number in range(8)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    notes = [one.record.note for one in entries(logbook)[count:]]
    assert statuses == [303] * 40
    assert sorted(notes) == sorted(f"{number} {k}" for number in range(8) for k in range(5))


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_it_ends_cleanly(logbook, how, capfd):
    server = Server(logbook)
    caller = Caller().paired(server)
    assert "What is due" in caller.ask(server, "/")[1]
    assert server.end(how) == 0
    assert "Traceback" not in "".join(capfd.readouterr())
    with Logbook.open(logbook) as book:
        assert book.verify().faults == ()


def test_a_port_in_use_is_one_line_and_exit_code_2(logbook):
    server = Server(logbook)
    port = server.base.rpartition(":")[2]
    command = [sys.executable, "-m", "scalemodel.cli", "--logbook", str(logbook), "serve", "--port", port]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    server.end()
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "in use" in done.stderr


def test_no_logbook_is_one_line_and_exit_code_2(tmp_path):
    command = [sys.executable, "-m", "scalemodel.cli", "--logbook", str(tmp_path / "none"), "serve", "--port", "0"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout) == (2, "")
    assert "there is no logbook" in done.stderr


def test_a_locked_logbook_is_a_page_and_reading_goes_on(phone, logbook, monkeypatch):
    monkeypatch.setattr(database, "BUSY_SECONDS", 0.3)
    other = sqlite3.connect(logbook, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    reply = phone.post("/look", boiler="kitchen", grade="1", site="wall", key="locked-out")
    assert reply.status_code == 503
    assert "writing" in words(reply) or "locked" in words(reply)
    assert phone.get("/history", boiler="kitchen").status_code == 200
    other.execute("ROLLBACK")
    other.close()
    assert phone.post("/look", boiler="kitchen", grade="1", site="wall", key="locked-out").status_code == 200


def test_a_logbook_that_is_gone_replaced_or_foreign_is_a_clear_page(phone, logbook, tmp_path):
    kept = tmp_path / "kept.sqlite3"
    shutil.move(logbook, kept)
    for path in ("/", "/boiler?boiler=kitchen"):
        reply = phone.get(path)
        assert reply.status_code == 503
        assert "There is no logbook" in words(reply)
    assert phone.post("/visit", boiler="kitchen", what="litres", litres="2").status_code == 503
    assert not logbook.exists()
    logbook.write_text("another program's file, long enough to be one" * 50)
    assert phone.get("/").status_code == 503
    with Logbook.create(tmp_path / "other.sqlite3"):
        pass
    os.replace(tmp_path / "other.sqlite3", logbook)
    assert "Nothing is due" in words(phone.get("/"))
    os.replace(kept, logbook)
    assert phone.get("/boiler", boiler="kitchen").status_code == 200


@pytest.mark.skipif(not hasattr(os, "sched_getaffinity"), reason="open files are counted in /proc")
@pytest.mark.parametrize("count", [600, pytest.param(10_000, marks=pytest.mark.slow)])
def test_memory_and_open_files_stay_level(logbook, count):
    server = Server(logbook)
    caller = Caller().paired(server)
    proc = Path(f"/proc/{server.process.pid}")

    def held() -> tuple[int, int]:
        memory = int(re.search(r"VmRSS:\s+(\d+) kB", (proc / "status").read_text())[1])
        return memory, len(list((proc / "fd").iterdir()))

    paths = ("/", "/history?boiler=kitchen", "/guide?boiler=kitchen", "/visit?boiler=kitchen&what=litres", "/nothing")
    time.sleep(2)
    for k in range(count):
        if k == count // 3:
            begun = held()
        caller.ask(server, paths[k % len(paths)])
    ended = held()
    server.end()
    assert ended[0] - begun[0] < 12_000, (begun, ended)
    assert ended[1] - begun[1] <= 5, (begun, ended)
