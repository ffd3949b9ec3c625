"""The history: every record with what became of it, and the way to amend and strike."""

from __future__ import annotations

from scalemodel.errors import RecordClashError, ScalemodelError
from scalemodel.logbook.describe import describe
from scalemodel.logbook.entries import Entry
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.records import QUANTITIES
from scalemodel.logbook.store import Logbook
from scalemodel.serve import pages
from scalemodel.serve.boiler import key_of_form, keyed
from scalemodel.serve.forms import Trouble, fields_of, insisted, trouble_of
from scalemodel.serve.shop import Shop
from scalemodel.serve.web import Asked, Reply, go_to

A_PAGE = 60
"""So many entries a page of the history."""


def history(shop: Shop, asked: Asked) -> Reply:
    """The records of a boiler, newest first."""
    with shop.reading() as book:
        boiler = book.boiler(asked.word("boiler"))
        entries = [one for one in reversed(book.history(boiler.boiler)) if one.number < before(asked)]
    shown = entries[:A_PAGE]
    return pages.page(
        "history.html",
        asked,
        read_only=shop.settings.read_only,
        boiler=boiler.boiler,
        entries=[{**entry_values(one), "says": describe(one.record, boiler)} for one in shown],
        older=shown[-1].number if len(entries) > A_PAGE else None,
    )


def before(asked: Asked) -> int:
    """The number below which entries are shown."""
    return asked.number("before") if "before" in asked.words else 10**12


def entry_values(entry: Entry) -> dict:
    """An entry as templates show it: what became of it, when it was entered."""
    fate = [f"amends {entry.replaces}"] if entry.replaces else []
    if not entry.is_current:
        why = f": {entry.replace_reason}" if entry.replaced_by and entry.replace_reason else ""
        fate.append(f"{entry.state}{why}")
    return {
        "number": entry.number,
        "title": KINDS[entry.kind].title,
        "day": entry.day,
        "entered": f"{entry.entered_at[:10]} {entry.entered_at[11:16]}Z",
        "fate": "; ".join(fate),
        "gone": not entry.is_current,
    }


def show(shop: Shop, asked: Asked, trouble: Trouble | None = None) -> Reply:
    """One record: what it says, what became of it, and the forms that amend or strike it."""
    with shop.reading() as book:
        entry = book.entry(asked.number("entry"))
        said = describe(entry.record, of_boiler(book, entry))
    kind = KINDS[entry.kind]
    names = [name for name in kind.columns if name not in fixed(entry)]
    values = {**written(entry), **({} if trouble is None else asked.form)}
    return pages.page(
        "entry.html",
        asked,
        read_only=shop.settings.read_only,
        status=trouble.status if trouble else 200,
        entry={**entry_values(entry), "says": said},
        boiler=getattr(entry.record, "boiler", None),
        fields=fields_of(kind, names, values, trouble.field if trouble else ""),
        reason=asked.form.get("reason", ""),
        trouble=trouble,
        key=key_of_form(asked, trouble),
        insisted=[name for name, yes in insisted(asked.form).items() if yes],
    )


def of_boiler(book: Logbook, entry: Entry):
    """The boiler beside which a record is told."""
    return book.boiler(entry.record.boiler) if entry.kind == "use" else None


def fixed(entry: Entry) -> set[str]:
    """Fields that no form amends: names, and units, which stand with their numbers."""
    return {*KINDS[entry.kind].naming, *(f"{name}_unit" for name in QUANTITIES)}


def written(entry: Entry) -> dict[str, str]:
    """The fields of a record as text."""
    texts = {}
    for name, column in KINDS[entry.kind].fields.items():
        value = getattr(entry.record, name)
        texts[name] = "" if value is None else column.rule.write(value)
    return texts


def amend(shop: Shop, asked: Asked) -> Reply:
    """Correct a record: what differs from it in the form."""
    try:
        with shop.writing() as book:
            entry = book.entry(asked.number("entry"))
            changes = changed(entry, asked)
            if not changes:
                raise RecordClashError(f"record {entry.number} says so already", "change a field")
            reason = asked.form.get("reason", "")
            successor = book.amend(entry.number, changes, reason, **insisted(asked.form), **keyed(asked.form))
    except ScalemodelError as error:
        return show(shop, asked, trouble_of(error))
    return go_to("/saved", entry=successor)


def changed(entry: Entry, asked: Asked) -> dict[str, str]:
    """The fields that a form holds otherwise than a record does, as text."""
    form, held, changes = asked.form, written(entry), {}
    for name in KINDS[entry.kind].columns:
        if name in fixed(entry) or (name not in form and f"{name}_shown" not in form):
            continue
        text = form.get(name, "no" if f"{name}_shown" in form else "").strip().replace("\r\n", "\n")
        if name in QUANTITIES:
            unit = form.get(f"{name}_unit", "").strip()
            if (text, unit if text else "") != (held[name], held[f"{name}_unit"]):
                changes[name] = f"{text} {unit}".strip() if text else ""
        elif text != held[name]:
            changes[name] = text
    return changes


def strike(shop: Shop, asked: Asked) -> Reply:
    """Strike a record, with its reason; it is kept, marked."""
    try:
        with shop.writing() as book:
            number = asked.number("entry")
            book.strike(number, asked.form.get("reason", ""))
    except ScalemodelError as error:
        return show(shop, asked, trouble_of(error))
    return go_to("/saved", entry=number)
