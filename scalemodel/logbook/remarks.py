"""What is allowed but worth a second thought: said, never refused."""

from __future__ import annotations

from scalemodel.logbook.book import Book
from scalemodel.logbook.kinds import Record
from scalemodel.logbook.records import Inspection


def remarks_on(book: Book, record: Record, number: int) -> list[str]:
    """Lines about a current record and its number; usually none.

    A look after a descale may be entered before that descale is, so its absence is only remarked on.
    """
    if not (isinstance(record, Inspection) and record.after_descale):
        return []
    if book.current("descale", "boiler = ? AND date = ?", (record.boiler, record.date.isoformat())):
        return []
    return [
        f"the look is said to be after a descale, but none of {record.boiler!r} is recorded on {record.date}; "
        f"record it, or `scalemodel amend {number} after_descale=no`"
    ]
