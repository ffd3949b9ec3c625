"""The day and the moment that count as now, in one place for the whole program."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime, time

from scalemodel.logbook.values import parse_date

VARIABLE = "SCALEMODEL_TODAY"
"""Environment variable that holds the day to take for today, for trials and tests; the clock's day if unset."""


def today() -> date:
    """Today: no record may be dated later, and questions are asked as of it.

    Raises
    ------
    BadValueError
        If SCALEMODEL_TODAY is set to something that is no date.
    """
    given = os.environ.get(VARIABLE)
    return parse_date(given, VARIABLE) if given else date.today()


def now() -> datetime:
    """The moment at which a record is entered, UTC; noon of a day that SCALEMODEL_TODAY names."""
    if os.environ.get(VARIABLE):
        return datetime.combine(today(), time(12)).astimezone(UTC)
    return datetime.now(UTC)
