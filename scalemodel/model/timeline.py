"""From dated records to intervals: who drew how much of which water between which looks.

Dates are moments: a stretch of use runs over [from, to), a look or descale stands at its date. Intervals
are cut only at looks and descales, so a record that changes nothing changes no interval.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from scalemodel.errors import EvidenceError, UnknownNameError
from scalemodel.logbook.records import WALL, BoilerFacts, Descale, Fill, Inspection, Use

DAYS_OF_USE = 365
"""The mean daily rate is that of so many days before the last day with a record of use."""

USE_LOG_SD_FLOOR = 0.15
"""However steady past use was, the future may differ by this much (log-sd)."""

USE_LOG_SD_STATED = 0.2
"""Log-sd of a rate that the owner states instead of recording."""

USE_LOG_SD_UNKNOWN = 0.4
"""Log-sd of one stretch's rate where fewer than three stretches tell."""


@dataclass(frozen=True)
class UsePlan:
    """The mean daily rate [L/day] that fills unrecorded time, its log-sd, and where it came from."""

    litres_per_day: float
    log_sd: float
    source: str


@dataclass(frozen=True)
class Timeline:
    """A boiler's history as arrays; J intervals, K states, W waters drawn.

    State 0 is the start; each growth interval and each descale adds a state.

    Attributes
    ----------
    state_dates : tuple of date, length K
    steps : tuple of ("grow", j) or ("descale", d), length K - 1
        How each state follows from the one before.
    recorded_l, planned_l : arrays (J, W) [L]
        Litres on record, and litres filled in at the plan's rate.
    waters : tuple of str, length W
    looks : tuple of (state, Inspection)
    descales : tuple of (state before, Descale)
    plan : UsePlan
    unrecorded_days : int
        Days up to ``as_of`` that the plan filled.
    tail_recorded_l, tail_planned_l : arrays (W,) [L]
        The same between the last state and ``as_of``.
    """

    state_dates: tuple[date, ...]
    steps: tuple[tuple[str, int], ...]
    recorded_l: np.ndarray
    planned_l: np.ndarray
    waters: tuple[str, ...]
    looks: tuple[tuple[int, Inspection], ...]
    descales: tuple[tuple[int, Descale], ...]
    plan: UsePlan
    unrecorded_days: int
    tail_recorded_l: np.ndarray
    tail_planned_l: np.ndarray
    notes: tuple[str, ...] = ()

    @property
    def intervals(self) -> int:
        return len(self.recorded_l)


def use_plan(uses: tuple[Use, ...], litres_per_day: float | None = None) -> UsePlan | None:
    """The rate of the last year recorded, with its uncertainty; ``litres_per_day`` overrides the rate.

    The log-sd is ``sqrt(0.15^2 + s^2 / n)`` with s the day-weighted sd of the log rates of the last
    year's n stretches (0.4 where fewer than three tell); 0.2 for a stated rate. ``None`` where nothing is known.
    """
    if litres_per_day is not None:
        return UsePlan(litres_per_day, USE_LOG_SD_STATED, "as you said")
    stretches = sorted(uses, key=lambda u: u.from_date)
    if not stretches:
        return None
    last = max(u.end for u in stretches).toordinal()
    starts = np.array([max(u.from_date.toordinal(), last - DAYS_OF_USE) for u in stretches])
    ends = np.array([u.end.toordinal() for u in stretches])
    whole = np.array([(u.end - u.from_date).days for u in stretches])
    days = np.clip(ends - starts, 0, None)
    litres = np.array([u.litres_drawn for u in stretches]) * days / whole
    drawn = (days > 0) & (litres > 0)
    spread, count = USE_LOG_SD_UNKNOWN, max(1, int(drawn.sum()))
    if drawn.sum() >= 3:
        rates = np.log(litres[drawn] / days[drawn])
        mean = np.average(rates, weights=days[drawn])
        spread = float(np.sqrt(np.average((rates - mean) ** 2, weights=days[drawn])))
    log_sd = float(np.hypot(USE_LOG_SD_FLOOR, spread / np.sqrt(count)))
    return UsePlan(float(litres.sum() / days.sum()), log_sd, f"mean of the last {int(days.sum())} days on record")


class Ledger:
    """Litres drawn up to any day, as running sums over the records of use and the fills."""

    def __init__(self, facts: BoilerFacts, plan: UsePlan) -> None:
        self.first, self.rate = facts.boiler.installed_on.toordinal(), plan.litres_per_day
        self._sum_use(facts)
        fills = sorted(facts.fills, key=lambda f: f.from_date)
        self.waters = tuple(dict.fromkeys(f.water for f in fills))
        self.edges = [self.first, *[max(self.first, f.from_date.toordinal()) for f in fills[1:]]]
        self.drawn = [self.waters.index(f.water) for f in fills]

    def _sum_use(self, facts: BoilerFacts) -> None:
        days, litres, covered = [self.first], [0.0], [0.0]
        for use in sorted(facts.uses, key=lambda u: u.from_date):
            start, end = use.from_date.toordinal(), use.end.toordinal()
            gap = start - days[-1]
            if gap > 0:  # one day between two records: dates that were meant to include the last day
                joined = gap == 1 and len(days) > 1
                days.append(start)
                litres.append(litres[-1])
                covered.append(covered[-1] + (1.0 if joined else 0.0))
            days.append(end)
            litres.append(litres[-1] + use.litres_drawn)
            covered.append(covered[-1] + end - start)
        self.days, self.litres, self.covered = map(np.array, (days, litres, covered))

    def _totals(self, day: int) -> tuple[float, float]:
        bare = day - self.first - np.interp(day, self.days, self.covered)
        return float(np.interp(day, self.days, self.litres)), float(bare)

    def between(self, start: int, end: int) -> tuple[np.ndarray, np.ndarray]:
        """Recorded and planned litres by water (W,) [L] over the days [start, end)."""
        recorded, planned = np.zeros(len(self.waters)), np.zeros(len(self.waters))
        bounds = [*self.edges, 10**7]
        for k, water in enumerate(self.drawn):
            low, high = max(start, bounds[k]), min(end, bounds[k + 1])
            if low < high:
                (l0, g0), (l1, g1) = self._totals(low), self._totals(high)
                recorded[water] += l1 - l0
                planned[water] += (g1 - g0) * self.rate
        return recorded, planned

    def bare_days(self, start: int, end: int) -> int:
        """Days without a record of use in [start, end)."""
        return round(self._totals(end)[1] - self._totals(start)[1])


def build_timeline(facts: BoilerFacts, litres_per_day: float | None = None, water: str | None = None) -> Timeline:
    """Lay a boiler's records out as intervals and states.

    Parameters
    ----------
    facts : BoilerFacts
        What the logbook knew on ``facts.as_of``.
    litres_per_day : float, optional
        A stated rate [L/day]; fills unrecorded time only where no use is on record at all.
    water : str, optional
        A stated water, used for the past only where no fill is on record at all.

    Raises
    ------
    EvidenceError
        Where no use or no water is known.
    """
    name = facts.boiler.boiler
    plan = use_plan(facts.uses) or use_plan((), litres_per_day)
    if plan is None:
        raise EvidenceError(
            f"no use of {name} is on record by {facts.as_of}",
            f"add it (scalemodel add use {name} FROM TO --litres X) or state --litres-per-day",
        )
    notes = []
    if not facts.fills:
        if water is None:
            raise EvidenceError(
                f"no water of {name} is on record by {facts.as_of}",
                f"say which it draws (scalemodel add fill {name} DATE WATER) or state --water",
            )
        facts = _with_fill(facts, water)
        notes.append(f"no fill on record: {water} taken since installation")
    elif facts.fills[0].from_date > facts.boiler.installed_on:
        notes.append(f"{facts.fills[0].water} taken for the time before the first fill, {facts.fills[0].from_date}")
    ledger = Ledger(facts, plan)
    events = _events(facts)
    dates, steps, looks, descales = [facts.boiler.installed_on], [], [], []
    recorded, planned = [], []
    for day in sorted({e.date for e in events}):
        today = [e for e in events if e.date == day]
        if day > dates[-1]:
            r, p = ledger.between(dates[-1].toordinal(), day.toordinal())
            steps.append(("grow", len(recorded)))
            recorded.append(r)
            planned.append(p)
            dates.append(day)
        after = any(isinstance(e, Descale) for e in today)
        looks += [(len(dates) - 1, e) for e in today if isinstance(e, Inspection) and not (after and e.after_descale)]
        for event in today:
            if isinstance(event, Descale):
                descales.append((len(dates) - 1, event))
                steps.append(("descale", len(descales) - 1))
                dates.append(day)
        looks += [(len(dates) - 1, e) for e in today if isinstance(e, Inspection) and after and e.after_descale]
    shape = (len(recorded), len(ledger.waters))
    tail = ledger.between(dates[-1].toordinal(), facts.as_of.toordinal())
    return Timeline(
        tuple(dates),
        tuple(steps),
        np.reshape(recorded, shape),
        np.reshape(planned, shape),
        ledger.waters,
        tuple(looks),
        tuple(descales),
        plan,
        ledger.bare_days(facts.boiler.installed_on.toordinal(), facts.as_of.toordinal()),
        *tail,
        tuple(notes),
    )


def _events(facts: BoilerFacts) -> list[Inspection | Descale]:
    return [*facts.inspections, *facts.descales]


def _with_fill(facts: BoilerFacts, water: str) -> BoilerFacts:
    return replace(facts, fills=(Fill(facts.boiler.boiler, facts.boiler.installed_on, water),))


def is_reference(facts: BoilerFacts, site: str) -> bool:
    """Whether a site is the reference surface: the one marked so, else the wall."""
    return site == facts.reference_site


def check_site(facts: BoilerFacts, site: str | None) -> str:
    """The site asked for, or the reference surface.

    Raises
    ------
    UnknownNameError
        If the boiler has no such site.
    """
    known = {WALL, *(s.site for s in facts.sites)}
    if site is None:
        return facts.reference_site
    if site not in known:
        raise UnknownNameError("site", site, known)
    return site
