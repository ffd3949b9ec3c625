"""How a boiler stands: the one word from which every sentence, list, page and figure of an answer follows."""

from __future__ import annotations

from enum import StrEnum


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
