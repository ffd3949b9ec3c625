"""Units of hardness and alkalinity, and the quantities people write: "9 dH", "2.1 mmol/L", "60 F".

Inside, hardness and alkalinity are mg/L as CaCO3. Definitions of the degrees: 1 dH is 10 mg CaO in a litre,
1 fH is 10 mg CaCO3 in a litre, 1 English degree (Clark) is one grain of CaCO3 in an imperial gallon, 1 gpg is
one grain in a US gallon; the grain is 64.79891 mg, the gallons 4.54609 L and 3.785411784 L, all three exact.
"""

from __future__ import annotations

import math
import re

from scalemodel.errors import BadValueError
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
"""mg/L as CaCO3 in one of each unit; a mmol/L is of calcium and magnesium, two equivalents."""

MOST_MG_L = 5000.0
"""More hardness or alkalinity than this is taken for a slip of the pen [mg/L as CaCO3]."""

_SPELLINGS = {
    "": "mg/L",
    "mg/l": "mg/L",
    "mg/lcaco3": "mg/L",
    "mg/lascaco3": "mg/L",
    "mgcaco3/l": "mg/L",
    "ppm": "mg/L",
    "ppmcaco3": "mg/L",
    "ppmascaco3": "mg/L",
    "mmol/l": "mmol/L",
    "mol/m3": "mmol/L",
    "dh": "dH",
    "fh": "fH",
    "f": "fH",
    "e": "e",
    "eh": "e",
    "clark": "e",
    "gpg": "gpg",
    "gr/gal": "gpg",
    "grain/gallon": "gpg",
    "grains/gallon": "gpg",
}

_NUMBER_THEN_REST = re.compile(r"\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*", re.DOTALL)
_ALLOWED = "a number and a unit: 160 mg/L (as CaCO3), 1.6 mmol/L, 9 dH, 16 fH, 11 e, 9 gpg"


def to_mg_l(value: float, unit: str) -> float:
    """A hardness or alkalinity in one of the six units, as mg/L as CaCO3.

    Raises BadValueError for another unit.

    >>> round(to_mg_l(9.0, "dH"), 2)
    160.63
    """
    return value * _factor(unit)


def from_mg_l(value_mg_l: float, unit: str) -> float:
    """mg/L as CaCO3 in another unit; the inverse of `to_mg_l`.

    >>> round(from_mg_l(100.0, "gpg"), 4)
    5.8418
    """
    return value_mg_l / _factor(unit)


def _factor(unit: str) -> float:
    if unit not in MG_CACO3_PER_UNIT:
        raise BadValueError("unit", unit, "one of " + ", ".join(MG_CACO3_PER_UNIT))
    return MG_CACO3_PER_UNIT[unit]


def checked_amount(value: float, unit: str, field: str) -> float:
    """The amount in mg/L as CaCO3; BadValueError if it is not a number from 0 to 5000 mg/L."""
    amount = to_mg_l(value, unit)
    if not (math.isfinite(amount) and 0.0 <= amount <= MOST_MG_L):
        raise BadValueError(field, f"{value:g} {unit}", f"0 to {MOST_MG_L:g} mg/L as CaCO3")
    return amount


def parse_quantity(text: str, field: str) -> tuple[float, str]:
    """A hardness or alkalinity as people write it: value and unit; a bare number is mg/L as CaCO3.

    Spaces and case are free, a degree sign too. Raises BadValueError for anything else, for negative or
    endless numbers and for more than 5000 mg/L.

    >>> parse_quantity("9 °dH", "hardness")
    (9.0, 'dH')
    >>> parse_quantity("160", "hardness")
    (160.0, 'mg/L')
    """
    # "9e" is nine English degrees, "9e2" is a number: the pattern takes an exponent only with its digits
    found = _NUMBER_THEN_REST.fullmatch(text)
    if found is None:
        raise BadValueError(field, text, _ALLOWED)
    value = float(found[1])
    spelling = re.sub(r"[\s°º()]", "", found[2]).lower()
    if spelling not in _SPELLINGS:
        raise BadValueError(field, text, _ALLOWED)
    unit = _SPELLINGS[spelling]
    if not math.isfinite(value) or value < 0.0 or to_mg_l(value, unit) > MOST_MG_L:
        raise BadValueError(field, text, f"0 to {MOST_MG_L:g} mg/L as CaCO3; {_ALLOWED}")
    return value + 0.0, unit


def parse_temperature(text: str, field: str = "temperature") -> float:
    """A temperature as people write it, in deg C: "15", "15 C", "15 °C" or "60 F".

    Raises BadValueError for anything else and outside 0 to 130 deg C.

    >>> round(parse_temperature("60 F"), 2)
    15.56
    """
    found = _NUMBER_THEN_REST.fullmatch(text)
    scale = re.sub(r"[\s°º]", "", found[2]).lower() if found else None
    if scale not in ("", "c", "f"):
        raise BadValueError(field, text, "a temperature such as 15, 15 C or 60 F")
    value = float(found[1])
    celsius = (value - 32.0) / 1.8 if scale == "f" else value
    if not COLDEST_C <= celsius <= HOTTEST_C:
        raise BadValueError(field, text, f"{COLDEST_C:g} to {HOTTEST_C:g} deg C (32 to 266 F)")
    return celsius + 0.0
