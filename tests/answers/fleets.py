"""Small fleets for tests of many boilers, and an answer that costs nothing."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from scalemodel.answers.told import Dated
from scalemodel.decision.status import Status
from scalemodel.logbook.records import BoilerFacts
from tests.builders import history, look

LOOKS = ((look(90, 0), look(180, 1)), (look(90, 1), look(180, 2), look(330, 2)), (look(90, 0), look(330, 4)))


def named(facts: BoilerFacts, name: str) -> BoilerFacts:
    """The same history of a boiler of another name."""
    kinds = ("sites", "fills", "uses", "inspections", "descales", "planned_fills")
    own = {kind: tuple(replace(one, boiler=name) for one in getattr(facts, kind)) for kind in kinds}
    return replace(facts, boiler=replace(facts.boiler, boiler=name), **own)


def small_fleet(count: int) -> Iterator[BoilerFacts]:
    """Boilers unlike each other, one by one; every seventh has no water, so that there is no answer."""
    for k in range(count):
        facts = history(*LOOKS[k % len(LOOKS)], tds=50.0 + 3.0 * k)
        if k % 7 == 6:
            facts = replace(facts, fills=(), waters=(), water_tests=())
        yield named(facts, f"b{k:03}")


NOTHING = Dated(
    "b", date(2026, 11, 1), Status.BEYOND, None, 0.01, 0.1, None, 1.0, 1.0, 1.0, "beyond", "beyond", (), (), (), ()
)


def at_once(*job: object) -> Iterator[tuple[str, Dated]]:
    """The date's part of an answer, without any arithmetic."""
    yield "date", NOTHING
