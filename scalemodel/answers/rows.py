"""What is due, a row a boiler: soonest first, alarms on top."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import TYPE_CHECKING

from scalemodel.answers.stream import streamed
from scalemodel.answers.told import URGENT, WHOLE, Dated, Failure, NextLook, Waiting
from scalemodel.decision.horizon import LONGEST_HORIZON_DAYS
from scalemodel.decision.status import Status, urgency
from scalemodel.errors import BadValueError, ScalemodelError
from scalemodel.frames import date_fields, table
from scalemodel.logbook.records import BoilerFacts

if TYPE_CHECKING:
    from scalemodel.answers.desk import Desk
    from scalemodel.logbook.store import Logbook


@dataclass(frozen=True, slots=True)
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
    p50 : date or None
        The first date with a risk of one half.
    deposit_mg_cm2, deposit_mean_mg_cm2 : float or None [mg/cm2]
        The median and the mean now.
    r_hat : float or None
        How well the runs of draws agreed: 1 where they do.
    verdict : str
        The answer in a few words.
    looks : int
        Looks on record.
    last_look, next_look : date or None
        The day of the last look on record, and of the next that pays, where that was asked.
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
    p50: date | None = None
    deposit_mg_cm2: float | None = None
    deposit_mean_mg_cm2: float | None = None
    r_hat: float | None = None
    verdict: str = ""
    looks: int = 0
    last_look: date | None = None
    next_look: date | None = None
    water: str | None = None
    place: str = ""
    reason: str = ""


class DueRows(list[Due]):
    """Rows of what is due, in order: a list that can be had as a table."""

    def to_frame(self):
        """The same as a pandas DataFrame, a row a boiler, all fields of `Due` and ``days``; dates as Timestamps."""
        rows = [asdict(row) | {"days": row.days} for row in self]
        return table(rows, [*(one.name for one in fields(Due)), "days"], date_fields(Due))


ANSWERED = (
    "status",
    "defer_until",
    "risk_now",
    "tolerance",
    "p50",
    "deposit_mg_cm2",
    "deposit_mean_mg_cm2",
    "r_hat",
    "verdict",
)
"""What a row has of an answer as it stands there."""


def row_of(facts: BoilerFacts, answer: Dated | Failure, look: NextLook | Failure | None = None) -> Due:
    """The row of a boiler from the parts of its answer."""
    known = facts_row(facts)
    if isinstance(answer, Failure):
        return known(reason=answer.reason)
    shared = {name: getattr(answer, name) for name in ANSWERED}
    return known(**shared, next_look=look.date if isinstance(look, NextLook) else None)


def facts_row(facts: BoilerFacts) -> Callable[..., Due]:
    """What makes a row of a boiler: what its facts say stands, the rest is given."""
    looks, fills = facts.inspections, facts.fills

    def known(**answered) -> Due:
        return Due(
            facts.boiler.boiler,
            facts.as_of,
            looks=len(looks),
            last_look=looks[-1].date if looks else None,
            water=fills[-1].water if fills else None,
            place=" ".join(facts.boiler.note.split()),
            **answered,
        )

    return known


def in_order(rows: Iterable[Due]) -> list[Due]:
    """Alarms first, then the soonest, the riskier of two alike before the other; those without an answer last.

    Of rows that are alike in all this, those of names that come first in the alphabet.
    """
    listed = sorted(rows, key=lambda row: row.boiler)
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
    return in_order(watched(rows_of(desk, facts_of_all(book, as_of), here=here), count_of(book, as_of), done))


def watched(rows: Iterable[Due], count: int | None, done: Callable[[float], None]) -> Iterator[Due]:
    """The rows as they come; ``done`` is told the share in [0, 1] of their ``count``, if that is known."""
    for k, row in enumerate(rows):
        if count:
            done((k + 1) / count)
        yield row


def rows_of(
    desk: Desk, asked: Iterable[BoilerFacts | Due], parts: tuple[str, ...] = WHOLE, here: bool = False
) -> Iterator[Due]:
    """The row of each boiler, as they come, from so many ``parts`` of its answer; a row without an answer as it is."""
    refused: list[Due] = []

    def answerable() -> Iterator[BoilerFacts]:
        for one in asked:
            if isinstance(one, Due):
                refused.append(one)
            else:
                yield one

    for facts, pending in streamed(desk, answerable(), parts, here):
        yield row_of(facts, pending.dated(), pending.look() if "look" in parts else None)
        yield from taken(refused)
    yield from refused


def taken(held: list[Due]) -> list[Due]:
    """What a list holds, which is empty then."""
    gone, held[:] = held[:], []
    return gone


def count_of(book: Logbook, as_of: date) -> int:
    """How many boilers were in use on a day."""
    return sum(boiler.installed_on <= as_of for boiler in book.boilers(in_use_on=as_of))


def facts_of_all(book: Logbook, as_of: date) -> Iterator[BoilerFacts | Due]:
    """The facts of every boiler that was in use on a day, one by one, all of one state of the logbook.

    In place of a boiler's whose facts cannot be had stands its row, with the reason.
    """
    with book.reading():
        try:
            shared = book.shared()
        except ScalemodelError:  # then each boiler says so
            shared = None
        for boiler in book.boilers(in_use_on=as_of):
            if boiler.installed_on > as_of:
                continue
            try:
                yield book.facts(boiler.boiler, as_of, shared)
            except ScalemodelError as error:
                yield Due(boiler.boiler, as_of, reason=str(error))
