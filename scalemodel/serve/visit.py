"""The rest of a visit: water drawn, a water test, a change of water, an absence, a descale, each a short form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

from scalemodel.descaling.acid import ACIDS, reckoned_by_titration
from scalemodel.errors import BadValueError, ScalemodelError, UnknownNameError
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.records import Descale, Use
from scalemodel.logbook.store import Logbook
from scalemodel.logbook.visit import keep_drink_size, last_use, use_recorded_until, water_now
from scalemodel.serve import pages
from scalemodel.serve.boiler import key_of_form, keyed
from scalemodel.serve.forms import Field, Trouble, field_of, fields_of, insisted, label_of, record_of, trouble_of
from scalemodel.serve.shop import Shop
from scalemodel.serve.web import Asked, Reply, go_to


class Part(NamedTuple):
    """One thing that may be recorded on a visit: its kind, its fields, and those that are folded away."""

    title: str
    kind: str
    fields: tuple[str, ...]
    more: tuple[str, ...] = ()


PARTS = {
    "litres": Part("Litres drawn", "use", ("litres",), ("from_date", "to_date")),
    "drinks": Part("Drinks drawn", "use", ("drinks",), ("from_date", "to_date", "litres_per_drink")),
    "meter": Part("Meter read", "use", ("meter_to_l",), ("meter_from_l", "from_date", "to_date")),
    "water-test": Part(
        "Water test",
        "water_test",
        ("water", "hardness", "alkalinity", "tds_mg_l"),
        ("date", "conductivity_us_cm", "calcium", "ph", "temperature_c", "tds_factor", "kit"),
    ),
    "fill": Part("Change of water", "fill", ("water", "from_date")),
    "absence": Part("Absence", "absence", ("from_date", "to_date"), ("note",)),
    "descale": Part("Descale done", "descale", ("date", "scope", "acid", "acid_g"), ("scale_recovered_g", "note")),
}
"""What may be recorded, by the word in the address."""

SPENT = "acid_spent_g"
"""The field of a descale's form that no record holds: the scale is reckoned from it."""

DAYS = ("date", "from_date", "to_date")


def show(shop: Shop, asked: Asked, trouble: Trouble | None = None) -> Reply:
    """The form of one part of a visit."""
    part, what = part_of(asked)
    with shop.reading() as book:
        boiler = book.boiler(asked.word("boiler")).boiler
        begun = {**defaults(book, boiler, part), **asked.form}
        waters = tuple(one.water for one in book.waters())
        note, today = beside(book, boiler, what), book.today()
    kind, wrong = KINDS[part.kind], trouble.field if trouble else ""
    fields = [_with_waters(one, waters) for one in fields_of(kind, part.fields, begun, wrong)]
    more = fields_of(kind, part.more, begun, wrong)
    if what == "descale":
        more.insert(1, replace(field_of(kind, "acid_g", {}), **titrated(begun, wrong)))
    if what == "meter" and not begun.get("meter_from_l"):
        fields.insert(0, field_of(kind, "meter_from_l", begun, wrong))
        more = [one for one in more if one.name != "meter_from_l"]
    if what == "drinks" and not begun.get("litres_per_drink_known"):
        fields.append(
            field_of(kind, "litres_per_drink", {"litres_per_drink": f"{Use.LITRES_PER_DRINK}", **begun}, wrong)
        )
        more = [one for one in more if one.name != "litres_per_drink"]
    return pages.page(
        "visit.html",
        asked,
        read_only=shop.settings.read_only,
        status=trouble.status if trouble else 200,
        boiler=boiler,
        what=what,
        title=part.title,
        note=note,
        fields=fields,
        more=more,
        opened=trouble is not None and any(one.wrong or asked.form.get(one.name) for one in more),
        uses=[(word, one.title) for word, one in PARTS.items() if one.kind == "use"] if part.kind == "use" else [],
        trouble=trouble,
        insisted=[name for name, yes in insisted(asked.form).items() if yes],
        today=today,
        key=key_of_form(asked, trouble),
    )


def _with_waters(field: Field, waters: tuple[str, ...]) -> Field:
    """A field of a water as a choice among those of the logbook."""
    return replace(field, sort="choice", options=waters) if field.name == "water" else field


def part_of(asked: Asked) -> tuple[Part, str]:
    """The part that an address names; UnknownNameError for another."""
    what = asked.word("what")
    if what not in PARTS:
        raise UnknownNameError("part of a visit", what, PARTS)
    return PARTS[what], what


def defaults(book: Logbook, boiler: str, part: Part) -> dict[str, str]:
    """What a form holds before anybody types: today, the water that it draws, the stretch since the last record."""
    today = str(book.today())
    begun = dict.fromkeys(DAYS, today) | {"water": water_now(book, boiler) or "", "to_date": today}
    if part.kind == "use":
        last = last_use(book, boiler)
        begun["from_date"] = str(use_recorded_until(book, boiler))
        if last is not None and last.meter_to_l is not None:
            begun["meter_from_l"] = f"{last.meter_to_l:.10g}"
        if book.boiler(boiler).litres_per_drink is not None:
            begun["litres_per_drink_known"] = "yes"
    if part.kind == "absence":
        begun["to_date"] = ""
    return begun


def beside(book: Logbook, boiler: str, what: str) -> str:
    """What is on record already, in a line above the form."""
    if PARTS[what].kind == "use":
        last = last_use(book, boiler)
        if last is None:
            return f"No use is on record yet; counted since it was installed, {use_recorded_until(book, boiler)}."
        reading = "" if last.meter_to_l is None else f"; the meter read {last.meter_to_l:.10g} L"
        return f"On record until {last.to_date}{reading}. Counted from that day until today."
    if what == "fill":
        water = water_now(book, boiler)
        return "No water is on record yet." if water is None else f"It draws {water} now."
    return ""


def record(shop: Shop, asked: Asked) -> Reply:
    """Record a part of a visit, or say why not."""
    part, what = part_of(asked)
    kind, form = KINDS[part.kind], asked.form
    try:
        with shop.writing() as book, book.transaction():
            boiler = book.boiler(asked.word("boiler")).boiler
            names = (*part.fields, *part.more)
            given = {} if "water" in kind.columns and part.kind == "water_test" else {"boiler": boiler}
            begun = {name: text for name, text in defaults(book, boiler, part).items() if name in names}
            made = record_of(kind, taken(form, begun, what), names, given)
            if what == "descale":
                made = by_titration(made, form)
            if what == "drinks" and book.boiler(boiler).litres_per_drink is None and made.litres_per_drink is not None:
                keep_drink_size(book, boiler, made.litres_per_drink, sure=insisted(form)["sure"])
            number = book.add(made, **insisted(form), **keyed(form))
    except ScalemodelError as error:
        return show(shop, asked, trouble_of(error))
    return go_to("/saved", entry=number, boiler=boiler)


def titrated(begun: Mapping[str, str], wrong: str) -> dict[str, object]:
    """How the field of the acid found spent differs from that of the acid that went in."""
    return {
        "name": SPENT,
        "label": label_of(SPENT),
        "value": begun.get(SPENT, ""),
        "wrong": wrong == SPENT,
        "about": "Instead of weighing: what went in less what titrating the spent baths, their gas stirred out, to pH "
        f"8.3 still finds. It needs one of these acids: {', '.join(ACIDS)}.",
    }


def by_titration(descale: Descale, form: Mapping[str, str]) -> Descale:
    """A descale with the scale that follows from the acid found spent, where a form says how much that was."""
    text = form.get(SPENT, "").strip()
    if not text:
        return descale
    spent = KINDS["descale"].column("acid_g").rule.read(text, SPENT)
    told = (descale.acid, descale.acid_g, descale.scale_recovered_g, descale.note)
    return replace(descale, **reckoned_by_titration(spent, *told))


def taken(form: Mapping[str, str], begun: Mapping[str, str], what: str) -> dict[str, str]:
    """What was typed, with what the form would hold by itself where a field was left out of it."""
    if what in PARTS and not any(form.get(name, "").strip() for name in PARTS[what].fields):
        first = PARTS[what].fields[0]
        raise BadValueError(first, "", KINDS[PARTS[what].kind].column(first).rule.allowed)
    return {**begun, **form}
