"""What the rules need to know of a logbook, whoever keeps it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from datetime import date
from typing import TYPE_CHECKING, NamedTuple, Protocol

from scalemodel.logbook.kinds import Record
from scalemodel.logbook.names import Names

if TYPE_CHECKING:
    from scalemodel.logbook.origins import Import
    from scalemodel.logbook.photographs import Photograph


class Numbered(NamedTuple):
    """A current record and the number of its entry."""

    number: int
    record: Record


class Book(Protocol):
    """What the rules ask of a logbook."""

    def today(self) -> date:
        """The day after which no record may be dated."""

    def current(
        self,
        kind: str,
        where: str = "",
        values: Sequence = (),
        besides: int | None = None,
        first_by: str = "",
        most: int = 1,
    ) -> list[Numbered]:
        """Current records of a kind, as `scalemodel.logbook.ledger.Ledger.current` gives them."""

    def names(self) -> Names:
        """What boilers, sites and waters are called, and were."""


class WholeBook(Book, Protocol):
    """What is asked of a logbook that is written or read whole, as `scalemodel.logbook.store.Logbook` does it."""

    def transaction(self) -> AbstractContextManager[None]: ...

    def reading(self) -> AbstractContextManager[None]: ...

    def records(self, kind: str) -> tuple[Record, ...]: ...

    def history(self) -> tuple: ...

    def add(self, record: Record, again: bool = False, sure: bool = False, photos: Iterable[bytes] = ()) -> int: ...

    def record_import(self, source: str, entries: Sequence[int]) -> Import: ...

    def same_as(self, record: Record) -> list[int]: ...

    def doubts(self, record: Record, entry: int, typed: bool = True) -> list: ...

    def pictured(self) -> tuple: ...

    def photograph(self, sha256: str) -> Photograph: ...

    def has_photograph(self, sha256: str) -> bool: ...
