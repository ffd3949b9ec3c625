"""The day and the moment that count as now, in one place for the whole program."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime, time

from scalemodel.errors import BadValueError
from scalemodel.logbook.days import parse_date

VARIABLE = "SCALEMODEL_TODAY"
"""Environment variable that holds the day to take for today, for trials and tests; the clock's day if unset."""

LATEST = date(2999, 12, 31)
"""No later day is taken for today."""


def today() -> date:
    """Today: no record may be dated later, and questions are asked as of it.

    Raises
    ------
    BadValueError
        If SCALEMODEL_TODAY is set to something that is no date, or to one so late that none is left to look ahead to.
    """
    given = os.environ.get(VARIABLE)
    if not given:
        return date.today()
    day = parse_date(given, VARIABLE)
    if day > LATEST:
        raise BadValueError(VARIABLE, given, f"a date up to {LATEST}")
    return day


def now() -> datetime:
    """The moment at which a record is entered, UTC; noon of a day that SCALEMODEL_TODAY names."""
    if os.environ.get(VARIABLE):
        return datetime.combine(today(), time(12)).astimezone(UTC)
    return datetime.now(UTC)


def stamp() -> str:
    """`now` as it is entered, to the second."""
    return now().isoformat(timespec="seconds")
