"""What is due, a row a boiler: soonest first, alarms on top."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from scalemodel.answers.told import URGENT, Dated, Failure, NextLook, Waiting
from scalemodel.decision.horizon import LONGEST_HORIZON_DAYS
from scalemodel.decision.status import Status, urgency
from scalemodel.errors import BadValueError, ScalemodelError
from scalemodel.logbook.records import BoilerFacts

if TYPE_CHECKING:
    from scalemodel.answers.desk import Desk, Pending
    from scalemodel.logbook.store import Logbook


@dataclass(frozen=True)
class Due(Waiting):
    """One boiler in the list of what is due.

    Attributes
    ----------
    boiler : str
    as_of : date
        The day of the question.
    status : Status or None
        None where there is no answer, and then also all else that is an answer.
    defer_until : date or None
        The last safe date; None for every status but "within".
    risk_now, tolerance : float or None
        The risk on ``as_of`` and the accepted one, in (0, 1).
    deposit_mg_cm2 : float or None [mg/cm2]
        The median now.
    verdict : str
        The answer in a few words.
    last_look, next_look : date or None
        The day of the last look on record, and of the next that pays.
    water : str or None
        The water that it draws.
    place : str
        The boiler's note, which says where it stands.
    reason : str
        Why there is no answer; blank where there is one.
    """

    boiler: str
    as_of: date
    status: Status | None = None
    defer_until: date | None = None
    risk_now: float | None = None
    tolerance: float | None = None
    deposit_mg_cm2: float | None = None
    verdict: str = ""
    last_look: date | None = None
    next_look: date | None = None
    water: str | None = None
    place: str = ""
    reason: str = ""


def row_of(facts: BoilerFacts, answer: Dated | Failure, look: NextLook | Failure) -> Due:
    """The row of a boiler from the parts of its answer."""
    known = facts_row(facts)
    if isinstance(answer, Failure):
        return known(reason=answer.reason)
    return known(
        status=answer.status,
        defer_until=answer.defer_until,
        risk_now=answer.risk_now,
        tolerance=answer.tolerance,
        deposit_mg_cm2=answer.deposit_mg_cm2,
        verdict=answer.verdict,
        next_look=look.date if isinstance(look, NextLook) else None,
    )


def facts_row(facts: BoilerFacts) -> Callable[..., Due]:
    """What makes a row of a boiler: what its facts say stands, the rest is given."""
    looks, fills = facts.inspections, facts.fills

    def known(**answered) -> Due:
        return Due(
            facts.boiler.boiler,
            facts.as_of,
            last_look=looks[-1].date if looks else None,
            water=fills[-1].water if fills else None,
            place=" ".join(facts.boiler.note.split()),
            **answered,
        )

    return known


def in_order(rows: Iterable[Due]) -> list[Due]:
    """Alarms first, then the soonest, the riskier of two alike before the other; those without an answer last."""
    listed = list(rows)
    answered = sorted((row for row in listed if row.status is not None), key=urgency)
    return [*answered, *(row for row in listed if row.status is None)]


def within(rows: Iterable[Due], days: int | None) -> list[Due]:
    """Rows that are due within some days, and those of which it cannot be told; all rows for None."""
    return [
        r for r in rows if days is None or r.reason or r.status in URGENT or (r.days is not None and r.days <= days)
    ]


def check_days(days: int | None) -> int | None:
    """A number of days to look ahead; BadValueError if it is below 0 or no whole number."""
    if days is not None and (days != int(days) or not 0 <= days <= LONGEST_HORIZON_DAYS):
        raise BadValueError("within", days, f"a whole number of days, 0 to {LONGEST_HORIZON_DAYS}")
    return days


def due(
    book: Logbook, as_of: date, desk: Desk, here: bool = False, done: Callable[[float], None] = lambda share: None
) -> list[Due]:
    """A row for every boiler that was in use on a day, in order; ``here`` in this process alone."""
    asked, rows = facts_of_all(book, as_of)
    pending = ask_all(desk, asked, here, done)
    rows += [row_of(facts, one.dated(), one.look()) for facts, one in zip(asked, pending, strict=True)]
    return in_order(rows)


def facts_of_all(book: Logbook, as_of: date) -> tuple[list[BoilerFacts], list[Due]]:
    """The facts of every boiler that was in use on a day, and a row with its reason for one that has none."""
    found, rows = [], []
    with book.reading():
        for boiler in book.boilers(in_use_on=as_of):
            if boiler.installed_on > as_of:
                continue
            try:
                found.append(book.facts(boiler.boiler, as_of))
            except ScalemodelError as error:
                rows.append(Due(boiler.boiler, as_of, reason=str(error)))
    return found, rows


def ask_all(desk: Desk, asked: Sequence[BoilerFacts], here: bool, done: Callable[[float], None]) -> list[Pending]:
    """The answers of some boilers, all of them reckoned; ``here`` in this process alone."""
    one_by_one = here or sum(not desk.knows(facts) for facts in asked) < 2
    pending = [] if one_by_one else [desk.ask(facts) for facts in asked]
    for k, facts in enumerate(asked):
        if one_by_one:
            pending.append(desk.ask_here(facts))
        pending[k].look()
        done((k + 1) / len(asked))
    return pending
