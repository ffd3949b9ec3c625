"""The steps of a descale, in order, with the commands that record what was seen and done."""

from __future__ import annotations

from scalemodel.descaling.acid import CO2_ML_PER_G, FIZZ_G_L, Acid, bicarbonate_for
from scalemodel.descaling.cautions import HOTTEST_C
from scalemodel.descaling.filling import Amounts
from scalemodel.descaling.narrow_layout import Step, quoted
from scalemodel.wording import counted, figure

MIXING_C = 50
"""Warm water to dissolve the acid in; the bath only cools from there (common practice, no source) [deg C]."""

PUMP_MIXING_C = 35
"""The same where a pump has to take it: they are made for cold water (common practice, no source) [deg C]."""

MANY_PASSES = 4
"""With more passes than this the plan proposes a stronger solution (house figure, no source)."""

CARRIED_L = 5.0
"""More than this is mixed in several buckets, for the back and against spilling (house figure) [L]."""

BEFORE = 4
"""Steps before the first that handles acid."""


def steps_of(name: str, site: str, acid: Acid, takes: Amounts) -> tuple[Step, ...]:
    """Every step, in order."""
    pumped = takes.filling.kind == "pump"
    return (
        *before_steps(name, site, pumped),
        *(pump_bath(acid, takes) if pumped else hand_bath(acid, takes)),
        *rinse_steps(acid, takes),
        *after_steps(name, site, acid, takes),
    )


def look_command(name: str, site: str, *more: str) -> tuple[str, ...]:
    """The command that records a look at a site."""
    return (f"scalemodel add inspection {quoted(name)}", "DATE GRADE", f"--site {quoted(site)}", *more)


def bare_steps(name: str, site: str) -> tuple[Step, ...]:
    """What to do where there is nothing to descale: look, to be sure of it."""
    return (
        Step(
            f"Use no acid. When the boiler is cold and open next, look at {site} and record it (how: scalemodel "
            "inspection-guide). DATE as 2026-11-01, GRADE as 2 or 1-2:",
            (look_command(name, site),),
        ),
    )


def before_steps(name: str, site: str, pumped: bool) -> tuple[Step, ...]:
    """Making it safe, and the look before."""
    drain = (
        "Drain it only as far as the look needs."
        if pumped
        else "Then drain it, and leave it off the mains until all is done."
    )
    return (
        Step("Read the cautions above and the maker's instructions. Find out which metals the acid will touch."),
        Step(
            "Switch off, unplug or isolate from the mains, shut the water. Let it cool below 40 C and lose its "
            f"pressure. {drain}"
        ),
        Step(
            f"Look inside, at {site}, and record what you see, before any acid (how: scalemodel inspection-guide). "
            "DATE as 2026-11-01, GRADE as 2 or 1-2:",
            (look_command(name, site),),
        ),
        Step("Take out or bypass the water filter, softener or cartridge, and whatever the maker keeps from acid."),
    )


def mixing(acid: Acid, water_c: int, grams: float, litres: float, after: str) -> Step:
    """Dissolving the acid, outside the boiler."""
    buckets = " In buckets that you can carry, the acid shared among them." if litres > CARRIED_L else ""
    return Step(
        f"Mix outside the boiler, with water of about {water_c} C, acid into water: weigh {figure(grams)} g of "
        f"{acid.words} and make it up to {figure(litres)} L{after}.{buckets} Never above {HOTTEST_C} C (why: see the "
        "cautions)."
    )


def gas_words(takes: Amounts) -> str:
    """How much gas to expect."""
    return f"open for the gas (up to {figure(takes.scale_g * CO2_ML_PER_G / 1000.0, 2)} L)"


def again_words(takes: Amounts, first: int, last: int) -> str:
    """How often, and when once more."""
    times = f"Do steps {first} to {last} for each of the {takes.passes} fillings." if takes.passes > 1 else ""
    more = (
        "If the last filling still bubbled when it was to go, or was spent, do one more with fresh acid, "
        f"{figure(takes.start_g_l)} g to each litre of the boiler, and add it to what you record."
    )
    many = (
        " That is a lot: a higher --strength needs fewer, and a strip-down may be quicker."
        if takes.passes > MANY_PASSES
        else ""
    )
    return f"{times} {more}{many}".strip()


FLAKES = "Loose flakes can block a valve or a jet: if the flow falters, stop and clear it first."


def hand_bath(acid: Acid, takes: Amounts) -> tuple[Step, ...]:
    """Mixing, pouring in, waiting and draining, of a boiler that is off the mains all the while."""
    first = BEFORE + 1
    after = "" if takes.passes == 1 else f", fresh for each of the {takes.passes} fillings"
    return (
        mixing(acid, MIXING_C, takes.each_g, takes.fill_l - takes.kept_l, after),
        Step(
            f"Still unplugged, lid or one outlet {gas_words(takes)}: pour all of it in, slowly, as it "
            f"foams. Then top up with plain water to {figure(takes.fill_l)} L and stir."
        ),
        Step(
            "Draw a little through every outlet that the boiler feeds, then let it work "
            f"{takes.dwell_minutes} minutes, unheated. {FLAKES}"
        ),
        Step(
            f"{fizz_words('Take a spoonful out')} Either way drain it now, through every outlet, into buckets: it "
            "is the spent acid of the steps below."
        ),
        Step(again_words(takes, first, first + 3)),
    )


def pump_bath(acid: Acid, takes: Amounts) -> tuple[Step, ...]:
    """Mixing, pumping in, resting, of a boiler that stays full and whose heater stays off."""
    first, volume = BEFORE + 1, figure(takes.fill_l)
    return (
        mixing(acid, PUMP_MIXING_C, takes.acid_g, takes.solution_l, f", for {takes.passes} fillings"),
        Step(
            "Close the boiler and fill it with plain water. Only now put power back, for the pump alone: the heater "
            "stays off by its own switch or by the maker's programme. If the heater cannot be kept off, pump no acid: "
            "follow the maker's programme or leave it to a licensed person."
        ),
        Step(
            f"One outlet {gas_words(takes)}, a bucket below: pump in {volume} L of the solution. What comes out "
            "is part acid; it goes with the spent acid of the steps below."
        ),
        Step(
            "Let a little through every outlet that the boiler feeds, then let the acid work and the pump rest for "
            f"{takes.dwell_minutes} minutes, heater off. {FLAKES}"
        ),
        Step(fizz_words("Take a spoonful from an outlet")),
        Step(again_words(takes, first + 2, first + 4)),
    )


def fizz_words(take: str) -> str:
    """Whether the acid still holds."""
    return (
        f"{take}: with a pinch of baking soda it must still fizz. If it does not, the acid is spent and this filling "
        "did not suffice."
    )


def rinse_steps(acid: Acid, takes: Amounts) -> tuple[Step, ...]:
    """Rinsing, the fizz check, and tasting only where the acid is a food acid."""
    litres = f"{figure(takes.rinse_l)} L of fresh water"
    taste = (
        "Only now, only if the acid you used is food grade, and not if the bath came out blue or green: taste the cool "
        "water. Sour means rinse on."
        if acid.food_grade
        else "Never taste the water: this acid is no food. Rinse twice as much if in doubt."
    )
    if takes.filling.kind == "pump":
        rinse = (
            f"Rinse the tank, then pump {litres} through, {figure(takes.volume_l)} L at a time with a rest for the "
            "pump, through every outlet, heater off. Then off the mains again."
        )
    else:
        rinse = (
            f"Rinse {counted(takes.rinses, 'time')}: fill it whole, {figure(takes.volume_l)} L, stir, drain through "
            f"every outlet; {litres} in all. At most {figure(takes.kept_l, 2)} L may stay behind each time: tip or "
            "sponge it out, else rinse on."
        )
    return (
        Step(rinse),
        Step(
            "Fizz check at every outlet: a spoonful of baking soda in a cup of its water. Any fizz means rinse on. But "
            f"fizz shows only from about {FIZZ_G_L:g} g/L on, so no fizz is no reason to rinse with less."
        ),
        Step(taste),
    )


def after_steps(name: str, site: str, acid: Acid, takes: Amounts) -> tuple[Step, ...]:
    """The look after, the spent acid, the first heating, and what to record."""
    descale = f"scalemodel add descale {quoted(name)}"
    entry = (descale, "DATE", f"--acid {acid.kind}", f"--acid-g {figure(takes.acid_g)}")
    return (
        Step(
            f"Off the mains, open and cold: look at {site} again and record it; this tells what the descale left:",
            (look_command(name, site, "--after-descale"),),
        ),
        Step(
            "Spent acid: collect it in an open bucket, add baking soda bit by bit until it stops fizzing (at most "
            f"{figure(bicarbonate_for(acid, takes.acid_g))} g; never in a closed vessel, never in the boiler), then "
            "pour it away with much water where local rules allow. Blue or green liquid holds copper: take it to "
            "a collection point."
        ),
        Step(
            "Put back what you took out, fill the boiler, look for leaks, and only then switch on. Throw the first "
            "fillings away."
        ),
        Step(
            "Record the descale (--scope partial if not all of it was reached; --acid-g as you really used):",
            (entry,),
        ),
        Step(
            "Add one of these to it if you know how much scale came out in all: --scale-recovered-g X, weighed "
            "dry, only if you caught everything and nothing dissolved; or --acid-spent-g X, the acid you put in less "
            "what titrating the spent baths still finds.",
        ),
    )
