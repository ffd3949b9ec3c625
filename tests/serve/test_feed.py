"""The calendar that other programs fetch: by its key alone, read back by another library (vobject)."""

import html
import json
import re
from urllib.parse import urlsplit

import pytest
import vobject

from scalemodel import api
from scalemodel.logbook.records import Inspection
from scalemodel.logbook.store import Logbook
from scalemodel.serve.feed import KEY_FILE, LAST_FILE, Feed
from scalemodel.serve.tries import FAILURE_SECONDS, MOST_FAILURES, TooManyTriesError
from tests.serve.conftest import TODAY, Phone, entries, words


def address_in(reply) -> str:
    """The address of the calendar that a page shows."""
    shown = html.unescape(re.search(r'<code id="calendar-address">([^<]+)</code>', reply.text)[1])
    return urlsplit(shown).path


@pytest.fixture
def address(phone):
    return address_in(phone.post("/devices/calendar"))


@pytest.fixture
def reader(site):
    """A calendar program: a device that is not paired."""
    return Phone(site, paired=False)


def read(content: bytes) -> dict[str, tuple]:
    """Day, title, sequence and state of every event by its UID."""
    calendar = vobject.readOne(content.decode())
    return {
        one.uid.value: (one.dtstart.value, one.summary.value, int(one.sequence.value), one.status.value)
        for one in calendar.contents.get("vevent", [])
    }


def test_the_feed_is_the_file_that_the_command_line_writes(reader, address, logbook):
    reply = reader.get(address)
    assert reply.status_code == 200
    assert reply.content_type == "text/calendar; charset=utf-8"
    with Logbook.open(logbook) as book:
        file = api.calendar(book, workers=1)
    assert read(reply.data) == read(file.content)
    assert len(read(reply.data)) == len(file.events) >= 2


def test_an_event_that_moves_keeps_its_uid_and_counts_up_over_a_restart_too(reader, address, logbook, make_site):
    first = read(reader.get(address).data)
    assert read(reader.get(address).data) == first  # nothing moved
    with Logbook.open(logbook, write=True) as book:
        number = book.add(Inspection("kitchen", TODAY, "wall", 3, 3))
    second = read(reader.get(address).data)
    moved = [uid for uid, one in first.items() if one[1].startswith("kitchen") and second[uid][0] != one[0]]
    assert moved
    assert all(second[uid][2] == first[uid][2] + 1 for uid in moved)
    assert all(second[uid] == one for uid, one in first.items() if not one[1].startswith("kitchen"))
    with Logbook.open(logbook, write=True) as book:
        book.strike(number, "mistaken")
    again = Phone(make_site(), paired=False)
    third = read(again.get(address).data)
    assert all(third[uid][2] == second[uid][2] + 1 for uid in moved)
    assert all(third[uid][0] == first[uid][0] for uid in moved)


@pytest.mark.parametrize("wrong", ["{}x", "x{}", "", ".", "../logbook.sqlite3", "é\udc80"])
def test_a_wrong_key_gives_nothing(reader, address, wrong):
    key = address.removeprefix("/calendar/").removesuffix(".ics")
    for path in (f"/calendar/{wrong.format(key)}.ics", address.removesuffix(".ics"), "/calendar/"):
        reply = reader.client.get(path.encode("utf-8", "replace").decode(), headers={"Host": "127.0.0.1:8765"})
        assert reply.status_code == 404
        assert "kitchen" not in reply.text
        assert "VCALENDAR" not in reply.text


def test_no_key_is_right_where_none_was_made(reader):
    for key in ("", "None", "null", "0"):
        assert reader.get(f"/calendar/{key}.ics").status_code == 404


def test_a_void_or_replaced_key_is_dead(phone, reader, address, make_site):
    newer = address_in(phone.post("/devices/calendar"))
    assert newer != address
    assert [reader.get(one).status_code for one in (address, newer)] == [404, 200]
    phone.post("/devices/no-calendar")
    assert reader.get(newer).status_code == 404
    assert Phone(make_site(), paired=False).get(newer).status_code == 404


def test_the_key_gives_the_calendar_alone_and_nothing_is_kept_on_the_device(reader, address, logbook):
    key = address.removeprefix("/calendar/").removesuffix(".ics")
    reply = reader.get(address)
    assert "Set-Cookie" not in reply.headers
    assert reply.headers["Cache-Control"] == "no-store"
    assert reader.get("/").status_code == 401
    assert reader.get(f"/pair/{key}").status_code == 403
    reader.client.set_cookie("scalemodel_session", key, domain="127.0.0.1")
    assert reader.get("/").status_code == 401
    count = len(entries(logbook))
    for method in ("post", "put", "delete", "patch"):
        sent = getattr(reader.client, method)(address, data={"boiler": "kitchen"}, headers={"Host": "127.0.0.1:8765"})
        assert sent.status_code in (404, 405)
    assert len(entries(logbook)) == count


def test_only_a_paired_device_makes_or_voids_a_key(site, reader, phone, address):
    for path in ("/devices/calendar", "/devices/no-calendar"):
        assert reader.post(path, form_token="").status_code == 401
        assert phone.post(path, form_token="0" * 64).status_code == 403
        assert phone.get(path).status_code == 404
    assert reader.get(address).status_code == 200


def test_the_key_is_shown_once_and_not_kept_only_its_hash(phone, address, tmp_path):
    key = address.removeprefix("/calendar/").removesuffix(".ics")
    assert len(key) >= 43  # 256 bits
    assert key not in phone.get("/devices").text
    for file in (tmp_path / "user").rglob("*"):
        if file.is_file():
            assert key.encode() not in file.read_bytes()
    held = tmp_path / "user" / KEY_FILE
    assert set(json.loads(held.read_text())) == {"sha256"}
    assert held.stat().st_mode & 0o077 == 0


def test_keys_are_guessed_no_faster_than_others_and_it_passes():
    now = [1000.0]
    feed = Feed(clock=lambda: now[0])
    key = feed.make_key()
    assert not any(feed.takes(f"{key}{k}") for k in range(MOST_FAILURES))
    with pytest.raises(TooManyTriesError):
        feed.takes(key)
    now[0] += FAILURE_SECONDS + 1
    assert feed.takes(key)


def test_too_many_guesses_are_a_page_and_pairing_goes_on(site, reader, address):
    statuses = [reader.get(f"/calendar/guess{k}.ics").status_code for k in range(MOST_FAILURES + 2)]
    assert statuses == [404] * MOST_FAILURES + [429] * 2
    assert reader.get(address).status_code == 429
    assert Phone(site).get("/").status_code == 200


def test_a_key_is_never_logged_nor_in_a_page_that_is_refused(reader, address, site, monkeypatch, caplog, capfd):
    monkeypatch.setattr(site.feed, "give", lambda shop: 1 / 0)
    reply = reader.get(address)
    assert reply.status_code == 500
    key = address.removeprefix("/calendar/").removesuffix(".ics")
    assert "a page failed" in caplog.text
    assert key not in caplog.text + "".join(capfd.readouterr()) + reply.text


def test_while_answers_are_reckoned_the_last_calendar_is_given_or_one_is_asked_to_come_again(
    reader, address, site, monkeypatch, logbook
):
    monkeypatch.setattr("scalemodel.serve.feed.PATIENCE", 0.0)
    monkeypatch.setattr(site.shop.desk._crew, "give", lambda *job: None)
    early = reader.get(address)
    assert (early.status_code, early.headers["Retry-After"]) == (503, "60")
    monkeypatch.undo()
    first = reader.get(address).data
    with Logbook.open(logbook, write=True) as book:
        book.add(Inspection("kitchen", TODAY, "wall", 3, 3))
    monkeypatch.setattr("scalemodel.serve.feed.PATIENCE", 0.0)
    monkeypatch.setattr(site.shop.desk._crew, "give", lambda *job: None)
    assert reader.get(address).data == first


@pytest.mark.parametrize(
    "held", [b"", b"not a calendar", b"\xff\xfe", b"BEGIN:VCALENDAR\r\nPRODID:x\r\nEND:VCALENDAR\r\n"]
)
def test_what_stands_where_the_last_calendar_was_is_no_hindrance(phone, address, make_site, tmp_path, held):
    (tmp_path / "user" / LAST_FILE).write_bytes(held)
    reply = Phone(make_site(), paired=False).get(address)
    assert reply.status_code == 200
    assert len(read(reply.data)) >= 2


def test_a_logbook_that_is_gone_is_said_in_a_line(reader, address, logbook):
    logbook.unlink()
    reply = reader.get(address)
    assert reply.status_code == 503
    assert "no logbook" in reply.text


def test_a_server_that_is_only_to_be_read_has_a_calendar_too(make_site):
    phone = Phone(make_site(read_only=True))
    reply = phone.post("/devices/calendar")
    assert "Subscribe to this address" in words(reply)
    assert phone.get(address_in(reply)).status_code == 200
