"""What a user believes before any record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from scalemodel.wording import counted


class Belief(NamedTuple):
    """What a user believes of an unknown before any record, in place of the house (None: as the house does).

    ``name`` is the unknown's in a priors file, ``subject`` the site, method, inspector or water that it is of (blank:
    of every one); mean and sd are on the scale of its prior.
    """

    name: str
    subject: str
    mean: float | None
    sd: float | None


class Pooled(NamedTuple):
    """From what priors were learned: boilers and looks, as known on a day."""

    on: date
    boilers: int
    looks: int

    def __str__(self) -> str:
        return f"pooled from {counted(self.boilers, 'boiler')} and {counted(self.looks, 'look')}"


@dataclass(frozen=True)
class Priors:
    """What a priors file says: what is believed of every boiler; and of some, by name, in place of that.

    ``pooled`` says from what they were learned; None where they were written by hand.
    """

    beliefs: tuple[Belief, ...] = ()
    boilers: Mapping[str, tuple[Belief, ...]] = field(default_factory=dict)
    pooled: Pooled | None = None

    def of(self, boiler: str) -> tuple[Belief, ...]:
        """What is believed of a boiler."""
        return self.boilers.get(boiler, self.beliefs)


class Adopted(NamedTuple):
    """Priors that a logbook adopted on a day, as far as they are of one boiler.

    ``pooled`` says from what they were learned, None where that is not known; ``apart`` that this boiler was among
    those, and what is believed of it comes from all the others.
    """

    date: date
    beliefs: tuple[Belief, ...]
    pooled: Pooled | None = None
    apart: bool = False
