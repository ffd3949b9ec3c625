"""The page of all boilers: soonest first, a link to each report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

from scalemodel.answers.rows import Due, in_order, row_of
from scalemodel.answers.told import dated, next_look
from scalemodel.decision.status import Status
from scalemodel.report.rendering import render
from scalemodel.wording import Sentence, counted, figure, percent
from scalemodel.words.advice import wait_words

if TYPE_CHECKING:
    from scalemodel.report.contents import Contents

KEPT = "\u00a0"
"""A blank at which no line ends."""


def entry_of(contents: Contents) -> Due:
    """The line of a boiler whose report was gathered."""
    return row_of(contents.facts, dated(contents.answer), next_look(contents.looks))


def index_page(entries: Sequence[Due], as_of: date, names: Mapping[str, str]) -> str:
    """The page of all boilers; ``names`` gives the file of each boiler's own page."""
    rows = [_row_values(entry, names) for entry in in_order(entries)]
    return render("boilers.html", as_of=as_of, head=_head(entries), rows=rows)


def _head(rows: Sequence[Due]) -> str:
    """How many boilers there are, to be looked at again, and not to be deferred."""
    alarmed = sum(1 for row in rows if row.status is Status.LOOK_AGAIN)
    pressing = sum(1 for row in rows if row.pressing) - alarmed
    said = [f"look again at {alarmed} now"] if alarmed else []
    said += [f"{pressing} should not be deferred"] if pressing else []
    return f"{counted(len(rows), 'boiler')}: {', '.join(said) or 'none is past what you accept'}."


def _row_values(row: Due, names: Mapping[str, str]) -> dict:
    """A line of the list, or why it has none."""
    if row.reason:
        return {"boiler": row.boiler, "missing": row.reason}
    return {
        "boiler": row.boiler,
        "missing": None,
        "file": names[row.boiler],
        "class": ("late alarmed" if row.status is Status.LOOK_AGAIN else "late") if row.pressing else None,
        "cells": (
            row.verdict if row.days is None else wait_words(row.defer_until, row.days, KEPT),
            percent(row.risk_now),
            percent(row.tolerance),
            figure(row.deposit_mg_cm2, 2),
            "none" if row.next_look is None else Sentence(row.next_look),
        ),
    }
