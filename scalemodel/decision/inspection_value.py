"""Which look pays: the value of the next look by site, method and date, under the loss of `scalemodel.decision.loss`.

A look on day t shows one of five grades. The draws are weighed by the chance of that grade at the deposit that each has
on day t; what grows after is conditional on that deposit; and the best day from t on is taken for each grade, not after
the last safe day under those weights. The owner may also descale before t, and then no look is made. The value of the
look is the loss that it saves (expected value of sample information, Raiffa & Schlaifer 1961). The days after each
grade are chosen on one half of the draws and valued on the other, so that chance does not flatter the look.

How the boiler stands comes first. With an unanswered alarm the next look is at its site, today; where the risk is past
what is accepted, today, before the descale; and in no case later than a year after the last look.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from scalemodel.decision.alarms import FORETOLD, Alarm, first_severe_grade
from scalemodel.decision.deferral import Standing, standing_of
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.loss import Losses, Stakes, running_integral
from scalemodel.decision.status import Status
from scalemodel.inference.draws import monte_carlo_error
from scalemodel.logbook.records import WALL, BoilerFacts
from scalemodel.model import priors
from scalemodel.model.boiler import reading_prior, relative_prior
from scalemodel.model.grading import GRADE_COUNT, apparent, look_probability
from scalemodel.model.growth import draw_growth, survival

WORTHWHILE = 0.02
"""A look that saves less than this share of a descale does not pay."""

LONGEST_UNSEEN_DAYS = 365
"""No boiler goes longer than this without a look, whatever the value of one says: that value comes from the model, and
the model may be wrong in a way that only a look can show."""

LOOK_DATES = 7
BEYOND = 1.2
"""Looks are tried on seven days, evenly from today to the last safe one; where there is none, to 1.2 times the best day
to descale; and none after the day by which a look is due."""


class LookReason(StrEnum):
    """Why the next look is to be made.

    ALARM: an earlier look has to be answered. PAYS: it saves more than it costs; where the risk is past what is
    accepted it may spare a descale today. YEARLY: none pays, but a boiler is looked at once a year all the same.
    """

    ALARM = "alarm"
    PAYS = "pays"
    YEARLY = "yearly"


@dataclass(frozen=True)
class LookOption:
    """One look that could be made; ``perfect`` bounds its value: what knowing all exactly on that day would save.

    ``value``, ``cost`` and ``net`` are in the unit of the stakes; ``value_days`` is the value as days of waiting. Of a
    look that nobody priced ``cost`` and ``net`` are None; it is never the one that is advised.
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

    @property
    def worth(self) -> float:
        """What the look leaves over its cost; its value where that is not known."""
        return self.value if self.net is None else self.net


@dataclass(frozen=True)
class Finding:
    """A grade that the look may show, its chance, and when to descale then (None: not within the horizon).

    ``alarm`` says that the grade, once recorded, would be an alarm: look again, do not wait.
    """

    grade: int
    probability: float
    descale_on: date | None
    alarm: bool = False


@dataclass(frozen=True)
class NextInspection:
    """Every look that was weighed, the best net value first.

    ``best`` is the look to make next, and ``look_reason`` why; both are None where the descale comes first and no look
    before it would change that. ``descale_on`` is the best day without a look, never later than the last safe date
    (None: not within the horizon), and ``findings`` say what to do after the best look; there are none for a look that
    answers an alarm. ``day_value`` is what a day's wait is worth.
    """

    boiler: str
    as_of: date
    site: str
    threshold_words: str
    status: Status
    alarms: tuple[Alarm, ...]
    priced: bool
    descale_cost: float
    day_value: float
    descale_on: date | None
    options: tuple[LookOption, ...]
    best: LookOption | None
    look_reason: LookReason | None
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]


def drawn_path(losses: Losses, at: np.ndarray) -> np.ndarray:
    """One drawn path of the reference deposit a draw, on the plan days of these indices (len(at), S) [mg/cm2]."""
    mean = losses.growth[at]
    steps = np.diff(mean, axis=0, prepend=np.zeros_like(mean[:1]))
    grown = draw_growth(losses.forecast.posterior.fresh("look path"), steps, losses.dispersion)
    return losses.deposit + grown.cumsum(axis=0)


def losses_after(losses: Losses, index: int, deposit: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """F_i and L of descaling on each plan day from ``index`` on (A, S), given the reference deposit on that day (S,).

    Days above the threshold before that day cost the same whatever is done after, so they enter by their mean.
    """
    mean = losses.growth[index:] - losses.growth[index]
    passed = survival(losses.room - deposit, mean, losses.dispersion)
    use = losses.use[index:]
    above = float(losses.above[index].mean()) + running_integral(passed, use)
    return passed, losses.losses(passed, above, use)


class Eye(NamedTuple):
    """How one kind of look at one site reads each draw: relative deposit, reading error, leniency; (S,) or number."""

    relative: np.ndarray | float
    spread: np.ndarray
    shift: np.ndarray

    def of(self, draws: np.ndarray) -> Eye:
        """The same eye for some of the draws."""
        return Eye(*(part if np.ndim(part) == 0 else part[draws] for part in self))

    def chances(self, deposit: np.ndarray) -> np.ndarray:
        """Probability of every grade (grades, S) at a reference deposit (S,) [mg/cm2]; each column sums to 1."""
        seen = apparent(deposit, self.relative)
        return np.stack([look_probability(g, g, seen, self.spread, self.shift) for g in range(GRADE_COUNT)])


def find_eye(forecast: Forecast, site: str, method: str) -> Eye:
    """The eye of the inspector who looks most often (nobody in particular where nobody has looked)."""
    posterior, facts = forecast.posterior, forecast.posterior.facts
    usual = Counter(look.inspector for look in facts.inspections).most_common(1)
    who = usual[0][0] if usual else ""
    relative = 1.0
    if site != facts.reference_site:
        recorded = {s.site: s for s in facts.sites}.get(site)
        relative = np.exp(posterior.unknown(f"relative {site}", relative_prior(recorded)))
    spread = np.exp(posterior.unknown(f"reading {method}", reading_prior(method)))
    return Eye(relative, spread, posterior.unknown(f"leniency {who}", priors.LENIENCY))


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


class Weighed(NamedTuple):
    """A look on a plan day as the decision sees it: its value, and the probability and the act of each grade.

    ``acts`` are indices of plan days.
    """

    value: float
    mc_error: float
    perfect: float
    probabilities: np.ndarray
    acts: np.ndarray


def best_acts(losses: Losses, passed: np.ndarray, loss: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """For each grade, with weights (grades, S), the best plan day (an index) of those that are safe under them."""
    acts = np.empty(len(weights), dtype=int)
    for grade, weight in enumerate(weights):
        total = weight.sum()
        if total <= 0.0:
            acts[grade] = 0
            continue
        safe = losses.allowed(passed @ (weight / total))
        acts[grade] = int(np.argmin(loss[:safe] @ weight))
    return acts


def weigh(losses: Losses, index: int, deposit: np.ndarray, chances: np.ndarray) -> Weighed:
    """Value of a look on plan day ``index``, given the deposits then (S,) and the probabilities of grades (grades, S).

    Never negative, since one need not look, and never above that of knowing each draw exactly.
    """
    passed, loss = losses_after(losses, index, deposit)
    populations = losses.forecast.posterior.populations
    count = loss.shape[1]
    half = np.arange(count) % 2
    told = np.empty(count)
    for chosen, valued in ((half == 0, half == 1), (half == 1, half == 0)):
        acts = best_acts(losses, passed[:, chosen], loss[:, chosen], chances[:, chosen])
        told[valued] = (chances[:, valued] * loss[acts][:, valued]).sum(axis=0)
    base = losses.before[losses.plan]
    saved = base - told
    perfect = max(0.0, float((base - loss.min(axis=0)).mean()))
    value = min(max(0.0, float(saved.mean())), perfect)
    acts = index + best_acts(losses, passed, loss, chances)
    error = monte_carlo_error(saved.reshape(populations, -1))
    return Weighed(value, error, perfect, chances.mean(axis=1), acts)


def days_until_due(facts: BoilerFacts) -> int:
    """Days from as_of until a look is due whatever it is worth: a year after the last one, or the installation."""
    last = max((look.date for look in facts.inspections), default=facts.boiler.installed_on)
    return max(0, LONGEST_UNSEEN_DAYS - (facts.as_of - last).days)


def look_indices(losses: Losses, standing: Standing, due_days: int) -> np.ndarray:
    """Plan days on which a look is tried, from today to the last safe day or that by which a look is due.

    Today alone with an alarm or where the risk is past what is accepted.
    """
    if not standing.status.waits:
        return np.array([0])
    days = losses.days
    last = BEYOND * max(int(days[losses.plan]), losses.stakes.cycle_days // 4)
    if standing.status is Status.WITHIN:
        last = standing.day
    tried = np.linspace(0.0, min(last, due_days, days[-1]), LOOK_DATES)
    if standing.status is Status.BEYOND or standing.day > due_days:
        tried = np.append(tried, min(due_days, days[-1]))
    allowed = np.flatnonzero(days <= due_days)
    return np.unique(np.abs(days[allowed, None] - tried).argmin(axis=0))


def value_looks(forecast: Forecast, threshold: Threshold, tolerance: float, horizon_days: int) -> NextInspection:
    """Weigh every look at every site, by every method in use, on a small grid of dates.

    Parameters are those of `scalemodel.decision.deferral.defer_until`. A site looked at on as_of is not tried again
    that day, unless an alarm has to be answered.
    """
    facts = forecast.posterior.facts
    standing = standing_of(forecast, threshold, tolerance, horizon_days)
    due_days = days_until_due(facts)
    losses = Losses(forecast, threshold, tolerance, horizon_days, standing.last_safe(horizon_days), (due_days,))
    pairs = _weigh_all(losses, look_indices(losses, standing, due_days), standing)
    best, reason = _next_look([option for option, _ in pairs], standing, losses.stakes, facts, due_days)
    weighed = next((one for option, one in pairs if option is best), None)
    return NextInspection(
        boiler=facts.boiler.boiler,
        as_of=facts.as_of,
        site=forecast.site,
        threshold_words=threshold.words,
        status=standing.status,
        alarms=standing.alarms,
        priced=losses.stakes.priced,
        descale_cost=losses.stakes.descale,
        day_value=losses.stakes.day,
        descale_on=plan_date(losses, standing),
        options=tuple(option for option, _ in pairs),
        best=best,
        look_reason=reason,
        findings=() if weighed is None or standing.alarms else findings_of(losses, weighed, threshold, best.date),
        assumptions=stakes_notes(losses.stakes, tolerance),
    )


def _weigh_all(losses: Losses, indices: np.ndarray, standing: Standing) -> list[tuple[LookOption, Weighed]]:
    """Every look on these plan days, the best net value first, then those whose cost is not known."""
    facts, stakes = losses.forecast.posterior.facts, losses.stakes
    kinds = dict.fromkeys([*kinds_of_look(facts), *((alarm.site, alarm.method) for alarm in standing.alarms)])
    eyes = {kind: find_eye(losses.forecast, *kind).of(losses.draws) for kind in kinds}
    today = set() if standing.alarms else {look.site for look in facts.inspections if look.date == facts.as_of}
    if standing.status.waits and not indices.any() and {site for site, _ in eyes} <= today:
        indices = np.array([1])  # every site was seen today: the next day of the plans
    found = []
    for index, deposit in zip(indices, drawn_path(losses, indices), strict=True):
        day = int(losses.days[index])
        for (site, method), eye in eyes.items():
            if day == 0 and site in today:
                continue
            one = weigh(losses, int(index), deposit, eye.chances(deposit))
            cost = look_cost(facts, site, method, stakes.priced)
            net = None if cost is None else one.value - cost
            worth = (one.value, cost, net, one.mc_error, one.perfect, one.value / stakes.day)
            found.append((LookOption(site, method, facts.as_of + timedelta(days=day), *worth), one))
    return sorted(found, key=lambda pair: (pair[0].net is None, -(pair[0].net or 0.0), -pair[0].value))


def _next_look(
    options: Sequence[LookOption], standing: Standing, stakes: Stakes, facts: BoilerFacts, due_days: int
) -> tuple[LookOption | None, LookReason | None]:
    """The look to make next, and why; ``options`` begin with the best net value."""
    if standing.alarms:
        asked = (standing.alarms[0].site, standing.alarms[0].method)
        return next(o for o in options if (o.site, o.method) == asked), LookReason.ALARM
    options = [option for option in options if option.net is not None]
    if not options:  # past, and every site was seen today
        return None, None
    best = latest_of_equals(options)
    if best.net > max(WORTHWHILE * stakes.descale, 2.0 * best.mc_error):
        return best, LookReason.PAYS
    if standing.status is Status.PAST or (standing.status is Status.WITHIN and standing.day <= due_days):
        return None, None
    usual = facts.inspections[-1].site if facts.inspections else ""
    easiest = min(options, key=lambda o: (o.cost, o.site != usual))
    kind = (easiest.site, easiest.method)
    return max((o for o in options if (o.site, o.method) == kind), key=lambda o: o.date), LookReason.YEARLY


def plan_date(losses: Losses, standing: Standing) -> date | None:
    """When to descale without a look: the best day by the losses, never after the last safe one."""
    as_of = losses.forecast.posterior.facts.as_of
    if not standing.status.waits:
        return as_of
    return None if losses.plan_days is None else as_of + timedelta(days=losses.plan_days)


def stakes_notes(stakes: Stakes, tolerance: float) -> tuple[str, ...]:
    """What the decision takes for granted, a sentence each."""
    said = []
    if not stakes.priced:
        said.append(
            "no price of a descale is on record: values are in days by which the descale can wait; looks that nobody "
            "priced are shown and not advised, save at the easiest site"
        )
    if stakes.implied:
        kind = "at most" if stakes.bound else "about"
        said.append(
            f"scale past the threshold counts {kind} {stakes.failure / stakes.descale:.2g} descales, as the risk of "
            f"{tolerance:.0%} that you accept implies"
        )
    worth = (
        f"a day's wait saves {stakes.day:.2g}"
        if stakes.priced
        else f"{stakes.descale / stakes.day:.0f} days of waiting save what a descale costs"
    )
    said.append(f"{worth}: the long-run cost of descaling after every {stakes.cycle_days:.0f} days of use")
    return tuple(said)


def latest_of_equals(options: Sequence[LookOption]) -> LookOption:
    """Of the first look's dates that chance cannot tell apart, the latest: it costs nothing to wait, and shows more.

    ``options`` are sorted, the best net value first; only those of the first one's site and method count.
    """
    first = options[0]
    kind, least = (first.site, first.method), first.worth - first.mc_error
    return max((o for o in options if (o.site, o.method) == kind and o.worth >= least), key=lambda o: o.date)


def findings_of(losses: Losses, weighed: Weighed, threshold: Threshold, on: date) -> tuple[Finding, ...]:
    """The chance of each grade, and the day on which one would then descale; at once where it would be an alarm."""
    severe, as_of = first_severe_grade(threshold.mg_cm2), losses.forecast.posterior.facts.as_of
    as_bad = np.cumsum(weighed.probabilities[::-1])[::-1]  # chance of each grade or a worse one
    found = []
    for grade, (chance, act) in enumerate(zip(weighed.probabilities, weighed.acts, strict=True)):
        alarm = grade >= severe or (grade > 0 and bool(as_bad[grade] < FORETOLD))
        then = None if act == len(losses.days) - 1 else as_of + timedelta(days=int(losses.days[act]))
        found.append(Finding(grade, float(chance), on if alarm else then, alarm))
    return tuple(found)
