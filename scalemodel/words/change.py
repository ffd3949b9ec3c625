"""Looks that run worse or milder than foretold, in words: since when, what could explain it, what to do."""

from __future__ import annotations

from datetime import date
from shlex import quote
from typing import TYPE_CHECKING

from scalemodel.decision.sequential import FEWEST, Direction
from scalemodel.decision.status import Status
from scalemodel.model.use import MONTH_NAMES
from scalemodel.wording import Sentence, counted, figure

if TYPE_CHECKING:
    from scalemodel.decision.change import Change
    from scalemodel.decision.deferral import Deferral, Wait

BEYOND_COUNTING = 1e6
"""Longer odds are told as this."""

EXPLAINED_BY = {
    Direction.WORSE: (
        "a stronger water (a softener or cartridge that no longer works), more drawn than is on record, a descale that "
        "left much, or a stricter eye"
    ),
    Direction.MILDER: (
        "a weaker water, less drawn than is on record, a more lenient eye, or looks at a place that a descale cleaned "
        "better than the wall"
    ),
}
"""What could explain a change."""

TOO_FEW = "too few to tell whether anything has changed"


def odds_words(evidence: float) -> str:
    """How seldom chance alone shows as much.

    >>> odds_words(312.4), odds_words(2.5e9)
    ('1 in 310', 'less than 1 in 1000000')
    """
    if evidence > BEYOND_COUNTING:
        return f"less than 1 in {BEYOND_COUNTING:.0f}"
    return f"1 in {figure(float(f'{evidence:.2g}'), 2)}"


def month_words(day: date, as_of: date) -> str:
    """The month of a day, with its year unless it is that of ``as_of``.

    >>> month_words(date(2026, 6, 3), date(2026, 11, 1)), month_words(date(2025, 6, 3), date(2026, 11, 1))
    ('June', 'June 2025')
    """
    return MONTH_NAMES[day.month - 1] + ("" if day.year == as_of.year else f" {day.year}")


def change_words(change: Change, as_of: date, they: str = "its looks") -> str:
    """What has changed, as a clause."""
    return (
        f"since {month_words(change.since, as_of)} {they} are {change.direction} than foretold "
        f"(chance {odds_words(change.evidence)})"
    )


ASKED = "has the water, the use or the softener changed?"


def change_short(change: Change) -> str:
    """The same in a few words, for a list."""
    return Sentence(f"looks {change.direction} than foretold since ", change.since)


def to_do_words(change: Change, water: str, site: str) -> str:
    """What to do about a change: test the water, look at the wall, check the use."""
    test = f"scalemodel add water-test {quote(water)} DATE ..."
    who = "" if change.direction is Direction.WORSE else ", by another person if you can"
    return (
        f"Test the water ({test}; a new water takes a fill from its day), look at the {site}{who}, and check the use "
        "on record; a test or another water answers this."
    )


def change_sentences(answer: Deferral) -> list[str]:
    """What must be heard first where something has changed; empty where nothing is known to have."""
    change = answer.change
    if change is None:
        return []
    facts, plan = answer.basis.facts, answer.basis.plan
    clause = change_words(change, answer.as_of)
    return [
        f"{clause[:1].upper()}{clause[1:]}: {ASKED}",
        f"It could be {EXPLAINED_BY[change.direction]}. {to_do_words(change, plan.water, facts.reference_site)}",
        _dates_words(answer),
    ]


def _dates_words(answer: Deferral) -> str:
    """The date by all records, and as since then."""
    if answer.alarms:
        return "Until the alarm is answered there is no date, by whichever records."
    by_all, since = (_until(answer, wait) for wait in (answer.by_all_records, answer.as_since_then))
    return Sentence(
        "By all records it can wait ", by_all, "; as since then, by the records since the change alone, ", since, "."
    )


def _until(answer: Deferral, wait: Wait) -> str:
    match wait.status:
        case Status.PAST:
            return "no longer"
        case Status.WITHIN:
            return Sentence("until ", wait.until)
    return f"for more than {counted(answer.horizon_days, 'day')}"


def watch_words(looks: int) -> str:
    """What it means that no alarm is raised.

    >>> watch_words(5)
    '5 looks: too few to tell whether anything has changed'
    """
    if looks < FEWEST:
        return f"{counted(looks, 'look')}: {TOO_FEW}"
    return f"no change is seen in {counted(looks, 'look')}, but one boiler by itself seldom tells of one"
