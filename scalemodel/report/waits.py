"""How long the descale can wait, in a page's words; its script words it alike, when the controls are moved."""

from __future__ import annotations

from typing import TYPE_CHECKING

from scalemodel.decision.status import Status
from scalemodel.wording import counted

if TYPE_CHECKING:
    from scalemodel.decision.curves import RiskCurve, RiskTable


def wait_word(table: RiskTable, curve: RiskCurve, tolerance: int) -> str:
    """The last safe date at a tolerance of the table, or the status that stands in its place."""
    until = table.until(curve, tolerance)
    return str(curve.statuses[tolerance]) if until is None else until.isoformat()


NO_DATE = {
    Status.LOOK_AGAIN: ("Look again now, do not defer.", "look again now"),
    Status.PAST: ("Do not defer: the risk is above that already.", "already more than you accept"),
}
"""What stands in the place of a date: as a sentence, and on a picture. The page's script is given both."""


def no_date_words(horizon_days: int) -> dict[str, tuple[str, str]]:
    """`NO_DATE` with what is said where no descale is due within so many days."""
    horizon = counted(horizon_days, "day")
    return {**NO_DATE, Status.BEYOND: (f"No descale is due within {horizon}.", f"not within {horizon}")}


def wait_sentence(table: RiskTable) -> str:
    """What the page says of the date before anything is moved; its script words it alike."""
    word = wait_word(table, table.own, table.tolerance)
    instead = no_date_words(table.horizon_days).get(word)
    if instead is not None:
        return instead[0]
    return f"The descale can wait until {word} ({counted(table.own.waits[table.tolerance], 'day')})."
