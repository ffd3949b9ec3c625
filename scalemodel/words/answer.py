"""A deferral in words: the headline, what must be heard first, the risk and its dates."""

from __future__ import annotations

from datetime import date, timedelta
from math import ceil
from typing import NamedTuple

from scalemodel.decision.alarms import ANSWERS, Alarm
from scalemodel.decision.deferral import Deferral
from scalemodel.decision.status import Status
from scalemodel.model.use import MONTH_NAMES
from scalemodel.wording import Sentence, counted, figure, percent
from scalemodel.words.account import alarm_words
from scalemodel.words.change import change_sentences

A_MONTH_IS_NEAR = 60
"""A wait shorter than this [days] is not told by a month alone."""


def answer_words(alarm: Alarm) -> str:
    """What answers an alarm, in a sentence."""
    method = "any method" if alarm.method == "glance" else "eye, mirror or camera"
    looks = f"{counted(ANSWERS - alarm.milder, 'milder look')} at the {alarm.site} (by {method}"
    looks += f"; {alarm.milder} of {ANSWERS} was made)" if alarm.milder else ")"
    number = "the record" if alarm.record is None else f"record {alarm.record}"
    return (
        f"What answers the alarm: {looks}, a thickness reading there below the threshold, or a descale; if {number} is "
        "mistaken, amend or strike it."
    )


class Opening(NamedTuple):
    """How an answer begins: the headline, the boiler not named, what must be heard first, and the rest."""

    head: str
    warnings: tuple[str, ...]
    rest: tuple[str, ...]


def alarm_headline(boiler: str, alarm: Alarm, threshold_words: str) -> Sentence:
    """What is said first wherever a boiler with an alarm is spoken of."""
    return Sentence(f"{boiler}: ", alarm_head(alarm, threshold_words))


def alarm_head(alarm: Alarm, threshold_words: str) -> Sentence:
    """The same where the boiler has been named already."""
    return Sentence("look again now, do not defer: ", alarm_words(alarm, threshold_words), ".")


def headline(answer: Deferral) -> Sentence:
    """The answer in one sentence."""
    return Sentence(f"{answer.boiler}: ", _head(answer))


def _head(answer: Deferral) -> str:
    match answer.status:
        case Status.LOOK_AGAIN:
            return alarm_head(answer.alarms[0], answer.threshold_words)
        case Status.PAST:
            return "do not defer: the risk is more than you accept. Descale now."
        case Status.WITHIN:
            return Sentence("the descale can wait until ", _until_words(answer), ".")
        case Status.BEYOND:
            return f"no descale is due within {counted(answer.horizon_days, 'day')}."


def until_words(status: Status, until: date | None, horizon_days: int) -> str:
    """How long a descale can wait, as a clause.

    >>> until_words(Status.WITHIN, date(2026, 3, 1), 1460), until_words(Status.BEYOND, None, 1460)
    ('the descale can wait until 2026-03-01', 'no descale is due within 1460 days')
    """
    match status:
        case Status.WITHIN:
            return Sentence("the descale can wait until ", until)
        case Status.BEYOND:
            return f"no descale is due within {counted(horizon_days, 'day')}"
    return "the descale cannot wait"


def _until_words(answer: Deferral) -> str:
    """The date and the wait; where chance in the computing could move it by much, a month, or a day where it is near.

    Both are the earlier ones in doubt.
    """
    if answer.sharp:
        return Sentence(answer.defer_until, f" ({counted((answer.defer_until - answer.as_of).days, 'day')})")
    early = max(answer.as_of, answer.defer_until - timedelta(days=ceil(answer.mc_error_days)))
    if (answer.defer_until - answer.as_of).days < A_MONTH_IS_NEAR:
        return Sentence("about ", early)
    return f"about {MONTH_NAMES[early.month - 1]} {early.year}"


def opening(answer: Deferral) -> Opening:
    """The answer as people should hear it: the headline, warnings, the risk now, when it would pass, how sure."""
    warnings = change_sentences(answer)
    warnings += [
        Sentence("Look again there too: ", alarm_words(alarm, answer.threshold_words), ".")
        for alarm in answer.alarms[1:]
    ]
    if any(alarm.confirmed for alarm in answer.alarms):
        warnings.append("The looks confirm each other: descale now, rather than look once more.")
    if not answer.engine.settled:
        warnings.append(
            f"Caution: the runs of the sampler do not agree as they should (R-hat {answer.engine.r_hat:.2f}, 1 where "
            f"they do); ask again with --particles {answer.engine.particles} before you lean on this."
        )
    said = [
        *unsettled_words(answer),
        *cheapest_words(answer),
        f"Risk that scale at the {answer.site} has reached {answer.threshold_words} today: {percent(answer.risk_now)}; "
        f"you accept {percent(answer.tolerance)}.",
    ]
    if answer.status is not Status.LOOK_AGAIN:
        said += _when_words(answer)
    return Opening(_head(answer), tuple(warnings), tuple(said))


def unsettled_words(answer: Deferral) -> list[str]:
    """What is not known of the last descale, and the look that would settle it."""
    last = answer.residue[-1] if answer.residue else None
    if last is None or last.settled or last.scope != "full":
        return []
    where = answer.basis.facts.reference_site
    left = f"about {last.share.p50:.0%}, and {last.share.p90:.0%} or more in one case of ten"
    said = f" the {where} was not looked at: it is taken to have left {left}. A look there settles it."
    return [Sentence("After the descale on ", last.date, said)]


def test_words(answer: Deferral) -> list[str]:
    """How old the last test of the water is, and what a new one would be worth."""
    if answer.last_test is None or answer.test_worth_days is None:
        return []
    age, worth = (answer.as_of - answer.last_test).days, round(answer.test_worth_days)
    told = f"is worth about {counted(worth, 'day')} of waiting" if worth else "would hardly move the date"
    water = answer.basis.plan.water
    old = f"{counted(age, 'day')} old" if age else "of today"
    return [f"The last test of {water} is {old}; one of its hardness now {told}."]


def cheapest_words(answer: Deferral) -> list[str]:
    """The cheapest day by the prices on record, and what waiting until the safe day costs more."""
    if answer.cheapest_on is None or not answer.status.waits:
        return []
    if answer.cheapest_on == answer.defer_until:
        return ["By the prices on record that is the cheapest day too."]
    when = "today" if answer.cheapest_on == answer.as_of else answer.cheapest_on
    more = ""
    if answer.waiting_costs is not None:
        more = Sentence("; waiting until ", answer.defer_until, f" costs about {figure(answer.waiting_costs, 2)} more")
    return [Sentence("By the prices on record the cheapest day to descale is ", when, more, ".")]


def _when_words(answer: Deferral) -> list[str]:
    """When the threshold would be passed, how far apart the fates are, and how much of that is chance."""
    horizon = counted(answer.horizon_days, "day")
    p10, p50, p90 = (answer.crossing[k] for k in ("p10", "p50", "p90"))
    if p50 is None:
        said = [f"It would probably not reach it within {horizon}."]
    elif p50 == answer.as_of:
        said = ["It has probably reached it already."]
    else:
        said = [Sentence("It would probably reach it around ", p50, ".")]
    if p10 is not None and p90 != answer.as_of:
        said.append(Sentence("How sure: of ten boilers with these records ", _spread_words(answer, p10, p90), "."))
    if answer.held_by_milder:
        said.append("The date is the one that a milder latest look would give: a worse look must not give a later one.")
    said += test_words(answer)
    if answer.mc_error_days is not None:
        moved = counted(max(1, round(answer.mc_error_days)), "day")
        said.append(f"Another run of the same records would move the date by about {moved}.")
    return said


def _spread_words(answer: Deferral, first: date, last: date | None) -> str:
    """How far apart the fates are: when the slowest of ten would be there, against the quickest."""
    longer = f"take longer than {counted(answer.horizon_days, 'day')}"
    slowest = Sentence("the slowest would ", longer if last is None else Sentence("take until ", last))
    if first == answer.as_of:
        return Sentence("the quickest is there already, and ", slowest)
    if last is None:
        return slowest
    times = (last - answer.as_of).days / (first - answer.as_of).days
    return Sentence(slowest, f", {figure(times, 2)} times as long as the quickest")


def reason_of(answer: Deferral) -> str | None:
    """Why there is no date; None where there is one."""
    match answer.status:
        case Status.LOOK_AGAIN:
            return Sentence("look again first: ", alarm_words(answer.alarms[0], answer.threshold_words))
        case Status.PAST:
            accepted = percent(answer.tolerance)
            if answer.held_by_milder:
                return f"already past: with the latest look milder the risk is above the tolerance of {accepted}"
            return f"already past: the risk is {percent(answer.risk_now)} now, above the tolerance of {accepted}"
        case Status.BEYOND:
            end = answer.as_of + timedelta(days=answer.horizon_days)
            return Sentence(f"beyond the horizon: the risk is {percent(answer.risk_at_horizon)} on ", end)
    return None


def horizon_words(answer: Deferral) -> list[str]:
    """The risk at the horizon, where no descale is due within it."""
    return [Sentence("Reason: ", reason_of(answer), ".")] if answer.status is Status.BEYOND else []


def first_sentences(answer: Deferral) -> tuple[str, ...]:
    """The opening of an answer, a sentence each, in the order in which they are to be heard."""
    begun = opening(answer)
    return (headline(answer), *begun.warnings, *begun.rest)
