"""What the decisions come to in words for people: deferrals, looks, costs, waters, and what is not on record."""

from __future__ import annotations

from datetime import date
from shlex import quote
from typing import TYPE_CHECKING

from scalemodel.decision.horizon import LONGEST_INTERVAL_DAYS
from scalemodel.decision.inspection_value import LookReason
from scalemodel.decision.status import Status
from scalemodel.decision.water_sheet import LITRES
from scalemodel.wording import Sentence, counted, figure, joined
from scalemodel.words.account import residue_words
from scalemodel.words.answer import alarm_head, alarm_headline, answer_words
from scalemodel.words.change import change_short

if TYPE_CHECKING:
    from scalemodel.decision.cost import Cost
    from scalemodel.decision.deferral import Deferral, DepositNow
    from scalemodel.decision.inspection_value import LookOption, NextInspection, PossibleGrade
    from scalemodel.decision.water_plan import WaterOption
    from scalemodel.decision.water_sheet import WaterSheet
    from scalemodel.logbook.records import BoilerFacts

HARDLY = 0.02
"""A grade less likely than this is left out of the sentence."""


def verdict(answer: Deferral) -> str:
    """A deferral in a few words; of an alarm who saw what, where and when; and what has changed, if anything."""
    said = _verdict(answer)
    return said if answer.change is None else Sentence(said, "; ", change_short(answer.change))


def _verdict(answer: Deferral) -> str:
    match answer.status:
        case Status.LOOK_AGAIN:
            alarm = answer.alarms[0]
            return Sentence("look again now: ", alarm.seen, ", confirmed" if alarm.confirmed else "")
        case Status.PAST:
            return "do not defer"
        case Status.WITHIN:
            return wait_words(answer.defer_until, (answer.defer_until - answer.as_of).days)
    return f"beyond {counted(answer.horizon_days, 'day')}"


def wait_words(until: date, days: int, blank: str = " ") -> Sentence:
    """The last safe date and how far off it is; ``blank`` stands between the count and its days."""
    return Sentence(until, f" ({counted(days, 'day', blank)})")


def deposit_words(site: str, deposit: DepositNow) -> str:
    """The deposit now, as a middle and a range [mg/cm2]."""
    if deposit.p90 < 0.01:
        return f"deposit at the {site} now: none to speak of"
    return (
        f"deposit at the {site} now: about {figure(deposit.p50, 2)} mg/cm2 "
        f"(eight in ten between {figure(deposit.p10, 2)} and {figure(deposit.p90, 2)})"
    )


def next_look_words(boiler: str, answer: NextInspection) -> list[str]:
    """The next thing to do and why, and what each finding would mean; ``boiler`` as a shell takes its name."""
    more = f"(scalemodel next-inspection {boiler})"
    look = answer.best
    if look is None:
        return [f"{NO_LOOK[answer.status]} {more}."]
    next_look = Sentence(f"Next look: the {look.site}, by {look.method}, ", _when(answer))
    match answer.look_reason:
        case LookReason.ALARM:
            doubted = ", if you doubt what was seen" if answer.alarms[0].confirmed else ""
            return [Sentence(next_look, f"{doubted}. {answer_words(answer.alarms[0])}")]
        case LookReason.YEARLY:
            said = Sentence(next_look, f": {YEARLY} {more}.")
        case _:
            said = Sentence(next_look, f"; {_saves(look, answer)} {more}.")
    return [said, likely_words(answer)]


NO_LOOK = {
    Status.PAST: "No look would save more than it takes: descale, then look",
    Status.WITHIN: "Next look: at the descale; none before it would save more than it takes",
    Status.BEYOND: "No look would save more than it takes",
}
"""Where no look comes before the descale."""

YEARLY = "once a year at least, since what no model foresees only a look can show"


def _when(answer: NextInspection) -> str:
    """The day of the next look: about that day where it is worth most, by that day where it is due."""
    day = answer.best.date
    if day <= answer.as_of:
        return "today"
    return Sentence("by " if answer.look_reason is LookReason.YEARLY else "around ", day)


def _saves(look: LookOption, answer: NextInspection) -> str:
    """What a look that pays is worth, as days of waiting."""
    if answer.status is Status.PAST:
        return "it may show that the descale can wait after all"
    if answer.look_reason is LookReason.PAIR:
        days = waiting_words(look.pair_value, answer)
        return f"with one more after it, it lets the descale wait about {days} longer, on average, at the same risk"
    return f"it lets the descale wait about {waiting_words(look.value, answer)} longer, on average, at the same risk"


def waiting_words(value: float, answer: NextInspection) -> str:
    """A value as days of waiting, at least one."""
    return counted(max(1, round(value / answer.day_value)), "day")


def amount(value: float | None, answer: NextInspection) -> str:
    """A worth in words: money as the owner counts it, or days of waiting where there are no prices; a dash of None."""
    if value is None:
        return "-"
    return f"{value:.2f}" if answer.priced else f"{value / answer.day_value:.0f}"


def worth_words(value: float, answer: NextInspection) -> str:
    """A worth with its unit, as a clause."""
    return amount(value, answer) if answer.priced else f"{amount(value, answer)} days of waiting"


def amount_unit(answer: NextInspection) -> str:
    """In what values and costs of looks are told."""
    if answer.priced:
        return "money as the logbook has it"
    return "days by which the descale can wait longer at the same risk"


def asked_words(answer: NextInspection) -> list[str]:
    """Whether the look that was asked about pays, in a sentence; nothing where none was, or an alarm comes first."""
    look = answer.asked
    if look is None or answer.alarms:
        return []
    day = "today" if look.date <= answer.as_of else Sentence("around ", look.date)
    where = Sentence(f"{answer.boiler}: a look at the {look.site} by {look.method}, best ", day, ", ")
    worth = f"is worth about {worth_words(look.value, answer)}"
    if look.cost is None:
        said = f"{worth}; what it costs is not on record, so it pays if that is less to you"
    elif look.net > 2.0 * look.mc_error:
        said = f"pays: it {worth} and costs {worth_words(look.cost, answer)}"
    elif look.pair_net is not None and look.pair_net > 2.0 * look.pair_mc_error:
        said = f"pays only with one more after it: together they are worth about {worth_words(look.pair_value, answer)}"
    else:
        said = f"does not pay: it {worth} and costs {worth_words(look.cost, answer)}"
    return [Sentence(where, said, ".")]


def look_sentences(answer: NextInspection) -> list[str]:
    """The look that was asked about, if one was; the next look, what it may show and decide; the plan without it."""
    asked, best = asked_words(answer), answer.best
    if answer.look_reason is LookReason.ALARM:
        return [
            alarm_headline(answer.boiler, answer.alarms[0], answer.threshold_words),
            Sentence(f"Look at the {best.site} by {best.method} ", _when(answer), "."),
            answer_words(answer.alarms[0]),
        ]
    said = ["Do not defer: the risk is more than you accept."] if answer.status is Status.PAST else []
    if best is None:
        return _begun(asked, answer, [*said, f"{NO_LOOK[answer.status]}.", without_words(answer)])
    look = Sentence(f"look at the {best.site} by {best.method} ", _when(answer))
    look = Sentence("Descale now, or ", look, " first") if answer.status is Status.PAST else look.begun()
    if answer.look_reason is LookReason.YEARLY:
        said.append(Sentence(look, f": {YEARLY}."))
    else:
        value = best.pair_value if answer.look_reason is LookReason.PAIR else best.value
        told = [f"worth about {worth_words(value, answer)}"] if answer.priced else []
        told += [f"it costs {worth_words(best.cost, answer)}"] if best.cost > 0.0 else []
        aside = f" ({', '.join(told)})" if told else ""
        said.append(Sentence(look, f": {_saves(best, answer)}{aside}."))
    return _begun(asked, answer, [*said, likely_words(answer), without_words(answer)])


def _begun(asked: list[str], answer: NextInspection, said: list[str]) -> list[str]:
    """The sentences, the name of the boiler before the first of them."""
    if asked:
        return [*asked, *said]
    return [Sentence(f"{answer.boiler}: ", Sentence(said[0]).going_on()), *said[1:]]


def act_words(finding: PossibleGrade, answer: NextInspection) -> str:
    """What the owner would do on a grade."""
    if finding.alarm and answer.status.waits:
        return "look again at once, and do not wait"
    if finding.descale_on is None:
        return "no descale within the horizon"
    return (
        "descale at once"
        if finding.descale_on <= answer.best.date
        else Sentence("wait until about ", finding.descale_on)
    )


def likely_words(answer: NextInspection) -> str:
    """The likely findings, then what to do on each, grades that lead to the same act together."""
    likely = [f for f in answer.findings if f.probability >= HARDLY]
    shown = ", ".join(f"grade {f.grade} {f.probability:.0%}" for f in likely)
    acts: dict[str, list[str]] = {}
    for finding in likely:
        acts.setdefault(act_words(finding, answer), []).append(str(finding.grade))
    said = joined((Sentence(f"on grade {' or '.join(grades)} ", act) for act, grades in acts.items()), "; ")
    return Sentence(f"Likely findings: {shown}. Then ", said, ".")


def without_words(answer: NextInspection) -> str:
    """The plan without a look, and by what it goes."""
    if not answer.status.waits:
        return "Without a look: descale now."
    if answer.descale_on is None:
        return "Without a look: no descale within the horizon."
    when = "now" if answer.descale_on == answer.as_of else Sentence("on ", answer.descale_on)
    by_price = answer.defer_until is None or answer.descale_on < answer.defer_until
    why = "the cheapest day by the prices on record" if by_price else "the last day within what you accept"
    return Sentence("Without a look: descale ", when, f", {why}.")


def cost_sentences(answer: Cost) -> list[str]:
    """Whether the descale can wait; the age that costs least; this boiler's own day, which that age does not know.

    The boiler is not named, and the first sentence begins with a small letter, to stand behind its name.
    """
    total, age = f"about {figure(answer.cost_a_year)} a year", answer.best_age_days
    if age > answer.longest_age_days - 1 and answer.longest_age_days == LONGEST_INTERVAL_DAYS:
        said = [f"no descale within twenty years costs least in the long run, {total}."]
    else:
        most = ", the longest within what you accept," if age > answer.longest_age_days - 1 else ""
        said = [f"descaling every {age:.0f} days{most} costs least in the long run, {total}."]
    said.append(f"{ages_words(*answer.nearly_best_days)} within 5% of that.")
    if answer.alarms:
        first = alarm_head(answer.alarms[0], answer.threshold_words)
    elif answer.status is Status.PAST:
        first = "do not defer: the risk is more than you accept."
    else:
        return [*said, own_day_words(answer)]
    return [first, Sentence(said[0]).begun(), *said[1:], "That age is for descales to come."]


def own_day_words(answer: Cost) -> str:
    """This boiler's own day, by what it has shown."""
    cheapest = answer.cheapest_on
    said = ["This boiler, as it stands: "]
    if answer.defer_until is None:
        said.append("no descale is due within the horizon")
    else:
        said += ["the descale can wait until ", answer.defer_until]
        if cheapest == answer.defer_until:
            return Sentence(*said, ", and that is its cheapest day too.")
    if cheapest is not None:
        said += ["; cheapest on ", cheapest]
        if answer.waiting_costs is not None:
            said.append(f", and waiting until then costs about {figure(answer.waiting_costs, 2)} more")
    return Sentence(*said, ".")


def ages_words(low: float, high: float) -> str:
    """A stretch of ages as the beginning of a sentence.

    >>> ages_words(160.2, 290.0), ages_words(160.2, 7300.0), ages_words(7300.0, 7300.0)
    ('Every 160 to 290 days costs', 'Every 160 days or more costs', 'Every 20 years or more costs')
    """
    if low > LONGEST_INTERVAL_DAYS - 1:
        return f"Every {LONGEST_INTERVAL_DAYS // 365} years or more costs"
    if high > LONGEST_INTERVAL_DAYS - 1:
        return f"Every {low:.0f} days or more costs"
    return f"Every {low:.0f} to {high:.0f} days costs"


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
    said = [residue_words(one) for one in answer.residue[-RESIDUES_SHOWN:]]
    if len(answer.residue) > RESIDUES_SHOWN:
        said.insert(0, f"what earlier descales left: scalemodel history {quote(answer.boiler)}")
    return said


def water_sentences(sheet: WaterSheet) -> list[str]:
    """What a litre can drop, and what this boiler takes of it."""
    growth = sheet.growth_mg_cm2
    return [
        f"From now on {sheet.water}: at {sheet.boiler_temperature_c:g} deg C a litre can drop "
        f"{figure(sheet.potential_closed_mg_l)} mg of lime with its CO2 kept, {figure(sheet.potential_open_mg_l)} mg "
        "once the CO2 has left.",
        f"In this boiler {LITRES:g} L of it probably leave {figure(growth.p50, 2)} mg/cm2 at the {sheet.site} "
        f"(eight in ten: {figure(growth.p10, 2)} to {figure(growth.p90, 2)}).",
    ]
