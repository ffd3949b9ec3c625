"""The descaling plan of one boiler: how much scale, what that takes and why, and what to do, step by step."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from scalemodel.decision.forecast import Forecast
from scalemodel.decision.middle import EIGHT_TENTHS
from scalemodel.descaling.acid import (
    CITRATE_LIMIT_G_L,
    FIZZ_G_L,
    LEAST_STRENGTH,
    SAFETY,
    USUAL_STRENGTH,
    Acid,
    caco3_per_g,
    check_strength,
    find_acid,
    grams_per_litre,
)
from scalemodel.descaling.cautions import cautions
from scalemodel.descaling.filling import (
    KEPT_SHARE,
    Amounts,
    Filling,
    amounts,
    check_fill,
    find_filling,
    nothing,
)
from scalemodel.descaling.narrow_layout import Step
from scalemodel.descaling.steps import bare_steps, steps_of
from scalemodel.errors import BadValueError
from scalemodel.frames import flat
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.grading import grading_of
from scalemodel.model.priors import GRADE_WORDS
from scalemodel.wording import counted, figure


@dataclass(frozen=True)
class ScaleMass:
    """Scale in the boiler on ``as_of`` [g]: the draws' mean and their 10 % and 90 % points."""

    mean: float
    p10: float
    p90: float


@dataclass(frozen=True, repr=False)
class DescalePlan:
    """How to descale one boiler.

    Attributes
    ----------
    boiler, as_of, site : str, date, str
        ``site`` is the reference surface, whose deposit the scale is reckoned from.
    volume_l, area_cm2 : float [L], [cm2]
    scale_g : ScaleMass
    acid : Acid
    takes : Amounts
        For the scale at its 90 % point; nothing at all where that is bare metal.
    filling_assumed : bool
        Whether the way of filling was taken from the volume, as nobody said it.
    steps : tuple of Step
    cautions : tuple of str
    bare_mg_cm2 : float
        Below this a careful eye sees bare metal; where the scale at its 90 % point is less, nothing is to be done.
    """

    boiler: str
    as_of: date
    site: str
    volume_l: float
    area_cm2: float
    scale_g: ScaleMass
    acid: Acid
    takes: Amounts
    filling_assumed: bool
    steps: tuple[Step, ...]
    cautions: tuple[str, ...]
    bare_mg_cm2: float

    def __repr__(self) -> str:
        takes = f"{self.takes.acid_g:g} g of {self.acid.kind}, {self.takes.passes} x {self.takes.fill_l:g} L"
        return f"<DescalePlan of {self.boiler!r} as of {self.as_of}: {takes}, {len(self.steps)} steps>"

    def to_frame(self):
        """The plan as a pandas DataFrame of one row, every field; ``steps`` is one text."""
        return flat([self])


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
    grams = forecast.deposit_draws(0) / forecast.relative * facts.boiler.wetted_area_cm2 / 1000.0
    return ScaleMass(float(grams.mean()), *map(float, np.quantile(grams, EIGHT_TENTHS[::2])))


@dataclass(frozen=True)
class Wishes:
    """How a boiler is to be descaled, checked: acid, strength [% w/v], way of filling, litres of a pass [L]."""

    acid: Acid
    strength_percent: float | None
    filling: Filling
    fill_l: float
    filling_assumed: bool


def check_wishes(
    facts: BoilerFacts,
    acid: str | None = None,
    strength_percent: float | None = None,
    filled_by: str | None = None,
    fill_l: float | None = None,
) -> Wishes:
    """What was asked for, or what is usual for the boiler, before anything is solved.

    Parameters
    ----------
    facts : BoilerFacts
    acid : str, optional
        A key of `acid.ACIDS`.
    strength_percent : float, optional
        Strength of the solution [% w/v]; without it the scale decides.
    filled_by : str, optional
        A key of `filling.FILLINGS`; without it the boiler's record decides, else its volume.
    fill_l : float, optional
        Litres that a bath fills, by hand [L]; without it the boiler's volume.

    Raises
    ------
    UnknownNameError, BadValueError
        For another acid or way of filling, or for a strength or a filling outside the limits.
    """
    volume = facts.boiler.volume_l
    filled_by = facts.boiler.filled_by if filled_by is None else filled_by
    filling = find_filling(filled_by, volume)
    return Wishes(
        find_acid(acid),
        check_strength(strength_percent),
        filling,
        check_fill(fill_l, volume, filling),
        filled_by is None,
    )


def plan_descale(forecast: Forecast, wishes: Wishes | None = None) -> DescalePlan:
    """The plan for a boiler's scale as on ``as_of``, from a forecast of the reference surface; else BadValueError.

    Without ``wishes``, by what is usual for the boiler.
    """
    facts = forecast.posterior.facts
    wishes = check_wishes(facts) if wishes is None else wishes
    scale, boiler, site = scale_mass(forecast), facts.boiler, facts.reference_site
    bare = grading_of(facts.beliefs).threshold(1)
    if 1000.0 * scale.p90 / boiler.wetted_area_cm2 < bare:
        takes = nothing(boiler.volume_l, wishes.filling, scale.p90)
        steps = bare_steps(boiler.boiler, site)
    else:
        takes = amounts(scale.p90, boiler.volume_l, wishes.acid, wishes.filling, wishes.strength_percent, wishes.fill_l)
        steps = steps_of(boiler.boiler, site, wishes.acid, takes)
    return DescalePlan(
        boiler.boiler,
        facts.as_of,
        site,
        boiler.volume_l,
        boiler.wetted_area_cm2,
        scale,
        wishes.acid,
        takes,
        wishes.filling_assumed,
        steps,
        cautions(facts, wishes.acid, takes.load_g_l),
        bare,
    )


def summary(plan: DescalePlan) -> tuple[str, ...]:
    """What the plan takes and the arithmetic behind it, a sentence or two each."""
    if plan.takes.nothing_to_do:
        return (
            scale_words(plan),
            f"Nothing to descale. Even the upper end is less than a careful eye sees ({GRADE_WORDS[0]}, below "
            f"{plan.bare_mg_cm2:g} mg/cm2): acid would gain nothing and wear the metal. If you see scale, record the "
            "look and ask again.",
        )
    return (
        scale_words(plan),
        amount_words(plan),
        *reckoning(plan),
        bath_words(plan),
        *load_words(plan),
        rinse_words(plan),
    )


def scale_words(plan: DescalePlan) -> str:
    """How much scale, and which surface tells so."""
    scale = plan.scale_g
    return (
        f"Scale now, taken as calcium carbonate: about {figure(scale.mean, 2)} g; eight chances in ten that it is "
        f"{figure(scale.p10, 2)} to {figure(scale.p90, 2)} g. That is the deposit on {plan.site}, taken as the same "
        f"all over the {plan.area_cm2:.0f} cm2 that water wets."
    )


def amount_words(plan: DescalePlan) -> str:
    """The one amount."""
    t = plan.takes
    shared = "one filling" if t.passes == 1 else f"{t.passes} fillings of {figure(t.fill_l)} L"
    return (
        f"Acid: {figure(t.acid_g)} g of {plan.acid.words} in {figure(t.solution_l)} L, {figure(t.strength_percent)} % "
        f"w/v, {shared}."
    )


def reckoning(plan: DescalePlan) -> tuple[str, ...]:
    """How the acid follows from the scale, from the way of filling and from the least strength that works."""
    t, acid = plan.takes, plan.acid
    spent = (
        f" (bicarbonate stops it after {acid.usable} of its {acid.protons} protons)"
        if acid.usable < acid.protons
        else ""
    )
    each = figure(1.0 / caco3_per_g(acid, acid.usable))
    said = [
        f"Scale asks for, at its upper end: {figure(t.scale_g)} g x {each} g/g{spent} x "
        f"{SAFETY:g} for safety = {figure(t.acid_needed_g)} g."
    ]
    if t.filling.stays < 1.0:
        said.append(
            f"A pump pushes new into old, and of each filling about {t.filling.stays:.0%} stays (1 - 1/e, stirred): "
            f"{figure(t.acid_needed_g)} g / {t.filling.stays:.2f} = {figure(t.acid_needed_g / t.filling.stays)} g."
        )
    if t.passes > t.filling.least_passes:
        strength = USUAL_STRENGTH if t.asked_percent is None else t.asked_percent
        said.append(
            f"A filling of {figure(t.fill_l)} L at {figure(strength)} % w/v holds "
            f"{figure(t.fill_l * grams_per_litre(strength))} g, so it takes {t.passes}."
        )
    if t.asked_percent is not None:
        said.append(f"Every filling is as strong as you asked for, {figure(t.asked_percent)} % w/v.")
    elif t.floor_g > t.acid_needed_g / t.filling.stays:
        thinned = "" if t.filling.stays == 1.0 else f" / {t.filling.stays:.2f}, as the first filling is thinned"
        said.append(
            f"A bath that works asks for more: {figure(t.solution_l)} L x {grams_per_litre(LEAST_STRENGTH):g} g/L"
            f"{thinned} = {figure(t.floor_g)} g. Once scale and hard water have spent theirs, a "
            f"weaker one may hold less than the {FIZZ_G_L:g} g/L that show by fizzing: nobody could tell whether it is "
            "spent."
        )
    return tuple(said)


def bath_words(plan: DescalePlan) -> str:
    """How the boiler is filled, whose word that is, and how far."""
    t, other = plan.takes, "hand" if plan.takes.filling.kind == "pump" else "pump"
    assumed = (
        f" (taken from its {figure(plan.volume_l)} L; if that is wrong, ask again with --filled-by {other} "
        f"or amend the boiler with filled_by={other})"
        if plan.filling_assumed
        else ""
    )
    if t.filling.kind == "pump":
        return f"Filled by its pump{assumed}."
    if t.fill_l < plan.volume_l:
        return (
            f"Filled by hand{assumed}, to {figure(t.fill_l)} of {figure(plan.volume_l)} L: only where no scale sits "
            "higher and the maker allows it."
        )
    return (
        f"Filled by hand{assumed}, to the line where water stands in use: scale grows as high as that. If you see that "
        "it ends lower, and the maker allows a lower filling, --fill-to with its litres takes less."
    )


def load_words(plan: DescalePlan) -> tuple[str, ...]:
    """Whether what dissolves could come out again, for acids whose calcium salt hardly dissolves."""
    load = plan.takes.load_g_l
    if not plan.acid.citrate:
        return ()
    if load <= CITRATE_LIMIT_G_L:
        return (
            f"Calcium citrate: at most {figure(load, 2)} g/L of scale dissolves; even spent water holds "
            f"{CITRATE_LIMIT_G_L:g}.",
        )
    return (
        f"Calcium citrate: up to {figure(load, 2)} g/L of scale dissolves; spent water would hold only "
        f"{CITRATE_LIMIT_G_L:g}. The safety factor keeps half of the acid or more: let no filling stay longer than the "
        "steps say, so that it leaves sour.",
    )


def rinse_words(plan: DescalePlan) -> str:
    """How often to rinse, by the law that holds for the way of filling."""
    t, start = plan.takes, figure(plan.takes.start_g_l)
    reached = f"{figure(t.residual_acid_g_l)} g/L, within the limit of {plan.acid.residue_limit_g_l:g} g/L."
    whole = f"Rinse: {counted(t.rinses, 'filling')} of {figure(plan.volume_l)} L, {figure(t.rinse_l)} L"
    if t.filling.kind == "pump":
        return f"{whole}, pumped through: c = c0 exp(-V/V0), {start} g/L x exp(-{t.rinses}) = {reached}"
    return (
        f"{whole}, each drained; a tenth may stay behind: c = c0 h^n, {start} g/L x {KEPT_SHARE:g}^{t.rinses} "
        f"= {reached}"
    )
