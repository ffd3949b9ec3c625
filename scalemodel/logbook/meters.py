"""A water meter runs forward from one stretch of use to the next.

A meter that was changed or set back is told by giving the stretch in which that happened as litres: readings are
compared only where two stretches that follow each other are both told by the meter.
"""

from __future__ import annotations

from scalemodel.errors import BadValueError, Mention, RecordClashError
from scalemodel.logbook.book import Book, Numbered
from scalemodel.logbook.kinds import Record
from scalemodel.logbook.records import Use

CHANGED = "if the meter was changed or set back, give this stretch as litres and go on with the new meter in the next"


def meter_goes_on(book: Book, use: Use, replacing: int | None) -> None:
    """A stretch's readings are not below those of the stretch before it, nor above those of the one after."""
    if use.meter_from_l is None:
        return
    before, after = _neighbours(book, use, replacing)
    if before and _reading(before.record.meter_to_l, above=use.meter_from_l):
        allowed = f"{before.record.meter_to_l:.10g} L or more, read on {before.record.to_date}"
        raise _runs_back("meter_from_l", use.meter_from_l, allowed, before)
    if after and _reading(use.meter_to_l, above=after.record.meter_from_l):
        allowed = f"at most {after.record.meter_from_l:.10g} L, read on {after.record.from_date}"
        raise _runs_back("meter_to_l", use.meter_to_l, allowed, after)


def _runs_back(field: str, reading: float, allowed: str, other: Numbered) -> BadValueError:
    return BadValueError(field, f"{reading:.10g}", (f"{allowed} (", Mention(other.number), f"); {CHANGED}"))


def check_gap_left(book: Book, gone: Record) -> None:
    """The stretches on both sides of one that is no longer current fit each other."""
    if not isinstance(gone, Use):
        return
    before, after = _neighbours(book, gone, None, at_or_before=True)
    if before and after and _reading(before.record.meter_to_l, above=after.record.meter_from_l):
        as_litres = f"litres={after.record.litres_drawn:.10g} meter_from_l= meter_to_l="
        raise RecordClashError(
            (
                f"without it the meter would run back from {before.record.meter_to_l:.10g} L (",
                Mention(before.number),
                f") to {after.record.meter_from_l:.10g} L (",
                Mention(after.number),
                ")",
            ),
            ("first give ", Mention(after.number), " as litres: ", Mention(after.number, as_litres)),
        )


def _neighbours(
    book: Book, use: Use, besides: int | None, at_or_before: bool = False
) -> tuple[Numbered | None, Numbered | None]:
    """The current stretches of the same boiler that begin next before and next after a stretch."""
    day = (use.boiler, use.from_date.isoformat())
    sign = "<=" if at_or_before else "<"
    before = book.current("use", f"boiler = ? AND from_date {sign} ?", day, besides, first_by="held.from_date DESC")
    after = book.current("use", "boiler = ? AND from_date > ?", day, besides, first_by="held.from_date")
    return (before[0] if before else None), (after[0] if after else None)


def _reading(earlier: float | None, above: float | None) -> bool:
    """Whether both readings are there and the earlier one is the higher."""
    return earlier is not None and above is not None and earlier > above
