"""Days as people and tables give them: a date, a moment, a text, a Timestamp."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from scalemodel.errors import BadValueError

Day = date | str
"""What is taken wherever a day is: a date, a pandas Timestamp or other moment, whose day counts, or a text."""

DATE_ALLOWED = "a date as YYYY-MM-DD"

EARLIEST = date(1900, 1, 1)
"""No record is older than this."""
_ISO_DATE = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
_WITH_TIME = re.compile(r"(\d{4}-\d{2}-\d{2})[T ]\d{1,2}:\d{2}.*", re.ASCII)
_DAY_NUMBER = re.compile(r"[2-6]\d{4}", re.ASCII)
_OTHER_DATE = re.compile(r"(\d{1,4})[./\- ](\d{1,2})[./\- ](\d{1,4})", re.ASCII)
SPREADSHEET_EPOCH = date(1899, 12, 30)
"""The day that spreadsheets count their days from (common practice, no source)."""


def as_day(given: object, field: str = "date") -> date:
    """The day of whatever says one.

    BadValueError for a text that is no ISO date, for no day at all (None, NaT), and for what says none.

    >>> as_day("2026-11-01"), as_day(datetime(2026, 11, 1, 23, 59))
    (datetime.date(2026, 11, 1), datetime.date(2026, 11, 1))
    """
    if isinstance(given, str):
        return parse_date(given, field)
    if isinstance(given, datetime) and given == given:  # a Timestamp is one, and so is NaT, which equals nothing
        return given.date()
    if isinstance(given, date) and not isinstance(given, datetime):
        return given
    if hasattr(given, "astype") and hasattr(given, "dtype") and given == given:  # numpy's datetime64
        found = given.astype("datetime64[D]").item()
        if isinstance(found, date):
            return found
    raise BadValueError(field, given, "a day: YYYY-MM-DD, a date or a Timestamp")


def day_or(given: object, otherwise: date, field: str = "as of") -> date:
    """The day given, or another where none is."""
    return otherwise if given is None else as_day(given, field)


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
        raise BadValueError(field, given, DATE_ALLOWED + _iso_hint(given))
    year, month, day = (int(part) for part in match.groups())
    try:
        found = date(year, month, day)
    except ValueError:
        raise BadValueError(field, given, "a day that exists, as YYYY-MM-DD") from None
    if found < EARLIEST:
        raise BadValueError(field, given, f"a date from {EARLIEST} on, as YYYY-MM-DD")
    return found


def _iso_hint(given: str) -> str:
    """What a date in another form would be in ISO form: an example, with both readings where the order is in doubt."""
    if match := _WITH_TIME.fullmatch(given):
        return f", such as {match[1]}, without the time"
    if _DAY_NUMBER.fullmatch(given):
        return f", such as {SPREADSHEET_EPOCH + timedelta(int(given))} if {given} is a spreadsheet's number of that day"
    match = _OTHER_DATE.fullmatch(given)
    if match is None:
        return ""
    first, middle, last = match.groups()
    if len(first) == 4:
        orders = {"": (first, middle, last)}
    elif len(last) == 4:
        orders = {"day first": (last, middle, first), "month first": (last, first, middle)}
    else:
        return ", its year with four digits"
    readings: dict[str, str] = {}
    for order, parts in orders.items():
        try:
            readings.setdefault(date(*(int(part) for part in parts)).isoformat(), order)
        except ValueError:
            continue
    if "." in given:  # a date with points is day first everywhere
        readings = {day: order for day, order in readings.items() if order != "month first"} or readings
    if not readings:
        return ", year first"
    said = [f"{day} (if it is {order})" if order and len(readings) > 1 else day for day, order in readings.items()]
    return ", such as " + " or ".join(said)
