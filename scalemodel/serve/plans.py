"""The descaling plan as steps to tick, the inspection guide, and the report."""

from __future__ import annotations

import re
from html import unescape

from scalemodel.answers.told import Failure
from scalemodel.descaling.acid import ACIDS, DEFAULT_ACID
from scalemodel.descaling.guide import make_guide
from scalemodel.logbook.believing import believed_in
from scalemodel.model.grading import grading_of
from scalemodel.serve import pages
from scalemodel.serve.guard import Refusal
from scalemodel.serve.shop import Shop
from scalemodel.serve.web import Asked, Reply

LATER = Refusal(503, "Not yet", "it is still being drawn; open it again in a moment")


def plan(shop: Shop, asked: Asked) -> Reply:
    """How to descale a boiler: cautions first, then steps to tick."""
    acid = asked.words.get("acid", "")
    acid = acid if acid in ACIDS else DEFAULT_ACID
    with shop.reading() as book:
        facts = shop.facts(book, asked.word("boiler"))
    drawn = shop.drawn("plan", facts, acid)
    if not isinstance(drawn, dict):
        return not_drawn(shop, asked, drawn)
    return pages.page(
        "plan.html",
        asked,
        read_only=shop.settings.read_only,
        boiler=facts.boiler.boiler,
        as_of=facts.as_of,
        plan=drawn,
        acids=tuple(ACIDS),
        acid=acid,
    )


def guide(shop: Shop, asked: Asked) -> Reply:
    """How to look inside a boiler, and grade what is seen."""
    with shop.reading() as book:
        boiler = book.boiler(asked.word("boiler"))
        grading = grading_of(believed_in(book, boiler.boiler))
        made = make_guide(boiler, book.sites(boiler.boiler), grading)
    return pages.page("guide.html", asked, read_only=shop.settings.read_only, boiler=boiler.boiler, guide=made)


def report(shop: Shop, asked: Asked) -> Reply:
    """The report of a boiler: the page that `scalemodel report` writes, with a way back."""
    with shop.reading() as book:
        facts = shop.facts(book, asked.word("boiler"))
    drawn = shop.drawn("report", facts)
    if not isinstance(drawn, str):
        return not_drawn(shop, asked, drawn)
    return Reply(drawn, headers={"Content-Security-Policy": f"{policy_of(drawn)}; frame-ancestors 'none'"})


def policy_of(page: str) -> str:
    """The policy that a kept page gives itself, which names the style and script that may run in it."""
    return unescape(re.search(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">', page)[1])


def not_drawn(shop: Shop, asked: Asked, drawn: object) -> Reply:
    """The page that says why there is no plan or report."""
    refusal = Refusal(409, "No answer", drawn.reason) if isinstance(drawn, Failure) else LATER
    return pages.refused(refusal, asked, shop.settings.read_only)
