"""Units of hardness and alkalinity, and the quantities people write: "9 dH", "2.1 mmol/L", "60 F".

Inside, hardness and alkalinity are mg/L as CaCO3. Definitions of the degrees: 1 dH is 10 mg CaO in a litre,
1 fH is 10 mg CaCO3 in a litre, 1 English degree (Clark) is one grain of CaCO3 in an imperial gallon, 1 gpg is
one grain in a US gallon; the grain is 64.79891 mg, the gallons 4.54609 L and 3.785411784 L, all three exact.
"""

from __future__ import annotations

import math

from scalemodel.errors import BadValueError
from scalemodel.logbook.fields import HIGHEST_BY_UNIT, parse_hardness
from scalemodel.logbook.values import Temperature
from scalemodel.water.constants import CACO3_G_MOL, COLDEST_C, HOTTEST_C

CAO_G_MOL = 56.077
"""Molar mass of CaO [g/mol]."""

GRAIN_MG = 64.79891

MG_CACO3_PER_UNIT = {
    "mg/L": 1.0,
    "mmol/L": CACO3_G_MOL,
    "dH": 10.0 * CACO3_G_MOL / CAO_G_MOL,
    "fH": 10.0,
    "e": GRAIN_MG / 4.54609,
    "gpg": GRAIN_MG / 3.785411784,
}
"""mg/L as CaCO3 in one of each unit; a mmol/L of hardness is of calcium and magnesium, two equivalents each."""

MG_CACO3_PER_MMOL_ALKALINITY = CACO3_G_MOL / 2.0
"""A mmol/L of alkalinity is of acid taken up (acid capacity, hydrogen carbonate): one equivalent."""


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


def mg_per_unit(unit: str, field: str = "hardness") -> float:
    """mg/L as CaCO3 in one unit of a field; BadValueError for a unit that is not one of the six."""
    if field == "alkalinity" and unit == "mmol/L":
        return MG_CACO3_PER_MMOL_ALKALINITY
    if unit not in MG_CACO3_PER_UNIT:
        raise BadValueError("unit", unit, "one of " + ", ".join(MG_CACO3_PER_UNIT))
    return MG_CACO3_PER_UNIT[unit]


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
