"""Invented boilers that do not behave as the model believes: each with a mistake, or a change, of its own.

A boiler's luck (its unknowns, how each day's growth falls out, how each look errs) is drawn once, from the house's
priors; a world says what is done to it. So the same boilers live in every world, and what differs is the world's
doing. Its owner looks every few weeks, descales on a look at or past the threshold or after a year, and asks after
two years; then its truth goes on to the horizon.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise

import numpy as np
from scipy.special import expit

from scalemodel.decision.horizon import HORIZON_DAYS
from scalemodel.logbook.records import WALL, Boiler, BoilerFacts, Descale, Fill, Inspection, Site, Use, Water, WaterTest
from scalemodel.logbook.units import DAYS_A_YEAR
from scalemodel.model import priors
from scalemodel.model.grading import GRADE_COUNT, HOUSE_GRADING
from scalemodel.model.inverse_gaussian import draw_innovations, increment
from scalemodel.model.look import LookModel
from scalemodel.model.supply import find_supply, log_factor
from scalemodel.model.supply_law import capture_fraction, growth_per_litre
from scalemodel.model.use import USE_LOG_SD_FLOOR

METERS = {"soft": 100.0, "middling": 170.0, "hard": 290.0}
"""Meter readings of the waters [mg/L]; boiler n is on the n-th of them."""

PAST, AHEAD = 728, HORIZON_DAYS
"""Days before the question, and the days after it that the truth is known for."""

BETWEEN_LOOKS = (35, 70)
"""Days from one look to the next."""

YEAR = 364
LITRES_A_DAY, WEEK_LOG_SD = 3.0 / 7.0, 0.25
CHAMBER, INSPECTOR = "chamber", ""
URN = Boiler("urn", 0.8, 93.0, date(2024, 1, 1), area_cm2=500.0)
THRESHOLD = HOUSE_GRADING.threshold(URN.threshold_grade)


@dataclass(frozen=True)
class World:
    """What is otherwise than the model believes.

    Attributes
    ----------
    name : str
        In words.
    sites : tuple of str
        Where its owner looks, in turn.
    wall_kept : float or None
        Share of the wall's deposit that every descale leaves, whatever it leaves at the chamber.
    milder : tuple of int
        By how many grades the last looks are too mild, the very last one last.
    lenient : float
        How far the inspector's leniency has moved by the day of the question [ln].
    worst_said : int
        The worst grade that the inspector ever says.
    descales_at : int
        The grade on which its owner descales, else by the year alone.
    recorded : float
        Share of the litres of the last cycle that is on record.
    feedback : float
        Growth is as that of the law times ``1 - feedback + 2 feedback D / threshold``.
    spurts : float
        One four weeks in eight grows so many times as much as it would, the others the less.
    season : float
        The water's strength moves by so much about its mean over a year.
    stronger, since : float, str
        The water is so many times as strong from "the middle" of the history on, or from "the last look".
    """

    name: str
    sites: tuple[str, ...] = (WALL,)
    wall_kept: float | None = None
    milder: tuple[int, ...] = ()
    lenient: float = 0.0
    worst_said: int = GRADE_COUNT - 1
    descales_at: int = URN.threshold_grade
    recorded: float = 1.0
    feedback: float = 0.0
    spurts: float = 1.0
    season: float = 0.0
    stronger: float = 1.0
    since: str = ""


MIDDLE, LAST_LOOK = "the middle", "the last look"

SOUND = World("as the model believes")
SOUND_AT_CHAMBER = World("the same, seen at the chamber alone", sites=(CHAMBER,))
DIRTY_WALL = World("descales clean the chamber that is seen, not the wall", sites=(CHAMBER,), wall_kept=0.5)

WORLDS = (
    SOUND,
    SOUND_AT_CHAMBER,
    DIRTY_WALL,
    replace(DIRTY_WALL, name="the same, with the wall looked at in turn", sites=(CHAMBER, WALL)),
    World("the last two looks too mild by two grades", milder=(2, 2)),
    World("an inspector who grows lenient", lenient=float(np.log(2.0))),
    World("an inspector who never says the worst grade", worst_said=3, descales_at=GRADE_COUNT),
    World("use recorded 30 % low in the last cycle", recorded=0.7),
    World("growth that speeds up with thickness", feedback=0.5),
    World("the last look too mild by two grades", milder=(2,)),
    World("growth in spurts", spurts=6.0),
    World("a season of 30 % in the water", season=0.3),
    World("the water twice as strong from the middle on", stronger=2.0, since=MIDDLE),
    World("the water twice as strong after the last look", stronger=2.0, since=LAST_LOOK),
)
"""The sound one, seen at the wall and at the chamber, and every mistake and change that is tried."""


def day(number: float) -> date:
    """The date so many days after installation."""
    return URN.installed_on + timedelta(days=int(number))


@dataclass(frozen=True)
class Luck:
    """What falls to one boiler, in whatever world.

    Attributes
    ----------
    water : str
    number, seed : int
    growth_a_litre : float [mg/cm2/L]
        The law's mean.
    irregularity : float [mg/cm2]
    litres, innovation : arrays (PAST + AHEAD,)
        Litres drawn [L], and how growth falls out, by day.
    phase : float
        Of a season [radians].
    relative, spread, shift : float
        The chamber's deposit against the wall's; the eye's reading error; the inspector's leniency.
    looks : tuple of int
        Days of looks.
    """

    water: str
    number: int
    seed: int
    growth_a_litre: float
    irregularity: float
    litres: np.ndarray
    innovation: np.ndarray
    phase: float
    relative: float
    spread: float
    shift: float
    looks: tuple[int, ...]

    def residue(self, on: int) -> float:
        """Share of the deposit that a descale on that day leaves, everywhere alike where the world is sound."""
        rng = np.random.default_rng([self.seed, self.number, on, 1])
        return float(expit(priors.RESIDUE_FULL.value(rng.standard_normal())))

    def grade(self, on: int, deposit: float, shift: float, after: bool = False) -> int:
        """What a look on that day shows of a deposit [mg/cm2]; the same scatter in every world."""
        rng = np.random.default_rng([self.seed, self.number, on, 2 + int(after)])
        return LookModel(1.0, 1.0 / self.spread, shift).draw_grade(rng, deposit)


def empty_facts(water: str) -> BoilerFacts:
    """The boiler on a water with one meter reading, without use, looks or descales, as of the day of the question."""
    return BoilerFacts(
        URN,
        day(PAST),
        (Site(URN.boiler, CHAMBER),),
        (Water(water),),
        (WaterTest(water, URN.installed_on, tds_mg_l=METERS[water]),),
        (Fill(URN.boiler, URN.installed_on, water),),
    )


@lru_cache
def _supply(water: str):
    return find_supply(empty_facts(water), water)


def draw_luck(number: int, seed: int, fleet: int | None = None) -> Luck:
    """The luck of boiler ``number``: the same for the same number and seed.

    The boilers of one ``fleet`` draw one water, which is as far from its test for all of them.
    """
    rng = np.random.default_rng([seed, number])
    water = list(METERS)[(number if fleet is None else fleet) % len(METERS)]
    supply = _supply(water)

    def drawn(prior: priors.Prior, rng: np.random.Generator = rng) -> float:
        return float(prior.value(rng.standard_normal(1))[0])

    strength = drawn(priors.STRENGTH)
    if fleet is not None:
        strength = drawn(priors.STRENGTH, np.random.default_rng([seed, fleet, 4]))

    a_litre = growth_per_litre(
        URN,
        supply.table,
        np.atleast_1d(log_factor(supply.analysis.log_sd, strength)),
        capture_fraction(drawn(priors.CAPTURE), drawn(priors.ACTIVATION), URN.temperature_c),
        expit(drawn(priors.DEGASSING)),
        np.exp(drawn(priors.FLOOR)),
    )
    irregularity = float(np.exp(drawn(priors.IRREGULARITY)))
    weeks = np.exp(WEEK_LOG_SD * rng.standard_normal((PAST + AHEAD) // 7 + 1) - 0.5 * WEEK_LOG_SD**2)
    litres = LITRES_A_DAY * np.repeat(weeks, 7)[: PAST + AHEAD]
    litres[PAST:] *= np.exp(USE_LOG_SD_FLOOR * rng.standard_normal())
    a_litre = float(a_litre[0])
    return Luck(
        water,
        number,
        seed,
        a_litre,
        irregularity,
        litres,
        draw_innovations(rng, litres * a_litre, np.full(len(litres), irregularity)),
        float(rng.uniform(0.0, 2.0 * np.pi)),
        float(np.exp(drawn(priors.RELATIVE))),
        float(np.exp(drawn(priors.READING))),
        drawn(priors.LENIENCY),
        tuple(_look_days(rng)),
    )


def _look_days(rng: np.random.Generator) -> Iterable[int]:
    on = int(rng.integers(*BETWEEN_LOOKS))
    while on < PAST:
        yield on
        on += int(rng.integers(*BETWEEN_LOOKS))


def pace(luck: Luck, world: World) -> np.ndarray:
    """How many times as much as by the law grows on each day (PAST + AHEAD,)."""
    days = np.arange(PAST + AHEAD)
    times = 1.0 + world.season * np.sin(2.0 * np.pi * days / DAYS_A_YEAR + luck.phase)
    if world.spurts != 1.0:
        rng = np.random.default_rng([luck.seed, luck.number, 5])
        spurt = np.repeat(rng.random(len(days) // 28 + 1) < 1.0 / 8.0, 28)[: len(days)]
        times *= np.where(spurt, world.spurts, (8.0 - world.spurts) / 7.0)
    if world.since:
        times[days >= changed_on(luck, world)] *= world.stronger
    return times


def changed_on(luck: Luck, world: World) -> int | None:
    """The day on which a world's water changes; None where it does not."""
    return {MIDDLE: PAST // 2, LAST_LOOK: luck.looks[-1] + 1}.get(world.since)


@dataclass(frozen=True)
class Lived:
    """A boiler's life in a world: what is on record on the day of the question, and what was true.

    ``wall`` (PAST + AHEAD + 1,) is the wall's deposit at the beginning of each day [mg/cm2] without a further descale;
    ``looks`` the days of the looks on record.
    """

    facts: BoilerFacts
    wall: np.ndarray
    looks: tuple[int, ...]

    def passed_by(self, on: date) -> bool:
        """Whether the wall's deposit has passed the threshold by a date after the question."""
        return bool(self.wall[(on - URN.installed_on).days] >= THRESHOLD)


class _Life:
    """A boiler while it lives."""

    def __init__(self, luck: Luck, world: World) -> None:
        self.luck, self.world = luck, world
        mean = luck.litres * luck.growth_a_litre * pace(luck, world)
        self.growth = increment(mean, np.full(len(mean), luck.irregularity), luck.innovation)[0]
        self.wall = np.zeros(len(mean) + 1)
        self.deposit = {WALL: 0.0, CHAMBER: 0.0}
        self.looks: list[Inspection] = []
        self.descales: list[Descale] = []
        self.last_descale = 0

    def grow(self, on: int) -> None:
        """Day ``on``."""
        self.wall[on] = self.deposit[WALL]
        for site, relative in ((WALL, 1.0), (CHAMBER, self.luck.relative)):
            factor = 1.0 - self.world.feedback + 2.0 * self.world.feedback * self.deposit[site] / relative / THRESHOLD
            self.deposit[site] += relative * self.growth[on] * factor
        self.wall[on + 1] = self.deposit[WALL]

    def look(self, on: int, turn: int) -> int:
        """A look on that day: the grade that goes on record."""
        world, site = self.world, self.world.sites[turn % len(self.world.sites)]
        grade = self.luck.grade(on, self.deposit[site], self.luck.shift + world.lenient * on / PAST)
        from_last = len(self.luck.looks) - turn
        if from_last <= len(world.milder):
            grade = max(0, grade - world.milder[-from_last])
        grade = min(grade, world.worst_said)
        self.looks.append(Inspection(URN.boiler, day(on), site, grade, grade, inspector=INSPECTOR))
        return grade

    def descale(self, on: int) -> None:
        """A full descale on that day."""
        self.descales.append(Descale(URN.boiler, day(on)))
        self.last_descale = on
        left = self.luck.residue(on)
        self.deposit[CHAMBER] *= left
        self.deposit[WALL] *= left if self.world.wall_kept is None else self.world.wall_kept

    def uses(self) -> tuple[Use, ...]:
        """Use on record, by four weeks and between descales."""
        edges = sorted({*range(0, PAST, 28), self.last_descale, PAST})
        return tuple(
            Use(
                URN.boiler,
                day(a),
                day(b),
                litres=float(self.luck.litres[a:b].sum()) * (self.world.recorded if a >= self.last_descale else 1.0),
            )
            for a, b in pairwise(edges)
        )


def live(luck: Luck, world: World) -> Lived:
    """Live a boiler's luck in a world."""
    life, turns = _Life(luck, world), {on: turn for turn, on in enumerate(luck.looks)}
    for on in range(PAST + AHEAD):
        if on in turns:
            severe = life.look(on, turns[on]) >= world.descales_at
            if severe or on - life.last_descale >= YEAR:
                life.descale(on)
        life.grow(on)
    facts = replace(
        empty_facts(luck.water), uses=life.uses(), inspections=tuple(life.looks), descales=tuple(life.descales)
    )
    return Lived(facts, life.wall, luck.looks)
