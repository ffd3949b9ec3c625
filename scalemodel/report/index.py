"""The page of all boilers: soonest first, a link to each report."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import quote

from scalemodel.decision.status import Status
from scalemodel.report.markup import dated, document
from scalemodel.report.svg import element, text_of
from scalemodel.wording import counted, figure, percent
from scalemodel.words.advice import urgency, verdict

if TYPE_CHECKING:
    from scalemodel.decision.deferral import Deferral
    from scalemodel.report.contents import Contents

PLAIN = 3
"""A phone shows so many columns; the rest stands on each boiler's own page."""

KEPT = "\u00a0"
"""A blank at which no line ends."""

TITLES = ("boiler", "descale can wait until", "risk now", "accepted", "deposit, mg/cm2", "next look")


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
    rows = "".join(_row(entry, names) for entry in in_order(entries))
    head = "".join(element("th", text_of(title), scope="col", class_=_class(k)) for k, title in enumerate(TITLES))
    caption = element("caption", "Risk is that scale has reached the boiler's threshold; deposit is the median now.")
    search = element("label", "Find a boiler", for_="find") + '<input type="search" id="find" autocomplete="off">'
    table = element("table", caption, f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody>", id="boilers")
    body = "\n".join(
        [
            element(
                "header",
                element("p", text_of(f"As of {as_of}"), class_="eyebrow"),
                element("h1", text_of(_head(entries))),
            ),
            element(
                "main",
                element(
                    "div",
                    search,
                    element("output", "", id="count", for_="find", aria_live="polite"),
                    class_="find",
                    hidden="hidden",
                ),
                element("div", table, class_="scroll", role="region", tabindex=0, aria_label="Boilers, soonest first"),
            ),
            element("footer", element("p", "A date is a probability, not a promise. Written by scalemodel.")),
        ]
    )
    return document(f"Boilers, soonest first, as of {as_of}", body, "index.js")


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


def _class(column: int) -> str | None:
    return "more" if column >= PLAIN else "n" if column else None


def _row(entry: Entry, names: Mapping[str, str]) -> str:
    name = element("bdi", text_of(entry.boiler))
    if entry.answer is None:
        head = element("th", name, scope="row")
        return element("tr", head, element("td", text_of(f"no answer: {entry.missing}"), colspan=len(TITLES) - 1))
    answer = entry.answer
    cells = (
        re.sub(r"(\d) days?\b", lambda count: count[0].replace(" ", KEPT), verdict(answer)),
        percent(answer.risk_now),
        percent(answer.tolerance),
        figure(answer.deposit_now_mg_cm2.p50, 2),
        "none" if entry.look_on is None else str(entry.look_on),
    )
    head = element("th", element("a", name, href=quote(names[entry.boiler])), scope="row")
    late = ("late alarmed" if answer.status is Status.LOOK_AGAIN else "late") if _is_due(answer) else None
    return element(
        "tr", head, *(element("td", dated(cell), class_=_class(k)) for k, cell in enumerate(cells, 1)), class_=late
    )
