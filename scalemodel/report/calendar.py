"""The dates of boilers as a calendar that other programs read (iCalendar, RFC 5545): descale by, look at the site.

Each boiler has at most two all-day events, which keep their UIDs, so that a calendar moves an event where its date
moves. A calendar that was written before says how often each was changed (SEQUENCE): an event that says what it said
stays as it is, one that changed counts one up, and one that is gone is cancelled.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid5

from scalemodel.decision.deferral import defer_until
from scalemodel.decision.inspection_value import LookReason, value_looks
from scalemodel.decision.status import Status
from scalemodel.errors import BadValueError
from scalemodel.logbook import clock
from scalemodel.wording import percent
from scalemodel.words.answer import alarm_head

if TYPE_CHECKING:
    from scalemodel.decision.case import Case
    from scalemodel.decision.deferral import Deferral
    from scalemodel.decision.inspection_value import NextInspection
    from scalemodel.logbook.records import Boiler

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
class Calendar:
    """A calendar's file, its events by date, and how many that an earlier one held are cancelled in it."""

    content: bytes
    events: tuple[Event, ...]
    cancelled: int


def uid_of(boiler: Boiler, kind: EventKind) -> str:
    """The UID of an event: the same whatever its day, by what the boiler is called and when it was installed."""
    return f"{uuid5(NAMES, f'{kind} {boiler.installed_on} {boiler.boiler}')}@scalemodel"


def events_of(case: Case) -> tuple[Event, ...]:
    """The events of one boiler: by when to descale, and the next look; an alarm is a look today, and no descale."""
    answer, looks = defer_until(case), value_looks(case)
    boiler = case.facts.boiler
    found = ((EventKind.DESCALE, _descale(answer)), (EventKind.LOOK, _look(answer, looks)))
    return tuple(
        Event(uid_of(boiler, kind), boiler.boiler, kind, day, f"{boiler.boiler}: {what}", why)
        for kind, said in found
        if said is not None
        for day, what, why in (said,)
    )


def _descale(answer: Deferral) -> tuple[date, str, str] | None:
    """The day, what to do and why, without what changes from day to day; None where no day is to be had."""
    risk = f"the risk that scale at the {answer.site} has reached {answer.threshold_words}"
    accepted = f"the {percent(answer.tolerance)} that you accept"
    match answer.status:
        case Status.WITHIN:
            return answer.defer_until, "descale by this day", f"The last day on which {risk} is within {accepted}."
        case Status.PAST:
            return answer.as_of, "descale now", f"Do not defer: {risk} is more than {accepted}."
        case _:
            return None


def _look(answer: Deferral, looks: NextInspection) -> tuple[date, str, str] | None:
    best = looks.best
    if best is None:
        return None
    if looks.look_reason is LookReason.ALARM:
        said = str(alarm_head(looks.alarms[0], looks.threshold_words))
        return best.date, f"look again at the {best.site}, do not defer", said[:1].upper() + said[1:]
    why = "once a year at least" if looks.look_reason is LookReason.YEARLY else "what it may show is worth the look"
    return best.date, f"look at the {best.site}", f"By {best.method}: {why}."


def write_calendar(
    events: Iterable[Event],
    asked: Sequence[Boiler],
    earlier: bytes = b"",
    kept: Sequence[Boiler] | None = None,
    now: datetime | None = None,
) -> Calendar:
    """The events as a calendar, carried on from an earlier one.

    Parameters
    ----------
    events : iterable of Event
        From `events_of`, of the boilers ``asked``.
    asked : sequence of Boiler
        Whose earlier events are cancelled where no event of theirs says so any more.
    earlier : bytes
        The file of an earlier calendar of this program; empty for none.
    kept : sequence of Boiler, optional
        Whose earlier events stay as they are; by default those of all boilers but the ones asked about.
    now : datetime, optional
        When it is written (DTSTAMP of what changed); the present moment by default.

    Raises
    ------
    BadValueError
        If ``earlier`` is no calendar that this program wrote.
    """
    from icalendar import Calendar as Parts

    stamp = (clock.now() if now is None else now).astimezone(UTC).replace(microsecond=0)
    old = _read(earlier)
    ours = {uid_of(one, kind) for one in asked for kind in EventKind}
    stays = None if kept is None else {uid_of(one, kind) for one in kept for kind in EventKind}
    parts: dict[str, Any] = {}
    written = []
    for event in events:
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
    return Calendar(
        whole.to_ical(), tuple(sorted(written, key=lambda one: (one.date, one.boiler, one.kind))), cancelled
    )


def _read(earlier: bytes) -> dict[str, Any]:
    """The events of an earlier calendar by their UIDs."""
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
