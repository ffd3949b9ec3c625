"""What the rules need to know of a logbook, whoever keeps it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple, Protocol

from scalemodel.logbook.kinds import Record
from scalemodel.logbook.names import Names


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
