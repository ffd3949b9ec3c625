"""What is always said with a descale or a look inside: it stands in every text and cannot be switched off.

Where no source stands beside it, what is said here of acids, metals, gases and people is general knowledge, recalled:
common practice, no source.
"""

from __future__ import annotations

import re

from scalemodel.descaling.acid import CITRATE_LIMIT_G_L, CO2_ML_PER_G, Acid
from scalemodel.logbook.records import BoilerFacts
from scalemodel.wording import figure

HOTTEST_C = 70
"""No acid bath is hotter than this [deg C] (house figure, no source)."""

FIRST = (
    "The maker's instructions and your local codes come before anything said here. Work on pressure parts, safety "
    "valves or mains wiring is for licensed people."
)

ISOLATE = (
    "Switch off, unplug or isolate from the mains, shut the water, let it cool below 40 C and lose all pressure "
    "before you open anything."
)

EMPTY = "Never heat an empty or half-drained boiler: the element burns out and can start a fire."

METALS = (
    "Know the metals first. Do not use acid on aluminium, zinc, tin, on nickel or chrome plating, on lead or soft "
    "solder, on plain iron or enamel, or on a metal you cannot name, unless the maker allows that very acid. Stainless "
    "steel and copper usually stand a short, warm bath."
)

BLEACH = "Never bring acid and chlorine bleach together, nor one after the other without rinsing: chlorine gas forms."

BODY = (
    "Wear eye protection and gloves; keep children and food away. Dust and fumes: open a window. Acid in an eye: rinse "
    "with water for 15 minutes and see a doctor."
)

GAS = (
    f"Scale in acid gives off carbon dioxide, about {CO2_ML_PER_G / 1000:.2f} L for each gram. Leave an outlet open: "
    "a closed boiler would come under pressure."
)

HOT = {
    True: (
        f"Never hotter than {HOTTEST_C} C, and not under pressure: hot acid eats metal and seals faster, foams over "
        "and scalds."
    ),
    False: (
        f"Never hotter than {HOTTEST_C} C, and not under pressure: hot acid eats metal and seals faster, foams over "
        "and scalds; and hot sulfamic acid turns to sulphate, which can leave gypsum that acid does not dissolve."
    ),
}
"""The cap on temperature and its reason, by whether the acid is citric; that hot sulfamic acid turns to sulphate is
recalled."""

DETERGENT = "No detergent in the boiler, ever: it foams, it stays in dead ends and it ends up in drinks."

BACKFLUSH = (
    "Backflush only a machine whose three-way valve vents the pressure; without one the pressure stays in, and "
    "the handle throws hot water when it is opened."
)

VINEGAR = (
    "No vinegar: it is a weak acid that works slowly, its vapour stings and its smell clings to seals and lines, it "
    "can swell rubber seals and eats copper alloys where air gets in, and few bottles say exactly how strong it is "
    "(common practice, no source)."
)

NOT_FOOD = (
    "Sulfamic acid is no food: never taste the water, and rinse until the limit for it is met. Keep it from nitrites "
    "and from oxidisers too."
)

LOOKING = (FIRST, ISOLATE, EMPTY)
"""What is said with a look inside."""

METAL_WORDS = (
    (r"alumini?um|alu", "aluminium", "acid dissolves it and the film that protects it"),
    (r"zinc|galvani[sz]ed", "zinc", "acid dissolves it at once and gives off hydrogen, which burns"),
    (r"nickel(?:ed|led)?", "nickel", "acid creeps through pores in the plating, lifts it and lets it into the water"),
    (r"chrom(?:e|ed|ium)", "chrome", "acid creeps through pores in the plating and lifts it"),
    (r"tin|tinned", "tin", "acid thins the tin and bares the metal below"),
    (r"silver(?:ed)?", "silver", "acid creeps under the plating and lifts it"),
    (r"plated|plating|electroplated", "plating", "acid creeps through its pores and lifts it"),
    (r"brass|bronze|gunmetal", "brass or bronze", "acid dissolves some of it and can draw the zinc out of brass"),
    (
        r"leaded|lead(?= (?:solder|pipe|seal|joint)s?)|solder(?:ed)?",
        "lead or solder",
        "acid brings lead into the water, which poisons",
    ),
    (r"magnesium", "magnesium", "acid dissolves it at once and gives off hydrogen, which burns"),
    (r"(?:cast |wrought )?iron|(?:mild|carbon|black) steel", "plain iron", "acid eats it, and it rusts afterwards"),
    (r"enamel(?:l?ed)?", "enamel", "acid dulls it and works into its cracks"),
)
"""Metals and coatings that acids attack: how a note may spell them, their name, and what acid does (recalled; common
practice, no source)."""


def attacked_metals(facts: BoilerFacts) -> tuple[tuple[str, str], ...]:
    """Metals and coatings named in the notes of a boiler and its sites that acids attack, each with what acid does."""
    notes = " ".join([facts.boiler.note, *(site.note for site in facts.sites)])
    return tuple(
        (name, harm)
        for spelling, name, harm in METAL_WORDS
        if re.search(rf"(?<![^\W\d_])(?:{spelling})(?![^\W\d_])", notes, re.IGNORECASE)
    )


def metal_warnings(facts: BoilerFacts) -> tuple[str, ...]:
    """A warning for each attacked metal that the notes name; they stand before all else."""
    return tuple(
        f"STOP. A note of {facts.boiler.boiler} names {name}: {harm}. Go on only if the maker allows this acid for it."
        for name, harm in attacked_metals(facts)
    )


def citrate_warning(acid: Acid, load_g_l: float) -> tuple[str, ...]:
    """A warning where scale dissolved in a bath [g/L as CaCO3] could come out again as calcium citrate."""
    if not acid.citrate or load_g_l <= CITRATE_LIMIT_G_L:
        return ()
    return (
        f"Calcium citrate: a pass may dissolve {figure(load_g_l, 2)} g/L of scale. Once its acid is spent, water "
        f"holds only about {CITRATE_LIMIT_G_L:g} g/L and the rest comes out as a white paste. Drain while it is still "
        "acid, never let it stand overnight or neutralise it inside; if it stops being acid early, drain and use fresh "
        "solution.",
    )


def cautions(facts: BoilerFacts, acid: Acid, load_g_l: float) -> tuple[str, ...]:
    """Every caution of a descale, a paragraph each, those about metals first.

    ``load_g_l`` is the scale that a litre of bath may dissolve [g/L as CaCO3].
    """
    return (
        *metal_warnings(facts),
        METALS,
        FIRST,
        ISOLATE,
        EMPTY,
        BLEACH,
        BODY,
        GAS,
        HOT[acid.citrate],
        *citrate_warning(acid, load_g_l),
        *(() if acid.food_grade else (NOT_FOOD,)),
        DETERGENT,
        BACKFLUSH,
        VINEGAR,
    )
