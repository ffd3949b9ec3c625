"""Units: how people write them, and what one of each is in the unit that a field keeps.

Hardness and alkalinity become mg/L as CaCO3. Definitions of the degrees: 1 dH is 10 mg CaO in a litre, 1 fH is 10 mg
CaCO3 in a litre, 1 English degree (Clark) is one grain of CaCO3 in an imperial gallon, 1 gpg is one grain in a US
gallon; the grain is 64.79891 mg, the gallons 4.54609 L and 3.785411784 L, all three exact.
"""

from __future__ import annotations

from collections.abc import Mapping

from scalemodel.errors import BadValueError

ATOMIC_WEIGHT = {
    "H": 1.008,
    "C": 12.011,
    "N": 14.007,
    "O": 15.999,
    "Na": 22.990,
    "S": 32.06,
    "Ca": 40.078,
}
"""Standard atomic weights, abridged (CIAAW 2021) [g/mol]."""


def molar_mass(atoms: Mapping[str, int]) -> float:
    """Molar mass [g/mol] of the atoms in a formula.

    >>> round(molar_mass({"Ca": 1, "C": 1, "O": 3}), 3)
    100.086
    """
    return sum(ATOMIC_WEIGHT[element] * count for element, count in atoms.items())


CACO3_G_MOL = round(molar_mass({"Ca": 1, "C": 1, "O": 3}), 3)
CAO_G_MOL = round(molar_mass({"Ca": 1, "O": 1}), 3)

GRAIN_MG = 64.79891

DAYS_A_YEAR = 365.25

ROUNDING = 1e-9
"""What rounding may add to a number near 1, or take from it: less is no difference."""

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

OTHER_UNITS: dict[str, dict[str, float]] = {
    "L": {"l": 1.0, "litre": 1.0, "liter": 1.0, "ml": 1e-3, "cc": 1e-3, "cl": 1e-2, "dl": 0.1, "m3": 1e3},
    "cm2": {"cm2": 1.0, "sqcm": 1.0, "mm2": 1e-2, "dm2": 1e2, "m2": 1e4},
    "g": {"g": 1.0, "gram": 1.0, "mg": 1e-3, "kg": 1e3},
    "um": {"um": 1.0, "micron": 1.0, "micrometre": 1.0, "mm": 1e3},
    "h": {"h": 1.0, "hour": 1.0, "min": 1.0 / 60.0, "minute": 1.0 / 60.0},
    "mg/L": {"mg/l": 1.0, "ppm": 1.0, "g/l": 1e3},
    "uS/cm": {"us/cm": 1.0, "us": 1.0, "microsiemens/cm": 1.0, "ms/cm": 1e3, "ms": 1e3, "ds/m": 1e3, "ms/m": 10.0},
}
"""For each unit that a field keeps, how much of it one of another is (spelt as `_spelt` has it)."""

OTHER_QUANTITY = {
    "mg/L": ("uS/cm", "is a conductivity: say --conductivity {} (in CSV, conductivity_us_cm)"),
    "uS/cm": ("mg/L", "is a reading of dissolved solids: say --tds {} (in CSV, tds_mg_l)"),
}
"""For a unit, the one that it is easily mixed up with, and what that would have been."""


BARE_UNIT = "mg/L"
"""The unit of a hardness-like number that names none (as CaCO3)."""

HIGHEST_BY_UNIT = {"mg/L": 5000.0, "mmol/L": 49.0, "dH": 280.0, "fH": 500.0, "e": 350.0, "gpg": 292.0}
"""More than this is taken for a slip of the pen; each is some 5000 mg/L as CaCO3."""

DROP_SIZE = {"mg/L": 10.0, "mmol/L": 0.1, "dH": 1.0, "fH": 1.0, "e": 1.0, "gpg": 1.0}
"""What one drop of a kit stands for, in its own unit (common practice, no source)."""

UNIT_SPELLINGS = {
    "ppm": "mg/L", "mg/lcaco3": "mg/L", "mg/lascaco3": "mg/L", "mgcaco3/l": "mg/L", "ppmcaco3": "mg/L",
    "ppmascaco3": "mg/L", "mol/m3": "mmol/L", "f": "fH", "eh": "e", "clark": "e", "gr/gal": "gpg",
    "grain/gallon": "gpg", "grains/gallon": "gpg",
}  # fmt: skip
"""Other ways to write a unit, in lower case and without spaces or degree signs."""


def mg_per_unit(unit: str, field: str = "hardness") -> float:
    """mg/L as CaCO3 in one unit of a field; BadValueError for a unit that is not one of the six."""
    if field == "alkalinity" and unit == "mmol/L":
        return MG_CACO3_PER_MMOL_ALKALINITY
    if unit not in MG_CACO3_PER_UNIT:
        raise BadValueError("unit", unit, "one of " + ", ".join(MG_CACO3_PER_UNIT))
    return MG_CACO3_PER_UNIT[unit]


def factor_to(kept: str, written: str) -> float | None:
    """How much of the unit that is kept one of the written is; None for one that is no such unit. A blank is that unit.

    >>> factor_to("L", "mL"), factor_to("uS/cm", "mS/cm"), factor_to("L", ""), factor_to("mg/L", "uS/cm")
    (0.001, 1000.0, 1.0, None)
    """
    spelt = _spelt(written)
    known = OTHER_UNITS.get(kept, {})
    return 1.0 if not spelt else known.get(spelt, known.get(spelt.removesuffix("s")))


def other_quantity(kept: str, figure: float, written: str) -> str:
    """What a number in a unit of another quantity would have been, and where it belongs; blank if that is unknown.

    >>> other_quantity("mg/L", 0.62, "mS/cm")
    '; 0.62 mS/cm is a conductivity: say --conductivity 620 (in CSV, conductivity_us_cm)'
    """
    other, said = OTHER_QUANTITY.get(kept, ("", ""))
    factor = factor_to(other, written) if other else None
    return "" if factor is None else f"; {figure:.10g} {written} " + said.format(f"{factor * figure:.10g}")


def _spelt(unit: str) -> str:
    """A unit in lower case, without spaces, its micro sign a u and its powers plain figures."""
    plain = "".join(unit.split()).lower().replace("²", "2").replace("³", "3").replace("^", "")
    return plain.replace("\N{MICRO SIGN}", "u").replace("\N{GREEK SMALL LETTER MU}", "u")


def cylinder_area_cm2(volume_l: float) -> float:
    """Wetted area of a closed cylinder as high as wide, 5.54 V^(2/3) [cm2]."""
    return 5.54 * (1000.0 * volume_l) ** (2.0 / 3.0)
