"""The chemistry of a descale: which acid, how much of it, and how much water rinses it out.

Plain arithmetic without NumPy, so that the recording commands may use it too. Molar masses are sums of the
abridged standard atomic weights (CIAAW 2021). What else is said of acids without a source is recalled: that citric acid
gives three protons and sulfamic acid one, and that calcium citrate hardly dissolves.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, exp, isfinite, log

from scalemodel.errors import BadValueError, Remedy, UnknownNameError
from scalemodel.logbook.units import CACO3_G_MOL, ROUNDING, molar_mass

NAHCO3_G_MOL = molar_mass({"Na": 1, "H": 1, "C": 1, "O": 3})

PROTONS_A_CACO3 = 2
"""Protons that dissolve one CaCO3 whole, its carbon dioxide gone."""

CO2_ML_PER_G = 244.0
"""Gas that one gram of CaCO3 sets free, at 25 deg C and 1 atm (ideal gas: 24.47 L/mol over 100.086 g/mol) [mL/g]."""

CITRATE_LIMIT_G_L = 0.5
"""Dissolved scale, as CaCO3, that water holds as calcium citrate once the acid is exhausted [g/L].

Ca3(C6H5O7)2.4H2O dissolves to 0.95 g/L at 25 deg C and 0.85 at 18 (handbook figures, secondary copies), which is
0.50 and 0.45 g/L as CaCO3.
"""

SAFETY = 2.0
"""Acid a plan asks for, over what dissolves the scale with the protons that the acid really spends (`Acid.usable`);
house figure, no source."""

FIZZ_G_L = 3.0
"""About the least acid that shows by fizzing with baking soda [g/L]: the gas must pass what water holds at 1 atm, 33
mmol/L at 25 deg C (recalled); 33 mmol/L of protons is 3.2 g/L of sulfamic and some 2.5 g/L of citric acid."""

LEAST_STRENGTH = 1.0
"""The weakest bath that a plan accepts [% w/v], 10 g/L.

It has to fizz until the end, or nobody could tell whether it is spent. With a safety factor of 2 the scale spends at
most half of it, a very hard water (0.4 g/L of alkalinity as CaCO3) 0.9 g/L more, and 4 g/L are left, above `FIZZ_G_L`.
It is hardly less sour than a stronger one: the ideal pH of citric acid is 2.23 at 10 g/L, 2.07 at 20 and 1.87 at 50.
"""

MOST_STRENGTH = 20.0
"""The strongest [% w/v]: more only wastes acid (house figure, no source)."""

USUAL_STRENGTH = 5.0
"""The strongest that a plan takes unasked; where the scale needs more acid it takes more litres [% w/v] (common
practice, no source: 150 g of citric acid in 3 L)."""


@dataclass(frozen=True)
class Acid:
    """A dry acid for descaling.

    Attributes
    ----------
    kind : str
        Its name in commands.
    words : str
        Its name for people.
    g_mol : float
        Molar mass, with its water of crystallisation [g/mol].
    protons : int
        Protons a molecule gives when titrated to the end.
    usable : int
        Protons it really spends on scale. The bicarbonate that forms holds the bath near pH 5 to 6, where citric acid
        has given nearer two than three (ideal pH after two: 5.6, between its recalled pKa of 4.8 and 6.4).
    citrate : bool
        Whether its calcium salt is the citrate, which hardly dissolves.
    food_grade : bool
        Whether it is sold as a food acid, so that water with a trace of it may be tasted.
    residue_limit_g_l : float
        Acid that the last rinse water may hold [g/L]. 0.05 g/L of citric acid is spent by an alkalinity of 40 mg/L as
        CaCO3, less than most drinking water has; a fifth of that for an acid that is no food (house figures).
    """

    kind: str
    words: str
    g_mol: float
    protons: int
    usable: int
    citrate: bool
    food_grade: bool
    residue_limit_g_l: float


_CITRIC = {"C": 6, "H": 8, "O": 7}

ACIDS = {
    acid.kind: acid
    for acid in (
        Acid(
            "citric-monohydrate",
            "citric acid monohydrate",
            molar_mass({**_CITRIC, "H": 10, "O": 8}),
            3,
            2,
            True,
            True,
            0.05,
        ),
        Acid("citric-anhydrous", "citric acid, anhydrous", molar_mass(_CITRIC), 3, 2, True, True, 0.05),
        Acid("sulfamic", "sulfamic acid", molar_mass({"H": 3, "N": 1, "S": 1, "O": 3}), 1, 1, False, False, 0.01),
    )
}
"""Every acid that a plan can be made for, by its kind; vinegar is left out on purpose (see `cautions.VINEGAR`)."""

DEFAULT_ACID = "citric-monohydrate"
"""The usual crystals; where they are anhydrous after all, the plan errs towards more acid."""


def find_acid(kind: str | None = None) -> Acid:
    """The acid of a kind, or the usual one; UnknownNameError for any other.

    >>> find_acid("sulfamic").protons
    1
    """
    kind = DEFAULT_ACID if kind is None else kind.strip().lower()
    if kind not in ACIDS:
        raise UnknownNameError("acid", kind, ACIDS)
    return ACIDS[kind]


def check_strength(strength_percent: float | None = None) -> float | None:
    """The strength as it is [% w/v], None where the scale shall decide; BadValueError if not within the limits."""
    if strength_percent is None:
        return None
    if not (isfinite(strength_percent) and LEAST_STRENGTH <= strength_percent <= MOST_STRENGTH):
        raise BadValueError("strength", strength_percent, f"{LEAST_STRENGTH:g} to {MOST_STRENGTH:g} % (g in 100 mL)")
    return float(strength_percent)


def caco3_per_g(acid: Acid, protons: int | None = None) -> float:
    """CaCO3 that a gram of acid dissolves [g/g], with so many protons a molecule (all that it can give by default).

    >>> round(caco3_per_g(ACIDS["citric-anhydrous"]), 4), round(caco3_per_g(ACIDS["citric-anhydrous"], 2), 4)
    (0.7814, 0.5210)
    """
    spent = acid.protons if protons is None else protons
    return CACO3_G_MOL * spent / (PROTONS_A_CACO3 * acid.g_mol)


def acid_for(acid: Acid, scale_g: float, safety: float = SAFETY) -> float:
    """Acid that a plan asks for [g], for a mass of scale taken as CaCO3 [g].

    What the usable protons need, times ``safety``. For citric acid that is 2 x 3/2 = 3 times the need on paper (three
    protons), for sulfamic acid twice.

    >>> round(acid_for(ACIDS["citric-anhydrous"], 10.0) / (10.0 / caco3_per_g(ACIDS["citric-anhydrous"])), 6)
    3.0
    """
    return safety * scale_g / caco3_per_g(acid, acid.usable)


def dissolved_by_titration(acid: Acid, acid_spent_g: float) -> float:
    """CaCO3 dissolved [g], from the acid that a titration found spent [g].

    Spent acid is what went in less what the bath still holds, by titrating it (its gas stirred or boiled out) to about
    pH 8.3, where every proton counts; so the stoichiometry is that of all protons, however far each molecule went.

    >>> round(dissolved_by_titration(ACIDS["citric-monohydrate"], 14.0), 2)
    10.0
    """
    return acid_spent_g * caco3_per_g(acid)


def recovered_by_titration(kind: str, acid_spent_g: float, acid_g: float | None = None) -> tuple[Acid, float, str]:
    """The acid, the scale recovered [g, four digits] by `dissolved_by_titration`, and how it was reckoned.

    ``acid_g`` is the acid that went in, where known [g].

    Raises
    ------
    UnknownNameError
        If the acid is not one whose stoichiometry is known.
    BadValueError
        If no acid is named, or more was spent than went in.

    >>> recovered_by_titration("sulfamic", 20.0)[1:]
    (10.31, 'scale recovered reckoned as CaCO3 from 20 g of sulfamic acid spent by titration (0.5154 g/g)')
    """
    if not kind:
        raise BadValueError("acid", kind, (Remedy("with acid_spent_g ", "acid spent"), f"one of {', '.join(ACIDS)}"))
    acid = find_acid(kind)
    if acid_g is not None and acid_spent_g > acid_g:
        raise BadValueError("acid_spent_g", f"{acid_spent_g:g}", f"at most the {acid_g:g} g that went in")
    how = (
        f"scale recovered reckoned as CaCO3 from {acid_spent_g:g} g of {acid.words} spent by titration "
        f"({caco3_per_g(acid):.4f} g/g)"
    )
    return acid, float(f"{dissolved_by_titration(acid, acid_spent_g):.4g}"), how


def reckoned_by_titration(
    acid_spent_g: float, acid: str | None, acid_g: float | None, scale_recovered_g: float | None, note: str | None
) -> dict[str, object]:
    """The fields of a descale that follow from the acid found spent [g]: acid, scale recovered [g], and the note.

    The others are as told: the acid's name, how much went in [g], the scale weighed [g], the note. Raises as
    `recovered_by_titration` does, and BadValueError where the scale was weighed too.

    >>> reckoned_by_titration(20.0, "Sulfamic", None, None, "twice")["note"][:32]
    'twice; scale recovered reckoned '
    """
    if scale_recovered_g is not None:
        weighed = Remedy("scale_recovered_g", "scale recovered")
        raise BadValueError("acid_spent_g", f"{acid_spent_g:g}", ("either it or ", weighed, ", not both"))
    found, scale_g, how = recovered_by_titration(acid or "", acid_spent_g, acid_g)
    return {"acid": found.kind, "scale_recovered_g": scale_g, "note": f"{note}; {how}" if note else how}


def bicarbonate_for(acid: Acid, acid_g: float) -> float:
    """Baking soda, NaHCO3, that neutralises an acid wholly [g].

    >>> round(bicarbonate_for(ACIDS["sulfamic"], 1.0), 4)
    0.8653
    """
    return acid_g * acid.protons * NAHCO3_G_MOL / acid.g_mol


def grams_per_litre(strength_percent: float) -> float:
    """Acid in a litre of solution [g/L] of a strength [% w/v]: 1 % is 10 g/L."""
    return 10.0 * strength_percent


def strength_of(acid_g: float, solution_l: float) -> float:
    """Strength of a solution [% w/v].

    >>> strength_of(150.0, 3.0)
    5.0
    """
    return acid_g / (10.0 * solution_l)


def flushed(start_g_l: float, water_l: float, volume_l: float) -> float:
    """What is left of a solution [g/L] after water flows through a full, stirred vessel: ``c0 exp(-V / V0)``.

    >>> round(flushed(1.0, 1.5, 1.5), 4)
    0.3679
    """
    return start_g_l * exp(-water_l / volume_l)


def drained_and_filled(start_g_l: float, kept_share: float, times: int) -> float:
    """What is left [g/L] after so many drainings that each keep a share of the water, and fillings: ``c0 h^n``.

    >>> round(drained_and_filled(50.0, 0.1, 3), 6)
    0.05
    """
    return start_g_l * kept_share**times


def fillings_to_flush(start_g_l: float, limit_g_l: float) -> int:
    """Fillings of water that must flow through a full vessel to leave at most the limit, by `flushed`; at least one.

    >>> fillings_to_flush(50.0, 0.05)
    7
    """
    return _whole(log(start_g_l / limit_g_l))


def fillings_to_rinse(start_g_l: float, limit_g_l: float, kept_share: float) -> int:
    """Fillings of water, each drained to a share, that leave at most the limit, by `drained_and_filled`; at least one.

    >>> fillings_to_rinse(50.0, 0.05, 0.1), fillings_to_rinse(10.0, 0.05, 0.1)
    (3, 3)
    """
    return _whole(log(start_g_l / limit_g_l) / -log(kept_share))


def _whole(count: float) -> int:
    """A count rounded up, where no more than rounding stands above a whole one; at least one."""
    return max(1, ceil(count - ROUNDING))
