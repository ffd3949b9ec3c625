"""A disk that fills up under the running server: a clear page, nothing acknowledged lost, and with room it goes on."""

import errno
import subprocess
import sys
from contextlib import suppress

import pytest

from scalemodel.logbook import database
from scalemodel.logbook.store import Logbook
from tests.serve.conftest import RECORDS, Phone, entries, words
from tests.serve.test_reliability import Caller, Server, absence, stored_keys

MOST_SENT = 400
"""So many records fill the small disks of these tests many times over."""


def send(caller: Caller, server: Server, number: int) -> tuple[int, str]:
    """One day of absence with a long note, under a key of its own."""
    form = {
        "boiler": "kitchen",
        "what": "absence",
        "key": f"a-visit-{number:05}",
        "note": "x" * 1500,
        **absence(number),
    }
    return caller.ask(server, "/visit", form)


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 700 kB that fills up for real; skipped where none may be mounted."""
    place = tmp_path / "disk"
    place.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=700k", "none", str(place)]
    if not sys.platform.startswith("linux") or subprocess.run(command, capture_output=True).returncode:
        pytest.skip("a small disk can be mounted by root on Linux alone")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def fill(place) -> None:
    """Take every byte that is left."""
    with open(place / "filler", "ab", buffering=0) as file, suppress(OSError):
        while True:
            file.write(b"x" * 512)


def test_a_disk_that_is_really_full_is_a_page_and_nothing_that_was_acknowledged_is_lost(small_disk):
    logbook = small_disk / "logbook.sqlite3"
    with Logbook.create(logbook) as book:
        for record in RECORDS:
            book.add(record, sure=True)
    server = Server(logbook)
    caller = Caller().paired(server)
    acknowledged = []
    for number in range(MOST_SENT):
        status, page = send(caller, server, number)
        if status != 303:
            break
        acknowledged.append(f"a-visit-{number:05}")
    assert status == 507, page
    assert "the disk is full" in page
    assert "Not recorded" in page
    assert "x" * 1500 in page  # what was typed stands there still
    fill(small_disk)
    assert send(caller, server, number)[0] == 507
    assert caller.ask(server, "/history?boiler=kitchen")[0] == 200
    assert caller.ask(server, "/boiler?boiler=kitchen")[0] == 200
    (small_disk / "filler").unlink()
    logbook_kept = stored_keys(logbook)
    assert logbook_kept == acknowledged
    subprocess.run(["mount", "-o", "remount,size=4m", str(small_disk)], check=True)
    assert send(caller, server, number)[0] == 303  # the same form once more
    assert send(caller, server, number)[0] == 303
    assert stored_keys(logbook) == [*acknowledged, f"a-visit-{number:05}"]
    assert server.end() == 0
    with Logbook.open(logbook) as book:
        assert book.verify().faults == ()


def test_a_full_disk_is_one_clear_page_for_every_form_and_room_is_enough_to_go_on(phone, logbook, monkeypatch):
    settle, room = database._settle, [0]

    def crowded(connection):
        settle(connection)
        if room[0]:
            connection.execute(f"PRAGMA max_page_count = {room[0]}")

    monkeypatch.setattr(database, "_settle", crowded)
    room[0] = 1  # SQLite takes the size that the file has
    look = {"boiler": "kitchen", "grade": "1", "site": "wall", "key": "a-look-too-many", "note": "y" * 1900}
    count, sent = len(entries(logbook)), 0
    while (reply := phone.post("/look", follow=False, **look)).status_code == 303 and sent < MOST_SENT:
        sent += 1
        look |= {"key": f"a-look-too-many-{sent}", "note": f"{sent}" + "y" * 1900}
    assert reply.status_code == 507
    assert "the disk is full" in words(reply)
    assert f'value="{look["key"]}"' in reply.text  # so that it is the same record when it is sent again
    assert phone.post("/amend", entry="13", note="z" * 2000).status_code == 507
    assert phone.get("/history", boiler="kitchen").status_code == 200
    held = len(entries(logbook))
    room[0] = 0
    assert phone.post("/look", **look).status_code == 200
    assert len(entries(logbook)) == held + 1
    assert held >= count + sent


def test_no_room_for_a_photograph_on_its_way_in_is_the_same_page(site, logbook, monkeypatch):
    phone = Phone(site)

    def full(self):
        raise OSError(errno.ENOSPC, "No space left on device")

    token, count = phone.token(), len(entries(logbook))
    monkeypatch.setattr("scalemodel.serve.app.Sent.read", full)
    reply = phone.post("/look", boiler="kitchen", grade="1", site="wall", form_token=token)
    assert reply.status_code == 507
    assert "make room" in words(reply)
    assert len(entries(logbook)) == count


def test_another_fault_is_not_called_a_full_disk(phone, monkeypatch):
    def broken(self):
        raise OSError(errno.EIO, "Input/output error")

    token = phone.token()
    monkeypatch.setattr("scalemodel.serve.app.Sent.read", broken)
    assert phone.post("/look", boiler="kitchen", grade="1", form_token=token).status_code == 500
