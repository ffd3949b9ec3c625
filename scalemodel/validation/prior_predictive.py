"""What priors say before any record: a new boiler on three waters, by the house's and by a user's own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

from scalemodel.decision.asking import prepare
from scalemodel.decision.case import Case
from scalemodel.decision.horizon import LONGEST_HORIZON_DAYS
from scalemodel.decision.question import Question
from scalemodel.logbook.belief import Belief
from scalemodel.logbook.records import BoilerFacts, Fill, Water, WaterTest
from scalemodel.validation.other_worlds import LITRES_A_DAY, METERS, URN

PARTICLES = 1000


class Foretold(NamedTuple):
    """A new boiler on one water: days until the risk of passing its threshold is 10, 50 and 90 % (None: not ahead)."""

    water: str
    tds_mg_l: float
    days: tuple[int | None, int | None, int | None]
    house: tuple[int | None, int | None, int | None]


def new_boiler(water: str) -> BoilerFacts:
    """A clean boiler of 0.8 L and 500 cm2 at 93 C on a water with one meter reading."""
    day = URN.installed_on
    return BoilerFacts(
        URN,
        day,
        waters=(Water(water),),
        water_tests=(WaterTest(water, day, tds_mg_l=METERS[water]),),
        fills=(Fill(URN.boiler, day, water),),
    )


def prior_predictive(
    beliefs: Sequence[Belief], seed: int | None = None, told: Callable[[float], None] = lambda share: None
) -> tuple[Foretold, ...]:
    """What these beliefs say of a new boiler on each of three waters, beside the house's."""
    found = []
    for k, (water, tds) in enumerate(METERS.items()):
        facts = new_boiler(water)
        question = Question(litres_per_day=LITRES_A_DAY, horizon_days=LONGEST_HORIZON_DAYS)
        house, own = (
            crossed(prepare(replace(facts, beliefs=tuple(one)), question, seed, PARTICLES)) for one in ((), beliefs)
        )
        found.append(Foretold(water, tds, own, house))
        told((k + 1) / len(METERS))
    return tuple(found)


def crossed(case: Case) -> tuple[int | None, int | None, int | None]:
    """Days until the risk is 10, 50 and 90 %."""
    return tuple(case.first_day_at(level) for level in (0.1, 0.5, 0.9))
