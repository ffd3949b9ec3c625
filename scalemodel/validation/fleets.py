"""A whole fleet invented, with its hidden truth: for trials, for teaching, and for the speed of many boilers.

Boilers stand twenty to a place; those of a place share its water and the people who look. All that is unknown is
drawn from the priors: once a boiler, but a water's strength and a person's leniency once for all who share them. Dates
are drawn before, and apart from, the truth.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from scalemodel.decision.forecast import Forecast, find_plan, find_threshold
from scalemodel.errors import BadValueError
from scalemodel.inference.smc import DEFAULT_SEED
from scalemodel.logbook.belief import Belief
from scalemodel.logbook.records import (
    WALL,
    Boiler,
    BoilerFacts,
    Descale,
    Fill,
    Inspection,
    Site,
    Use,
    Water,
    WaterTest,
)
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.supply import Supply
from scalemodel.model.target import model_of
from scalemodel.model.unknowns import Kind
from scalemodel.validation.fleet_size import LAST_DAY, LOOKS, MOST_BOILERS, MOST_LOOKS
from scalemodel.validation.reliability import true_path
from scalemodel.validation.simulated_boilers import simulate, truth_alone

A_PLACE = 20
"""So many boilers share a water and the people who look."""

SHARED = (Kind.CONCENTRATION, Kind.LENIENCY)
"""Unknowns of what boilers share."""

DAYS_BETWEEN_LOOKS = (21, 45)
DAYS_BETWEEN_DESCALES = (150, 400)
METHODS, METHOD_SHARES = ("eye", "mirror", "camera", "glance"), (0.6, 0.1, 0.1, 0.2)

AHEAD = np.arange(7, 4 * 365, 7)
"""Days ahead on which it is looked whether the truth has passed."""


@dataclass(frozen=True)
class Truth:
    """What nobody could know of a simulated boiler.

    Attributes
    ----------
    boiler : str
    deposit_mg_cm2 : float [mg/cm2]
        On the reference surface, on the last day.
    passes_on : date or None
        When it reaches the boiler's threshold if nothing is done and use goes on, to a week; None if not in four years.
    unknowns : mapping of str to float
        Every unknown by the name that is printed of it, on its prior's scale.
    """

    boiler: str
    deposit_mg_cm2: float
    passes_on: date | None
    unknowns: Mapping[str, float]


@dataclass(frozen=True, repr=False)
class Simulated:
    """A boiler with findings that follow from a truth."""

    facts: BoilerFacts
    truth: Truth

    def __repr__(self) -> str:
        facts = self.facts
        return f"<Simulated {facts.boiler.boiler!r} as of {facts.as_of}, {len(facts.inspections)} looks>"


def simulate_fleet(
    boilers: int,
    seed: int | None = None,
    looks: int = LOOKS,
    last_day: date = LAST_DAY,
    beliefs: tuple[Belief, ...] = (),
) -> Iterator[Simulated]:
    """Boilers one by one; the same number and seed give the same boiler, however many there are.

    Parameters
    ----------
    boilers : int
    seed : int, optional
    looks : int
        At each boiler.
    last_day : date
        On which the records end.
    beliefs : tuple of Belief
        Priors to draw from in place of the house's; the facts carry them.

    Raises
    ------
    BadValueError
        If there are no boilers or too many, or too many looks; before the first is drawn.
    """
    _check("boilers", boilers, 1, MOST_BOILERS)
    _check("looks", looks, 0, MOST_LOOKS)
    return _drawn(boilers, DEFAULT_SEED if seed is None else seed, looks, last_day, beliefs)


def _check(name: str, given: int, low: int, high: int) -> None:
    if given != int(given) or not low <= given <= high:
        raise BadValueError(name, given, f"a whole number, {low} to {high}")


def _drawn(boilers: int, seed: int, looks: int, last_day: date, beliefs: tuple[Belief, ...]) -> Iterator[Simulated]:
    for number in range(boilers):
        rng = np.random.default_rng([seed, number])
        facts = replace(invent(rng, number, seed, looks, last_day), beliefs=beliefs)
        yield found_at(facts, rng, seed)


def found_at(facts: BoilerFacts, rng: np.random.Generator, seed: int) -> Simulated:
    """The findings and the truth of a history, all that is unknown drawn from what its facts believe."""
    model, supplies = model_of(facts)
    x = draw_truth(model, rng, seed)
    found = simulate(model, rng, x)[1]
    return Simulated(found, _truth(model, supplies, x, rng))


def draw_truth(model: BoilerModel, rng: np.random.Generator, seed: int) -> np.ndarray:
    """A truth x (dim, 1) from the prior, in which what boilers share is theirs, by its name and the fleet's seed."""
    x = model.draw_prior(rng, 1)
    for row, unknown in enumerate(model.unknowns):
        if unknown.kind in SHARED:
            x[row] = np.random.default_rng([seed, zlib.crc32(str(unknown).encode())]).standard_normal()
    return x


def _truth(model: BoilerModel, supplies: dict[str, Supply], x: np.ndarray, rng: np.random.Generator) -> Truth:
    """What is hidden, with one path of growth to come."""
    alone = truth_alone(model, supplies, x, int(rng.integers(2**31)))
    facts = model.facts
    forecast = Forecast(alone, find_plan(alone))
    path = true_path(forecast, rng, np.concatenate([[0], AHEAD]))
    passed = np.flatnonzero(path >= find_threshold(facts).mg_cm2)
    day = None if not len(passed) else facts.as_of + timedelta(days=int([0, *AHEAD][passed[0]]))
    values = {str(unknown): float(model.value(unknown, x)[0]) for unknown in model.unknowns}
    return Truth(facts.boiler.boiler, float(path[0]), day, values)


def invent(rng: np.random.Generator, number: int, seed: int, looks: int, last_day: date) -> BoilerFacts:
    """The history of a boiler of a fleet, its findings still places to be filled."""
    place = number // A_PLACE
    days = [int(n) for n in rng.integers(*DAYS_BETWEEN_LOOKS, size=looks + 1)]
    first = last_day - timedelta(days=max(sum(days), 120))
    name = f"b{number:06d}"
    boiler = _boiler(rng, name, first)
    water, tests = _water(place, seed, last_day)
    seen = tuple(_look(rng, name, first + timedelta(days=sum(days[: k + 1])), place) for k in range(looks))
    descaled, day = [], first
    while (day := day + timedelta(days=int(rng.integers(*DAYS_BETWEEN_DESCALES)))) < last_day:
        descaled.append(Descale(name, day, "full" if rng.random() < 0.85 else "partial"))
    return BoilerFacts(
        boiler,
        last_day,
        (Site(name, "chamber"),),
        (Water(water),),
        tests,
        (Fill(name, first, water),),
        _uses(rng, name, first, last_day, boiler.volume_l),
        seen,
        tuple(descaled),
    )


def _boiler(rng: np.random.Generator, name: str, first: date) -> Boiler:
    steam = rng.random() < 0.15
    return Boiler(
        name,
        round(float(np.exp(rng.uniform(np.log(0.5), np.log(5.0)))), 2),
        round(float(rng.uniform(110.0, 124.0) if steam else rng.uniform(82.0, 98.0)), 1),
        first,
        steam_share=round(float(rng.uniform(0.05, 0.4)), 2) if steam else 0.0,
        threshold_grade=3,
    )


def _water(place: int, seed: int, last_day: date) -> tuple[str, tuple[WaterTest, ...]]:
    """A place's water and its tests, the same for all boilers there."""
    rng, name = np.random.default_rng([seed, place, A_PLACE]), f"place {place:05d}"
    tds = round(float(np.exp(rng.uniform(np.log(40.0), np.log(300.0)))))
    tests = [WaterTest(name, last_day - timedelta(days=200), tds_mg_l=float(tds))]
    if rng.random() < 0.3:
        tests.append(
            WaterTest(name, last_day - timedelta(days=90), hardness=round(0.8 * tds), hardness_unit="mg/L", kit="drops")
        )
    return name, tuple(tests)


def _look(rng: np.random.Generator, name: str, day: date, place: int) -> Inspection:
    site = WALL if rng.random() < 0.7 else "chamber"
    wide = int(rng.random() < 0.2)
    who = f"{'early' if rng.random() < 0.6 else 'late'} {place:05d}"
    return Inspection(name, day, site, 0, wide, str(rng.choice(METHODS, p=METHOD_SHARES)), who)


def _uses(rng: np.random.Generator, name: str, first: date, last_day: date, volume_l: float) -> tuple[Use, ...]:
    """Litres by month, at 0.15 to 0.9 volumes a day."""
    rate, uses, day = volume_l * np.exp(rng.uniform(np.log(0.15), np.log(0.9))), [], first
    while day < last_day:
        until = min(day + timedelta(days=30), last_day)
        litres = rate * (until - day).days * np.exp(0.15 * rng.standard_normal())
        uses.append(Use(name, day, until, litres=round(float(litres), 1)))
        day = until
    return tuple(uses)
