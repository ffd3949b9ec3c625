"""Which look pays: the value of the next look by site, method and date, under the loss of `scalemodel.decision.loss`.

A look on day t shows one of five grades. The draws are weighed by the chance of that grade at the deposit that each has
on day t; what grows after is conditional on that deposit; and the best day from t on is taken for each grade, not after
the last safe day under those weights. The owner may also descale before t, and then no look is made. The value of the
look is the loss that it saves (expected value of sample information, Raiffa & Schlaifer 1961). The days after each
grade are chosen on one half of the draws and valued on the other, so that chance does not flatter the look. A look may
pay only with the one after it; so the worth of two, the second made or not as the first has shown, is told too.

How the boiler stands comes first. With an unanswered alarm the next look is at its site, today; where the risk is past
what is accepted, today, before the descale; and in no case later than a year after the last look.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from scalemodel.decision.alarms import FORETOLD, Alarm, first_severe_grade
from scalemodel.decision.assumed import Assumption, DayWorth, ImpliedFailure, WorthInDays
from scalemodel.decision.case import Answer, Case
from scalemodel.decision.look_value import (
    after_look,
    drawn_path,
    pair_values,
    sample_information,
    usual_look_model,
)
from scalemodel.decision.loss import Losses, days_until_due, losses_of
from scalemodel.decision.status import Status
from scalemodel.errors import UnknownNameError
from scalemodel.frames import each_of
from scalemodel.logbook.records import METHODS, WALL, BoilerFacts
from scalemodel.model.grading import grading_of
from scalemodel.model.look import LookModel

WORTHWHILE = 0.02
"""A look that saves less than this share of a descale does not pay."""

LOOK_DATES = 7
AHEAD_OF_PLAN = 1.2
"""Looks are tried on seven days, evenly from today to the last safe one; where there is none, to 1.2 times the best day
to descale; and none after the day by which a look is due."""


class LookReason(StrEnum):
    """Why the next look is to be made.

    ALARM: an earlier look has to be answered. PAYS: it saves more than it costs; where the risk is past what is
    accepted it may spare a descale today. PAIR: it does so with another look after it. YEARLY: none pays, but a boiler
    is looked at once a year all the same.
    """

    ALARM = "alarm"
    PAYS = "pays"
    PAIR = "pair"
    YEARLY = "yearly"


@dataclass(frozen=True)
class LookOption:
    """One look that could be made; ``perfect`` bounds its value: what knowing all exactly on that day would save.

    ``value``, ``cost`` and ``net`` are in the unit of the loss; ``value_days`` is the value as days of waiting. Of a
    look that nobody priced ``cost`` and ``net`` are None; it is never the one that is advised. ``pair_value`` is what
    the look and one more of its kind would save, at the best of a few days after it (None where that was not weighed),
    and ``pair_looks`` how many looks those are on average: the second is made only on grades after which it pays.
    """

    site: str
    method: str
    date: date
    value: float
    cost: float | None
    net: float | None
    mc_error: float
    perfect: float
    value_days: float
    pair_value: float | None = None
    pair_mc_error: float | None = None
    pair_looks: float | None = None

    @property
    def pair_net(self) -> float | None:
        """What the two leave over their costs."""
        return None if self.pair_value is None or self.cost is None else self.pair_value - self.pair_looks * self.cost

    @property
    def worth(self) -> float:
        """What the look leaves over its cost; its value where that is not known."""
        return self.value if self.net is None else self.net


@dataclass(frozen=True)
class PossibleGrade:
    """A grade that the look may show, its chance, and when to descale then (None: not within the horizon).

    ``alarm`` says that the grade, once recorded, would be an alarm: look again, do not wait.
    """

    grade: int
    probability: float
    descale_on: date | None
    alarm: bool = False


@dataclass(frozen=True, kw_only=True, repr=False)
class NextInspection(Answer):
    """Every look that was weighed, the best net value first.

    ``best`` is the look to make next, and ``look_reason`` why; both are None where the descale comes first and no look
    before it would change that. ``descale_on`` is the best day without a look, never later than ``defer_until``, the
    last safe date (each None where it is not within the horizon, ``defer_until`` also with an alarm or past it), and
    ``findings`` say what to do after the best look; there are none for a look that answers an alarm. ``asked`` is the
    look that was asked about, at its best date, if one was. ``day_value`` is what a day's wait is worth.
    """

    status: Status
    alarms: tuple[Alarm, ...]
    priced: bool
    descale_cost: float
    day_value: float
    defer_until: date | None
    descale_on: date | None
    options: tuple[LookOption, ...]
    best: LookOption | None
    look_reason: LookReason | None
    findings: tuple[PossibleGrade, ...]
    asked: LookOption | None
    assumptions: tuple[Assumption, ...]

    def to_frame(self):
        """Every look that was weighed as a pandas DataFrame, a row each, every field; what was asked beside it.

        ``look_site`` is the look's, ``site`` that of the question; ``findings_3_probability`` and the like are of the
        best look.
        """
        return each_of(self, self.options, LookOption, "look", ("options",))


def kinds_of_look(facts: BoilerFacts) -> list[tuple[str, str]]:
    """Every site by eye, and by each other method that was used there before."""
    sites = dict.fromkeys([*(s.site for s in facts.sites), WALL])
    used = dict.fromkeys((look.site, look.method) for look in facts.inspections)
    return [(site, m) for site in sites for m in dict.fromkeys(["eye", *(m for s, m in used if s == site)])]


def look_cost(facts: BoilerFacts, site: str, method: str, priced: bool) -> float | None:
    """What a look costs; None where nobody said.

    The cost on record, where descales have a price. A glance through water, and the site that is easiest to see (the
    cheapest registered one, or the wall where no other is), are free where no price says otherwise.
    """
    recorded = {s.site: s.look_cost for s in facts.sites}
    if priced and recorded.get(site) is not None:
        return recorded[site]
    others = {name: cost for name, cost in recorded.items() if name != WALL}
    told = [cost for cost in others.values() if cost is not None]
    if site == WALL:
        easiest = not others
    else:
        own = others.get(site)
        easiest = not told or (own is not None and own <= min(told))
    return 0.0 if easiest or method == "glance" else None


def look_indices(losses: Losses, due_days: int) -> np.ndarray:
    """Plan days on which a look is tried, from today to the last safe day or that by which a look is due.

    Today alone with an alarm or where the risk is past what is accepted.
    """
    days, standing = losses.days, losses.case.standing
    if not standing.status.waits:
        return np.array([0])
    last = AHEAD_OF_PLAN * max(int(days[losses.plan]), losses.terms.cycle_days // 4)
    if standing.status is Status.WITHIN:
        last = standing.day
    tried = np.linspace(0.0, min(last, due_days, days[-1]), LOOK_DATES)
    if standing.status is Status.BEYOND or standing.day > due_days:
        tried = np.append(tried, min(due_days, days[-1]))
    allowed = np.flatnonzero(days <= due_days)
    return np.unique(np.abs(days[allowed, None] - tried).argmin(axis=0))


def value_looks(case: Case, site: str | None = None, method: str | None = None) -> NextInspection:
    """Weigh every look at every site, by every method in use, on a small grid of dates.

    A site looked at on as_of is not tried again that day, unless an alarm has to be answered.

    Parameters
    ----------
    case : Case
    site, method : str, optional
        A look that is asked about besides: at the wall or a registered site (by default the first of those that are
        weighed), by one of the logbook's methods (by default "eye").

    Raises
    ------
    UnknownNameError
        If there is no such site or method.
    """
    asked = check_look(case.facts, site, method)
    losses, due_days = losses_of(case), days_until_due(case.facts)
    options, deposits, models = _value_all(losses, look_indices(losses, due_days), asked)
    best, reason = _next_look(losses, options, due_days)
    findings = ()
    if best is not None and not case.standing.alarms:
        findings = findings_of(losses, models[best.site, best.method], deposits[best.date], best.date)
    wanted = [option for option in options if (option.site, option.method) == asked]
    return NextInspection(
        **case.head,
        status=case.standing.status,
        alarms=case.standing.alarms,
        priced=losses.priced,
        descale_cost=losses.terms.descale,
        day_value=losses.terms.day,
        defer_until=case.defer_until,
        descale_on=case.date_of(0 if not case.standing.status.waits else losses.plan_day),
        options=tuple(options),
        best=best,
        look_reason=reason,
        findings=findings,
        asked=latest_of_equals(wanted) if wanted else None,
        assumptions=taken_for_granted(losses),
    )


def check_look(facts: BoilerFacts, site: str | None, method: str | None) -> tuple[str, str] | None:
    """The look that is asked about, if one is; UnknownNameError for a site or a method that there is not."""
    if site is None and method is None:
        return None
    kinds = kinds_of_look(facts)
    known = list(dict.fromkeys(name for name, _ in kinds))
    if site is not None and site not in known:
        raise UnknownNameError("site", site, known)
    if method is not None and method not in METHODS:
        raise UnknownNameError("method", method, METHODS)
    return site or known[0], method or "eye"


class Weighed(NamedTuple):
    """Looks as they are listed, and what they were weighed on: the deposits (S,) by date, the looks' models by kind."""

    options: list[LookOption]
    deposits: dict[date, np.ndarray]
    models: dict[tuple[str, str], LookModel]


def _value_all(losses: Losses, indices: np.ndarray, asked: tuple[str, str] | None) -> Weighed:
    """Every look on these plan days, the best net value first, then those whose cost is not known."""
    case = losses.case
    facts, alarms, waits = case.facts, case.standing.alarms, case.standing.status.waits
    kinds = [*kinds_of_look(facts), *((alarm.site, alarm.method) for alarm in alarms), *([asked] if asked else [])]
    models = {kind: usual_look_model(case.forecast, *kind).part(losses.draws) for kind in dict.fromkeys(kinds)}
    today = set() if alarms else {look.site for look in facts.inspections if look.date == facts.as_of}
    if waits and not indices.any() and {site for site, _ in models} <= today:
        indices = np.array([1])  # every site was seen today: the next day of the plans
    found, deposits = [], {}
    for index, deposit in zip(indices, drawn_path(losses, indices), strict=True):
        deposits[case.date_of(losses.days[index])] = deposit
        seen = today if losses.days[index] == 0 else set()
        found += _value_on(losses, int(index), deposit, {kind: m for kind, m in models.items() if kind[0] not in seen})
    found.sort(key=lambda option: (option.net is None, -(option.net or 0.0), -option.value))
    return Weighed(_with_pairs(losses, found, models) if waits and not alarms else found, deposits, models)


def _value_on(
    losses: Losses, index: int, deposit: np.ndarray, models: dict[tuple[str, str], LookModel]
) -> list[LookOption]:
    """Every kind of look on one plan day, at the deposits (S,) that it may meet."""
    on, after, told = losses.case.date_of(losses.days[index]), after_look(losses, index, deposit), []
    for (site, method), look in models.items():
        one = sample_information(losses, after, look.grade_probabilities(deposit))
        cost = look_cost(losses.case.facts, site, method, losses.priced)
        net = None if cost is None else one.value - cost
        worth = (one.value, cost, net, one.mc_error, one.perfect, one.value / losses.terms.day)
        told.append(LookOption(site, method, on, *worth))
    return told


def _with_pairs(losses: Losses, found: list[LookOption], models: dict) -> list[LookOption]:
    """The first option of every kind of look, with the worth of it and one more; the others as they are."""
    firsts = list({(option.site, option.method): option for option in reversed(found)}.values())
    told = {}
    for day in {option.date for option in firsts}:
        same = [option for option in firsts if option.date == day]
        index = int(np.searchsorted(losses.days, (day - losses.case.as_of).days))
        looks = [(models[option.site, option.method], option.cost or 0.0) for option in same]
        for option, pair in zip(same, pair_values(losses, index, looks), strict=True):
            value, error = min(pair.value, option.perfect), max(pair.mc_error, option.mc_error)
            if value <= option.value:  # the second is not worth its while
                pair, value = pair._replace(looks=1.0), option.value
            told[option] = replace(option, pair_value=value, pair_mc_error=error, pair_looks=pair.looks)
    return [told.get(option, option) for option in found]


def _next_look(
    losses: Losses, options: Sequence[LookOption], due_days: int
) -> tuple[LookOption | None, LookReason | None]:
    """The look to make next, and why; ``options`` begin with the best net value."""
    standing, facts, descale = losses.case.standing, losses.case.facts, losses.terms.descale
    if standing.alarms:
        alarm = standing.alarms[0]
        return next(o for o in options if (o.site, o.method) == (alarm.site, alarm.method)), LookReason.ALARM
    if not options:
        return None, None
    known = [option for option in options if option.net is not None]
    if known:
        if known[0].net > max(WORTHWHILE * descale, 2.0 * known[0].mc_error):
            return latest_of_equals(known), LookReason.PAYS
        paired = [option for option in known if option.pair_net is not None and option.pair_looks > 1.0]
        both = max(paired, key=lambda o: o.pair_net, default=None)
        if both is not None and both.pair_net > max(WORTHWHILE * descale, 2.0 * both.pair_mc_error):
            return both, LookReason.PAIR
    if standing.status is Status.PAST or (losses.plan_day is not None and losses.plan_day <= due_days):
        return None, None
    usual = facts.inspections[-1].site if facts.inspections else ""
    easiest = min(known or options, key=lambda o: (o.cost or 0.0, o.site != usual))
    kind = (easiest.site, easiest.method)
    return max((o for o in options if (o.site, o.method) == kind), key=lambda o: o.date), LookReason.YEARLY


def taken_for_granted(losses: Losses) -> tuple[Assumption, ...]:
    """What the decision takes for granted."""
    terms = losses.terms
    said: list[Assumption] = [] if losses.priced else [WorthInDays()]
    if losses.implied:
        said.append(ImpliedFailure(terms.failure / terms.descale, losses.case.tolerance, losses.bound))
    saves = terms.day if losses.priced else None
    return (*said, DayWorth(saves, terms.descale / terms.day, terms.cycle_days))


def latest_of_equals(options: Sequence[LookOption]) -> LookOption:
    """Of the first look's dates that chance cannot tell apart, the latest: it costs nothing to wait, and shows more.

    ``options`` are sorted, the best net value first; only those of the first one's site and method count.
    """
    first = options[0]
    kind, least = (first.site, first.method), first.worth - first.mc_error
    return max((o for o in options if (o.site, o.method) == kind and o.worth >= least), key=lambda o: o.date)


def findings_of(losses: Losses, look: LookModel, deposit: np.ndarray, on: date) -> tuple[PossibleGrade, ...]:
    """The chance of each grade, and when one would descale then: what this boiler would be told with it on record.

    ``look`` is how the look reads, ``deposit`` (S,) what it may meet on that day.
    """
    severe, as_of = first_severe_grade(losses.case.mg_cm2, grading_of(losses.case.facts.beliefs)), losses.case.as_of
    index = int(np.searchsorted(losses.days, (on - as_of).days))
    after, chances = after_look(losses, index, deposit), look.grade_probabilities(deposit)
    probabilities = chances.mean(axis=1)
    as_bad = np.cumsum(probabilities[::-1])[::-1]  # chance of each grade or a worse one
    found, held = [], None
    for grade, (probability, weights) in enumerate(zip(probabilities, chances, strict=True)):
        alarm = grade >= severe or (grade > 0 and bool(as_bad[grade] < FORETOLD))
        day = losses.day_under(weights, index, after.failure_probability, after.above) if probability > 0.0 else 0
        if probability > 0.0:  # as `milder` has it
            held = day = min((one for one in (day, held) if one is not None), default=None)
        found.append(PossibleGrade(grade, float(probability), on if alarm else losses.case.date_of(day), alarm))
    return tuple(found)
