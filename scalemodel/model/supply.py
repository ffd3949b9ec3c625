"""A water of the logbook, or a mix of some, ready for the law: its supply table at a boiler's temperature."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from scalemodel.errors import BadValueError, EvidenceError, Remedy, UnknownNameError
from scalemodel.logbook.records import BoilerFacts
from scalemodel.water.analysis import WaterAnalysis, analyse_tests
from scalemodel.water.mixing import mix
from scalemodel.water.potential import LOG_FACTORS, SupplyTable, supply_table


@dataclass(frozen=True)
class Supply:
    """A water's analysis and its supply table at one temperature.

    Attributes
    ----------
    water : str
    analysis : WaterAnalysis
    table : SupplyTable
    parts : tuple of (water, part, log_sd)
        Of a mix: what each water brings of its hardness and alkalinity (these add up to 1), and that water's log-sd;
        empty for one water.
    shares : tuple of (water, share)
        Of a mix: the shares of its litres; empty for one water.
    """

    water: str
    analysis: WaterAnalysis
    table: SupplyTable
    parts: tuple[tuple[str, float, float], ...] = ()
    shares: tuple[tuple[str, float], ...] = ()


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
        raise UnknownNameError("water", water, known, Remedy("record it first", "water", water))
    tests = [t for t in facts.water_tests if t.water == water]
    if not tests:
        raise EvidenceError(
            f"water {water} has no test by {facts.as_of}",
            Remedy("record one: a meter reading will do", "water test", water),
        )
    analysis = analyse_tests(tests)
    return Supply(water, analysis, supply_table(analysis, facts.boiler.temperature_c))


SHARES_OFF = 0.005
"""Shares of a mix add up to 1 within this."""


def parse_mix(text: str) -> tuple[tuple[str, float], ...]:
    """Waters and their shares of the litres.

    >>> parse_mix("tap:0.4, demin:0.6")
    (('tap', 0.4), ('demin', 0.6))

    Raises
    ------
    BadValueError
        For anything but two or more different waters whose shares are above 0 and add up to 1.
    """
    allowed = 'two or more waters with shares that add up to 1, such as "tap:0.4,demin:0.6"'
    found = []
    for part in text.split(","):
        name, colon, share = part.rpartition(":")
        try:
            found.append((name.strip(), float(share)))
        except ValueError:
            raise BadValueError("mix", text, allowed) from None
        if not (colon and name.strip() and 0.0 < found[-1][1] < 1.0):
            raise BadValueError("mix", text, allowed)
    total = sum(share for _, share in found)
    if len({name for name, _ in found}) != len(found) or len(found) < 2 or abs(total - 1.0) > SHARES_OFF:
        raise BadValueError("mix", text, allowed)
    return tuple((name, share / total) for name, share in found)


def mix_supply(facts: BoilerFacts, shares: Sequence[tuple[str, float]]) -> Supply:
    """The supply of waters mixed by shares of the litres, which add up to 1; errors as for `find_supply`.

    A part that is stronger than its analysis by f_i makes the mix stronger by what it brings of the hardness and
    alkalinity, w_i: by ``sum(w_i f_i)``, see `log_factor_of_mix`. So what was learned of the tap holds in the mix too.
    """
    found = [(find_supply(facts, water), share) for water, share in shares]
    (first, poured), *others = found
    whole = first.analysis
    for supply, share in others:
        whole = mix(whole, supply.analysis, poured / (poured + share))
        poured += share
    said = tuple(f"{supply.water}: {line}" for supply, _ in found for line in supply.analysis.assumptions)
    whole = replace(whole, assumptions=tuple(dict.fromkeys(said)))
    brought = [share * (s.analysis.hardness + s.analysis.alkalinity) for s, share in found]
    total = sum(brought)
    part = [b / total for b in brought] if total > 0.0 else [share for _, share in found]
    name = ",".join(f"{supply.water}:{share:.3g}" for supply, share in found)
    parts = tuple((s.water, w, s.analysis.log_sd) for (s, _), w in zip(found, part, strict=True))
    table = supply_table(whole, facts.boiler.temperature_c)
    return Supply(name, whole, table, parts, tuple((supply.water, share) for supply, share in found))


def log_factor(log_sd: float, concentration, moved=0.0):
    """Log concentration factor ln f [-] of a water, an array of any shape.

    Parameters
    ----------
    log_sd : float
        Of what is told of the water.
    concentration : array
        How much stronger it is all along, in log-sds.
    moved : array
        How its concentration moved in time, `scalemodel.model.wandering` [ln].

    It is kept within the table, a twentieth to twenty times what was told of the water.
    """
    return np.clip(log_sd * concentration + moved, LOG_FACTORS[0], LOG_FACTORS[-1])


def log_factor_of_mix(supply: Supply, concentrations: Sequence[np.ndarray], moved: Sequence[np.ndarray]) -> np.ndarray:
    """ln f (n,) of a mix from its parts', in their order: ``ln(sum(w_i f_i))``; arguments as for `log_factor`."""
    parts = zip(supply.parts, concentrations, moved, strict=True)
    return np.log(sum(part * np.exp(log_factor(log_sd, c, m)) for (_, part, log_sd), c, m in parts))
