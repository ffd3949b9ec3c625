"""Forms from the declarations of records: each field as what a page shows, and what was typed back to a record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from scalemodel.errors import BadValueError, LogbookError, Mention, QuestionedError, Remedy, ScalemodelError
from scalemodel.logbook.columns import Kind
from scalemodel.logbook.field_types import Choice, Day, Number, Temperature, Text, Whole, YesNo
from scalemodel.logbook.fields import build, parse_hardness, read
from scalemodel.logbook.kinds import Record
from scalemodel.logbook.records import HARDNESS_UNITS, QUANTITIES
from scalemodel.serve.web import status_of

LABELS = {
    "tds_mg_l": "TDS",
    "tds_factor": "the meter's mg/L in one uS/cm",
    "conductivity_us_cm": "conductivity",
    "ph": "pH",
    "kit": "tested with",
    "from_date": "from",
    "to_date": "until",
    "litres_per_drink": "litres in a drink",
    "meter_from_l": "meter at the start",
    "meter_to_l": "meter now",
    "method": "how",
    "inspector": "who",
    "site": "where",
    "thickness_um": "thickness",
    "after_descale": "after that day's descale",
    "acid_g": "acid that went in, dry",
    "acid_spent_g": "acid spent by titration",
    "scale_recovered_g": "dry scale that came out",
    "temperature_c": "temperature",
    "volume_l": "volume",
    "area_cm2": "wetted area",
}
"""What a field is called on a page, where its name will not do."""

HINTS = {
    "meter_from_l": "",
    "meter_to_l": "",
    "litres": "Since the last record, unless you say otherwise below.",
    "drinks": "Since the last record, unless you say otherwise below.",
    "litres_per_drink": "Kept with the boiler.",
    "hardness": "Total hardness.",
    "alkalinity": "",
    "thickness_um": "If it was measured.",
    "inspector": "Kept on this device.",
    "acid_g": "",
    "scale_recovered_g": "",
    "conductivity_us_cm": "At 25 C.",
    "temperature_c": "",
}
"""What is said under a field, where its declaration speaks to those who type commands."""

SAID = {"acid spent": "for the acid spent by titration ", "scale recovered": "the dry scale that came out"}
"""What would mend something, where a page has other words for it."""

INSISTS = ("again", "sure")


@dataclass(frozen=True)
class Field:
    """One field of a form: how it is entered, what it holds, and what is wrong with it."""

    name: str
    label: str
    sort: str
    value: str
    about: str = ""
    unit: str = ""
    options: tuple[str, ...] = ()
    required: bool = False
    wrong: bool = False
    units: tuple[str, ...] = ()
    unit_chosen: str = ""


class Trouble(NamedTuple):
    """Why a form was not taken: in words, the field if it is of one, and what insists on it if it is a question."""

    words: str
    field: str = ""
    insist: str = ""
    asks: str = ""
    status: int = 409

    @property
    def same_record(self) -> bool:
        """Whether what is sent next is the same record, mended or insisted on, or just sent once more."""
        return bool(self.field or self.insist) or self.status >= 500


def label_of(name: str) -> str:
    """What a field is called on a page.

    >>> label_of("from_date"), label_of("scope")
    ('from', 'scope')
    """
    return LABELS.get(name, name.replace("_", " "))


def fields_of(kind: Kind, names: Sequence[str], values: Mapping[str, str], wrong: str = "") -> list[Field]:
    """Some fields of a kind, as a form shows them."""
    return [field_of(kind, name, values, wrong) for name in names]


def field_of(kind: Kind, name: str, values: Mapping[str, str], wrong: str = "") -> Field:
    """One field as a form shows it; ``wrong`` is the name of the one that was refused."""
    column = kind.column(name)
    value = values.get(name, "")
    shared = {"about": HINTS.get(name, column.about), "required": column.required, "wrong": name == wrong}
    label, rule = label_of(name), column.rule
    if name in QUANTITIES:
        chosen = values.get(f"{name}_unit", "")
        return Field(name, label, "hardness", value, units=HARDNESS_UNITS, unit_chosen=chosen, **shared)
    if isinstance(rule, YesNo):
        return Field(name, label, "tick", value, **shared)
    if isinstance(rule, Choice):
        options = rule.options if column.required or column.default else ("", *rule.options)
        return Field(name, label, "choice", value or str(column.default or ""), options=tuple(options), **shared)
    if isinstance(rule, Day):
        return Field(name, label, "date", value, **shared)
    if isinstance(rule, Number | Whole | Temperature):
        return Field(name, label, "number", value, unit=getattr(rule, "unit", ""), **shared)
    long = isinstance(rule, Text) and rule.lines
    return Field(name, label, "long" if long else "text", value, **shared)


def record_of(kind: Kind, form: Mapping[str, str], names: Sequence[str], given: Mapping[str, object]) -> Record:
    """The record that a form means, read by the fields' own rules; errors call fields by their labels."""
    read_so_far: dict[str, object] = dict(given)
    for name in names:
        text = form.get(name, "").strip()
        if not text:
            continue
        if name in QUANTITIES:
            unit = form.get(f"{name}_unit", "").strip()
            read_so_far[name], read_so_far[f"{name}_unit"] = parse_hardness(f"{text} {unit}".strip(), name)
        else:
            read_so_far[name] = read(kind, name, text)
    return build(kind, read_so_far)


def insisted(form: Mapping[str, str]) -> dict[str, bool]:
    """What a form insists on."""
    return {name: form.get(name) == "yes" for name in INSISTS}


def _said(part: Mention | Remedy) -> str:
    """A record, and what would mend something, as a page says it."""
    return SAID.get(part.name, str(part)) if isinstance(part, Remedy) else str(part)


def trouble_of(error: ScalemodelError) -> Trouble:
    """What is said of a refusal or a question."""
    if isinstance(error, QuestionedError):
        return Trouble(error.problem, insist=error.insist, asks=error.asks)
    if isinstance(error, BadValueError):
        renamed = BadValueError(label_of(error.field), error.given, error.allowed)
        return Trouble(renamed.told(_said), field=error.field)
    return Trouble(str(error), status=status_of(error) if isinstance(error, LogbookError) else 409)
