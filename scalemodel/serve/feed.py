"""The calendar that other programs fetch: an address with a key of its own, which gives the dates and nothing else.

Only the key's hash is kept, in a file of the user's folder, and beside it the calendar as it was last given: from that
one an event that moved keeps its UID and counts up, also when the server was started again.
"""

from __future__ import annotations

import hmac
import json
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from threading import Lock

from scalemodel.errors import BadValueError, EvidenceError, ScalemodelError
from scalemodel.serve.private import hash_of, new_token, read_private, write_private
from scalemodel.serve.shop import PATIENCE, Shop
from scalemodel.serve.tries import Tries
from scalemodel.serve.web import Reply, status_of

FEED, ENDING = "/calendar/", ".ics"
KEY_BYTES = 32
KEY_FILE, LAST_FILE = "calendar-key.json", "calendar-given.ics"
SORT = "text/calendar; charset=utf-8"
RETRY_SECONDS = 60
PLAIN = "text/plain; charset=utf-8"


class Feed:
    """The one key of the calendar, and the calendar that was given last; safe for several threads."""

    def __init__(self, folder: Path | None = None, clock: Callable[[], float] = time.time) -> None:
        self._key_file = None if folder is None else folder / KEY_FILE
        self._last_file = None if folder is None else folder / LAST_FILE
        self._clock, self._lock, self._giving = clock, Lock(), Lock()
        self.tries = Tries(clock)
        self._hash = _read_hash(self._key_file)
        self._last = read_private(self._last_file) or b""

    @property
    def is_open(self) -> bool:
        """Whether there is a key."""
        return self._hash is not None

    def make_key(self) -> str:
        """A new key; the one before is void."""
        key = new_token(KEY_BYTES)
        self._keep(hash_of(key))
        return key

    def void(self) -> None:
        """Have no key any more."""
        self._keep(None)

    def takes(self, key: str) -> bool:
        """Whether a key is the one; TooManyTriesError after too many that were not, even for the right one."""
        with self._lock:
            self.tries.check()
            right = self._hash is not None and hmac.compare_digest(self._hash, hash_of(key))
            if not right:
                self.tries.count()
        return right

    def give(self, shop: Shop) -> Reply:
        """The calendar of all boilers, as `scalemodel calendar` writes it; the last one while answers are reckoned."""
        try:
            content = self._write(shop) if _is_reckoned(shop) else self._last
        except ScalemodelError as error:
            return Reply(f"{error}\n", status_of(error), PLAIN)
        if not content:
            return Reply("being reckoned; ask again\n", 503, PLAIN, {"Retry-After": str(RETRY_SECONDS)})
        return Reply(content, sort=SORT)

    def _write(self, shop: Shop) -> bytes:
        """The calendar as it is now, carried on from the last one."""
        from scalemodel.report.calendar import ask_events, write_calendar

        with self._giving:  # two at once would count an event up twice, or not at all
            with shop.reading() as book:
                asked = ask_events(book, (), book.today(), shop.desk)
            try:
                written = write_calendar(asked, self._last)
            except BadValueError:  # somebody else's file is in its place
                written = write_calendar(asked)
            if written.content != self._last:
                self._last = written.content
                write_private(self._last_file, self._last)
            return self._last

    def _keep(self, held: bytes | None) -> None:
        with self._lock:
            self._hash = held
            text = json.dumps({"sha256": None if held is None else held.hex()})
            write_private(self._key_file, text.encode())


def _is_reckoned(shop: Shop) -> bool:
    """Whether every answer is there, or comes within a page's patience."""
    with shop.reading() as book:
        known = []
        for boiler in book.boilers(in_use_on=book.today()):
            with suppress(EvidenceError):
                known.append(shop.facts(book, boiler.boiler))
    until = time.monotonic() + PATIENCE
    for pending in [shop.desk.ask(facts) for facts in known]:
        for part in pending.parts.values():
            try:
                part.result(max(0.0, until - time.monotonic()))
            except TimeoutError:
                return False
    return True


def key_in(path: str) -> str | None:
    """The key that an address holds; None where it is none of the calendar.

    >>> key_in("/calendar/abc.ics"), key_in("/calendar/abc"), key_in("/devices")
    ('abc', None, None)
    """
    inside = path.startswith(FEED) and path.endswith(ENDING)
    return path[len(FEED) : -len(ENDING)] if inside else None


def path_of(key: str) -> str:
    """The address of the calendar under a key."""
    return f"{FEED}{key}{ENDING}"


def _read_hash(file: Path | None) -> bytes | None:
    """The hash of the key that a file holds; None if it cannot be read as such."""
    try:
        return bytes.fromhex(json.loads(read_private(file) or b"null")["sha256"])
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
