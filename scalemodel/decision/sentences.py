"""What the decisions come to in words for people: deferrals, looks, costs, waters, and what is not on record."""

from __future__ import annotations

from datetime import date
from shlex import quote
from typing import TYPE_CHECKING

from scalemodel.decision.inspection_value import contradicting
from scalemodel.wording import counted, figure

if TYPE_CHECKING:
    from scalemodel.decision.cost import Cost, LeastCost
    from scalemodel.decision.deferral import Deferral, DepositNow
    from scalemodel.decision.inspection_value import Finding, LookOption, NextInspection
    from scalemodel.decision.water_plan import WaterOption
    from scalemodel.logbook.records import BoilerFacts

HARDLY = 0.02
"""A grade less likely than this is left out of the sentence."""


def deadline(answer: Deferral) -> date:
    """What orders boilers by urgency: past ones first, those beyond the horizon last."""
    if answer.defer_until is not None:
        return answer.defer_until
    return date.min if answer.reason.startswith("already past") else date.max


def verdict(answer: Deferral) -> str:
    """A deferral in a few words."""
    if answer.defer_until is not None:
        days = (answer.defer_until - answer.as_of).days
        return f"{answer.defer_until} ({counted(days, 'day')})"
    return "do not defer" if answer.reason.startswith("already past") else f"beyond {answer.horizon_days} days"


def deposit_words(site: str, deposit: DepositNow) -> str:
    """The deposit now, as a middle and a range [mg/cm2]."""
    if deposit.p90 < 0.01:
        return f"deposit at the {site} now: none to speak of"
    return (
        f"deposit at the {site} now: about {figure(deposit.p50, 2)} mg/cm2 "
        f"(eight in ten between {figure(deposit.p10, 2)} and {figure(deposit.p90, 2)})"
    )


def next_look_words(boiler: str, look: LookOption | None) -> str:
    """The look that is worth its trouble next, in a line; ``boiler`` as a shell takes its name."""
    if look is None:
        return "No look is worth its trouble before you decide."
    return (
        f"Next look worth its trouble: the {look.site}, by {look.method}, around {look.date} "
        f"(scalemodel next-inspection {boiler})."
    )


def amount(value: float, priced: bool) -> str:
    """A worth in words: money as the owner counts it, or descales.

    >>> amount(0.304, False), amount(12.0, True)
    ('0.30 descales', '12.00')
    """
    return f"{value:.2f}" if priced else f"{value:.2f} descales"


def look_sentences(answer: NextInspection) -> list[str]:
    """The best look, what it may show and decide, and the plan without it."""
    if answer.best is None:
        head = f"{answer.boiler}: no look is worth its trouble now; none would save much more than it costs."
        return [head, *without_words(answer)]
    best = answer.best
    cost = f", its cost {amount(best.cost, answer.priced)}" if best.cost > 0.0 else ""
    return [
        f"{answer.boiler}: look at the {best.site} by {best.method} around {best.date}: "
        f"it is worth about {amount(best.value, answer.priced)}{cost}.",
        likely_words(answer),
        *without_words(answer),
    ]


def act_words(finding: Finding, answer: NextInspection) -> str:
    """What the owner would do on a grade."""
    if finding.grade in contradicting(answer.findings):
        return "look again: it would contradict all else"
    if finding.descale_on is None:
        return "no descale within the horizon"
    return "descale at once" if finding.descale_on <= answer.best.date else f"wait until about {finding.descale_on}"


def likely_words(answer: NextInspection) -> str:
    """The likely findings, then what to do on each, grades that lead to the same act together."""
    likely = [f for f in answer.findings if f.probability >= HARDLY]
    shown = ", ".join(f"grade {f.grade} {f.probability:.0%}" for f in likely)
    acts: dict[str, list[str]] = {}
    for finding in likely:
        acts.setdefault(act_words(finding, answer), []).append(str(finding.grade))
    said = "; ".join(f"on grade {' or '.join(grades)} {act}" for act, grades in acts.items())
    return f"Likely findings: {shown}. Then {said}."


BY_STAKES = "These days weigh what a descale and a strip-down cost; how long a descale can wait goes by the risk alone."
"""The plans of a look need not agree with the deferral: said wherever they stand."""


def without_words(answer: NextInspection) -> tuple[str, ...]:
    """The plan without a look, and by what it goes."""
    if answer.descale_on is None:
        plan = "no descale within the horizon"
    else:
        plan = "descale now" if answer.descale_on == answer.as_of else f"descale around {answer.descale_on}"
    said = f"Without a look: {plan}."
    return (said,) if answer.descale_on is None and answer.best is None else (said, BY_STAKES)


def cost_words(boiler: str, least: LeastCost | Cost) -> str:
    """The age at which a descale costs least, in a line; ``boiler`` as a shell takes its name."""
    total = f"about {figure(least.cost_a_year)} a year"
    if least.best_age_days is None:
        said = f"By the prices on record no fixed age pays: waiting for the threshold costs least, {total}"
    else:
        said = f"By the prices on record a descale every {least.best_age_days:.0f} days costs least, {total}"
    return f"{said} (scalemodel cost {boiler})."


def due_words(answer: Cost) -> str:
    """When the next descale is due by its age."""
    since = f"the last full one was on {answer.last_descale}" if answer.last_descale else "there was no full one yet"
    if answer.best_date <= answer.as_of:
        return f"By that age the next is due now: {since}."
    return f"By that age the next is due around {answer.best_date}: {since}."


def ages_words(low: float, high: float | None) -> str:
    """A stretch of ages as the beginning of a sentence.

    >>> ages_words(160.2, 290.0), ages_words(160.2, None)
    ('Every 160 to 290 days costs', 'Every 160 days or more costs')
    """
    return f"Every {low:.0f} days or more costs" if high is None else f"Every {low:.0f} to {high:.0f} days costs"


def interval_words(option: WaterOption) -> str:
    """How often a descale is due."""
    return "not within twenty years" if option.interval_days is None else f"every {option.interval_days} days"


def unpriced_sites(facts: BoilerFacts) -> str | None:
    """What to record so that looks are weighed by what they cost, in a line; None where all of it is on record."""
    name = quote(facts.boiler.boiler)
    if not facts.sites:
        return (
            "No place to look but the wall is on record; if there is one that is easier to see: "
            f"scalemodel new site {name} chamber --look-cost 2."
        )
    blank = [site.site for site in facts.sites if site.look_cost is None]
    if not blank:
        return None
    return (
        f"What a look at the {', the '.join(blank)} costs is not on record; amend it (scalemodel history {name} "
        "shows the number): scalemodel amend NUMBER look_cost=2."
    )


RESIDUES_SHOWN = 2
"""`defer` says what the last descales left; `history` says it of all."""


def residue_sentences(answer: Deferral) -> list[str]:
    """What the last descales left, newest last; where there are more, that history shows them."""
    said = [one.words for one in answer.residue[-RESIDUES_SHOWN:]]
    if len(answer.residue) > RESIDUES_SHOWN:
        said.insert(0, f"what earlier descales left: scalemodel history {quote(answer.boiler)}")
    return said
