"""Which entries of the history are asked for, and in what order: that of the visits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from scalemodel.logbook.entries import Entry
from scalemodel.logbook.field_types import tidy_name
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.records import Boiler


def place_of(entry: Entry) -> date:
    """Where an entry stands in the order of the visits: at its day, while what brings a name stands before all visits.

    A boiler that was retired stands at that day.
    """
    retired = isinstance(entry.record, Boiler) and entry.record.retired_on is not None
    return date.min if KINDS[entry.kind].naming and not retired else entry.day


@dataclass(frozen=True, slots=True)
class Choice:
    """What of a history is asked for.

    Attributes
    ----------
    since, until : date or None
        Only records about a day in this range, both ends in it; a stretch counts where any of its days does. Sites and
        waters hold at all times, and are left out where a day is asked for.
    kinds : sequence of str
        Only records of these kinds; empty for all.
    place : str
        Only looks at, or the record of, a site of this name, or records of boilers that stand there: whose note or
        owner's address holds these words. Blank for all.
    """

    since: date | None = None
    until: date | None = None
    kinds: Sequence[str] = ()
    place: str = ""

    @property
    def is_all(self) -> bool:
        """Whether nothing is left out."""
        return self == Choice()

    def holds_day(self, first: date, last: date) -> bool:
        """Whether a stretch of days meets the range."""
        return (self.since is None or last >= self.since) and (self.until is None or first <= self.until)

    def chosen(self, entries: Iterable[Entry], boilers: Mapping[str, Boiler]) -> list[Entry]:
        """The entries asked for, in order (`place_of`)."""
        found = [one for one in entries if self._in_time(one) and self._of_kind(one) and self._there(one, boilers)]
        return sorted(found, key=lambda one: (place_of(one), one.number))

    def _of_kind(self, entry: Entry) -> bool:
        return not self.kinds or entry.kind in self.kinds

    def _in_time(self, entry: Entry) -> bool:
        if self.since is None and self.until is None:
            return True
        if entry.day is None:
            return False
        known = KINDS[entry.kind].known_on
        last = entry.day if known is None else max(entry.day, getattr(entry.record, known))
        return self.holds_day(entry.day, last)

    def _there(self, entry: Entry, boilers: Mapping[str, Boiler]) -> bool:
        if not self.place:
            return True
        wanted = tidy_name(self.place).casefold()
        if getattr(entry.record, "site", "").casefold() == wanted:
            return True
        boiler = boilers.get(getattr(entry.record, "boiler", ""))
        said = "" if boiler is None else f"{boiler.note} {boiler.owner_address}".casefold()
        return all(word in said for word in wanted.split()) and bool(said.strip())
