"""The dates of boilers as a calendar that other programs read (iCalendar, RFC 5545): descale by, look at the site.

Each boiler has at most two all-day events, which keep their UIDs, so that a calendar moves an event where its date
moves. A calendar that was written before says how often each was changed (SEQUENCE): an event that says what it said
stays as it is, one that changed counts one up, and one that is gone is cancelled.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid5

from scalemodel.answers.stream import streamed
from scalemodel.answers.told import WHOLE, Dated, Failure, NextLook
from scalemodel.decision.status import Status
from scalemodel.errors import BadValueError, EvidenceError
from scalemodel.logbook import clock
from scalemodel.wording import Sentence, percent

if TYPE_CHECKING:
    from scalemodel.answers.desk import Desk
    from scalemodel.logbook.records import Boiler
    from scalemodel.logbook.store import Logbook

MAKER = "-//scalemodel//dates of boilers//EN"
"""What a calendar says of its maker (PRODID); one of another maker is not written over."""

NAMES = UUID("5e0d7a52-6a0f-4b8e-9a55-5c1f0f0b6a2d")
"""Under which an event's UID is drawn from what it is about (RFC 4122, version 5)."""

LARGEST = 5_000_000
"""Bytes of an earlier calendar that is read, at most."""

CANCELLED = "CANCELLED"


class EventKind(StrEnum):
    """What an event asks for."""

    DESCALE = "descale"
    LOOK = "look"


@dataclass(frozen=True)
class Event:
    """One day of one boiler; ``sequence`` counts how often it was changed since it was first written."""

    uid: str
    boiler: str
    kind: EventKind
    date: date
    summary: str
    description: str
    sequence: int = 0


@dataclass(frozen=True)
class Asked:
    """Events of the boilers that were answered; whose earlier events stay (None: all others'); why one is missing."""

    events: tuple[Event, ...]
    answered: tuple[Boiler, ...]
    kept: tuple[Boiler, ...] | None = None
    missing: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Calendar:
    """A calendar's file, its events by date, how many of an earlier one it cancels, and why a boiler has none."""

    content: bytes
    events: tuple[Event, ...]
    cancelled: int
    missing: Mapping[str, str]


def uid_of(boiler: Boiler, kind: EventKind) -> str:
    """The UID of an event: the same whatever its day, by what the boiler is called and when it was installed."""
    return f"{uuid5(NAMES, f'{kind} {boiler.installed_on} {boiler.boiler}')}@scalemodel"


def events_of(boiler: Boiler, answer: Dated, look: NextLook) -> tuple[Event, ...]:
    """The events of one boiler: by when to descale, and the next look; an alarm is a look today, and no descale.

    They say nothing that changes from day to day while the answer stands, so that no calendar stirs for nothing.
    """
    found = ((EventKind.DESCALE, _descale(answer)), (EventKind.LOOK, _look(answer, look)))
    return tuple(
        Event(uid_of(boiler, kind), boiler.boiler, kind, day, f"{boiler.boiler}: {what}", why)
        for kind, said in found
        if said is not None
        for day, what, why in (said,)
    )


def _descale(answer: Dated) -> tuple[date, str, str] | None:
    """The day, what to do and why; None where no day is to be had."""
    accepted = f"the {percent(answer.tolerance)} that you accept"
    match answer.status:
        case Status.WITHIN:
            return answer.defer_until, "descale by this day", f"The last day on which the risk is within {accepted}."
        case Status.PAST:
            return answer.as_of, "descale now", f"Do not defer: the risk is more than {accepted}."
        case _:
            return None


def _look(answer: Dated, look: NextLook) -> tuple[date, str, str] | None:
    if look.date is None:
        return None
    if answer.status is Status.LOOK_AGAIN:
        return look.date, f"look again at the {look.site}, do not defer", str(Sentence(answer.head).begun())
    return look.date, f"look at the {look.site}", f"By {look.method}."


def ask_events(
    book: Logbook,
    names: Sequence[str],
    as_of: date,
    desk: Desk,
    here: bool = False,
    done: Callable[[float], None] = lambda share: None,
) -> Asked:
    """The events of the boilers named, of all of a logbook if none is; ``here`` in this process alone.

    EvidenceError where a boiler that was named cannot be answered, or none at all; UnknownNameError for an unknown one.
    """
    facts, missing = [], {}
    with book.reading():
        known = book.boilers(in_use_on=as_of)
        boilers = list(dict.fromkeys(book.boiler(name) for name in names)) or known
        for boiler in boilers:
            try:
                facts.append(book.facts(boiler.boiler, as_of))
            except EvidenceError as error:
                missing[boiler.boiler] = str(error)
    events, answered = [], []
    pendings = {}
    for one, pending in streamed(desk, facts, WHOLE, here):
        pendings[one.boiler.boiler] = pending
        done(len(pendings) / len(facts))
    for one in facts:
        pending = pendings[one.boiler.boiler]
        answer, look = pending.dated(), pending.look()
        failed = next((part for part in (answer, look) if isinstance(part, Failure)), None)
        if failed is not None:
            missing[one.boiler.boiler] = failed.reason
            continue
        events += events_of(one.boiler, answer, look)
        answered.append(one.boiler)
    if missing and (names or not answered):
        raise EvidenceError(next(iter(missing.values())))
    if not answered:
        raise EvidenceError("the logbook holds no boiler yet", "register one with `scalemodel new boiler ...`")
    kept = None if names else tuple(boiler for boiler in known if boiler.boiler in missing)
    return Asked(tuple(events), tuple(answered), kept, missing)


def write_calendar(asked: Asked, earlier: bytes = b"", now: datetime | None = None) -> Calendar:
    """The events as a calendar, carried on from an earlier one.

    Parameters
    ----------
    asked : Asked
        From `ask_events`. Of the boilers that were answered, events are cancelled that they do not have any more.
    earlier : bytes
        The file of an earlier calendar of this program; empty for none.
    now : datetime, optional
        When it is written (DTSTAMP of what changed); the present moment by default.

    Raises
    ------
    BadValueError
        If ``earlier`` is no calendar that this program wrote.
    """
    from icalendar import Calendar as Parts

    stamp = (clock.now() if now is None else now).astimezone(UTC).replace(microsecond=0)
    old = read_earlier(earlier)
    ours = {uid_of(one, kind) for one in asked.answered for kind in EventKind}
    stays = None if asked.kept is None else {uid_of(one, kind) for one in asked.kept for kind in EventKind}
    parts: dict[str, Any] = {}
    written = []
    for event in asked.events:
        parts[event.uid], sequence = _carried_on(event, old.get(event.uid), stamp)
        written.append(Event(**{**vars(event), "sequence": sequence}))
    cancelled = 0
    for uid, part in old.items():
        if uid not in parts:
            gone = uid in ours or (stays is not None and uid not in stays)
            parts[uid] = _cancelled(part, stamp) if gone else part
            cancelled += gone
    whole = Parts()
    whole.add("prodid", MAKER)
    whole.add("version", "2.0")
    for part in sorted(parts.values(), key=lambda one: (one.decoded("dtstart").isoformat(), str(one["uid"]))):
        whole.add_component(part)
    in_order = tuple(sorted(written, key=lambda one: (one.date, one.boiler, one.kind)))
    return Calendar(whole.to_ical(), in_order, cancelled, asked.missing)


def read_earlier(earlier: bytes) -> dict[str, Any]:
    """The events of an earlier calendar by their UIDs; BadValueError if this program did not write it."""
    from icalendar import Calendar as Parts

    if not earlier.strip():
        return {}
    try:
        whole = Parts.from_ical(earlier)
        mine = str(whole["prodid"]) == MAKER
        found = {str(part["uid"]): part for part in whole.walk("VEVENT")}
        for part in found.values():
            mine &= all(isinstance(day, date) for day in _said(part)[:2]) and _sequence(part) >= 0
    except Exception as error:  # of a reader that was given a file which anyone may have made
        raise _not_ours() from error
    if not mine:
        raise _not_ours()
    return found


def _not_ours() -> BadValueError:
    return BadValueError("out", "the calendar that is there", "one that this program wrote; name another file")


def _said(part: Any) -> tuple:
    """What an event says, by which it is told whether it changed."""
    told = tuple(str(part.get(name, "")) for name in ("summary", "description", "status", "transp"))
    return (part.decoded("dtstart"), part.decoded("dtend"), *told)


def _sequence(part: Any) -> int:
    return int(part["sequence"])


def _carried_on(event: Event, old: Any | None, stamp: datetime) -> tuple[Any, int]:
    """The event as a part of a calendar, the earlier one itself where it says the same; and its sequence."""
    sequence = 0 if old is None else _sequence(old) + 1
    new = _part(event, sequence, stamp)
    if old is not None and _said(old) == _said(new):
        return old, sequence - 1
    return new, sequence


def _part(event: Event, sequence: int, stamp: datetime) -> Any:
    from icalendar import Event as Part

    part = Part()
    part.add("uid", event.uid)
    part.add("dtstamp", stamp)
    part.add("sequence", sequence)
    part.add("dtstart", event.date)
    part.add("dtend", event.date + timedelta(days=1))
    part.add("summary", event.summary)
    part.add("description", event.description)
    part.add("status", "CONFIRMED")
    part.add("transp", "TRANSPARENT")
    return part


def _cancelled(old: Any, stamp: datetime) -> Any:
    """The same event, called off; as it is where it was before."""
    if str(old.get("status", "")) == CANCELLED:
        return old
    part, sequence = old.copy(), _sequence(old) + 1
    for name in ("status", "sequence", "dtstamp"):
        part.pop(name, None)
    part.add("status", CANCELLED)
    part.add("sequence", sequence)
    part.add("dtstamp", stamp)
    return part
