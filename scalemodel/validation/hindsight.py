"""Hindsight on one boiler: every look foretold from what was known on the day before it, and what came of the dates.

Forecasts that are right give ranks (`Pit`) that are even between 0 and 1, stated risks that come true, and a score no
worse than that of simpler rivals; what is seen worse or milder than foretold, look after look, is told by
`scalemodel.decision.sequential`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache, partial
from itertools import islice
from typing import NamedTuple

import numpy as np

from scalemodel.decision.alarms import first_severe_grade, grade_typed, severe_alarms
from scalemodel.decision.case import Case
from scalemodel.decision.change import Change, arrays_of, find_change
from scalemodel.decision.forecast import Forecast, find_plan, find_threshold
from scalemodel.decision.foretelling import (
    FORETELLING_PARTICLES,
    Foretold,
    before_look,
    chances_of,
    told_of,
)
from scalemodel.decision.horizon import HORIZON_DAYS
from scalemodel.decision.sequential import evidence, log_ratios, shares_of_looks
from scalemodel.errors import EvidenceError
from scalemodel.frames import each_of
from scalemodel.inference.posterior import solve
from scalemodel.inference.smc import DEFAULT_SEED
from scalemodel.logbook.records import BoilerFacts, Inspection
from scalemodel.model.grading import grading_of
from scalemodel.validation.forecasts_right import Pit, Stated, p_value, pit_of, reliability_of
from scalemodel.validation.rivals import last_grade_again, litres_times_meter, prior_alone
from scalemodel.validation.weighing import Weighed, weighings

AS_FORETOLD = 0.1
"""A look whose p value is at least this was as foretold; of honest forecasts at most one look in ten is not."""


@dataclass(frozen=True)
class LookBack:
    """One look and what was foretold of it.

    Attributes
    ----------
    record : int or None
    date : date
    site, grade, method, inspector : str
        As recorded; the grade as it is typed.
    probabilities : tuple of float, length grades
        Of each grade, from what was known on the day before.
    p_value : float
        Chance of a look at least as far out on the same side, twice; 1 at most.
    stated_risk : float
        Chance, as foretold, that the look shows the threshold or worse.
    severe : bool or None
        Whether it did; None for a range that may be either.
    defer_until : date or None
        The date that would have been given on the day of the look, without it; None where there was none.
    """

    record: int | None
    date: date
    site: str
    grade: str
    method: str
    inspector: str
    probabilities: tuple[float, ...]
    p_value: float
    stated_risk: float
    severe: bool | None
    defer_until: date | None

    @property
    def as_foretold(self) -> bool:
        return self.p_value >= AS_FORETOLD


@dataclass(frozen=True)
class Score:
    """Mean log probability a look of what was seen, by the model and by simpler rivals; higher is better."""

    model: float
    last_grade: float
    litres: float
    prior: float


@dataclass(frozen=True)
class DateGiven:
    """A date that would have been given, and whether a look up to it (before a descale) showed the threshold or worse.

    ``passed`` is None where nobody looked at the reference surface from the day on which it was given up to the date.
    """

    given_on: date
    defer_until: date
    passed: bool | None


@dataclass(frozen=True, repr=False)
class Hindsight:
    """What hindsight shows of one boiler.

    Attributes
    ----------
    boiler : str
    as_of : date
    looks : tuple of LookBack
        In the order in which they were made.
    untold : int
        Looks before which too little was known (no use, no test of the water) to foretell them.
    score : Score or None
        None without a look that was foretold.
    change : Change or None
    evidence : tuple of float
        The test for a change after each look; 100 is an alarm.
    pit : Pit or None
    reliability : tuple of Stated
    weighed : tuple of Weighed
    dates : tuple of DateGiven
    seed, particles : int
    """

    boiler: str
    as_of: date
    looks: tuple[LookBack, ...]
    untold: int
    score: Score | None
    change: Change | None
    evidence: tuple[float, ...]
    pit: Pit | None
    reliability: tuple[Stated, ...]
    weighed: tuple[Weighed, ...]
    dates: tuple[DateGiven, ...]
    seed: int
    particles: int
    told: tuple[Foretold, ...] = field(compare=False, default=())

    def __repr__(self) -> str:
        right = sum(look.as_foretold for look in self.looks)
        changed = "no change" if self.change is None else f"{self.change.direction} since {self.change.since}"
        told = f"{right} of {len(self.looks)} looks as foretold, {changed}"
        return f"<Hindsight of {self.boiler!r} as of {self.as_of}: {told}>"

    def to_frame(self):
        """A row a look as a pandas DataFrame: every field, its probabilities as p0 to p4, and the whole's beside it.

        ``evidence`` is that after the look. ``reliability``, ``weighed``, ``dates`` and ``pit`` are tables of their
        own (`scalemodel.frames.flat`).
        """
        own = ("looks", "evidence", "pit", "reliability", "weighed", "dates", "told", "probabilities")
        beside = [
            {"evidence": found, "as_foretold": look.as_foretold}
            | {f"p{g}": p for g, p in enumerate(look.probabilities)}
            for look, found in zip(self.looks, self.evidence, strict=True)
        ]
        return each_of(self, self.looks, LookBack, "look", own, beside)


class _Solved(NamedTuple):
    """What one solve tells of a look: its chances (grades,), by the prior alone too, and the date then given."""

    chances: np.ndarray
    prior: np.ndarray
    defer_until: date | None


def solve_look(facts: BoilerFacts, index: int, seed: int, particles: int) -> _Solved | None:
    """Foretell look ``index`` (in order); None where too little was known before it."""
    try:
        posterior = solve(before_look(facts, index), seed, particles)
        forecast = Forecast(posterior, find_plan(posterior))
    except EvidenceError:
        return None
    look = posterior.facts.inspections[-1]
    threshold = find_threshold(posterior.facts)
    case = Case(forecast, threshold, facts.boiler.tolerance, HORIZON_DAYS)
    day = None if severe_alarms(posterior.facts, threshold.mg_cm2) else case.last_safe
    until = case.date_of(day) if day is not None and day < HORIZON_DAYS else None
    return _Solved(chances_of(posterior, look), prior_alone(posterior, look), until)


def solve_all(
    fleet: Sequence[BoilerFacts],
    seed: int,
    particles: int,
    jobs: int,
    progress: Callable[[float], None] | None = None,
) -> list[list[_Solved | None]]:
    """The solve before every look of every boiler, in order, in ``jobs`` processes; ``progress`` as for `hindsight`."""
    work = [(facts, index) for facts in fleet for index in range(len(facts.inspections))]
    one, solved = partial(_solve_one, seed=seed, particles=particles), []
    with ExitStack() as stack:
        each = map(one, work)
        if jobs > 1 and len(work) > 1:
            each = stack.enter_context(ProcessPoolExecutor(min(jobs, len(work)))).map(one, work)
        for found in each:
            solved.append(found)
            if progress is not None:
                progress(len(solved) / len(work))
    told = iter(solved)
    return [list(islice(told, len(facts.inspections))) for facts in fleet]


@lru_cache(maxsize=1024)
def _solve_one(work: tuple[BoilerFacts, int], seed: int, particles: int) -> _Solved | None:
    return solve_look(*work, seed, particles)


def hindsight(
    facts: BoilerFacts,
    seed: int | None = None,
    particles: int | None = None,
    jobs: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Hindsight:
    """Foretell every look of a boiler from what was known before it, and hold it against what was seen.

    Parameters
    ----------
    facts : BoilerFacts
    seed, particles : int, optional
        Of each solve; particles in each of the four populations.
    jobs : int
        Processes.
    progress : callable, optional
        Told the share in [0, 1] of the solves that is done.
    """
    seed = DEFAULT_SEED if seed is None else seed
    particles = FORETELLING_PARTICLES if particles is None else particles
    (solved,) = solve_all([facts], seed, particles, jobs, progress)
    return looked_back(facts, solved, seed, particles)


def looked_back(facts: BoilerFacts, solved: Sequence[_Solved | None], seed: int, particles: int) -> Hindsight:
    """What hindsight shows, from the solve before every look of the facts, in order."""
    pairs = [(told, one) for told, one in zip(told_of(facts), solved, strict=True) if one is not None]
    told = tuple(Foretold(look, record, one.chances, occasion) for (look, record, occasion), one in pairs)
    severe = first_severe_grade(find_threshold(facts).mg_cm2, grading_of(facts.beliefs))
    looks = tuple(_look_back(one, severe, found.defer_until) for one, (_, found) in zip(told, pairs, strict=True))
    return Hindsight(
        facts.boiler.boiler,
        facts.as_of,
        looks,
        len(solved) - len(told),
        _score(facts, told, [found.prior for _, found in pairs]),
        find_change(told, facts),
        evidence_by_look(told),
        pit_of(told),
        _reliability(looks),
        weighings(facts, seed, particles),
        dates_of(facts, looks),
        seed,
        particles,
        told,
    )


def _look_back(one: Foretold, severe: int, defer_until: date | None) -> LookBack:
    look, chances = one.look, one.chances
    return LookBack(
        one.record,
        look.date,
        look.site,
        grade_typed(look),
        look.method,
        look.inspector,
        tuple(float(p) for p in chances),
        p_value(chances, look.grade_low, look.grade_high),
        float(chances[severe:].sum()),
        None if look.grade_low < severe <= look.grade_high else look.grade_low >= severe,
        defer_until,
    )


def log_score(chances: np.ndarray, look: Inspection) -> float:
    """Log probability of what a look says."""
    return float(np.log(max(chances[look.grade_low : look.grade_high + 1].sum(), 1e-12)))


def _score(facts: BoilerFacts, told: Sequence[Foretold], prior: Sequence[np.ndarray]) -> Score | None:
    """The score of the model and of its rivals on the same looks."""
    if not told:
        return None
    looks = [one.look for one in told]

    def mean(each: Iterable[np.ndarray]) -> float:
        return float(np.mean([log_score(chances, look) for chances, look in zip(each, looks, strict=True)]))

    return Score(
        mean(one.chances for one in told),
        mean(last_grade_again(facts, looks)),
        mean(litres_times_meter(facts, looks)),
        mean(prior),
    )


def evidence_by_look(told: Sequence[Foretold]) -> tuple[float, ...]:
    """The test for a change after each look."""
    if not told:
        return ()
    chances, low, high, occasions = arrays_of(told)
    return tuple(float(e) for e in evidence(log_ratios(chances, low, high), shares_of_looks(occasions)).total)


def _reliability(looks: Sequence[LookBack]) -> tuple[Stated, ...]:
    sure = [one for one in looks if one.severe is not None]
    return reliability_of(np.array([one.stated_risk for one in sure]), np.array([bool(one.severe) for one in sure]))


def dates_of(facts: BoilerFacts, looks: Sequence[LookBack]) -> tuple[DateGiven, ...]:
    """The dates that would have been given, and what looks at the reference surface found until then."""
    found = []
    for one in looks:
        if one.defer_until is None:
            continue
        descale = min((d.date for d in facts.descales if d.date >= one.date), default=one.defer_until)
        end = min(one.defer_until, descale)
        seen = [
            other.severe
            for other in looks
            if other.site == facts.reference_site and one.date <= other.date <= end and other.severe is not None
        ]
        found.append(DateGiven(one.date, one.defer_until, any(seen) if seen else None))
    return tuple(found)
