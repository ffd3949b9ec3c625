"""The page of all boilers: soonest first, a link to each report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from scalemodel.decision.status import Status
from scalemodel.report.rendering import render
from scalemodel.wording import counted, figure, percent
from scalemodel.words.advice import urgency, verdict

if TYPE_CHECKING:
    from scalemodel.decision.deferral import Deferral
    from scalemodel.report.contents import Contents

KEPT = "\u00a0"
"""A blank at which no line ends."""


@dataclass(frozen=True)
class Entry:
    """A boiler's line: its answer and the day of its next look, or why there is no answer."""

    boiler: str
    answer: Deferral | None
    look_on: date | None = None
    missing: str = ""


def entry_of(contents: Contents) -> Entry:
    """The line of a boiler that was answered."""
    best = contents.looks.best
    return Entry(contents.answer.boiler, contents.answer, None if best is None else best.date)


def in_order(entries: Sequence[Entry]) -> list[Entry]:
    """Alarms first, then the soonest, the riskier of two alike before the other; those without an answer last."""
    answered = sorted((e for e in entries if e.answer), key=lambda e: urgency(e.answer))
    return [*answered, *(e for e in entries if not e.answer)]


def index_page(entries: Sequence[Entry], as_of: date, names: Mapping[str, str]) -> str:
    """The page of all boilers; ``names`` gives the file of each boiler's own page."""
    rows = [_row_values(entry, names) for entry in in_order(entries)]
    return render("boilers.html", as_of=as_of, head=_head(entries), rows=rows)


def _head(entries: Sequence[Entry]) -> str:
    """How many boilers there are, to be looked at again, and not to be deferred."""
    answers = [e.answer for e in entries if e.answer]
    alarmed = sum(1 for a in answers if a.status is Status.LOOK_AGAIN)
    due = sum(1 for a in answers if _is_due(a)) - alarmed
    said = [f"look again at {alarmed} now"] if alarmed else []
    said += [f"{due} should not be deferred"] if due else []
    return f"{counted(len(entries), 'boiler')}: {', '.join(said) or 'none is past what you accept'}."


def _is_due(answer: Deferral) -> bool:
    return not answer.status.waits or answer.defer_until == answer.as_of


def _row_values(entry: Entry, names: Mapping[str, str]) -> dict:
    """A line of the list, or why it has none."""
    if entry.answer is None:
        return {"boiler": entry.boiler, "missing": entry.missing}
    answer = entry.answer
    return {
        "boiler": entry.boiler,
        "missing": None,
        "file": names[entry.boiler],
        "class": ("late alarmed" if answer.status is Status.LOOK_AGAIN else "late") if _is_due(answer) else None,
        "cells": (
            verdict(answer, KEPT),
            percent(answer.risk_now),
            percent(answer.tolerance),
            figure(answer.deposit_now_mg_cm2.p50, 2),
            "none" if entry.look_on is None else str(entry.look_on),
        ),
    }
