"""Priors adopted: written into a logbook as a record, so that every question takes them from that day on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from scalemodel.errors import AlreadyRecordedError, Mention, RecordClashError
from scalemodel.logbook.days import Day, day_or

if TYPE_CHECKING:
    from scalemodel.fleet.pool import Pool
    from scalemodel.logbook.store import Logbook


def adopt(book: Logbook, priors: Pool | str | Path, day: Day | None = None, note: str = "") -> int:
    """Adopt what was pooled, or a priors file; gives the number of the record.

    Parameters
    ----------
    book : Logbook
        Open for writing.
    priors : Pool or path
        Of a pool each of its boilers has its own, from all the others.
    day : date, Timestamp or text, optional
        From when they are believed, until others are adopted or the record is struck: by default the day as on which a
        pool was asked, the logbook's today for a file.
    note : str

    Raises
    ------
    BadValueError, UnknownNameError
        For a file that will not do, and a day to come or before the one as known on which they were learned.
    RecordClashError
        If just these were adopted on that day already.
    """
    from scalemodel.fleet.pool import Pool
    from scalemodel.fleet.told import priors_text
    from scalemodel.logbook.adoption import Adoption
    from scalemodel.logbook.priors_text import parse, read_text

    if isinstance(priors, Pool):
        text, usual = priors_text(priors), priors.as_of
    else:
        text, usual = read_text(priors), book.today()
        parse(text, Path(priors).name)  # an error names the file
    try:
        return book.add(Adoption(day_or(day, usual), text, note))
    except AlreadyRecordedError as error:
        already = (Mention(error.number), " adopted just these already")
        raise RecordClashError(already, "nothing is left to do, or give another day") from None
