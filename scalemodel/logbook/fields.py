"""From what people type or a program gives to a record: command line, CSV cells and amendments all go this way.

`read` is the edge, where a text becomes a value; `build` fills in what was left out; `clean` is what the logbook
itself holds a record to.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence

from scalemodel.errors import BadValueError
from scalemodel.logbook.columns import Kind
from scalemodel.logbook.field_types import Rule, comma_hint, plain_number
from scalemodel.logbook.kinds import Record, kind_of
from scalemodel.logbook.records import GRADES, QUANTITIES, WaterTest
from scalemodel.logbook.units import BARE_UNIT, HIGHEST_BY_UNIT

_GRADE_ALLOWED = "a grade 0 to 4, a range such as 1-2, 3+ (at least 3) or 1- (at most 1)"
_GRADE_FORM = re.compile(r"([0-4])(?:\s*[-–]\s*([0-4])|\s*([+-]))?")
_QUANTITY_FORM = re.compile(r"([+-]?(?:\d[\d.]*|\.\d+)(?:,\d+)?(?:[eE][+-]?\d+)?)\s*(.*)", re.ASCII)


def rule(kind: Kind, field: str) -> Rule:
    """The rule of a kind's field; UnknownNameError (with the nearest name) if it has no such field."""
    return kind.column(field).rule


def read(kind: Kind, field: str, text: str, label: str | None = None) -> object:
    """The value that a text means in a field; ``label`` is what errors call the field."""
    return rule(kind, field).read(text, label or field)


def loader(kind: Kind) -> Callable[[Sequence], Record]:
    """What makes a record of the values of its columns as the database holds them.

    It raises TypeError or ValueError for values that this program never stores there.
    """
    loads = [(one.rule.load, one.optional) for one in kind.fields.values()]

    def loaded(held: Sequence) -> Record:
        pairs = zip(loads, held, strict=True)
        return kind.record(*(None if value is None and optional else load(value) for (load, optional), value in pairs))

    return loaded


def build(kind: Kind, given: Mapping[str, object]) -> Record:
    """A record from values by field, as `read` gives them; what is absent or None is filled in.

    Raises BadValueError for a required field that is missing.
    """
    values = {}
    for name, one in kind.fields.items():
        value = given.get(name)
        if value is None and one.required:
            raise BadValueError(name, "", one.rule.allowed)
        values[name] = value if value is not None else values[one.follows] if one.follows else one.default
    if kind.record is WaterTest:
        _fill_in_units(values)
    return kind.record(**values)


def clean(record: Record) -> Record:
    """The record with every value tidied and checked; BadValueError for the first that is not allowed."""
    kind = kind_of(record)
    values = {name: getattr(record, name) for name in kind.columns}
    for name, one in kind.fields.items():
        if values[name] is not None or not one.optional:
            values[name] = one.rule.clean(values[name], name)
    if kind.record is WaterTest:
        _fill_in_units(values)
        _check_quantities(values)
    return kind.record(**values)


def _fill_in_units(values: dict) -> None:
    """Give each hardness-like number that names no unit the bare one."""
    for name in QUANTITIES:
        if values[name] is not None and values[f"{name}_unit"] is None:
            values[f"{name}_unit"] = BARE_UNIT


def _check_quantities(values: dict) -> None:
    """Hold each hardness-like number within what its unit allows."""
    for name in QUANTITIES:
        value, unit = values[name], values[f"{name}_unit"]
        if value is not None and value > HIGHEST_BY_UNIT[unit]:
            raise BadValueError(name, f"{value:g} {unit}", f"0 to {HIGHEST_BY_UNIT[unit]:g} {unit}")


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
    given, unit_rule = str(text).strip(), WaterTest.KIND.fields["hardness_unit"].rule
    allowed = f"a number and a unit ({unit_rule.allowed}), such as 9 dH; a bare number is mg/L as CaCO3"
    match = _QUANTITY_FORM.fullmatch(given)
    if match is None:
        raise BadValueError(field, given, allowed)
    figure, unit_text = match.groups()
    value = plain_number(figure)
    if value is None:
        raise BadValueError(field, given, allowed + comma_hint(figure))
    try:
        unit = unit_rule.clean(unit_text, field) if unit_text else BARE_UNIT
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
