"""The calendar of descales and looks: read back by another library (vobject); events move, are kept or called off."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
import vobject

from scalemodel import api
from scalemodel.answers.told import dated, next_look
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.inspection_value import value_looks
from scalemodel.decision.status import Status
from scalemodel.errors import BadValueError, EvidenceError
from scalemodel.logbook.csv_folder import import_folder
from scalemodel.logbook.records import Boiler
from scalemodel.logbook.store import Logbook
from scalemodel.report.calendar import Asked, Event, EventKind, events_of, uid_of, write_calendar
from tests.builders import history, look
from tests.report.conftest import DEMO, DEMO_DAY

KITCHEN = Boiler("kitchen", 0.75, 93.0, date(2026, 1, 10))
LOFT = Boiler("loft", 0.75, 93.0, date(2026, 1, 10))
NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
LATER = NOON + timedelta(days=3)
HOSTILE = 'BEGIN:VEVENT; a,b\\n: "x" END:VCALENDAR 厨房' + "é" * 20


def event(boiler=KITCHEN, kind=EventKind.DESCALE, day=date(2026, 9, 1), **more) -> Event:
    return Event(uid_of(boiler, kind), boiler.boiler, kind, day, f"{boiler.boiler}: {kind}", "why", **more)


def written(events, boilers, earlier=b"", kept=None, now=NOON):
    return write_calendar(Asked(tuple(events), tuple(boilers), kept), earlier, now)


def read(content: bytes) -> dict[str, dict]:
    """Every event by its UID, as vobject reads it."""
    found = {}
    for part in vobject.readOne(content.decode()).contents.get("vevent", []):
        values = {name: one.value for name, (one,) in part.contents.items()}
        assert values["uid"] not in found
        found[values["uid"]] = values
    return found


def test_an_event_is_a_whole_day_that_keeps_nobody_busy():
    made = written([event()], [KITCHEN])
    ((uid, found),) = read(made.content).items()
    assert uid == uid_of(KITCHEN, EventKind.DESCALE)
    assert found == {
        "uid": uid,
        "summary": "kitchen: descale",
        "description": "why",
        "dtstart": date(2026, 9, 1),
        "dtend": date(2026, 9, 2),
        "dtstamp": NOON,
        "sequence": "0",
        "status": "CONFIRMED",
        "transp": "TRANSPARENT",
    }
    assert (made.events, made.cancelled) == ((event(),), 0)


def test_the_file_keeps_to_the_standard():
    """RFC 5545, 3.1, 3.6 and 3.6.1: CRLF, lines of at most 75 octets, what a calendar and an event must have."""
    loud = replace(KITCHEN, boiler="厨房 " + "é" * 70)
    content = written([event(loud), event(LOFT)], [loud, LOFT]).content
    lines = content.split(b"\r\n")
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert {b"VERSION:2.0", b"PRODID:-//scalemodel//dates of boilers//EN"} <= set(lines)
    vobject.readOne(content.decode()).validate(raiseException=True)
    assert len(read(content)) == 2


def test_names_and_reasons_stay_text():
    loud = replace(KITCHEN, boiler=HOSTILE)
    found = read(written([replace(event(loud), description=HOSTILE)], [loud]).content)
    (one,) = found.values()
    assert one["summary"] == f"{HOSTILE}: descale"
    assert one["description"] == HOSTILE


def test_uids_are_stable_and_their_own():
    uids = {uid_of(boiler, kind) for boiler in (KITCHEN, LOFT) for kind in EventKind}
    assert len(uids) == 4
    assert uid_of(replace(KITCHEN, note="moved", tolerance=0.2), EventKind.LOOK) in uids
    elsewhere = replace(KITCHEN, installed_on=date(2025, 1, 1))
    assert uid_of(elsewhere, EventKind.LOOK) not in uids  # a boiler of that name in another logbook
    assert uid_of(KITCHEN, EventKind.DESCALE) == "05953ba7-54d0-50a1-9ac2-8738269390df@scalemodel"


# ---- carried on


def test_what_says_the_same_stays_byte_for_byte():
    first = written([event(), event(LOFT)], [KITCHEN, LOFT])
    again = written([event(), event(LOFT)], [KITCHEN, LOFT], first.content, now=LATER)
    assert again == first


@pytest.mark.parametrize("change", [{"date": date(2026, 9, 8)}, {"summary": "other"}, {"description": "other"}])
def test_what_changed_is_the_same_event_one_sequence_up(change):
    first = written([event(), event(LOFT)], [KITCHEN, LOFT])
    moved = replace(event(), **change)
    second = written([moved, event(LOFT)], [KITCHEN, LOFT], first.content, now=LATER)
    found = read(second.content)
    assert len(found) == 2
    assert (found[moved.uid]["sequence"], found[moved.uid]["dtstamp"]) == ("1", LATER)
    assert found[event(LOFT).uid] == read(first.content)[event(LOFT).uid]
    assert {one.boiler: one.sequence for one in second.events} == {"kitchen": 1, "loft": 0}
    third = written([event(), event(LOFT)], [KITCHEN, LOFT], second.content, now=LATER)
    assert read(third.content)[moved.uid]["sequence"] == "2"  # back where it was, and still later than both


def test_what_is_gone_is_called_off_once_and_comes_back_later():
    first = written([event(), event(kind=EventKind.LOOK)], [KITCHEN])
    second = written([event()], [KITCHEN], first.content, now=LATER)
    gone = uid_of(KITCHEN, EventKind.LOOK)
    found = read(second.content)[gone]
    assert (found["status"], found["sequence"], found["dtstamp"]) == ("CANCELLED", "1", LATER)
    assert (found["dtstart"], second.cancelled) == (date(2026, 9, 1), 1)
    assert written([event()], [KITCHEN], second.content, now=LATER).content == second.content
    back = read(written([event(kind=EventKind.LOOK)], [KITCHEN], second.content, now=LATER).content)
    assert (back[gone]["status"], back[gone]["sequence"]) == ("CONFIRMED", "2")


def test_other_boilers_stay_unless_all_were_asked_about():
    first = written([event(), event(LOFT)], [KITCHEN, LOFT])
    one = written([event()], [KITCHEN], first.content, now=LATER)
    assert one.content == first.content
    whole = written([event()], [KITCHEN], first.content, kept=[], now=LATER)
    assert read(whole.content)[event(LOFT).uid]["status"] == "CANCELLED"
    unanswered = written([event()], [KITCHEN], first.content, kept=[LOFT], now=LATER)
    assert unanswered.content == first.content


THEIRS = b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//someone//else//EN\r\nEND:VCALENDAR\r\n"
OURS = written([event()], [KITCHEN]).content


@pytest.mark.parametrize(
    "earlier",
    [
        THEIRS,
        b"not a calendar",
        b"\xff\xfe\x00",
        b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n",
        OURS[:200],
        OURS.replace(b"SEQUENCE:0", b"SEQUENCE:many"),
        OURS.replace(b"SEQUENCE:0", b"SEQUENCE:-1"),
        OURS.replace(b"DTSTART;VALUE=DATE:20260901\r\n", b""),
        OURS.replace(b"20260901", b"someday"),
        re.sub(rb"UID:[^\r]*\r\n", b"", OURS),
        OURS + OURS,
    ],
)
def test_a_file_that_is_not_ours_is_never_written_over(earlier):
    with pytest.raises(BadValueError, match="one that this program wrote; name another file"):
        written([event()], [KITCHEN], earlier)


def test_an_empty_file_is_none():
    assert written([event()], [KITCHEN], b"\n").content == OURS


# ---- from the answers


def told(case) -> tuple:
    return case.facts.boiler, dated(defer_until(case)), next_look(value_looks(case))


def test_the_days_are_those_of_the_answers(demo_questions):
    assert {case.standing.status for case in demo_questions.values()} >= {Status.WITHIN, Status.PAST}
    for case in demo_questions.values():
        answer, looks = defer_until(case), value_looks(case)
        found = {one.kind: one for one in events_of(*told(case))}
        assert all(one.summary.startswith(f"{answer.boiler}: ") for one in found.values())
        expected = {Status.WITHIN: answer.defer_until, Status.PAST: DEMO_DAY}.get(answer.status)
        assert (found[EventKind.DESCALE].date if EventKind.DESCALE in found else None) == expected
        best = looks.best
        assert (found[EventKind.LOOK].date if EventKind.LOOK in found else None) == (best.date if best else None)
        if best:
            assert found[EventKind.LOOK].summary.endswith(f"look at the {best.site}")


def test_an_alarm_is_an_event_today_and_no_descale():
    case = api.prepare(history(look(90, 1), look(200, 4), days=300), particles=100)
    assert case.standing.status is Status.LOOK_AGAIN
    (one,) = events_of(*told(case))
    assert (one.kind, one.date) == (EventKind.LOOK, case.facts.as_of)
    assert one.summary == "urn: look again at the wall, do not defer"
    assert one.description.startswith("Look again now, do not defer: grade 4")


def test_no_descale_within_the_horizon_is_no_event():
    case = api.prepare(history(look(90, 0), days=100, tds=30.0), particles=100, horizon_days=60)
    assert case.standing.status is Status.BEYOND
    assert EventKind.DESCALE not in {one.kind for one in events_of(*told(case))}


def test_what_changes_from_day_to_day_is_not_said(demo_questions):
    """The same answer on another day says the same, so that no calendar stirs for nothing."""
    alarmed = api.prepare(history(look(90, 1), look(200, 4), days=300), particles=100)
    for case in (*demo_questions.values(), alarmed):
        for one in events_of(*told(case)):
            assert str(case.facts.as_of) not in one.description
            assert not re.search(r"\bdays?\b \(|\(\d+ days?", one.description)


@pytest.fixture(scope="module")
def demo():
    with Logbook.in_memory(today=lambda: DEMO_DAY) as book:
        import_folder(book, DEMO)
        yield book


def test_the_public_function(demo, tmp_path, monkeypatch):
    ask = {"particles": 100, "folder": tmp_path, "workers": 1}
    first = api.calendar(demo, **ask)
    assert len(read(first.content)) == len(first.events) >= 4
    assert [one.date for one in first.events] == sorted(one.date for one in first.events)
    monkeypatch.setenv("SCALEMODEL_TODAY", "2026-11-27")
    assert api.calendar(demo, earlier=first.content, **ask) == first  # its moments too
    one = api.calendar(demo, ["mill-brew"], earlier=first.content, tolerance=0.3, **ask)
    assert {event.boiler for event in one.events} == {"mill-brew"}
    assert (len(read(one.content)), one.cancelled) == (len(first.events), 0)
    rows = {row.boiler: row for row in api.due(demo, particles=100, folder=tmp_path, workers=1)}
    until = {event.boiler: event.date for event in first.events if event.kind == "descale"}
    assert until == {
        name: row.defer_until or DEMO_DAY for name, row in rows.items() if row.status in ("within", "past")
    }


def test_an_earlier_file_of_another_program_is_refused_before_any_sampling(demo, monkeypatch):
    def sampled(*_, **__):
        raise AssertionError("it was asked")

    monkeypatch.setattr("scalemodel.answers.desk.Desk.ask_here", sampled)
    with pytest.raises(BadValueError, match="one that this program wrote"):
        api.calendar(demo, earlier=THEIRS, workers=1)


def test_a_logbook_without_boilers_has_no_calendar():
    with Logbook.in_memory() as book, pytest.raises(EvidenceError, match="holds no boiler yet"):
        api.calendar(book, workers=1)
