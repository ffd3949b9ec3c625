"""The account behind a date, in words: what was assumed, what the boiler has shown, what people should hear first."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from scalemodel.decision.forecast import Forecast
from scalemodel.logbook.presumed import presumed
from scalemodel.logbook.records import BoilerFacts, Inspection
from scalemodel.model.grading import grade_threshold
from scalemodel.model.priors import GRADE_WORDS
from scalemodel.model.use import MONTH_NAMES, UsePlan
from scalemodel.wording import counted, figure, gathered, percent

if TYPE_CHECKING:
    from scalemodel.decision.deferral import Deferral
    from scalemodel.inference.draws import Posterior

FEW_LOOKS = 3
"""With fewer looks than this since the last descale, the evidence is called thin."""

R_HAT_LIMIT = 1.05

DOUBT = 0.5
"""A look more probably a slip than not is named, so that nobody is misled by it or by its being set aside."""


def assumptions_of(forecast: Forecast) -> tuple[str, ...]:
    """Every assumption behind a forecast, a sentence each."""
    posterior, plan = forecast.posterior, forecast.plan
    line = posterior.model.timeline
    said = [
        *presumed(posterior.facts),
        f"from now on: {plan.water} at {figure(plan.use.litres_per_day)} L a day ({plan.use.source})"
        + (f", give or take {plan.use.log_sd:.0%}" if plan.use.litres_per_day else ""),
    ]
    if line.unrecorded_days:
        said.append(
            f"{counted(line.unrecorded_days, 'day')} without a record of use: "
            f"filled at {figure(line.plan.litres_per_day)} L a day "
            f"({line.plan.source})"
        )
    said += line.notes
    said += use_sentences(plan.use, posterior.facts.as_of)
    if posterior.facts.boiler.start == "unknown":
        said.append("history before the first record unknown: some deposit was taken as likely at the start")
    supplies = {**posterior.supplies, plan.water: plan.supply}
    said += gathered((water, text) for water, supply in supplies.items() for text in supply.analysis.assumptions)
    return tuple(said)


def use_sentences(use: UsePlan, as_of: date) -> list[str]:
    """What was assumed of absences and seasons."""
    said = []
    gone = sum(max(0, (min(a.to_date, as_of) - a.from_date).days) for a in use.absences)
    if gone:
        said.append(f"{counted(gone, 'day')} of absence so far: nothing drawn where no use is on record")
    ahead = [f"from {max(a.from_date, as_of)} until {a.to_date}" for a in use.absences if a.to_date > as_of]
    if ahead:
        said.append(f"absence ahead, with nothing drawn: {', '.join(ahead)}")
    if use.season is not None:
        (least, low), (most, high) = ((f(use.season), use.season.index(f(use.season))) for f in (min, max))
        said.append(
            f"use by season, as more than two years on record have it: {MONTH_NAMES[low]} {least:.0%} of the mean, "
            f"{MONTH_NAMES[high]} {most:.0%}"
        )
    return said


def grade_words(look: Inspection) -> str:
    """A look's grade as people say it.

    >>> from datetime import date
    >>> grade_words(Inspection("k", date(2026, 1, 1), "wall", 1, 2))
    'grade 1 to 2'
    """
    if look.grade_low == look.grade_high:
        return f"grade {look.grade_low} ({GRADE_WORDS[look.grade_low]})"
    if look.grade_high == len(GRADE_WORDS) - 1:
        return f"grade {look.grade_low} or worse"
    return f"grade {look.grade_low} to {look.grade_high}"


def looks_since_descale(facts: BoilerFacts) -> list[Inspection]:
    """The looks that bear on the present deposit: since the last descale, or all."""
    if not facts.descales:
        return list(facts.inspections)
    last = facts.descales[-1].date
    return [i for i in facts.inspections if i.date > last or (i.date == last and i.after_descale)]


def evidence_of(facts: BoilerFacts) -> tuple[str, ...]:
    """What the boiler has shown so far, a sentence each; the last says so when that is thin."""
    said, recent = [], looks_since_descale(facts)
    if facts.descales:
        last = facts.descales[-1]
        said.append(f"{counted(len(facts.descales), 'descale')} on record, the last on {last.date} ({last.scope})")
    else:
        said.append("no descale on record")
    since = " since" if facts.descales else ""
    for site in dict.fromkeys(i.site for i in recent):
        at_site = [i for i in recent if i.site == site]
        thickness = "" if at_site[-1].thickness_um is None else f", {at_site[-1].thickness_um:g} um thick"
        said.append(
            f"{counted(len(at_site), 'look')} at the {site}{since}, "
            f"the last on {at_site[-1].date}: {grade_words(at_site[-1])}{thickness}"
        )
    if not facts.inspections:
        said.append(
            "thin evidence: nobody has looked inside yet, so the date rests on the water and on what is usual; "
            "one look would sharpen it"
        )
    elif len(recent) < FEW_LOOKS:
        count = "no look" if not recent else f"only {counted(len(recent), 'look')}"
        said.append(
            f"thin evidence: {count}{' since the last descale' if facts.descales else ' so far'}; "
            "another would sharpen the date"
        )
    return tuple(said)


class SetAside(NamedTuple):
    """A look that counts as a slip of the pen: the state of the timeline that it saw, and its chance to be one."""

    state: int
    look: Inspection
    chance: float


def find_set_aside(posterior: Posterior) -> list[SetAside]:
    """The looks that disagree with all else so flatly that they count as slips of the pen."""
    model = posterior.model
    weighed = zip(model.telling_looks, model.lapse_chances(posterior.x), strict=True)
    return [SetAside(state, look, chance) for (state, look), (_, chance) in weighed if chance > DOUBT]


def doubted_sentences(set_aside: list[SetAside]) -> tuple[str, ...]:
    """Each look that was set aside, a sentence each."""
    return tuple(
        f"doubted: the look at the {look.site} on {look.date}, {grade_words(look)}, disagrees with everything else "
        f"on record and is probably a slip ({chance:.0%}), so it hardly counts; look again, or amend what is wrong"
        for _, look, chance in set_aside
    )


def unanswered_alarms(posterior: Posterior, set_aside: list[SetAside]) -> tuple[str, ...]:
    """Looks set aside that show more scale than all else says and that no later look at their site has answered.

    A slip costs nothing to check; a true one that is set aside costs a strip-down. So people hear of it first.
    """
    return tuple(
        f"Look again first: the look at the {look.site} on {look.date}, {grade_words(look)}, was set aside as "
        "a probable slip. If it is right, do not wait."
        for state, look, _ in set_aside
        if _shows_more(posterior, state, look) and not _is_answered(posterior.facts, look)
    )


def _shows_more(posterior: Posterior, state: int, look: Inspection) -> bool:
    """Whether a look's grade begins above the deposit that is likely at its site."""
    likely = np.median(posterior.deposits[state])
    if look.site != posterior.facts.reference_site:
        likely *= np.exp(np.median(posterior.model.value(f"relative {look.site}", posterior.x)))
    return look.grade_low > 0 and grade_threshold(look.grade_low) > likely


def _is_answered(facts: BoilerFacts, look: Inspection) -> bool:
    """Whether somebody has looked there since."""
    return any(later.site == look.site and later.date > look.date for later in facts.inspections)


def first_sentences(answer: Deferral) -> tuple[str, ...]:
    """The answer as people should hear it: the date, the risk now, when it would probably pass, how sure."""
    name, horizon = answer.boiler, counted(answer.horizon_days, "day")
    if answer.defer_until is not None:
        days = counted((answer.defer_until - answer.as_of).days, "day")
        head = f"{name}: the descale can wait until {answer.defer_until} ({days})."
    elif answer.reason.startswith("already past"):
        head = f"{name}: do not defer; the tolerance is already passed. Look inside, or descale now."
    else:
        head = f"{name}: no descale is due within {horizon}."
    said = [head, *answer.alarms]
    said.append(
        f"Risk that scale at the {answer.site} has reached {answer.threshold_words} today: {percent(answer.risk_now)}; "
        f"you accept {percent(answer.tolerance)}."
    )
    p10, p50, p90 = (answer.crossing[k] for k in ("p10", "p50", "p90"))
    if p50 is None:
        said.append(f"It would probably not reach it within {horizon}.")
    else:
        said.append(
            "It has probably reached it already."
            if p50 == answer.as_of
            else f"It would probably reach it around {p50}."
        )
    early = "already now" if p10 == answer.as_of else f"by {p10}"
    late = f"not within {horizon}" if p90 is None else "already now" if p90 == answer.as_of else f"by {p90}"
    if p10 is not None:
        said.append(f"How sure: one chance in ten {early}, nine in ten {late}.")
    if answer.mc_error_days is not None:
        moved = counted(max(1, round(answer.mc_error_days)), "day")
        said.append(f"Another run of the same records would move the date by about {moved}.")
    if answer.engine.capped or not answer.engine.r_hat <= R_HAT_LIMIT:
        said.append(
            "Caution: the sampler did not settle as it should (very many looks can do that); "
            "compare another --seed before you lean on the date."
        )
    return tuple(said)
