"""The boiler: its answer in a line, the pad of grades, and what a saved record came to."""

from __future__ import annotations

import secrets
from collections.abc import Mapping

from scalemodel.answers.before import facts_without, why_moved
from scalemodel.answers.told import Dated, Failure, NextLook
from scalemodel.errors import BadValueError, ScalemodelError
from scalemodel.logbook.entries import Entry
from scalemodel.logbook.fields import parse_grade
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.records import GRADES, Inspection
from scalemodel.logbook.remarks import remarks_on
from scalemodel.logbook.store import Logbook
from scalemodel.logbook.visit import last_entered_look
from scalemodel.model.priors import GRADE_WORDS
from scalemodel.serve import pages
from scalemodel.serve.forms import Trouble, fields_of, insisted, record_of, trouble_of
from scalemodel.serve.shop import Shop
from scalemodel.serve.web import Asked, Reply, go_to
from scalemodel.words.recorded import described, meaning

LOOK = KINDS["inspection"]
MORE = ("method", "inspector", "thickness_um", "note", "after_descale")
"""Fields of a look that are usually left as they are."""

CANNOT_TELL = "cannot-tell"
RANGES = (("1-", "0 or 1"), ("1-2", "1 or 2"), ("2-3", "2 or 3"), ("2+", "2 or worse"), ("3+", "3 or worse"))
"""What one can often say who cannot name a grade."""

KEY_BYTES = 16


def show(shop: Shop, asked: Asked, trouble: Trouble | None = None, wide: bool = False) -> Reply:
    """The boiler and its pad; after a refusal with what was typed, and what was wrong."""
    with shop.reading() as book:
        boiler = book.boiler(asked.word("boiler"))
        facts = shop.facts(book, boiler.boiler)
        sites, last, today = book.site_names(boiler.boiler), last_entered_look(book, boiler.boiler), book.today()
        typed = dict(asked.form) or {"inspector": asked.device.inspector}
        site = typed.get("site") or (last.site if last else sites[0] if len(sites) == 1 else "")
        pictures = pictured_sites(book, boiler.boiler, site)
    pending = shop.answer(facts)
    more = fields_of(LOOK, MORE, typed, trouble.field if trouble else "")
    return pages.page(
        "boiler.html",
        asked,
        read_only=shop.settings.read_only,
        status=trouble.status if trouble else 200,
        boiler=boiler.boiler,
        place=" ".join((f"Retired on {boiler.retired_on}. " * bool(boiler.retired_on) + boiler.note).split()),
        answer=answer_values(done(pending.parts["date"])),
        look=look_values(done(pending.parts["look"])),
        look_pending=not pending.parts["look"].done(),
        sites=sites,
        site=site,
        date=typed.get("date") or str(today),
        method=typed.get("method") or LOOK.defaults["method"],
        today=today,
        more=more,
        opened=bool(trouble) or any(typed.get(name) for name in ("thickness_um", "note")),
        grades=list(zip(GRADES, GRADE_WORDS, strict=True)),
        ranges=RANGES,
        wide=wide,
        cannot_tell=CANNOT_TELL,
        trouble=trouble,
        grade=asked.form.get("grade", ""),
        insisted=[name for name, yes in insisted(asked.form).items() if yes],
        pictures=pictures,
        photo_lost=bool(trouble and asked.photos),
        key=key_of_form(asked, trouble),
    )


def record(shop: Shop, asked: Asked) -> Reply:
    """Record a look, or say why not."""
    form = asked.form
    if form.get("grade") == CANNOT_TELL:
        return show(shop, asked, wide=True)
    try:
        with shop.writing() as book:
            low, high = parse_grade(form.get("grade", ""))
            boiler = book.boiler(asked.word("boiler")).boiler
            given = {"boiler": boiler, "grade_low": low, "grade_high": high}
            site = form.get("site", "").strip() or book.site_of_look(boiler)
            if site is None:
                raise BadValueError("site", "", f"where it was: {' or '.join(book.site_names(boiler))}")
            day = form.get("date", "").strip() or str(book.today())
            look = record_of(LOOK, {**form, "site": site, "date": day}, ("site", "date", *MORE), given)
            number = book.add(look, **insisted(form), **keyed(form), photos=asked.photos)
    except ScalemodelError as error:
        return show(shop, asked, trouble_of(error))
    reply = go_to("/saved", entry=number)
    reply.keep["inspector"] = form.get("inspector", "").strip()[:80]
    return reply


def widen(shop: Shop, asked: Asked) -> Reply:
    """Make the grade of a look that was just saved a range, by an amendment."""
    with shop.writing() as book:
        number, grade = asked.number("entry"), asked.word("grade")
        successor = book.amend(number, {"grade": grade}, "a neighbouring grade too", **insisted(asked.form))
    return go_to("/saved", entry=successor)


def saved(shop: Shop, asked: Asked) -> Reply:
    """What was recorded, what was, what is now, and why it moved; with an undo, and the next look."""
    with shop.reading() as book:
        entry = book.entry(asked.number("entry"))
        said, lines = described(book, entry.record), meaning(book, entry.record)
        remarks = remarks_on(book, entry.record, entry.number) if entry.is_current else []
        owner = owner_of(entry, asked.words)
        facts = None if owner is None else shop.facts(book, owner)
    title = KINDS[entry.kind].title
    shown = {"entry": entry, "title": title, "said": said, "lines": [*lines, *remarks]}
    if facts is None:
        return pages.page("kept.html", asked, read_only=shop.settings.read_only, **shown)
    after = shop.answer(facts)
    earlier = facts_without(facts, entry.record, entry.number) if entry.is_current else None
    before = None if earlier is None else shop.answer(earlier)
    now = done(after.parts["date"])
    was = None if before is None else done(before.parts["date"])
    return pages.page(
        "saved.html",
        asked,
        read_only=shop.settings.read_only,
        boiler=facts.boiler.boiler,
        now=answer_values(now),
        was=None if was is None else answer_values(was),
        why=None
        if now is None or not entry.is_current
        else why_moved(was, now, title if title != "inspection" else "look"),
        look=look_values(done(after.parts["look"])),
        look_pending=not after.parts["look"].done(),
        neighbours=neighbours(entry),
        **shown,
    )


def owner_of(entry: Entry, words: Mapping[str, str]) -> str | None:
    """The boiler that a saved page is about: the record's own, else the one from which one came."""
    return getattr(entry.record, "boiler", None) or words.get("boiler") or None


def neighbours(entry: Entry) -> list[tuple[str, str]]:
    """The ranges that a second tap makes of a look at one grade: what is sent, and what it says."""
    look = entry.record
    if not isinstance(look, Inspection) or look.grade_low != look.grade_high or not entry.is_current:
        return []
    pairs = [(g, g + 1) for g in (look.grade_low - 1, look.grade_low) if g in GRADES and g + 1 in GRADES]
    return [(f"{low}-{high}", f"{low} or {high}") for low, high in pairs]


def done(future) -> object:
    """What a future holds; None while it is on its way."""
    return future.result() if future.done() else None


def answer_values(answer: Dated | Failure | None) -> dict | None:
    """An answer as templates show it; None while it is reckoned."""
    if answer is None:
        return None
    if isinstance(answer, Failure):
        return {"failure": answer.reason}
    return {
        "failure": None,
        "head": answer.head[:1].upper() + answer.head[1:],
        "warnings": answer.warnings,
        "rest": answer.rest,
        "shown": answer.shown,
        "assumed": answer.assumed,
        "status": str(answer.status),
        "until": answer.defer_until or (answer.as_of if answer.status == "past" else None),
        "words": "now" if answer.status == "past" else answer.verdict,
        "days": answer.days,
        "pressing": answer.pressing,
    }


def look_values(look: NextLook | Failure | None) -> tuple[str, ...]:
    """The sentences on the next look; none while it is reckoned, or where there is no answer."""
    return look.words if isinstance(look, NextLook) else ()


def key_of_form(asked: Asked, trouble: Trouble | None) -> str:
    """The key of a form's record: whoever sends it twice records it once.

    A form that was not taken keeps its key, unless that is what is wrong with it.
    """
    held = asked.form.get("key", "") if trouble is not None and trouble.same_record else ""
    return held or secrets.token_urlsafe(KEY_BYTES)


def keyed(form: Mapping[str, str]) -> dict[str, str]:
    """The key of a form's record, as the logbook takes it; none where the form has none."""
    key = form.get("key", "")
    return {"key": key} if key else {}


def photo(shop: Shop, asked: Asked) -> Reply:
    """A photograph of the logbook, by its hash."""
    with shop.reading() as book:
        found = book.photograph(asked.word("sha256"))
    headers = {"Content-Security-Policy": "default-src 'none'; sandbox", "Cache-Control": "private, max-age=86400"}
    return Reply(found.jpeg, sort="image/jpeg", headers=headers)


def pictured_sites(book: Logbook, boiler: str, first: str) -> list[dict]:
    """The last photograph of each site, that of the site in hand first."""
    last = {}
    for (_, look), hashes in book.pictured(boiler):
        if hashes:
            last[look.site] = {"site": look.site, "sha256": hashes[-1], "date": look.date, "grade": grade_of(look)}
    return sorted(last.values(), key=lambda one: one["site"] != first)


def grade_of(look: Inspection) -> str:
    """A look's grade, or its range.

    >>> from datetime import date
    >>> grade_of(Inspection("kitchen", date(2026, 4, 12), "wall", 1, 2))
    '1 to 2'
    """
    return str(look.grade_low) if look.grade_low == look.grade_high else f"{look.grade_low} to {look.grade_high}"
