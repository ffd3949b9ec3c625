"""One table of rules by field name: command line, CSV cells and amendments all read by it.

A field that means different things in two kinds stands under "kind.field". The ends of each range
are slips of the pen rather than physics (house figures, no source).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence

from scalemodel.errors import BadValueError, UnknownNameError
from scalemodel.logbook.kinds import Kind, Record, kind_of
from scalemodel.logbook.records import FILLED_BY, GRADES, HARDNESS_UNITS, KITS, METHODS, SCOPES, STARTS
from scalemodel.logbook.values import (
    Choice,
    Day,
    Name,
    Number,
    Rule,
    Share,
    Temperature,
    Text,
    Whole,
    YesNo,
    comma_hint,
    parse_date,
    plain_number,
)

__all__ = [
    "BARE_UNIT",
    "HIGHEST_BY_UNIT",
    "QUANTITIES",
    "RULES",
    "build",
    "clean",
    "loader",
    "parse_date",
    "parse_grade",
    "parse_hardness",
    "read",
    "rule",
    "spread",
]

BARE_UNIT = "mg/L"
"""The unit of a hardness-like number that names none (as CaCO3)."""

QUANTITIES = ("hardness", "calcium", "alkalinity")
"""Fields of a water test that carry a unit of hardness, in the field named after them with _unit."""

HIGHEST_BY_UNIT = {"mg/L": 5000.0, "mmol/L": 49.0, "dH": 280.0, "fH": 500.0, "e": 350.0, "gpg": 292.0}
"""More than this is taken for a slip of the pen; each is some 5000 mg/L as CaCO3."""

UNIT_SPELLINGS = {
    "ppm": "mg/L", "mg/lcaco3": "mg/L", "mg/lascaco3": "mg/L", "mgcaco3/l": "mg/L", "ppmcaco3": "mg/L",
    "ppmascaco3": "mg/L", "mol/m3": "mmol/L", "f": "fH", "eh": "e", "clark": "e", "gr/gal": "gpg",
    "grain/gallon": "gpg", "grains/gallon": "gpg",
}  # fmt: skip
"""Other ways to write a unit, in lower case and without spaces or degree signs."""

_BOILER, _SITE, _WATER = Name(), Name(), Name()
_NOTE, _SHORT = Text(2000, lines=True), Text(80)
_LITRES, _METER, _MONEY = Number(0, 1_000_000, "L"), Number(0, 1e9, "L"), Number(0, 1_000_000)
_GRADE = Whole(GRADES[0], GRADES[-1])
_HARDNESS = Number(0, HIGHEST_BY_UNIT[BARE_UNIT])
_UNIT = Choice(HARDNESS_UNITS, UNIT_SPELLINGS)
_DAY, _YES_NO = Day(), YesNo()

RULES: dict[str, Rule] = {
    "boiler": _BOILER,
    "site": _SITE,
    "water": _WATER,
    "note": _NOTE,
    "date": _DAY,
    "from_date": _DAY,
    "to_date": _DAY,
    "installed_on": _DAY,
    # boilers
    "volume_l": Number(0.05, 1000, "L"),
    "boiler.temperature_c": Temperature(20, 130),
    "area_cm2": Number(5, 500_000, "cm2"),
    "steam_share": Share(0, 1),
    "start": Choice(STARTS),
    "threshold_grade": Whole(1, GRADES[-1]),
    "tolerance": Share(0.001, 0.9),
    "filled_by": Choice(FILLED_BY),
    # sites
    "reference": _YES_NO,
    "relative_deposit": Number(0.01, 100),
    "relative_log_sd": Number(0.01, 3),
    "look_cost": _MONEY,
    # waters and their tests
    "cost_per_litre": _MONEY,
    "tds_mg_l": Number(0, 5000, "mg/L"),
    "tds_factor": Number(0.3, 1.2),
    "conductivity_us_cm": Number(0, 20_000, "uS/cm"),
    "hardness": _HARDNESS,
    "hardness_unit": _UNIT,
    "calcium": _HARDNESS,
    "calcium_unit": _UNIT,
    "alkalinity": _HARDNESS,
    "alkalinity_unit": _UNIT,
    "ph": Number(3, 12),
    "water_test.temperature_c": Temperature(0, 100),
    "kit": Choice(KITS),
    # use
    "litres": _LITRES,
    "drinks": Number(0, 1_000_000),
    "litres_per_drink": Number(0.01, 10, "L"),
    "meter_from_l": _METER,
    "meter_to_l": _METER,
    # looks and descales
    "grade_low": _GRADE,
    "grade_high": _GRADE,
    "method": Choice(METHODS),
    "inspector": _SHORT,
    "after_descale": _YES_NO,
    "thickness_um": Number(0.1, 5_000, "um"),
    "scope": Choice(SCOPES),
    "acid": _SHORT,
    "acid_g": Number(0.1, 100_000, "g"),
    "scale_recovered_g": Number(0.001, 100_000, "g"),
    # prices
    "descale_materials": _MONEY,
    "descale_hours": Number(0, 1000, "h"),
    "hour_cost": _MONEY,
    "descale_wear": _MONEY,
    "strip_down": _MONEY,
    "cartridge_cost": _MONEY,
    "cartridge_litres": Number(0.1, 1_000_000, "L"),
}

_GRADE_ALLOWED = "a grade 0 to 4, a range such as 1-2, 3+ (at least 3) or 1- (at most 1)"
_GRADE_FORM = re.compile(r"([0-4])(?:\s*[-–]\s*([0-4])|\s*([+-]))?")
_QUANTITY_FORM = re.compile(r"([+-]?(?:\d[\d.]*|\.\d+)(?:,\d+)?(?:[eE][+-]?\d+)?)\s*(.*)", re.ASCII)


def rule(kind: Kind, field: str) -> Rule:
    """The rule of a kind's field; UnknownNameError (with the nearest name) if it has no such field."""
    if field not in kind.columns:
        raise UnknownNameError(f"{kind.title} field", field, kind.columns)
    return RULES.get(f"{kind.name}.{field}") or RULES[field]


def read(kind: Kind, field: str, text: str, label: str | None = None) -> object:
    """The value that a text means in a field; ``label`` is what errors call the field."""
    return rule(kind, field).read(text, label or field)


def loader(kind: Kind) -> Callable[[Sequence], Record]:
    """What makes a record of the values of its columns as the database holds them.

    It raises TypeError or ValueError for values that this program never stores there.
    """
    loads = [(rule(kind, name).load, kind.defaults.get(name, name) is None) for name in kind.columns]

    def loaded(held: Sequence) -> Record:
        pairs = zip(loads, held, strict=True)
        return kind.record(*(None if value is None and optional else load(value) for (load, optional), value in pairs))

    return loaded


def build(kind: Kind, given: Mapping[str, object]) -> Record:
    """A record from values by field; what is absent or None takes the record's default.

    Raises BadValueError for a required field that is missing and for every value not allowed.
    """
    values = {**kind.defaults, **{field: value for field, value in given.items() if value is not None}}
    if kind.name == "inspection" and given.get("grade_high") is None:
        values["grade_high"] = values.get("grade_low")
    for field in kind.required:
        if values.get(field) is None:
            raise BadValueError(field, "", rule(kind, field).allowed)
    return clean(kind.record(**values))


def clean(record: Record) -> Record:
    """The record with every value tidied and checked; BadValueError for the first that is not allowed."""
    kind = kind_of(record)
    values = {}
    for field in kind.columns:
        value = getattr(record, field)
        optional = field in kind.defaults and kind.defaults[field] is None
        values[field] = None if value is None and optional else rule(kind, field).clean(value, field)
    if kind.name == "water_test":
        _settle_units(values)
    return kind.record(**values)


def _settle_units(values: dict) -> None:
    """Give each hardness-like number its unit, and hold it within what that unit allows."""
    for field in QUANTITIES:
        if values[field] is None:
            continue
        unit = values[f"{field}_unit"] = values[f"{field}_unit"] or BARE_UNIT
        if values[field] > HIGHEST_BY_UNIT[unit]:
            raise BadValueError(field, f"{values[field]:g} {unit}", f"0 to {HIGHEST_BY_UNIT[unit]:g} {unit}")


def parse_grade(text: str, field: str = "grade") -> tuple[int, int]:
    """The lowest and highest grade that a text allows.

    >>> parse_grade("2"), parse_grade("1-2"), parse_grade("3+"), parse_grade("1-")
    ((2, 2), (1, 2), (3, 4), (0, 1))

    Raises
    ------
    BadValueError
        For anything else; a range from high to low is refused with the range turned round.
    """
    given = str(text).strip()
    match = _GRADE_FORM.fullmatch(given)
    if match is None:
        raise BadValueError(field, given, _GRADE_ALLOWED)
    first, second, sign = match.groups()
    if sign:
        return (int(first), GRADES[-1]) if sign == "+" else (GRADES[0], int(first))
    low, high = int(first), int(second or first)
    if low > high:
        raise BadValueError(field, given, f"the lower grade first: {high}-{low}")
    return low, high


def parse_hardness(text: str, field: str) -> tuple[float, str]:
    """Value and unit of a hardness, calcium or alkalinity; a bare number is mg/L as CaCO3.

    >>> parse_hardness("9 dH", "hardness"), parse_hardness("160", "hardness")
    ((9.0, 'dH'), (160.0, 'mg/L'))

    Raises
    ------
    BadValueError
        For no number, a unit that is not one of HARDNESS_UNITS (case, spaces and a degree sign are
        free; ppm is mg/L), or a number outside 0 to HIGHEST_BY_UNIT.
    """
    given = str(text).strip()
    allowed = f"a number and a unit ({_UNIT.allowed}), such as 9 dH; a bare number is mg/L as CaCO3"
    match = _QUANTITY_FORM.fullmatch(given)
    if match is None:
        raise BadValueError(field, given, allowed)
    figure, unit_text = match.groups()
    value = plain_number(figure)
    if value is None:
        raise BadValueError(field, given, allowed + comma_hint(figure))
    try:
        unit = _UNIT.clean(unit_text, field) if unit_text else BARE_UNIT
    except BadValueError:
        raise BadValueError(field, given, allowed) from None
    if not 0.0 <= value <= HIGHEST_BY_UNIT[unit]:
        raise BadValueError(field, given, f"0 to {HIGHEST_BY_UNIT[unit]:g} {unit}")
    return value + 0.0, unit


def spread(kind: Kind, texts: Mapping[str, str]) -> dict[str, str]:
    """Field texts with the short forms spread over their columns.

    ``grade=1-2`` of an inspection becomes grade_low and grade_high; ``hardness=9 dH`` of a water test
    becomes hardness and hardness_unit, a bare number is mg/L, and a blank blanks the unit too. A unit given
    beside its number, as in CSV, stands. All else is left as it is.
    """
    fields = dict(texts)
    if kind.name == "inspection" and "grade" in fields:
        low, high = parse_grade(fields.pop("grade"))
        fields.update(grade_low=str(low), grade_high=str(high))
    if kind.name == "water_test":
        for field in QUANTITIES:
            if field not in fields or f"{field}_unit" in fields:
                continue
            given = fields[field].strip()
            if not given:
                fields[f"{field}_unit"] = ""
            else:
                value, unit = parse_hardness(given, field)
                fields[field] = rule(kind, field).write(value)
                fields[f"{field}_unit"] = unit
    return fields
