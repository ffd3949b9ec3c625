"""Attacks on the pages at the machine; every one has to fail."""

import ast
import os
import re
import socket
import threading
import time
from contextlib import ExitStack, suppress
from io import BytesIO
from pathlib import Path

import pytest

from scalemodel.errors import RecordClashError
from scalemodel.serve import app as apps
from scalemodel.serve import guard, pairing, run
from scalemodel.serve.pairing import SESSION_SECONDS, TOKEN_SECONDS, Pairing
from scalemodel.serve.settings import Settings
from scalemodel.serve.tries import MOST_FAILURES, TooManyTriesError
from tests.logbook.pictures import SECRET, many_passes, packed_text_bomb, photograph, png
from tests.serve.conftest import HOST, ORIGIN, STRANGE, Phone, entries
from tests.serve.running import end

EVERYTHING = {
    "boiler": "kitchen",
    "grade": "1",
    "site": "wall",
    "what": "litres",
    "litres": "9",
    "entry": "13",
    "reason": "x",
}
"""What any form could want."""

SERVE = Path(pairing.__file__).parent


# ---- pairing


def test_nothing_is_shown_to_a_device_that_is_not_paired(site, logbook):
    stranger = Phone(site, paired=False)
    for path in apps.PAGES:
        reply = stranger.get(path, boiler="kitchen", entry="1", what="litres", sha256="0" * 64)
        assert reply.status_code == 401
        assert "kitchen" not in reply.text
    count = len(entries(logbook))
    for path in (*apps.WRITERS, *apps.DEVICE_FORMS):
        reply = stranger.post(path, boiler="kitchen", what="litres", litres="5", grade="1", entry="1", form_token="")
        assert reply.status_code == 401
    assert len(entries(logbook)) == count


def test_a_token_pairs_one_device_once(site):
    token = site.pairing.offer()
    first, second = Phone(site, paired=False), Phone(site, paired=False)
    assert first.get(f"/pair/{token}").status_code == 303
    assert first.get("/").status_code == 200
    assert second.get(f"/pair/{token}").status_code == 403
    assert second.get("/").status_code == 401


def test_many_at_once_with_one_token_pair_one():
    pairing_, results = Pairing(), []
    token = pairing_.offer()
    threads = [threading.Thread(target=lambda: results.append(pairing_.redeem(token))) for _ in range(8)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sum(session is not None for session in results) == 1


def test_wrong_tokens_are_limited_even_for_a_right_one_and_time_passes():
    now = [1000.0]
    doors = Pairing(clock=lambda: now[0])
    token = doors.offer()
    for k in range(MOST_FAILURES):
        assert doors.redeem(f"{token}{k}") is None
    with pytest.raises(TooManyTriesError):
        doors.redeem(token)
    now[0] += 61.0
    assert doors.redeem(token) is not None


def test_too_many_tries_are_a_page(site):
    stranger = Phone(site, paired=False)
    statuses = [stranger.get(f"/pair/guess{k}").status_code for k in range(MOST_FAILURES + 2)]
    assert statuses == [403] * MOST_FAILURES + [429] * 2


def test_a_token_and_a_session_grow_old():
    now = [1000.0]
    doors = Pairing(clock=lambda: now[0])
    old, session = doors.offer(), doors.redeem(doors.offer())
    now[0] += TOKEN_SECONDS + 1
    assert doors.redeem(old) is None
    assert doors.device(session) is not None
    now[0] += SESSION_SECONDS
    assert doors.device(session) is None


def test_tokens_are_long_random_and_compared_in_constant_time():
    doors = Pairing()
    tokens = {doors.offer() for _ in range(200)}
    assert len(tokens) == 200
    assert all(len(one) >= 24 for one in tokens)
    for module in ("pairing.py", "guard.py", "feed.py"):
        tree = ast.parse((SERVE / module).read_text(encoding="utf-8"))
        compared = {
            ast.unparse(side)
            for node in ast.walk(tree)
            if isinstance(node, ast.Compare) and any(isinstance(op, ast.Eq | ast.NotEq) for op in node.ops)
            for side in (node.left, *node.comparators)
        }
        assert not {name for name in compared if any(word in name.lower() for word in ("token", "given", "hash"))}
        assert "compare_digest" in (SERVE / module).read_text(encoding="utf-8")


def test_a_browser_that_looks_ahead_does_not_use_the_token_up(site):
    token = site.pairing.offer()
    ahead = Phone(site, paired=False).get(f"/pair/{token}", headers={"Sec-Purpose": "prefetch;prerender"})
    assert ahead.status_code == 204
    assert "Set-Cookie" not in ahead.headers
    assert Phone(site, paired=False).get(f"/pair/{token}").status_code == 303


def test_the_session_is_new_at_each_pairing_and_the_old_one_is_void(site):
    phone = Phone(site)
    old = phone.client.get_cookie(guard.SESSION_COOKIE, "127.0.0.1").value
    phone.get(f"/pair/{site.pairing.offer()}")
    new = phone.client.get_cookie(guard.SESSION_COOKIE, "127.0.0.1").value
    assert old != new
    assert site.pairing.device(old) is None
    assert site.pairing.device(new) is not None


def test_a_session_that_was_planted_is_not_taken_over(site):
    victim = Phone(site, paired=False)
    victim.client.set_cookie(guard.SESSION_COOKIE, "planted", domain="127.0.0.1")
    victim.get(f"/pair/{site.pairing.offer()}")
    assert site.pairing.device("planted") is None


@pytest.mark.parametrize("proxied", [False, True])
def test_the_cookie_is_for_this_site_s_pages_alone(make_site, proxied):
    site = make_site(behind_proxy=proxied)
    (cookie,) = Phone(site, paired=False).get(f"/pair/{site.pairing.offer()}").headers.getlist("Set-Cookie")
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Path=/" in cookie
    assert ("Secure" in cookie) == proxied
    assert "Domain" not in cookie


def test_devices_stay_paired_over_a_restart_and_no_secret_is_kept(make_site, tmp_path):
    phone = Phone(make_site())
    session = phone.client.get_cookie(guard.SESSION_COOKIE, "127.0.0.1").value
    again = make_site()
    assert again.pairing.device(session) is not None
    file = tmp_path / "user" / "devices.json"
    assert session not in file.read_text()
    assert file.stat().st_mode & 0o077 == 0 or os.name != "posix"
    for spoilt in ("", "[]", "{", '{"a": "b"}', "null"):
        file.write_text(spoilt)
        assert make_site().pairing.device(session) is None


def test_a_device_can_be_unpaired_by_itself_and_by_another(site):
    one, other = Phone(site), Phone(site)
    one.post("/devices/others")
    assert other.get("/").status_code == 401
    assert one.get("/").status_code == 200
    one.post("/devices/leave")
    assert one.get("/").status_code == 401


def test_another_device_is_paired_from_one_that_is(site):
    text = Phone(site).post("/devices/offer").text
    (path,) = re.findall(r"<code>http://127\.0\.0\.1:\d+(/pair/[\w-]+)</code>", text)
    assert Phone(site, paired=False).get(path).status_code == 303


def test_an_open_network_without_pairing_is_refused(tmp_path):
    for more in ({"lan": True}, {"behind_proxy": True}):
        with pytest.raises(RecordClashError, match="pairing"):
            Settings(tmp_path / "b.sqlite3", pairing=False, **more).check()
        with pytest.raises(RecordClashError, match="pairing"):
            apps.Site(Settings(tmp_path / "b.sqlite3", pairing=False, **more))


# ---- requests from elsewhere


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "evil.example:8765", "", "[::2]", "127.0.0.1@evil", "a b"]
)
def test_another_name_that_leads_here_is_refused(site, host):
    phone = Phone(site)
    for path in ("/", "/style.css", f"/pair/{site.pairing.offer()}"):
        reply = phone.client.get(path, headers={"Host": host})
        assert reply.status_code in (400, 421), host
        assert "Set-Cookie" not in reply.headers
        assert "kitchen" not in reply.text


def test_names_that_are_ours_are_taken(make_site):
    site = make_site(hosts=("Boilers.example",))
    for host in ("localhost", "127.0.0.1:9", "[::1]:8765", "boilers.example", "BOILERS.example:443"):
        assert Phone(site, paired=False).client.get("/", headers={"Host": host}).status_code == 401, host


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1:8765"},
        {"Origin": "http://127.0.0.1:8766"},
        {"Origin": "http://127.0.0.1:8765.evil.example"},
        {"Origin": ""},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
    ],
    ids=str,
)
def test_a_form_of_another_page_is_refused(phone, logbook, headers):
    count, token = len(entries(logbook)), phone.token()
    reply = phone.post("/look", headers=headers, form_token=token, boiler="kitchen", grade="1", site="wall")
    assert reply.status_code == 403
    assert len(entries(logbook)) == count


def test_a_form_without_the_device_s_token_is_refused_on_every_route(site, phone, logbook):
    count, foreign = len(entries(logbook)), Phone(site).token()
    for path in (*apps.WRITERS, *apps.DEVICE_FORMS):
        for token in ("", "x", foreign, "\udc80é"):
            form = {"boiler": "kitchen", "grade": "1", "site": "wall", "what": "litres", "litres": "9", "entry": "13"}
            try:
                reply = phone.post(path, form_token=token, reason="x", **form)
            except UnicodeEncodeError:  # no browser can send it either
                continue
            assert reply.status_code == 403, (path, token)
    assert len(entries(logbook)) == count
    assert phone.get("/").status_code == 200


def test_every_form_that_writes_holds_the_token(site, phone):
    paths = [
        ("/boiler", {}),
        ("/visit", {"what": "litres"}),
        ("/saved", {"entry": "13"}),
        ("/entry", {"entry": "13"}),
        ("/devices", {}),
    ]
    for path, more in paths:
        forms = re.findall(r'<form [^>]*method="post".*?</form>', phone.get(path, boiler="kitchen", **more).text, re.S)
        assert forms, path
        for form in forms:
            assert f'name="form_token" value="{phone.token()}"' in form


def test_nothing_is_written_by_opening_an_address(phone, logbook):
    count = len(entries(logbook))
    for path in (*apps.WRITERS, *apps.DEVICE_FORMS):
        reply = phone.get(
            path, boiler="kitchen", grade="1", site="wall", what="litres", litres="9", entry="13", reason="x"
        )
        assert reply.status_code in (200, 404)
    for method in ("put", "patch", "delete"):
        reply = getattr(phone.client, method)("/look", headers={"Host": HOST, **ORIGIN})
        assert reply.status_code == 405
    assert len(entries(logbook)) == count


# ---- read-only


def test_read_only_cannot_write_by_any_route(make_site, logbook):
    phone = Phone(make_site(read_only=True))
    before = logbook.read_bytes()
    for path in apps.WRITERS:
        form = {
            "boiler": "kitchen",
            "grade": "1",
            "site": "wall",
            "what": "litres",
            "litres": "9",
            "entry": "13",
            "reason": "x",
        }
        assert phone.post(path, **form).status_code == 403
    for path in apps.PAGES:
        reply = phone.get(path, boiler="kitchen", entry="13", what="litres", sha256="0" * 64)
        forms = re.findall(r'<form [^>]*action="([^"]+)"', reply.text)
        assert not [one for one in forms if one.partition("?")[0] in apps.WRITERS], path
    assert logbook.read_bytes() == before


def test_read_only_opens_the_logbook_so_that_it_cannot_be_written(make_site):
    shop = make_site(read_only=True).shop
    with pytest.raises(Exception, match=r"read|write"), shop.writing() as book:
        book.strike(13, "x")


# ---- what is sent


def test_names_notes_and_reasons_never_run(phone, logbook):
    evil = "<img src=x onerror=alert(1)>\"'><script>alert(2)</script>"
    phone.post("/look", boiler="kitchen", grade="1", site="wall", note=evil, inspector=evil[:79])
    number = entries(logbook)[-1].number
    assert entries(logbook)[-1].record.note == evil
    phone.post("/strike", entry=number, reason=evil)
    pages = [
        phone.get("/boiler", boiler="kitchen"),
        phone.get("/boiler", boiler=STRANGE),
        phone.get("/history", boiler="kitchen"),
        phone.get("/entry", entry=number),
        phone.get("/saved", entry=number),
        phone.get("/", q=evil),
        phone.post("/look", boiler="kitchen", grade=evil, site=evil, note=evil),
        phone.get("/boiler", boiler=evil),
        phone.get("/plan", boiler=STRANGE),
        phone.get("/report", boiler=STRANGE),
    ]
    for reply in pages:
        assert "<img src=x" not in reply.text
        assert "<script>alert" not in reply.text
        assert not re.search(r"<[^>]*\son\w+=", re.sub(r'"[^"]*"', '""', reply.text))


def test_the_policy_lets_nothing_run_that_stands_in_a_page_and_nothing_be_fetched_elsewhere(phone):
    for path in ("/", "/nothing"):
        reply = phone.get(path)
        policy = reply.headers["Content-Security-Policy"]
        assert "unsafe" not in policy
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert not re.search(r"https?:|\*", policy)
        assert re.findall(r"<script(?! src=)", reply.text) == []
        assert "<style" not in reply.text
        assert reply.headers["X-Content-Type-Options"] == "nosniff"
        assert reply.headers["Cache-Control"] == "no-store"
        assert reply.headers["Referrer-Policy"] == "same-origin"


def test_a_photograph_is_a_picture_and_nothing_else(phone, logbook):
    count = len(entries(logbook))
    for data in (
        b"<script>alert(1)</script>",
        b"\x89PNG\r\n\x1a\n" + b"\0" * 200,
        b"GIF89a" + b"\0" * 50,
        b"x" * 20_000_001,
    ):
        reply = phone.post("/look", boiler="kitchen", grade="1", site="wall", photo=(BytesIO(data), "a.jpg"))
        assert reply.status_code == 409
        assert len(entries(logbook)) == count
    phone.post("/look", boiler="kitchen", grade="1", site="wall", photo=(BytesIO(photograph()), "../../<b>.html"))
    assert entries(logbook)[-1].photographs == 1
    (sha256,) = set(re.findall(r"sha256=([0-9a-f]{64})", phone.get("/boiler", boiler="kitchen").text))
    shown = phone.get("/photo", sha256=sha256)
    assert SECRET not in shown.data
    assert "sandbox" in shown.headers["Content-Security-Policy"]


@pytest.mark.parametrize(
    "name", ["../logbook.sqlite3", "/etc/passwd", "..%2f", "0" * 63, "", "'; DROP TABLE entry; --", "\0"]
)
def test_no_path_leads_out_of_the_photographs(phone, name):
    reply = phone.get("/photo", sha256=name)
    assert reply.status_code == 400
    assert "SQLite" not in reply.text


@pytest.mark.parametrize(
    "path",
    [
        "/../logbook.sqlite3",
        "/templates/list.html",
        "/assets/serve.css",
        "/%2e%2e/etc/passwd",
        "/static/x",
    ],
)
def test_no_file_is_served_but_style_and_script(phone, path):
    assert phone.client.get(path, headers={"Host": HOST}).status_code in (308, 404)


def test_a_body_is_not_read_for_a_device_that_is_not_paired(site, monkeypatch):
    def read(sent):
        raise AssertionError("read")

    stranger = Phone(site, paired=False)
    monkeypatch.setattr(apps.Sent, "read", read)
    assert stranger.post("/look", form_token="", note="x" * 1000).status_code == 401
    assert stranger.post("/look", form_token="", headers={"Origin": "http://evil.example"}).status_code == 403


def test_a_body_that_is_too_large_is_refused_unread(phone, logbook):
    count, token = len(entries(logbook)), phone.token()
    for more in ({}, {"photo": (BytesIO(photograph()), "a.jpg")}):
        form = {"boiler": "kitchen", "grade": "1", "site": "wall", "form_token": token, "note": "x" * 300_000}
        reply = phone.post("/look", **form, **more)
        assert reply.status_code == 413
    assert len(entries(logbook)) == count


@pytest.mark.parametrize(
    "bomb", [png(30_000, 30_000), packed_text_bomb(), many_passes(500)], ids=["area", "text", "passes"]
)
def test_a_decompression_bomb_is_refused(phone, logbook, bomb):
    count, began = len(entries(logbook)), time.process_time()
    reply = phone.post("/look", boiler="kitchen", grade="1", site="wall", photo=(BytesIO(bomb), "a.png"))
    assert reply.status_code == 409
    assert time.process_time() - began < 5
    assert len(entries(logbook)) == count


# ---- the server itself


@pytest.fixture
def running(make_site, monkeypatch):
    """A server in this process on a free port, which drops slow clients soon."""
    monkeypatch.setattr(run, "SLOW_SECONDS", 1.0)
    monkeypatch.setattr(run, "IDLE_SECONDS", 2)
    site = make_site()
    listening = run.bound(Settings(site.settings.logbook, port=0))
    port = listening.getsockname()[1]
    server = run.make_server(site, listening)
    server.adj.cleanup_interval = 0.2
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield site, port
    end(server, thread)


def closed_by_server(connection: socket.socket, seconds: float) -> bool:
    connection.settimeout(seconds)
    try:
        while connection.recv(4096):
            pass
    except TimeoutError:
        return False
    except OSError:
        pass
    return True


def test_slow_clients_are_dropped_and_do_not_hold_up_others(running):
    _, port = running
    connections = ExitStack()
    idle, *slow = (connections.enter_context(socket.create_connection(("127.0.0.1", port))) for _ in range(6))
    for one in slow:
        one.sendall(b"POST /look HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5000\r\n\r\n")
    began = time.monotonic()
    while time.monotonic() - began < 2.5:  # never idle for long
        for one in slow:
            with suppress(OSError):
                one.sendall(b"x")
        with socket.create_connection(("127.0.0.1", port)) as quick:
            quick.sendall(b"GET /style.css HTTP/1.0\r\nHost: 127.0.0.1\r\n\r\n")
            assert quick.recv(100).startswith(b"HTTP/1.0 200")
        time.sleep(0.2)
    with connections:
        assert all(closed_by_server(one, 3) for one in slow)
        assert closed_by_server(idle, 6)


def test_headers_and_bodies_beyond_the_limits_are_refused(running):
    _, port = running
    for sent, said in (
        (b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: " + b"x" * 40_000 + b"\r\n\r\n", b" 431 "),
        (f"POST /look HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: {guard.MOST_BODY + 1}\r\n\r\n".encode(), b" 413 "),
        (b"NONSENSE\r\n\r\n", b" 400 "),
    ):
        with socket.create_connection(("127.0.0.1", port)) as one:
            one.sendall(sent)
            one.settimeout(5)
            assert said in one.recv(200)


def test_a_fault_of_a_page_shows_nothing_of_the_program_and_no_token_is_logged(site, phone, monkeypatch, caplog, capfd):
    def broken(shop, asked):
        raise ZeroDivisionError("secret of the program")

    monkeypatch.setitem(apps.PAGES, "/guide", broken)
    reply = phone.get("/guide", boiler="kitchen")
    assert reply.status_code == 500
    assert "secret" not in reply.text
    token, session = site.pairing.offer(), phone.client.get_cookie(guard.SESSION_COOKIE, "127.0.0.1").value
    Phone(site, paired=False).get(f"/pair/{token}x")
    Phone(site, paired=False).get(f"/pair/{token}")
    monkeypatch.setattr(site.pairing, "redeem", broken)
    assert Phone(site, paired=False).get(f"/pair/{token}y").status_code == 500
    logged = caplog.text + "".join(capfd.readouterr())
    assert "a page failed" in logged
    assert token not in logged
    assert session not in logged


def test_no_token_is_in_a_referrer(site):
    reply = Phone(site, paired=False).get(f"/pair/{site.pairing.offer()}")
    assert reply.status_code == 303
    assert reply.headers["Location"] == "/"
    assert reply.headers["Referrer-Policy"] == "same-origin"
    assert reply.data == b""
