"""Hardness and alkalinity as people write them, "9 dH", "2.1 mmol/L", "60 F", in mg/L as CaCO3 and back."""

from __future__ import annotations

import math

from scalemodel.errors import BadValueError
from scalemodel.logbook.field_types import Temperature
from scalemodel.logbook.fields import parse_hardness
from scalemodel.logbook.units import HIGHEST_BY_UNIT, MG_CACO3_PER_UNIT, mg_per_unit
from scalemodel.water.constants import COLDEST_C, HOTTEST_C

__all__ = [
    "MG_CACO3_PER_UNIT",
    "checked_amount",
    "from_mg_l",
    "mg_per_unit",
    "parse_quantity",
    "parse_temperature",
    "to_mg_l",
]


def to_mg_l(value: float, unit: str, field: str = "hardness") -> float:
    """A hardness, calcium or alkalinity in one of the six units, as mg/L as CaCO3.

    ``field`` matters for mmol/L alone: of alkalinity it is one equivalent, of hardness and calcium two. Raises
    BadValueError for another unit.

    >>> round(to_mg_l(9.0, "dH"), 2)
    160.63
    >>> round(to_mg_l(3.2, "mmol/L", "alkalinity"), 1), round(to_mg_l(1.6, "mmol/L", "hardness"), 1)
    (160.1, 160.1)
    """
    return value * mg_per_unit(unit, field)


def from_mg_l(value_mg_l: float, unit: str) -> float:
    """mg/L as CaCO3 in another unit; the inverse of `to_mg_l`.

    >>> round(from_mg_l(100.0, "gpg"), 4)
    5.8418
    """
    return value_mg_l / mg_per_unit(unit)


def checked_amount(value: float, unit: str, field: str) -> float:
    """The amount in mg/L as CaCO3; BadValueError if it is no number, or outside what the logbook takes."""
    factor = mg_per_unit(unit, field)
    highest = HIGHEST_BY_UNIT[unit]
    if not (math.isfinite(value) and 0.0 <= value <= highest):
        raise BadValueError(field, f"{value:g} {unit}", f"0 to {highest:g} {unit}")
    return value * factor


def parse_quantity(text: str, field: str) -> tuple[float, str]:
    """A hardness or alkalinity as people write it: value and unit; a bare number is mg/L as CaCO3.

    Spaces and case are free, a degree sign too: the logbook's own reading. Raises BadValueError for anything
    else, for negative or endless numbers and for more than some 5000 mg/L.

    >>> parse_quantity("9 °dH", "hardness")
    (9.0, 'dH')
    >>> parse_quantity("160", "hardness")
    (160.0, 'mg/L')
    """
    return parse_hardness(text, field)


def parse_temperature(text: str, field: str = "temperature") -> float:
    """A temperature as people write it, in deg C: "15", "15 C", "15 °C" or "60 F".

    Raises BadValueError for anything else and outside 0 to 130 deg C.

    >>> parse_temperature("60 F")
    15.56
    """
    return Temperature(COLDEST_C, HOTTEST_C).read(text, field)
