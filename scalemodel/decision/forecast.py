"""From a posterior and a plan of use to the probability that scale has passed a threshold by a date."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import expit

from scalemodel.decision.horizon import FARTHEST_DAYS
from scalemodel.errors import BadValueError
from scalemodel.inference.look_probabilities import grade_probabilities
from scalemodel.inference.posterior import Posterior, monte_carlo_error
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model import priors, unknowns
from scalemodel.model.grading import grading_of
from scalemodel.model.inverse_gaussian import draw_growth, survival
from scalemodel.model.look import log_relative_of
from scalemodel.model.supply import Supply, find_supply, log_factor, log_factor_of_mix
from scalemodel.model.supply_law import capture_fraction, growth_per_litre
from scalemodel.model.timeline import check_site
from scalemodel.model.use import UsePlan, use_plan
from scalemodel.model.wandering import path_untold, wandering_of


@dataclass(frozen=True)
class Threshold:
    """The deposit that must not be passed [mg/cm2], and how it was stated."""

    mg_cm2: float
    words: str


def find_threshold(
    facts: BoilerFacts, grade: int | None = None, um: float | None = None, mg_cm2: float | None = None
) -> Threshold:
    """The threshold stated by a grade, a thickness [um] or a deposit [mg/cm2], else the boiler's own grade.

    Raises
    ------
    BadValueError
        If more than one is stated, or one is not a positive number.
    """
    stated = [x for x in (grade, um, mg_cm2) if x is not None]
    if len(stated) > 1:
        raise BadValueError("threshold", " and ".join(map(str, stated)), "one of a grade, um or mg/cm2, not several")
    for name, value in (("threshold um", um), ("threshold mg/cm2", mg_cm2)):
        if value is not None and not 0.0 < value < 1e4:
            raise BadValueError(name, value, "a positive number below 10000")
    grading = grading_of(facts.beliefs)
    if um is not None:
        return Threshold(grading.deposit(um), f"{um:g} um of scale")
    if mg_cm2 is not None:
        return Threshold(float(mg_cm2), f"{mg_cm2:g} mg/cm2 of scale")
    grade = facts.boiler.threshold_grade if grade is None else grade
    return Threshold(grading.threshold(grade), f"grade {grade} ({priors.GRADE_WORDS[grade]})")


def check_rate(litres_per_day: float | None) -> float | None:
    """A stated rate [L/day] as it is; BadValueError if it is not 0 to 10000."""
    if litres_per_day is not None and not 0.0 <= litres_per_day <= 1e4:
        raise BadValueError("litres per day", litres_per_day, "a number of litres, 0 to 10000")
    return litres_per_day


@dataclass(frozen=True)
class Plan:
    """What is drawn from ``as_of`` on: a water at a mean rate [L/day], and the changes of water that are planned.

    Attributes
    ----------
    water : str
        The water on ``as_of``.
    use : UsePlan
    supply : Supply
        Of that water.
    later : tuple of (int, Supply)
        Other waters, from so many days after ``as_of`` on, in order.
    """

    water: str
    use: UsePlan
    supply: Supply
    later: tuple[tuple[int, Supply], ...] = ()

    @property
    def settled(self) -> Supply:
        """The water after the last change."""
        return self.later[-1][1] if self.later else self.supply


def find_plan(posterior: Posterior, litres_per_day: float | None = None, water: str | None = None) -> Plan:
    """The plan of use: what was stated, else the last fill's water, and planned ones, at the last year's mean rate."""
    facts, line = posterior.facts, posterior.model.timeline
    use = line.plan if litres_per_day is None else use_plan(facts.uses, litres_per_day, facts.absences)
    changes = facts.planned_fills if water is None else ()
    if water is None:
        water = facts.fills[-1].water if facts.fills else line.waters[-1]

    def supply_of(name: str) -> Supply:
        return posterior.supplies.get(name) or find_supply(facts, name)

    later = tuple(((fill.from_date - facts.as_of).days, supply_of(fill.water)) for fill in changes)
    return Plan(water, use, supply_of(water), later)


class Forecast:
    """Growth and risk after the last record, for one site, threshold and plan.

    Risk is averaged over draws from the exact survival function of the growth still to come
    (Rao-Blackwellised), so it is smooth in the date and never falls.
    """

    def __init__(self, posterior: Posterior, plan: Plan, site: str | None = None) -> None:
        facts = posterior.facts
        self.posterior, self.plan, self.site = posterior, plan, check_site(facts, site)
        self._moved: dict[str, np.ndarray] = {}
        self.irregularity = np.exp(posterior.unknown(unknowns.DISPERSION))
        self.relative = np.exp(log_relative_of(posterior.unknown, facts, self.site))

    def __repr__(self) -> str:
        facts = self.posterior.facts
        plan = f"on {self.plan.water!r}"
        return f"<Forecast of {facts.boiler.boiler!r} as of {facts.as_of}, at the {self.site}, {plan}>"

    def by(self, posterior: Posterior) -> Forecast:
        """The same forecast by other draws of this boiler."""
        return self if posterior is self.posterior else Forecast(posterior, self.plan, self.site)

    @cached_property
    def looks_by_grade(self) -> np.ndarray:
        """Probability of every grade at every look, for each draw (looks, grades, C P)."""
        return grade_probabilities(self.posterior)

    @cached_property
    def _use(self) -> np.ndarray:
        """Unrecorded use up to ``as_of`` against the records' rate (C P,) [its log-sd]."""
        return self.posterior.unknown(unknowns.USE)

    @cached_property
    def _use_ahead(self) -> np.ndarray:
        """Use to come against the plan (C P,) [its log-sd]: the same factor, unless the owner states another rate."""
        if self.plan.use == self.posterior.model.timeline.plan:
            return self._use
        return self.posterior.fresh("stated use").standard_normal(self.posterior.count)

    @property
    def last_deposit(self) -> np.ndarray:
        """Deposit at the site over its relative deposit, at the last state (C P,) [mg/cm2]."""
        return self.posterior.deposits_at(self.site)[-1]

    def moved(self, water: str) -> np.ndarray:
        """How the log concentration of a water has moved on as_of (C P,) [ln]; it is held so in the time to come.

        Of a water that the boiler has not drawn, it is what its last test says, with what may have happened since.
        """
        if water not in self._moved:
            posterior = self.posterior
            facts, line = posterior.facts, posterior.model.timeline
            if water in line.paths:
                self._moved[water] = posterior.model.path(water, posterior.x)[-1]
            else:
                rng, today = posterior.fresh(f"path {water}"), facts.as_of.toordinal()
                tests = [test for test in facts.water_tests if test.water == water]
                self._moved[water] = path_untold(wandering_of(tests, today, today), today, rng, posterior.count)
        return self._moved[water]

    def log_factor(self, supply: Supply) -> np.ndarray:
        """Log concentration factor of a water, or of a mix from that of its parts (C P,) [-]."""
        waters = [part[0] for part in supply.parts] or [supply.water]
        each = [self.posterior.unknown(unknowns.concentration(water)) for water in waters]
        moved = [self.moved(water) for water in waters]
        if supply.parts:
            return log_factor_of_mix(supply, each, moved)
        return log_factor(supply.analysis.log_sd, each[0], moved[0])

    def per_litre(self, supply: Supply) -> np.ndarray:
        """Mean growth a litre of a water (C P,) [mg/cm2/L]."""
        return self._per_litre_at(supply, self.log_factor(supply))

    def _per_litre_at(self, supply: Supply, log_factor: np.ndarray) -> np.ndarray:
        p, boiler = self.posterior, self.posterior.facts.boiler
        return growth_per_litre(
            boiler,
            supply.table,
            log_factor,
            capture_fraction(p.unknown(unknowns.CAPTURE), p.unknown(unknowns.ACTIVATION), boiler.temperature_c),
            expit(p.unknown(unknowns.DEGASSING)),
            np.exp(p.unknown(unknowns.FLOOR)),
        )

    def per_litre_of_spans(self) -> np.ndarray:
        """Mean growth a litre in each span of the timeline (W, C P) [mg/cm2/L]."""
        p = self.posterior
        factors = p.model.log_factors(p.x)
        spans = zip(p.model.timeline.spans, factors, strict=True)
        return np.stack([self._per_litre_at(p.supplies[span.water], factor) for span, factor in spans])

    @cached_property
    def growth_to_now(self) -> np.ndarray:
        """Mean growth from the last state to ``as_of`` (C P,) [mg/cm2]."""
        line = self.posterior.model.timeline
        planned = np.exp(line.plan.log_sd * self._use)
        litres = line.tail_recorded_l[:, None] + line.tail_planned_l[:, None] * planned
        return (litres * self.per_litre_of_spans()).sum(axis=0)

    @cached_property
    def litres_a_day(self) -> np.ndarray:
        """Litres on a day of mean use from ``as_of`` on (C P,) [L/day]."""
        return self.plan.use.litres_per_day * np.exp(self.plan.use.log_sd * self._use_ahead)

    @cached_property
    def growth_a_day(self) -> np.ndarray:
        """Mean growth on a day of mean use of the water of ``as_of`` (C P,) [mg/cm2/day]; see `growth_after`."""
        return self.litres_a_day * self.per_litre(self.plan.supply)

    @cached_property
    def settled_growth_a_day(self) -> np.ndarray:
        """The same, of the water after the last planned change (C P,) [mg/cm2/day]."""
        return self.litres_a_day * self.per_litre(self.plan.settled) if self.plan.later else self.growth_a_day

    @cached_property
    def _running_use(self) -> np.ndarray:
        weights = self.plan.use.weights(self.posterior.facts.as_of.toordinal(), FARTHEST_DAYS)
        return np.concatenate([[0.0], weights.cumsum()])

    def use_days(self, days):
        """Days of mean use in the ``days`` after as_of: fewer across an absence, more or fewer by season; never falls.

        ``days`` is a number or an array, up to `FARTHEST_DAYS`; it is returned as it is where every day is alike.
        """
        if self.plan.use.steady:
            return days
        return np.interp(days, np.arange(FARTHEST_DAYS + 1), self._running_use)

    def growth_after(self, days) -> np.ndarray:
        """Mean growth from the last state until ``days`` after as_of [mg/cm2]: (C P,), or (A, C P) for days (A,)."""
        use = np.asarray(self.use_days(days), dtype=float)
        begun = [float(self.use_days(day)) for day, _ in self.plan.later]
        grown = np.multiply.outer(np.minimum(use, begun[0]) if begun else use, self.growth_a_day)
        for place, (_, supply) in enumerate(self.plan.later):
            drawn = np.clip(use - begun[place], 0.0, (*begun[place + 1 :], np.inf)[0] - begun[place])
            grown = grown + np.multiply.outer(drawn, self.litres_a_day * self.per_litre(supply))
        return self.growth_to_now + grown

    def risk_draws(self, threshold_mg_cm2: float, days: float) -> np.ndarray:
        """P(deposit >= threshold, ``days`` after as_of) given each draw (C P,)."""
        margin = threshold_mg_cm2 / self.relative - self.last_deposit
        return survival(margin, self.growth_after(days), self.irregularity)

    def risk(self, threshold_mg_cm2: float, days: float) -> tuple[float, float]:
        """Probability, and its Monte Carlo standard error."""
        draws = self.posterior.by_population(self.risk_draws(threshold_mg_cm2, days))
        return float(draws.mean()), monte_carlo_error(draws)

    def deposit_draws(self, days: float) -> np.ndarray:
        """Draws of the site's deposit ``days`` after as_of (C P,) [mg/cm2]; the same seed gives the same draws."""
        mean = self.growth_after(days)
        grown = draw_growth(self.posterior.fresh("deposit"), mean, self.irregularity)
        return self.relative * (self.last_deposit + grown)
