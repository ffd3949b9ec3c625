"""A water of the logbook, ready for the law: its strength table at a boiler's temperature."""

from __future__ import annotations

from dataclasses import dataclass

from scalemodel.errors import EvidenceError, UnknownNameError
from scalemodel.logbook.records import BoilerFacts
from scalemodel.water.analysis import WaterAnalysis, analyse_tests
from scalemodel.water.potential import StrengthTable, strength_table


@dataclass(frozen=True)
class Supply:
    """A water's analysis and its strength table at one temperature."""

    water: str
    analysis: WaterAnalysis
    table: StrengthTable


def find_supply(facts: BoilerFacts, water: str) -> Supply:
    """The supply that a boiler gets from ``water``, from every test known on ``facts.as_of``.

    Raises
    ------
    UnknownNameError
        If the logbook has no such water.
    EvidenceError
        If the water was never tested.
    """
    known = [w.water for w in facts.waters]
    if water not in known:
        raise UnknownNameError("water", water, known, f"register it: scalemodel new water {water}")
    tests = [t for t in facts.water_tests if t.water == water]
    if not tests:
        raise EvidenceError(
            f"water {water} has no test by {facts.as_of}",
            f"one meter reading will do: scalemodel add water-test {water} DATE --tds 310",
        )
    analysis = analyse_tests(tests)
    return Supply(water, analysis, strength_table(analysis, facts.boiler.temperature_c))
