"""Hindsight on many boilers: one by one, and pooled by water, by inspector and by kind of look.

One boiler by itself seldom tells of a change; thirty on the same water do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np

from scalemodel.decision.change import Change, arrays_of
from scalemodel.decision.foretelling import FORETELLING_PARTICLES, Foretold, descaled_before, looks_in_order
from scalemodel.decision.sequential import (
    LEARNED,
    Evidence,
    alarmed,
    evidence,
    log_ratios,
    pooled_evidence,
    shares_of_days,
)
from scalemodel.errors import ScalemodelError
from scalemodel.frames import flat
from scalemodel.inference.smc import DEFAULT_SEED
from scalemodel.logbook.records import BoilerFacts, Inspection
from scalemodel.validation.hindsight import Hindsight, Score, looked_back, solve_all

AFTER_DESCALE, SINCE_TEST = "the first look after a descale", "looks since the last test of the water"


class Pooled(NamedTuple):
    """What the looks of one water, inspector or kind show together, of how many boilers and looks."""

    name: str
    boilers: int
    looks: int
    change: Change | None
    evidence: float


@dataclass(frozen=True, repr=False)
class FleetHindsight:
    """Hindsight on every boiler that has looks, and what they show together.

    Attributes
    ----------
    boilers : tuple of Hindsight
    waters, inspectors, kinds : tuple of Pooled
        An inspector without a name is nobody.
    missing : dict of str to str
        Boilers that could not be asked, with the reason.
    """

    boilers: tuple[Hindsight, ...]
    waters: tuple[Pooled, ...]
    inspectors: tuple[Pooled, ...]
    kinds: tuple[Pooled, ...]
    missing: dict[str, str]

    def __repr__(self) -> str:
        changed = sum(one.change is not None for one in self.boilers)
        return f"<FleetHindsight of {len(self.boilers)} boilers, {changed} changed; {len(self.missing)} not asked>"

    def to_frame(self):
        """A row a boiler as a pandas DataFrame; what could not be asked has only its ``reason``.

        ``looks`` and ``as_foretold`` are counts, ``score_model`` and the like mean log probabilities, ``change_since``
        and the like the change of this boiler by itself, ``evidence`` that after its last look. ``waters``,
        ``inspectors`` and ``kinds`` are tables of their own (`scalemodel.frames.flat`).
        """
        return flat([*map(_row_of, self.boilers), *(_Row(name, reason=why) for name, why in self.missing.items())])


@dataclass(frozen=True)
class _Row:
    """One boiler in the table."""

    boiler: str
    as_of: date | None = None
    looks: int | None = None
    untold: int | None = None
    as_foretold: int | None = None
    score: Score | None = None
    change: Change | None = None
    evidence: float | None = None
    rank_distance: float | None = None
    rank_band: float | None = None
    seed: int | None = None
    particles: int | None = None
    reason: str = ""


def _row_of(one: Hindsight) -> _Row:
    return _Row(
        one.boiler,
        one.as_of,
        len(one.looks),
        one.untold,
        sum(look.as_foretold for look in one.looks),
        one.score,
        one.change,
        one.evidence[-1] if one.evidence else None,
        one.pit and one.pit.distance,
        one.pit and one.pit.band,
        one.seed,
        one.particles,
    )


def fleet_hindsight(
    fleet: Sequence[BoilerFacts],
    seed: int | None = None,
    particles: int | None = None,
    jobs: int = 1,
    progress: Callable[[float], None] | None = None,
) -> FleetHindsight:
    """Hindsight on the boilers of ``fleet``; other arguments as for `scalemodel.validation.hindsight.hindsight`."""
    seed = DEFAULT_SEED if seed is None else seed
    particles = FORETELLING_PARTICLES if particles is None else particles
    found, missing = {}, {}
    for facts, mine in zip(fleet, solve_all(fleet, seed, particles, jobs, progress), strict=True):
        try:
            found[facts.boiler.boiler] = facts, looked_back(facts, mine, seed, particles)
        except ScalemodelError as error:
            missing[facts.boiler.boiler] = str(error)
    by_boiler = {name: (facts, one.told[LEARNED:]) for name, (facts, one) in found.items()}
    return FleetHindsight(
        tuple(one for _, one in found.values()),
        pools(by_boiler, lambda facts, told: water_on(facts, told.look.date), pooled_looks),
        pools(by_boiler, lambda facts, told: told.look.inspector or None, pooled_looks),
        (
            *pools(by_boiler, lambda facts, told: AFTER_DESCALE if is_after_descale(facts, told.look) else None, alone),
            *pools(by_boiler, lambda facts, told: SINCE_TEST if is_since_test(facts, told.look.date) else None, alone),
        ),
        missing,
    )


Told = Mapping[str, tuple[BoilerFacts, Sequence[Foretold]]]


def pools(
    fleet: Told,
    name_of: Callable[[BoilerFacts, Foretold], str | None],
    test: Callable[[Sequence[Foretold]], Evidence],
) -> tuple[Pooled, ...]:
    """The looks of the whole fleet by what ``name_of`` says of each (None: left out), each pool tested as a whole."""
    by_name: dict[str, list[tuple[str, Foretold]]] = {}
    for boiler, (facts, looks) in fleet.items():
        for one in looks:
            if (name := name_of(facts, one)) is not None:
                by_name.setdefault(name, []).append((boiler, one))
    return tuple(_pool(name, by_name[name], test) for name in sorted(by_name))


def _pool(name: str, looks: Sequence[tuple[str, Foretold]], test: Callable[[Sequence[Foretold]], Evidence]) -> Pooled:
    told = sorted((one for _, one in looks), key=lambda one: one.look.date)
    found = test(told)
    raised = alarmed(found)
    change = None
    if raised is not None:
        since = told[raised.start].look.date
        change = Change(since, raised.evidence, raised.direction, told[raised.at].look.date, len(told) - raised.start)
    return Pooled(name, len({boiler for boiler, _ in looks}), len(told), change, float(found.total[-1]))


def pooled_looks(told: Sequence[Foretold]) -> Evidence:
    """The test of looks that share a water or an eye, by date: what moved them all the while is no change."""
    chances, low, high, _ = arrays_of(told)
    return pooled_evidence(chances, low, high, days_of(told))


def alone(told: Sequence[Foretold]) -> Evidence:
    """The test of a kind of look, by date, which may have been otherwise than foretold from the first on."""
    chances, low, high, _ = arrays_of(told)
    return evidence(log_ratios(chances, low, high), shares_of_days(days_of(told)))


def days_of(told: Sequence[Foretold]) -> np.ndarray:
    """The looks' days (n,), as ordinals."""
    return np.array([one.look.date.toordinal() for one in told], dtype=int)


def water_on(facts: BoilerFacts, day: date) -> str | None:
    """The water that a boiler drew on a day."""
    drawn = [fill.water for fill in facts.fills if fill.from_date < day] or [fill.water for fill in facts.fills[:1]]
    return drawn[-1] if drawn else None


def is_after_descale(facts: BoilerFacts, look: Inspection) -> bool:
    """Whether a descale came between a look and the one before it."""
    ordered = looks_in_order(facts)
    place = next(k for k, one in enumerate(ordered) if one is look)
    before = ordered[place - 1] if place else None
    earlier = [] if before is None else descaled_before(facts, before)
    return len(descaled_before(facts, look)) > len(earlier)


def is_since_test(facts: BoilerFacts, day: date) -> bool:
    """Whether the last test of the water that a boiler draws now lies before a day on which it drew that water."""
    now = facts.fills[-1].water if facts.fills else None
    tests = [t.date for t in facts.water_tests if t.water == now]
    return bool(tests) and tests[-1] < day and water_on(facts, day) == now
