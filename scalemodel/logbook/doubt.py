"""A doubt about a record: what is allowed but hard to believe, and what it is judged by."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from scalemodel.logbook.kinds import Record
from scalemodel.logbook.records import Boiler

FAR_OFF = 10.0
"""A rate, an area or a mass so many times off what is usual is doubted."""

NEAR = 12
"""So many records of a kind before a day, and as many after it, tell what is usual there."""


class Doubt(NamedTuple):
    """A question about a field: what was given, and what is usual."""

    field: str
    given: str
    usual: str

    @property
    def words(self) -> str:
        """The question without the field."""
        return f"{self.given}? {self.usual[:1].upper()}{self.usual[1:]}"

    def __str__(self) -> str:
        return f"{self.field}: {self.words}"


@dataclass(frozen=True, slots=True)
class Known:
    """What a record is judged by.

    Attributes
    ----------
    today : date
    boiler : Boiler or None
        The record's boiler, if it is of one.
    near : tuple of Record
        Current records of the same kind about the same boiler or water, by date, the `NEAR` next before and after.
    typed : bool
        Whether somebody makes the record just now, rather than reading in or checking many old ones.
    """

    today: date
    boiler: Boiler | None = None
    near: tuple[Record, ...] = ()
    typed: bool = True


Rule = Callable[[Record, Known], Iterator[Doubt]]
"""What yields the doubts of one sort about a record."""


def is_far_off(value: float, low: float, high: float) -> bool:
    """Whether a value is ten times or more outside a range.

    >>> [is_far_off(value, 2.0, 3.0) for value in (0.2, 0.21, 29.9, 30.0)]
    [True, False, False, True]
    """
    return value >= FAR_OFF * high or value <= low / FAR_OFF
