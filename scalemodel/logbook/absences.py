"""Which absences were known on a day: plans count from their entry, the past from when it was past."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

from scalemodel.logbook.records import Absence


def known_absences(entered: Sequence[tuple[Absence, date]], as_of: date) -> tuple[Absence, ...]:
    """What was known of absences on a day, by date: those entered by then whole, of the others the days gone by.

    ``entered`` holds each absence with the day of its entry (for a correction, that of the correction). So a plan
    counts from the day on which it was made, and nothing that was written down later tells of a day to come.

    >>> plan = Absence("hall", date(2026, 8, 1), date(2026, 8, 20))
    >>> [known_absences([(plan, date(2026, 8, 25))], day) for day in (date(2026, 7, 1), date(2026, 8, 1))]
    [(), ()]
    >>> known_absences([(plan, date(2026, 8, 25))], date(2026, 8, 5))[0].to_date
    datetime.date(2026, 8, 5)
    >>> known_absences([(plan, date(2026, 6, 2))], date(2026, 7, 1))[0].to_date
    datetime.date(2026, 8, 20)
    """
    known = [
        one if day <= as_of else replace(one, to_date=min(one.to_date, as_of))
        for one, day in entered
        if day <= as_of or one.from_date < as_of
    ]
    return tuple(sorted(known, key=lambda one: one.from_date))


def local_day(moment: str) -> date:
    """The owner's calendar day of a moment in UTC."""
    return datetime.fromisoformat(moment).astimezone().date()
