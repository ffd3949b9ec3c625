"""From dated records to intervals: who drew how much of which water between which looks.

Dates are moments: a stretch of use runs over [from, to), a look or descale stands at its date. Intervals
are cut only at looks and descales, so a record that changes nothing changes no interval.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import NamedTuple

import numpy as np

from scalemodel.errors import EvidenceError, Remedy, UnknownNameError
from scalemodel.logbook.records import WALL, Absence, BoilerFacts, Descale, Fill, Inspection
from scalemodel.model.use import UsePlan, use_plan, with_last_days
from scalemodel.model.wandering import Wandering, paths_of


class Span(NamedTuple):
    """A water in one epoch of its path."""

    water: str
    epoch: int


@dataclass(frozen=True)
class Timeline:
    """A boiler's history as arrays; J intervals, K states, W spans of the waters drawn.

    State 0 is the start; each growth interval and each descale adds a state.

    Attributes
    ----------
    state_dates : tuple of date, length K
    steps : tuple of ("grow", j) or ("descale", d), length K - 1
        How each state follows from the one before.
    recorded_l, planned_l : arrays (J, W) [L]
        Litres on record, and litres filled in at the plan's rate.
    spans : tuple of Span, length W
        Each water drawn, in each epoch of its path in which it was.
    paths : mapping of water to Wandering
        How the concentration of each water moves, up to ``as_of``.
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
    spans: tuple[Span, ...]
    paths: Mapping[str, Wandering]
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

    @property
    def waters(self) -> tuple[str, ...]:
        """The waters drawn, in order."""
        return tuple(self.paths)


END = 10**7
"""A day after all others (ordinal)."""


class Ledger:
    """Litres drawn up to any day, as running sums over the records of use, the plan for all other days, and the fills.

    What is on record stands; on a day of absence without a record nothing is drawn, and of a stretch recorded across
    an absence all was drawn on its other days.
    """

    def __init__(self, facts: BoilerFacts, plan: UsePlan) -> None:
        self.first, self.rate = facts.boiler.installed_on.toordinal(), plan.litres_per_day
        self._sum_use(facts)
        self._sum_unrecorded(facts.as_of.toordinal(), plan)
        self._cut_fills(facts)

    def _cut_fills(self, facts: BoilerFacts) -> None:
        """Which span is drawn from which day on: every fill, cut where an epoch of its water begins."""
        fills = sorted(facts.fills, key=lambda f: f.from_date)
        starts = [self.first, *(max(self.first, f.from_date.toordinal()) for f in fills[1:])]
        begun: dict[str, int] = {}
        for fill, start in zip(fills, starts, strict=True):
            begun.setdefault(fill.water, start)
        self.paths = paths_of(facts.water_tests, begun, facts.as_of.toordinal())
        drawn: list[tuple[int, Span]] = []
        for fill, start, end in zip(fills, starts, [*starts[1:], END], strict=True):
            edges = self.paths[fill.water].edges
            epoch = sum(edge <= start for edge in edges)
            drawn.append((start, Span(fill.water, epoch)))
            inner = [edge for edge in edges if start < edge < end]
            drawn += [(edge, Span(fill.water, epoch + k)) for k, edge in enumerate(inner, 1)]
        self.spans = tuple(dict.fromkeys(span for _, span in drawn))
        self.edges = [start for start, _ in drawn]
        self.drawn = [self.spans.index(span) for _, span in drawn]

    def _sum_use(self, facts: BoilerFacts) -> None:
        days, litres, covered = [self.first], [0.0], [0.0]
        for use in with_last_days(facts.uses):
            start, end = use.from_date.toordinal(), use.end.toordinal()
            if start > days[-1]:
                days.append(start)
                litres.append(litres[-1])
                covered.append(covered[-1])
            for piece_end, drawn in spread_over(start, end, use.litres_drawn, facts.absences):
                litres.append(litres[-1] + drawn)
                covered.append(covered[-1] + piece_end - days[-1])
                days.append(piece_end)
        self.days, self.litres, self.covered = map(np.array, (days, litres, covered))

    def _sum_unrecorded(self, as_of: int, plan: UsePlan) -> None:
        """Running sums, by day since the first, of days that the plan fills and of what each is worth."""
        until = max(as_of, int(self.days[-1])) + 1
        bare = 1.0 - np.diff(np.interp(np.arange(self.first, until + 1), self.days, self.covered))
        weights = plan.weights(self.first, len(bare))
        self._worth = np.concatenate([[0.0], (bare * weights).cumsum()])
        self._filled = np.concatenate([[0.0], np.where(weights > 0.0, bare, 0.0).cumsum()])

    def between(self, start: int, end: int) -> tuple[np.ndarray, np.ndarray]:
        """Recorded and planned litres by span (W,) [L] over the days [start, end)."""
        recorded, planned = np.zeros(len(self.spans)), np.zeros(len(self.spans))
        bounds = [*self.edges, END]
        for k, span in enumerate(self.drawn):
            low, high = max(start, bounds[k]), min(end, bounds[k + 1])
            if low < high:
                l0, l1 = (float(np.interp(day, self.days, self.litres)) for day in (low, high))
                recorded[span] += l1 - l0
                planned[span] += (self._worth[high - self.first] - self._worth[low - self.first]) * self.rate
        return recorded, planned

    def filled_days(self, start: int, end: int) -> int:
        """Days without a record of use in [start, end), absences left out."""
        return round(self._filled[end - self.first] - self._filled[start - self.first])


def spread_over(start: int, end: int, litres: float, absences: tuple[Absence, ...]) -> list[tuple[int, float]]:
    """Ends of the pieces of a stretch [start, end), cut at absences, and litres of each: all on the other days.

    Days are ordinals; a stretch that lies wholly within an absence stays whole.

    >>> away = Absence("k", date(1, 1, 5), date(1, 1, 7))
    >>> spread_over(1, 9, 12.0, (away,))
    [(5, 8.0), (7, 0.0), (9, 4.0)]
    """
    cuts = {min(max(d.toordinal(), start), end) for a in absences for d in (a.from_date, a.to_date)}
    cuts = sorted({start, end, *cuts})
    absent = [any(a.from_date.toordinal() <= c < a.to_date.toordinal() for a in absences) for c in cuts[:-1]]
    if all(absent) or not any(absent):
        return [(end, litres)]
    lengths = [0 if away else high - low for low, high, away in zip(cuts, cuts[1:], absent, strict=False)]
    return [(high, litres * length / sum(lengths)) for high, length in zip(cuts[1:], lengths, strict=True)]


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
    plan = use_plan(facts.uses, None, facts.absences) or use_plan((), litres_per_day, facts.absences)
    if plan is None:
        raise EvidenceError(
            f"no use of {name} is on record by {facts.as_of}",
            Remedy("record some or state litres_per_day", "use", name),
        )
    notes = []
    if not facts.fills:
        if water is None:
            raise EvidenceError(
                f"no water of {name} is on record by {facts.as_of}",
                Remedy("record a fill or state water", "fill", name),
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
    shape = (len(recorded), len(ledger.spans))
    tail = ledger.between(dates[-1].toordinal(), facts.as_of.toordinal())
    return Timeline(
        tuple(dates),
        tuple(steps),
        np.reshape(recorded, shape),
        np.reshape(planned, shape),
        ledger.spans,
        ledger.paths,
        tuple(looks),
        tuple(descales),
        plan,
        ledger.filled_days(facts.boiler.installed_on.toordinal(), facts.as_of.toordinal()),
        *tail,
        tuple(notes),
    )


def _events(facts: BoilerFacts) -> list[Inspection | Descale]:
    return [*facts.inspections, *facts.descales]


def _with_fill(facts: BoilerFacts, water: str) -> BoilerFacts:
    return replace(facts, fills=(Fill(facts.boiler.boiler, facts.boiler.installed_on, water),))


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
