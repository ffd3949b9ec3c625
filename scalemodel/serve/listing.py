"""The list of what is due, with its search; and the devices that are paired."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Sequence

from scalemodel.answers.rows import Due, within
from scalemodel.decision.status import Status
from scalemodel.serve import pages
from scalemodel.serve.guard import FORM_TOKEN
from scalemodel.serve.shop import Shop
from scalemodel.serve.web import Asked, Reply, as_data
from scalemodel.wording import counted, percent

SPANS = (7, 30, 90)
"""Days ahead that can be chosen."""


def show(shop: Shop, asked: Asked) -> Reply:
    """The list: soonest first, alarms on top."""
    rows, waiting = shop.rows()
    with shop.reading() as book:
        names = book.names()
    query, span = asked.words.get("q", "").strip()[:80], asked.words.get("within", "")
    days = int(span) if span in map(str, SPANS) else None
    shown = [row for row in within(rows, days) if found(row, query, names.former("boiler", row.boiler))]
    return pages.page(
        "list.html",
        asked,
        read_only=shop.settings.read_only,
        rows=[row_values(row) for row in shown],
        waiting=[one for one in waiting if plain(query) in plain(" ".join((one, *names.former("boiler", one))))],
        said=said(len(shown), len(rows), len(waiting)),
        query=query,
        days=days,
        spans=SPANS,
    )


def said(shown: int, known: int, waiting: int) -> str:
    """What the list holds, in a line.

    >>> said(2, 5, 0), said(0, 0, 4)
    ('2 boilers of 5, soonest first', '4 boilers being reckoned')
    """
    told = [f"{counted(waiting, 'boiler')} being reckoned"] if waiting else []
    if known or not waiting:
        told.insert(0, counted(shown, "boiler") + ("" if shown == known else f" of {known}") + ", soonest first")
    return "; ".join(told)


def ready(shop: Shop, asked: Asked) -> Reply:
    """How many boilers are being reckoned, for the script of the list."""
    return as_data({"waiting": len(shop.rows()[1])})


def alive(shop: Shop, asked: Asked) -> Reply:
    """That the server answers this device, and the token of its forms, for the script that sends what it kept."""
    return as_data({FORM_TOKEN: asked.device.form_token})


def row_values(row: Due) -> dict:
    """A row as the template shows it."""
    return {
        "boiler": row.boiler,
        "class": "alarmed" if row.status is Status.LOOK_AGAIN else "pressing" if row.pressing else "",
        "verdict": row.verdict if row.status is not None else f"no answer: {row.reason}",
        "until": row.defer_until,
        "days": None if row.days is None else counted(row.days, "day"),
        "risk": None if row.risk_now is None else percent(row.risk_now),
        "last_look": row.last_look,
        "next_look": row.next_look,
        "water": row.water,
        "place": row.place,
    }


def found(row: Due, query: str, formerly: Sequence[str] = ()) -> bool:
    """Whether every word of a search stands somewhere in a row, or in what its boiler was called before."""
    told = (*formerly, row.boiler, row.place, row.water, row.defer_until, row.last_look, row.verdict, row.reason)
    text = plain(" ".join(str(one) for one in told if one))
    return all(word in text for word in plain(query).split())


def plain(text: str) -> str:
    """A text as a search sees it."""
    return unicodedata.normalize("NFKC", text).casefold()


def devices(shop: Shop, asked: Asked, offer: str = "", picture: dict | None = None, calendar: str = "") -> Reply:
    """Who is paired, how another device comes in, and the address of the calendar where it was just made."""
    shown = {"offer": offer, "picture": picture, "calendar": calendar}
    return pages.page("devices.html", asked, read_only=shop.settings.read_only, **shown)


def offered(shop: Shop, asked: Asked, offer: str) -> Reply:
    """The address that pairs another device, as text and as a code to scan."""
    return devices(shop, asked, offer, code_path(offer))


def code_path(text: str) -> dict:
    """A QR code as an SVG path, and its width."""
    import segno

    code = segno.make(text, error="m", micro=False)
    drawn = io.StringIO()
    for y, line in enumerate(code.matrix):
        for x, dark in enumerate(line):
            if dark:
                drawn.write(f"M{x + 4} {y + 4}h1v1h-1z")
    return {"path": drawn.getvalue(), "width": len(code.matrix) + 8}
