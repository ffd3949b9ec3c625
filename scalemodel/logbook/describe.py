"""What a record says, as one plain line, from the words of its fields."""

from __future__ import annotations

from scalemodel.logbook.columns import Column
from scalemodel.logbook.kinds import Record, kind_of
from scalemodel.logbook.records import Boiler, Use
from scalemodel.wording import counted

NOTE_SHOWN = 60
"""Characters of a note that the line shows."""


def describe(record: Record, boiler: Boiler | None = None) -> str:
    """What the record says, without its number; beside its ``boiler`` also what follows from both.

    >>> from datetime import date
    >>> from scalemodel.logbook.records import Inspection
    >>> describe(Inspection("kitchen", date(2026, 4, 12), "wall", 1, 2))
    'kitchen, 2026-04-12, wall, grade 1 to 2, by eye'
    """
    beside = boiler is not None and isinstance(record, Use)
    told = record.sized_by(boiler) if beside else record
    parts = [_words(told, name, column) for name, column in kind_of(record).fields.items()]
    if beside and told.drinks_unsized:
        parts.append(f"{told.litres_drawn:.6g} L if a drink is {Use.LITRES_PER_DRINK} L")
    note = " ".join(getattr(record, "note", "").split())
    if note:
        parts.append("note: " + (note if len(note) <= NOTE_SHOWN else note[: NOTE_SHOWN - 3] + "..."))
    return ", ".join(part for part in parts if part)


def photographed(count: int) -> str:
    """What photographs add to the line; nothing where there are none.

    >>> photographed(0), photographed(2)
    ('', ', 2 photographs')
    """
    return f", {counted(count, 'photograph')}" if count else ""


def _words(record: Record, name: str, column: Column) -> str:
    """What one field adds to the line; nothing where nothing is recorded."""
    if callable(column.says):
        return column.says(record)
    value = getattr(record, name)
    return "" if value is None or value is False or value == "" else column.says.format(value)
