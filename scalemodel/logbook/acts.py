"""What is done to a logbook as a whole, in one act: an import is noted, a name is changed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from scalemodel.logbook import clock, database, origins, renaming
from scalemodel.logbook.field_types import Text, tidy_name
from scalemodel.logbook.names import Renamed
from scalemodel.logbook.origins import Import
from scalemodel.logbook.pictures import Pictures

REASON = Text(500)
"""Why something was done."""


class Acts(Pictures):
    """The acts of a logbook that are no records."""

    def record_import(self, source: str, entries: Sequence[int], repeats: int | None = None) -> Import:
        """Note that new entries came from one import, and copy the logbook as it was before it, if it held anything.

        To be called in the transaction that made the entries. Raises LogbookError if the copy cannot be made.
        """
        with self.transaction():
            number, backup = origins.next_number(self._connection), ""
            if self._place != ":memory:" and origins.held_before(self._connection, entries):
                place = Path(self._place)
                backup = str(database.keep_copy(place, f"{place.name}.before-import-{number}"))
            origins.note(self._connection, clock.stamp(), source, backup, repeats, entries)
            return next(one for one in self.imports() if one.number == number)

    def rename(self, kind: str, old: str, new: str, boiler: str = "", reason: str = "") -> Renamed:
        """Call a boiler, a water, or a site of a boiler otherwise from today on; all its records follow.

        Raises UnknownNameError if nothing is called ``old``, BadValueError or RecordClashError if ``new`` is no name,
        or is or was one of another.
        """
        why = REASON.clean(reason, "reason")
        with self.transaction():
            lines = renaming.prepared(self, kind, tidy_name(old), new, tidy_name(boiler))
            values = (*lines, self.today().isoformat(), clock.stamp(), why)
            self._connection.execute(
                "INSERT INTO naming (kind, boiler, name, called, since, named_at, reason) VALUES (?, ?, ?, ?, ?, ?, ?)",
                values,
            )
            self._names = None
            return tuple(self.names().changes())[-1]
