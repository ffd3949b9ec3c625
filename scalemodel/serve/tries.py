"""How often somebody may guess: after too many wrong ones within a while, nothing is taken for a while."""

from __future__ import annotations

from collections.abc import Callable

MOST_FAILURES, FAILURE_SECONDS = 10, 60.0
"""After so many wrong ones within so long [s] none is taken, until that time has passed."""


class TooManyTriesError(Exception):
    """Too many wrong ones of late."""


class Tries:
    """The wrong ones of late, whoever sent them; its owner locks."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._failures: list[float] = []

    def check(self) -> None:
        """TooManyTriesError after too many."""
        now = self._clock()
        self._failures = [at for at in self._failures if now - at < FAILURE_SECONDS]
        if len(self._failures) >= MOST_FAILURES:
            raise TooManyTriesError

    def count(self) -> None:
        """One more that was wrong."""
        self._failures.append(self._clock())
