"""How a boiler stands: the one word from which every sentence, list, page and figure of an answer follows."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Protocol


class Status(StrEnum):
    """How a boiler stands on a day, the most urgent first.

    LOOK_AGAIN: a look raised an alarm that nothing has answered, so no date is to be had. PAST: the risk is already
    more than is accepted. WITHIN: there is a last safe date. BEYOND: the risk stays within what is accepted to the
    horizon.
    """

    LOOK_AGAIN = "look_again"
    PAST = "past"
    WITHIN = "within"
    BEYOND = "beyond"

    @property
    def rank(self) -> int:
        """0 for the most urgent.

        >>> sorted(Status, key=lambda status: status.rank) == list(Status)
        True
        """
        return list(type(self)).index(self)

    @property
    def waits(self) -> bool:
        """Whether the descale can wait at all."""
        return self in (Status.WITHIN, Status.BEYOND)


class Standing(Protocol):
    """What is needed of an answer to put it in order."""

    status: Status
    as_of: date
    defer_until: date | None
    risk_now: float


def urgency(answer: Standing) -> tuple[int, date, float]:
    """What orders boilers: alarms first, then those past what is accepted, then the soonest date, the riskier first."""
    return answer.status.rank, answer.defer_until or answer.as_of, -answer.risk_now
