"""The descaling plan of one boiler: how much acid, water and time, and what to do, step by step."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from scalemodel.decision.forecast import Forecast
from scalemodel.descaling.acid import (
    CO2_ML_PER_G,
    SAFETY,
    Acid,
    acid_for,
    bicarbonate_for,
    caco3_per_g,
    check_strength,
    find_acid,
    flushed,
    grams_per_litre,
    passes_for,
    rinse_for,
)
from scalemodel.descaling.cautions import HOTTEST_C, cautions
from scalemodel.descaling.phone import Step, quoted
from scalemodel.errors import BadValueError
from scalemodel.wording import figure

MIXING_C = 50
"""Warm water to dissolve the acid in; the bath only cools from there (common practice, no source) [deg C]."""

DWELL_MINUTES = 20
"""A pass works so long, and a vibration pump rests so long between two passes (common practice, no source)."""

PUMP_PASSES = 4
"""Passes of a boiler that a vibration pump fills, or that cannot be drained first (common practice, no source)."""

MANY_PASSES = 4
"""With more passes than this the plan proposes a stronger solution (house figure, no source)."""

FIZZ_G_L = 3.0
"""About the least acid that shows by fizzing with baking soda [g/L]: the gas must pass what water holds at 1 atm, 33
mmol/L at 25 deg C (recalled); 33 mmol/L of protons is 3.2 g/L of sulfamic and some 2.5 g/L of citric acid."""


@dataclass(frozen=True)
class ScaleMass:
    """Scale in the boiler on ``as_of`` [g]: the draws' mean and their 10 % and 90 % points."""

    mean: float
    p10: float
    p90: float


@dataclass(frozen=True)
class DescalePlan:
    """How to descale one boiler.

    Attributes
    ----------
    boiler, as_of : str, date
    volume_l : float [L]
    scale_g : ScaleMass
    acid : Acid
    acid_needed_g : float
        Acid for the scale at its 90 % point, with the safety factor [g].
    acid_g : float
        Acid of all passes: never less than needed, nor than what fills the boiler once at the strength [g].
    solution_l : float
        Passes times the boiler's volume [L].
    strength_percent : float [% w/v]
    passes : int
        Fillings of the boiler with fresh solution.
    load_g_l : float
        Scale at its 90 % point in each litre of all passes [g/L as CaCO3].
    rinse_l, residual_acid_g_l : float
        Rinse water [L], and the acid that it leaves by the dilution law even if none was spent [g/L].
    steps : tuple of Step
    cautions : tuple of str
    """

    boiler: str
    as_of: date
    volume_l: float
    scale_g: ScaleMass
    acid: Acid
    acid_needed_g: float
    acid_g: float
    solution_l: float
    strength_percent: float
    passes: int
    load_g_l: float
    rinse_l: float
    residual_acid_g_l: float
    steps: tuple[Step, ...]
    cautions: tuple[str, ...]

    @property
    def one_pass_suffices(self) -> bool:
        return self.passes == 1


def scale_mass(forecast: Forecast) -> ScaleMass:
    """Scale in the boiler on ``as_of`` [g]: deposit on the reference surface times the wetted area.

    Raises
    ------
    BadValueError
        If the forecast is of another site.
    """
    facts = forecast.posterior.facts
    if forecast.site != facts.reference_site:
        raise BadValueError("site", forecast.site, f"the reference surface, {facts.reference_site}")
    grams = forecast.deposit_draws(0) * facts.boiler.wetted_area_cm2 / 1000.0
    return ScaleMass(float(grams.mean()), *map(float, np.quantile(grams, (0.1, 0.9))))


@dataclass(frozen=True)
class Amounts:
    """What a plan takes, by arithmetic alone; fields as in `DescalePlan`."""

    acid_needed_g: float
    acid_g: float
    solution_l: float
    passes: int
    load_g_l: float
    rinse_l: float
    residual_acid_g_l: float


def amounts(scale_g: float, volume_l: float, acid: Acid, strength_percent: float) -> Amounts:
    """Acid, solution, passes and rinse for a mass of scale [g] in a boiler [L], at a strength [% w/v].

    >>> from scalemodel.descaling.acid import ACIDS
    >>> a = amounts(20.0, 0.75, ACIDS["citric-monohydrate"], 5.0)
    >>> a.passes, a.solution_l, a.acid_g, round(a.acid_needed_g, 1), a.rinse_l
    (3, 2.25, 112.5, 84.0, 5.25)
    """
    needed = acid_for(acid, scale_g)
    passes = passes_for(needed, volume_l, strength_percent)
    solution, start = passes * volume_l, grams_per_litre(strength_percent)
    rinse = rinse_for(start, volume_l, acid.residue_limit_g_l)
    return Amounts(
        needed, start * solution, solution, passes, scale_g / solution, rinse, flushed(start, rinse, volume_l)
    )


def plan_descale(forecast: Forecast, acid: str | None = None, strength_percent: float | None = None) -> DescalePlan:
    """The plan for a boiler's scale as on ``as_of``.

    Parameters
    ----------
    forecast : Forecast
        Of the reference surface.
    acid : str, optional
        A key of `acid.ACIDS`.
    strength_percent : float, optional
        Strength of the solution [% w/v].

    Raises
    ------
    UnknownNameError, BadValueError
        For another acid, a strength outside the limits, or a forecast of another site.
    """
    facts, chosen, strength = forecast.posterior.facts, find_acid(acid), check_strength(strength_percent)
    scale = scale_mass(forecast)
    boiler = facts.boiler
    takes = amounts(scale.p90, boiler.volume_l, chosen, strength)
    return DescalePlan(
        boiler.boiler,
        facts.as_of,
        boiler.volume_l,
        scale,
        chosen,
        takes.acid_needed_g,
        takes.acid_g,
        takes.solution_l,
        strength,
        takes.passes,
        takes.load_g_l,
        takes.rinse_l,
        takes.residual_acid_g_l,
        steps_of(boiler.boiler, boiler.volume_l, chosen, strength, takes, scale.p90),
        cautions(facts, chosen, takes.load_g_l),
    )


HARDLY_ANY_G = 0.005
"""Less scale than this is none to speak of."""


def summary(plan: DescalePlan) -> tuple[str, ...]:
    """What the plan takes and why, a sentence or two each."""
    p, scale, acid = plan, plan.scale_g, plan.acid
    on_paper, spent = (scale.p90 / caco3_per_g(acid, protons) for protons in (acid.protons, acid.usable))
    lesser = (
        ""
        if acid.usable == acid.protons
        else (
            f" on paper and {figure(spent)} g in practice, as bicarbonate stops it "
            f"after {acid.usable} of its {acid.protons} protons"
        )
    )
    factor = SAFETY * acid.protons / acid.usable
    one = (
        "One pass suffices: one filling holds all of that."
        if p.one_pass_suffices
        else f"One pass does not suffice: a filling holds {figure(p.acid_g / p.passes)} g, so {p.passes} are needed."
    )
    why = (
        f"{figure(scale.p90)} g of scale takes {figure(on_paper)} g of it{lesser}; with a safety factor "
        f"of {SAFETY:g} that is {figure(p.acid_needed_g)} g, {factor:g} times the need on paper. And the boiler is "
        "filled whole at the full strength."
    )
    if scale.p90 < HARDLY_ANY_G:
        now = "none to speak of, so a descale would gain nothing"
        why = "the scale hardly takes any of it, but the boiler is filled whole at the full strength."
    else:
        now = (
            f"about {figure(scale.mean, 2)} g; eight chances in ten that it is {figure(scale.p10, 2)} to "
            f"{figure(scale.p90, 2)} g"
        )
    return (
        f"Scale now, taken as calcium carbonate: {now}.",
        f"Acid: {figure(p.acid_g)} g of {acid.words} in {figure(p.solution_l)} L, {p.strength_percent:g} % w/v.",
        f"Why so much: {why}",
        one,
        f"Rinse: {figure(p.rinse_l)} L or more, which leaves at most {figure(p.residual_acid_g_l)} g/L of acid (limit "
        f"{acid.residue_limit_g_l:g} g/L).",
    )


def steps_of(
    name: str, volume_l: float, acid: Acid, strength_percent: float, takes: Amounts, scale_p90_g: float
) -> tuple[Step, ...]:
    """Every step, in order, with the commands that record what was seen and done."""
    return (
        *before_steps(name),
        *bath_steps(volume_l, acid, strength_percent, takes, scale_p90_g),
        *rinse_steps(volume_l, acid, strength_percent, takes),
        *after_steps(name, acid, takes),
    )


def before_steps(name: str) -> tuple[Step, ...]:
    """Making it safe, and the look before."""
    look = f"scalemodel add inspection {quoted(name)}"
    return (
        Step("Read the cautions above and the maker's instructions. Find out which metals the acid will touch."),
        Step(
            "Switch off, unplug or isolate from the mains, shut the water. Let it cool below 40 C and lose its "
            "pressure. Then drain it."
        ),
        Step(
            "Look inside and record what you see, before any acid (how: scalemodel inspection-guide). DATE as "
            "2026-11-01, GRADE as 2 or 1-2:",
            ((look, "DATE GRADE"),),
        ),
        Step("Take out or bypass the water filter, softener or cartridge, and whatever the maker keeps from acid."),
    )


def bath_steps(
    volume_l: float, acid: Acid, strength_percent: float, takes: Amounts, scale_p90_g: float
) -> tuple[Step, ...]:
    """Mixing, filling, waiting and draining."""
    each = figure(volume_l * grams_per_litre(strength_percent))
    volume = figure(volume_l)
    pumped = max(PUMP_PASSES, takes.passes)
    mixing = f"weigh {each} g of {acid.words} and make it up to {volume} L" + (
        f", once for each of the {takes.passes} passes" if takes.passes > 1 else ""
    )
    again = (
        f"Do steps 6 to 9 in all {takes.passes} times, with fresh solution each time. A fresh pass that raises no "
        "bubbles finds no more scale: go on to the rinse."
        if takes.passes > 1
        else "If it was still bubbling when you drained it, do steps 6 to 9 once more, with fresh solution."
    )
    if takes.passes > MANY_PASSES:
        again += " That is a lot of passes: a higher --strength needs fewer, and a strip-down may be quicker."
    return (
        Step(
            f"Mix outside the boiler, with water of about {MIXING_C} C, acid into water: {mixing}. Never above "
            f"{HOTTEST_C} C (why: see the cautions)."
        ),
        Step(
            f"Heater off, one outlet open for the gas (up to {figure(scale_p90_g * CO2_ML_PER_G / 1000.0)} L): fill "
            f"the boiler with {volume} L, slowly, as it foams."
        ),
        Step(
            "If a vibration pump must fill it, or it cannot be drained first (the water in it weakens the acid): make "
            f"{figure(pumped * volume_l)} L with {figure(pumped * volume_l * grams_per_litre(strength_percent))} g "
            f"instead and pump it in {pumped} passes of {volume} L, with {DWELL_MINUTES} minutes' rest after each, for "
            "the pump too (common practice, no source)."
        ),
        Step(
            f"Draw a little through every outlet that the boiler feeds, then let it work {DWELL_MINUTES} minutes, warm "
            "but with the heater off."
        ),
        Step(
            "Take a spoonful out: with a pinch of baking soda it must still fizz. If it does not, the acid is spent "
            "and this pass did not suffice. Either way drain it now, through every outlet."
        ),
        Step(again),
    )


def rinse_steps(volume_l: float, acid: Acid, strength_percent: float, takes: Amounts) -> tuple[Step, ...]:
    """Rinsing, the fizz check, and tasting only where the acid is a food acid."""
    start = grams_per_litre(strength_percent)
    taste = (
        "Only now, only if the acid you used is food grade, and not if the bath came out blue or green: taste the cool "
        "water. Sour means rinse on."
        if acid.food_grade
        else "Never taste the water: this acid is no food. Rinse twice as much if in doubt."
    )
    return (
        Step(
            f"Rinse with at least {figure(takes.rinse_l)} L of fresh water, through every outlet. Flow thins the acid "
            f"by c = c0 exp(-V/V0): from {figure(start)} g/L in V0 = {figure(volume_l)} L to "
            f"{figure(takes.residual_acid_g_l)} g/L, within the limit of {acid.residue_limit_g_l:g} g/L. Drain in "
            "between: that only rinses better."
        ),
        Step(
            "Fizz check at every outlet: a spoonful of baking soda in a cup of its water. Any fizz means rinse on. But "
            f"fizz shows only from about {FIZZ_G_L:g} g/L on, so no fizz is no reason to rinse with less."
        ),
        Step(taste),
    )


def after_steps(name: str, acid: Acid, takes: Amounts) -> tuple[Step, ...]:
    """The look after, the spent acid, the first heating, and what to record."""
    look = f"scalemodel add inspection {quoted(name)}"
    descale = f"scalemodel add descale {quoted(name)}"
    entry = (descale, "DATE", f"--acid {acid.kind}", f"--acid-g {figure(takes.acid_g)}")
    return (
        Step(
            "Look inside again while it is open and cold, and record it; this tells what the descale left:",
            ((look, "DATE GRADE", "--after-descale"),),
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
