"""Which devices may come in: each is paired once, by a token that can be used once, and then known by its session.

Only hashes of sessions are kept, in a file of the user's folder, so that a phone stays paired when the server is
started again; where that cannot be written, until the server ends.
"""

from __future__ import annotations

import hmac
import json
import time
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from threading import Lock

from scalemodel.serve.private import hash_of, new_token, read_private, write_private
from scalemodel.serve.tries import Tries
from scalemodel.serve.web import Device

TOKEN_BYTES = 18
TOKEN_SECONDS = 900.0
"""A pairing token that nobody uses is void after this [s]."""

MOST_TOKENS = 8
SESSION_SECONDS = 400 * 86400.0
MOST_SESSIONS = 200


class Pairing:
    """Tokens on offer, and the sessions of paired devices; safe for several threads."""

    def __init__(self, file: Path | None = None, clock: Callable[[], float] = time.time) -> None:
        self._file, self._clock, self._lock = file, clock, Lock()
        self._tokens: dict[bytes, float] = {}
        self._tries = Tries(clock)
        self._sessions: dict[str, float] = _read(file)

    def offer(self) -> str:
        """A new token, with which one device can be paired once."""
        token = new_token(TOKEN_BYTES)
        with self._lock:
            self._tokens[hash_of(token)] = self._clock() + TOKEN_SECONDS
            while len(self._tokens) > MOST_TOKENS:
                del self._tokens[next(iter(self._tokens))]
        return token

    def redeem(self, token: str, old_session: str = "") -> str | None:
        """A new session for a token, which is then void, as is the device's old session; None for a wrong token.

        Raises
        ------
        TooManyTriesError
            After too many wrong tokens, whoever sent them, even for a right one.
        """
        with self._lock:
            now = self._clock()
            self._tries.check()
            given = hash_of(token)
            found = [held for held, until in self._tokens.items() if hmac.compare_digest(held, given) and now < until]
            if not found:
                self._tries.count()
                return None
            del self._tokens[found[0]]
            self._sessions.pop(_mark(old_session), None)
            session = new_token(32)
            self._sessions[_mark(session)] = now
            while len(self._sessions) > MOST_SESSIONS:
                del self._sessions[min(self._sessions, key=self._sessions.get)]
            self._write()
            return session

    def device(self, session: str) -> Device | None:
        """The device of a session; None if it is not paired."""
        mark = _mark(session)
        with self._lock:
            paired_at = self._sessions.get(mark)
        if paired_at is None or self._clock() - paired_at > SESSION_SECONDS:
            return None
        return Device(mark, hmac.new(session.encode(), b"a form of this device", sha256).hexdigest())

    def others(self, mark: str) -> int:
        """How many devices are paired besides one."""
        with self._lock:
            return sum(1 for held in self._sessions if held != mark)

    def forget(self, mark: str) -> None:
        """Unpair a device."""
        with self._lock:
            self._sessions.pop(mark, None)
            self._write()

    def forget_others(self, mark: str) -> None:
        """Unpair all devices but one, and void all tokens."""
        with self._lock:
            self._sessions = {held: at for held, at in self._sessions.items() if held == mark}
            self._tokens.clear()
            self._write()

    def _write(self) -> None:
        """Keep the sessions' hashes."""
        write_private(self._file, json.dumps(self._sessions).encode())


def _mark(session: str) -> str:
    """The hash by which a session is known."""
    return hash_of(session).hex()


def _read(file: Path | None) -> dict[str, float]:
    """The sessions that a file holds; none if it cannot be read as such."""
    try:
        held = json.loads(read_private(file) or b"{}")
        return {str(mark): float(at) for mark, at in held.items()}
    except (ValueError, TypeError, AttributeError, RecursionError):
        return {}
