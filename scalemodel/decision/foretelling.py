"""Every look foretold from what was known before it: the posterior as of that day, and what it says of the look.

A look is foretold from the records known on the day before it and from what else was found that day before it (another
look, the descale that it follows), so that the forecasts of successive looks are each made without the look itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache

import numpy as np

from scalemodel.errors import EvidenceError
from scalemodel.inference.look_probabilities import grade_probabilities_at
from scalemodel.inference.posterior import Posterior, solve
from scalemodel.logbook.records import BoilerFacts, Descale, Inspection

FORETELLING_PARTICLES = 125
"""In each of the four populations: a forecast of a grade needs fewer draws than a date."""


@dataclass(frozen=True)
class Foretold:
    """One look and its forecast.

    Attributes
    ----------
    look : Inspection
    record : int or None
        Its number in the logbook.
    chances : array (grades,)
        Probability of each grade, from what was known before.
    occasion : bool
        Whether a descale or a change of water came between the look before it and this one.
    """

    look: Inspection
    record: int | None
    chances: np.ndarray
    occasion: bool


def looks_in_order(facts: BoilerFacts) -> list[Inspection]:
    """The looks in the order in which they were made: of one day, those before a descale, then those after it."""
    descaled = {descale.date for descale in facts.descales}
    return sorted(facts.inspections, key=lambda look: (look.date, look.after_descale and look.date in descaled))


def as_known_on(facts: BoilerFacts, day: date) -> BoilerFacts:
    """The facts as they were known on an earlier day, records alone considered.

    Absences count from the first of their days, as their entry is no fact; of one that goes on its days up to ``day``.
    """
    looks = [
        (look, number) for look, number in zip(facts.inspections, _numbers(facts), strict=True) if look.date <= day
    ]
    return replace(
        facts,
        as_of=day,
        water_tests=tuple(t for t in facts.water_tests if t.date <= day),
        fills=tuple(f for f in facts.fills if f.from_date <= day),
        uses=tuple(u for u in facts.uses if u.to_date <= day),
        inspections=tuple(look for look, _ in looks),
        descales=tuple(d for d in facts.descales if d.date <= day),
        prices=tuple(p for p in facts.prices if p.from_date <= day),
        absences=tuple(replace(a, to_date=min(a.to_date, day)) for a in facts.absences if a.from_date < day),
        planned_fills=(),
        look_numbers=tuple(number for _, number in looks) if facts.look_numbers else (),
        **_believed_on(facts, day),
    )


def _believed_on(facts: BoilerFacts, day: date) -> dict[str, tuple]:
    """What was believed on an earlier day: of adopted priors those of that day; the user's own hold at all times."""
    adoptions = tuple(one for one in facts.adoptions if one.date <= day)
    beliefs = adoptions[-1].beliefs if adoptions else () if facts.adoptions else facts.beliefs
    return {"beliefs": beliefs, "adoptions": adoptions}


def before_look(facts: BoilerFacts, index: int) -> BoilerFacts:
    """What was known before look ``index`` (in order), with the look itself as one that says nothing, as of its day."""
    ordered = looks_in_order(facts)
    look = ordered[index]
    known = as_known_on(facts, look.date - timedelta(days=1))
    same_day = [one for one in ordered[:index] if one.date == look.date]
    follows = tuple(d for d in facts.descales if d.date == look.date) if look.after_descale else ()
    return replace(
        known,
        as_of=look.date,
        inspections=(*known.inspections, *same_day, look.untold),
        descales=(*known.descales, *follows),
        look_numbers=(),
    )


@lru_cache(maxsize=4096)
def _chances_before(known: BoilerFacts, seed: int, particles: int) -> tuple[float, ...] | None:
    """Probability of each grade at the look that says nothing, the last one of ``known``; None without evidence."""
    try:
        posterior = solve(known, seed, particles)
    except EvidenceError:
        return None
    return tuple(chances_of(posterior, known.inspections[-1]).tolist())


def chances_of(posterior: Posterior, look: Inspection) -> np.ndarray:
    """Probability of each grade at one of the posterior's looks (grades,)."""
    place = next(k for k, (_, one) in enumerate(posterior.model.timeline.looks) if one is look)
    return grade_probabilities_at(posterior, place).mean(axis=1)


def foretell(facts: BoilerFacts, seed: int, particles: int = FORETELLING_PARTICLES) -> list[Foretold]:
    """Every look foretold, in order; without those before which too little was known.

    One solve a look, of which those that were made before in this process are kept.
    """
    found = []
    for index, (look, record, occasion) in enumerate(told_of(facts)):
        chances = _chances_before(before_look(facts, index), seed, particles)
        if chances is not None:
            found.append(Foretold(look, record, np.array(chances), occasion))
    return found


def told_of(facts: BoilerFacts) -> list[tuple[Inspection, int | None, bool]]:
    """Every look in order, with its number and whether something happened between the look before it and itself."""
    numbers = {id(look): number for look, number in zip(facts.inspections, _numbers(facts), strict=True)}
    ordered, before, told = looks_in_order(facts), facts.boiler.installed_on, []
    for look in ordered:
        told.append((look, numbers[id(look)], happened_between(facts, before, look)))
        before = look.date
    return told


def descaled_before(facts: BoilerFacts, look: Inspection) -> list[Descale]:
    """The descales that a look comes after, in order: of its own day where it says so."""
    return [d for d in facts.descales if d.date < look.date or (d.date == look.date and look.after_descale)]


def happened_between(facts: BoilerFacts, before: date, look: Inspection) -> bool:
    """Whether a descale or a change of water came after the day of one look, or on it, and before another."""
    events: Sequence[date] = [
        *(d.date for d in descaled_before(facts, look)),
        *(f.from_date for f in facts.fills[1:]),
    ]
    return any(before <= day <= look.date for day in events)


def _numbers(facts: BoilerFacts) -> tuple[int | None, ...]:
    return facts.look_numbers or (None,) * len(facts.inspections)
