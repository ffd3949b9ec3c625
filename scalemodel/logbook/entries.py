"""A line of the ledger: a record, when it was entered, and what became of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from scalemodel.logbook.kinds import KINDS, Record
from scalemodel.logbook.records import Boiler


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the ledger and what became of it.

    ``entered_at``, ``replaced_at`` and ``struck_at`` are UTC, ISO 8601; ``replaces`` and ``replaced_by`` are numbers.
    ``reason`` is why this entry replaces another, ``replace_reason`` why another replaces this one. ``photographs`` is
    how many it has, ``imported`` the number of the import that it came from.
    """

    number: int
    kind: str
    record: Record
    entered_at: str
    replaces: int | None = None
    reason: str = ""
    replaced_by: int | None = None
    struck_at: str | None = None
    strike_reason: str = ""
    replaced_at: str | None = None
    replace_reason: str = ""
    photographs: int = 0
    imported: int | None = None

    @property
    def is_current(self) -> bool:
        """Whether it was neither amended nor struck."""
        return self.replaced_by is None and self.struck_at is None

    @property
    def state(self) -> str:
        """``current``, ``amended by N`` or ``struck: REASON``."""
        if self.struck_at is not None:
            return f"struck: {self.strike_reason}"
        return "current" if self.replaced_by is None else f"amended by {self.replaced_by}"

    @property
    def day(self) -> date | None:
        """The day that the record is about; None for sites and waters."""
        if isinstance(self.record, Boiler) and self.record.retired_on is not None:
            return self.record.retired_on
        field = KINDS[self.kind].dated_by
        return getattr(self.record, field) if field else None
