"""How the text of each field is read: command line, CSV cells and amendments share these rules."""

from __future__ import annotations

import re
from datetime import date

from scalemodel.errors import BadValueError

EARLIEST = date(1900, 1, 1)
"""No record is older than this."""

_ISO_DATE = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
_OTHER_DATE = re.compile(r"(\d{1,4})[./\- ](\d{1,2})[./\- ](\d{1,4})", re.ASCII)


def parse_date(text: str, field: str = "date") -> date:
    """An ISO calendar date, YYYY-MM-DD.

    >>> parse_date("2026-04-12", "date")
    datetime.date(2026, 4, 12)

    Raises
    ------
    BadValueError
        For any other form (with the ISO form of a day-first date as a hint), a day that does not
        exist, or a year before 1900.
    """
    given = str(text).strip()
    match = _ISO_DATE.fullmatch(given)
    if match is None:
        raise BadValueError(field, given, "a date as YYYY-MM-DD" + _iso_hint(given))
    year, month, day = (int(part) for part in match.groups())
    try:
        found = date(year, month, day)
    except ValueError:
        raise BadValueError(field, given, "a day that exists, as YYYY-MM-DD") from None
    if found < EARLIEST:
        raise BadValueError(field, given, f"a date from {EARLIEST} on, as YYYY-MM-DD")
    return found


def _iso_hint(given: str) -> str:
    """What a date in another order would be in ISO form, where only the order is in doubt."""
    match = _OTHER_DATE.fullmatch(given)
    if match is None:
        return ""
    first, month, last = match.groups()
    year, day = (first, last) if len(first) == 4 else (last, first)
    if len(year) != 4:
        return ""
    try:
        return f", such as {date(int(year), int(month), int(day))}"
    except ValueError:
        return ", year first"
