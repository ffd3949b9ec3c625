"""Which look pays: the value of the next look by site, method and date.

The decision. The owner descales on some day d from today. With T the day on which the deposit passes the threshold,

    loss(d) = c_f P(T <= d) + h E[days above the threshold before d] - g d

Every day that the descale waits saves g; passing costs a strip-down c_f; a day spent above costs h. The interval t is
the age at which the tolerance would descale a clean boiler under the present beliefs; g is the long-run cost a day of
doing so, ``[c_d + c_f (tolerance + share of t above)] / t`` (renewal-reward, Barlow & Proschan 1965), and h is one
strip-down an interval. Both are held as today's evidence has them.

A look on day t shows one of five grades. The draws are weighed by the chance of that grade at the deposit that each
draw has on day t; what grows after is conditional on that deposit; and the best day from t on is chosen for each grade.
The owner may also descale before t, and then no look is made. The value of the look is the loss that it saves.
Only the next look is weighed, not the looks that might follow it.

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
from scalemodel.decision.information import Information, expected_value_of_information
from scalemodel.decision.stakes import Stakes, find_stakes, running_integral
from scalemodel.decision.status import Status
from scalemodel.inference.draws import monte_carlo_error
from scalemodel.logbook.records import WALL, BoilerFacts
from scalemodel.model import priors
from scalemodel.model.boiler import reading_prior, relative_prior
from scalemodel.model.grading import GRADE_COUNT, apparent, look_probability
from scalemodel.model.growth import draw_growth, survival

DRAINED_LOOK = 0.25
"""Without its price, a look where the boiler must be drained and opened, in descales; a guess, no source."""

WORTHWHILE = 0.02
"""A look that saves less than this share of a descale does not pay."""

LONGEST_UNSEEN_DAYS = 365
"""No boiler goes longer than this without a look, whatever the value of one says: that value comes from the model, and
the model may be wrong in a way that only a look can show."""

PLAN_STEPS = 60
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

    ``value``, ``cost`` and ``net`` are in the unit of the stakes; ``value_days`` is the value as days of waiting.
    """

    site: str
    method: str
    date: date
    value: float
    cost: float
    net: float
    mc_error: float
    perfect: float
    value_days: float


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


class Outlook:
    """Losses of every plan "descale on day d", before any look and given the deposit on a look's day.

    ``days`` (A,) are the plan days from as_of, dense near today; ``before`` (A, S) their losses by draw without a look.
    """

    def __init__(
        self,
        forecast: Forecast,
        threshold: Threshold,
        stakes: Stakes,
        horizon_days: int,
        deferral_days: int | None,
        due_days: int = LONGEST_UNSEEN_DAYS,
    ) -> None:
        self.forecast, self.stakes = forecast, stakes
        self.room = threshold.mg_cm2 / forecast.relative
        spread = np.rint(horizon_days * np.linspace(0.0, 1.0, PLAN_STEPS + 1) ** 2)
        self.days = np.unique([*spread, deferral_days or 0, min(due_days, horizon_days)]).astype(int)
        self.growth = forecast.growth_after(self.days)
        passed = survival(self.room - forecast.posterior.deposits[-1], self.growth, forecast.irregularity)
        self.days_above = running_integral(passed.mean(axis=1), self.days)
        self.before = self._losses(passed, self.days, 0.0)
        self.plan = int(self.before.mean(axis=1).argmin())

    def _losses(self, passed: np.ndarray, days: np.ndarray, above_already: float) -> np.ndarray:
        """Loss of descaling on each day (A, S) from the chance of having passed by it (A, S)."""
        s = self.stakes
        above = above_already + running_integral(passed, days)
        return s.strip_down * passed + s.day_above * above - s.day * days[:, None]

    def path(self, at: np.ndarray) -> np.ndarray:
        """One drawn path of the reference deposit a draw, on the plan days of these indices (len(at), S) [mg/cm2]."""
        rng, nu = self.forecast.posterior.fresh("look path"), self.forecast.irregularity
        mean = self.growth[at]
        steps = np.diff(mean, axis=0, prepend=np.zeros_like(mean[:1]))
        grown = draw_growth(rng, steps, nu)
        return self.forecast.posterior.deposits[-1] + grown.cumsum(axis=0)

    def after(self, index: int, deposit: np.ndarray) -> np.ndarray:
        """Loss of descaling on each plan day from ``index`` on (A, S), given the reference deposit on that day (S,).

        Days above the threshold before that day cost the same whatever is done after, so they enter by their mean.
        """
        mean = self.growth[index:] - self.growth[index]
        passed = survival(self.room - deposit, mean, self.forecast.irregularity)
        return self._losses(passed, self.days[index:], float(self.days_above[index]))

    def day(self, index: int) -> date | None:
        """The date of a plan; None for the last, which stands for "not within the horizon"."""
        on = self.forecast.posterior.facts.as_of + timedelta(days=int(self.days[index]))
        return None if index == len(self.days) - 1 else on


class Eye(NamedTuple):
    """How one kind of look at one site reads each draw: relative deposit, reading error, leniency; (S,) or number."""

    relative: np.ndarray | float
    spread: np.ndarray
    shift: np.ndarray

    def chances(self, deposit: np.ndarray) -> np.ndarray:
        """Chance of every grade (grades, S) at a reference deposit (S,) [mg/cm2]; each column sums to 1."""
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


def look_cost(facts: BoilerFacts, site: str, method: str, stakes: Stakes) -> float:
    """What a look costs in the unit of the stakes.

    The cost on record, where descales have a price. Else the site that is easiest to see (the cheapest registered one,
    or the wall where no other is) is free, and any other a quarter of a descale, as one that needs draining; so is the
    wall without a cost of its own. A glance through water needs no draining.
    """
    recorded = {s.site: s.look_cost for s in facts.sites}
    if stakes.priced and recorded.get(site) is not None:
        return recorded[site]
    others = [cost or 0.0 for name, cost in recorded.items() if name != WALL]
    easiest = site == WALL and not others
    if site != WALL:
        easiest = stakes.priced or (recorded[site] or 0.0) <= min(others)
    return 0.0 if easiest or method == "glance" else DRAINED_LOOK * stakes.descale


class Weighed(NamedTuple):
    """A look on a plan day as the decision sees it; ``told`` speaks of plans from that day on."""

    index: int
    told: Information
    value: float
    mc_error: float
    perfect: float


def weigh(outlook: Outlook, index: int, losses: np.ndarray, chances: np.ndarray) -> Weighed:
    """Value of a look on plan day ``index``: the losses after it (A, S) and the chances of its grades (grades, S).

    The same draws price the decision with and without the look, so the value is not negative and not above that of
    knowing each draw exactly; its Monte Carlo error comes from the populations.
    """
    count = losses.shape[1]
    told = expected_value_of_information(np.full(count, 1.0 / count), chances, -losses)
    with_look = losses[told.act] - told.gains
    alternatives = [losses[told.act]]
    if index:
        early = outlook.before[:index]
        alternatives.append(early[early.mean(axis=1).argmin()])
    base = min(alternatives, key=np.mean)
    earlier = base.mean() <= with_look.mean()
    saved = np.zeros(count) if earlier else base - with_look
    knowing = max(0.0, float(base.mean() + told.without + told.perfect))  # 0: one would still descale before that day
    error = monte_carlo_error(outlook.forecast.posterior.by_population(saved))
    return Weighed(index, told, float(saved.mean()), error, knowing)


def days_until_due(facts: BoilerFacts) -> int:
    """Days from as_of until a look is due whatever it is worth: a year after the last one, or the installation."""
    last = max((look.date for look in facts.inspections), default=facts.boiler.installed_on)
    return max(0, LONGEST_UNSEEN_DAYS - (facts.as_of - last).days)


def look_indices(outlook: Outlook, standing: Standing, due_days: int) -> np.ndarray:
    """Plan days on which a look is tried, from today to the last safe day or that by which a look is due.

    Today alone with an alarm or where the risk is past what is accepted.
    """
    if not standing.status.waits:
        return np.array([0])
    last = BEYOND * max(int(outlook.days[outlook.plan]), outlook.stakes.interval_days // 4)
    if standing.status is Status.WITHIN:
        last = standing.day
    tried = np.linspace(0.0, min(last, due_days, outlook.days[-1]), LOOK_DATES)
    if standing.status is Status.BEYOND or standing.day > due_days:
        tried = np.append(tried, min(due_days, outlook.days[-1]))
    allowed = np.flatnonzero(outlook.days <= due_days)
    return np.unique(np.abs(outlook.days[allowed, None] - tried).argmin(axis=0))


def value_looks(forecast: Forecast, threshold: Threshold, tolerance: float, horizon_days: int) -> NextInspection:
    """Weigh every look at every site, by every method in use, on a small grid of dates.

    Parameters are those of `scalemodel.decision.deferral.defer_until`. A site looked at on as_of is not tried again
    that day, unless an alarm has to be answered.
    """
    facts = forecast.posterior.facts
    standing = standing_of(forecast, threshold, tolerance, horizon_days)
    stakes = find_stakes(forecast, threshold, tolerance, None if standing.day == horizon_days else standing.day)
    due_days = days_until_due(facts)
    outlook = Outlook(forecast, threshold, stakes, horizon_days, standing.day, due_days)
    pairs = _weigh_all(outlook, look_indices(outlook, standing, due_days), standing)
    best, reason = _next_look([option for option, _ in pairs], standing, stakes, facts, due_days)
    weighed = next((one for option, one in pairs if option is best), None)
    return NextInspection(
        boiler=facts.boiler.boiler,
        as_of=facts.as_of,
        site=forecast.site,
        threshold_words=threshold.words,
        status=standing.status,
        alarms=standing.alarms,
        priced=stakes.priced,
        descale_cost=stakes.descale,
        day_value=stakes.day,
        descale_on=_descale_on(outlook, standing),
        options=tuple(option for option, _ in pairs),
        best=best,
        look_reason=reason,
        findings=() if weighed is None or standing.alarms else findings_of(outlook, weighed, threshold, best.date),
        assumptions=stakes.notes,
    )


def _weigh_all(outlook: Outlook, indices: np.ndarray, standing: Standing) -> list[tuple[LookOption, Weighed]]:
    """Every look on these plan days, the best net value first."""
    facts, stakes = outlook.forecast.posterior.facts, outlook.stakes
    kinds = dict.fromkeys([*kinds_of_look(facts), *((alarm.site, alarm.method) for alarm in standing.alarms)])
    eyes = {kind: find_eye(outlook.forecast, *kind) for kind in kinds}
    today = set() if standing.alarms else {look.site for look in facts.inspections if look.date == facts.as_of}
    if standing.status.waits and not indices.any() and {site for site, _ in eyes} <= today:
        indices = np.array([1])  # every site was seen today: the next day of the plans
    found = []
    for index, deposit in zip(indices, outlook.path(indices), strict=True):
        losses, day = outlook.after(index, deposit), int(outlook.days[index])
        for (site, method), eye in eyes.items():
            if day == 0 and site in today:
                continue
            one = weigh(outlook, int(index), losses, eye.chances(deposit))
            cost, when = look_cost(facts, site, method, stakes), facts.as_of + timedelta(days=day)
            worth = (one.value, cost, one.value - cost, one.mc_error, one.perfect, one.value / stakes.day)
            found.append((LookOption(site, method, when, *worth), one))
    return sorted(found, key=lambda pair: -pair[0].net)


def _next_look(
    options: Sequence[LookOption], standing: Standing, stakes: Stakes, facts: BoilerFacts, due_days: int
) -> tuple[LookOption | None, LookReason | None]:
    """The look to make next, and why; ``options`` begin with the best net value."""
    if not options:  # past, and every site was seen today
        return None, None
    if standing.alarms:
        asked = (standing.alarms[0].site, standing.alarms[0].method)
        return next(o for o in options if (o.site, o.method) == asked), LookReason.ALARM
    best = latest_of_equals(options)
    if best.net > max(WORTHWHILE * stakes.descale, 2.0 * best.mc_error):
        return best, LookReason.PAYS
    if standing.status is Status.PAST or (standing.status is Status.WITHIN and standing.day <= due_days):
        return None, None
    usual = facts.inspections[-1].site if facts.inspections else ""
    easiest = min(options, key=lambda o: (o.cost, o.site != usual))
    kind = (easiest.site, easiest.method)
    return max((o for o in options if (o.site, o.method) == kind), key=lambda o: o.date), LookReason.YEARLY


def _descale_on(outlook: Outlook, standing: Standing) -> date | None:
    """When to descale without a look: the best day by the losses, never after the last safe one."""
    bound = standing.bound()
    best = outlook.day(outlook.plan)
    if bound is None:
        return best
    last = outlook.forecast.posterior.facts.as_of + timedelta(days=bound)
    return last if best is None else min(best, last)


def latest_of_equals(options: Sequence[LookOption]) -> LookOption:
    """Of the first look's dates that chance cannot tell apart, the latest: it costs nothing to wait, and shows more.

    ``options`` are sorted, the best net value first; only those of the first one's site and method count.
    """
    first = options[0]
    kind, least = (first.site, first.method), first.net - first.mc_error
    return max((o for o in options if (o.site, o.method) == kind and o.net >= least), key=lambda o: o.date)


def findings_of(outlook: Outlook, weighed: Weighed, threshold: Threshold, on: date) -> tuple[Finding, ...]:
    """The chance of each grade, and the day on which one would then descale; at once where it would be an alarm."""
    told, severe = weighed.told, first_severe_grade(threshold.mg_cm2)
    as_bad = np.cumsum(told.chances[::-1])[::-1]  # chance of each grade or a worse one
    found = []
    for grade, (chance, act) in enumerate(zip(told.chances, told.acts, strict=True)):
        alarm = grade >= severe or (grade > 0 and bool(as_bad[grade] < FORETOLD))
        found.append(Finding(grade, float(chance), on if alarm else outlook.day(weighed.index + int(act)), alarm))
    return tuple(found)
