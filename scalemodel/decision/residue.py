"""What each descale left: the posterior of its residue, and whether that is more than it should be."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.special import expit

from scalemodel.decision.middle import Middle, middle_of
from scalemodel.inference.posterior import Posterior
from scalemodel.logbook.records import BoilerFacts, Descale
from scalemodel.model import unknowns

TOO_MUCH = 0.3
"""A full descale should leave no more than this share of the deposit (beforehand that has one chance in twenty)."""


@dataclass(frozen=True)
class Residue:
    """What one descale left.

    Attributes
    ----------
    date : date
    scope : str
        full or partial.
    share : Middle
        Share of the deposit that it left, 0 to 1.
    left_mg_cm2 : Middle
        Deposit on the reference surface after it [mg/cm2].
    chance_too_much : float or None
        P(share > `TOO_MUCH`); None for a partial descale, which is expected to leave some.
    seen : bool
        Whether a look before the next descale, or recovered scale, bears on it; else it is what is usual.
    settled : bool
        Whether such a look was at the reference surface, or scale was recovered: else a full one is partly known.
    """

    date: date
    scope: str
    share: Middle
    left_mg_cm2: Middle
    chance_too_much: float | None
    seen: bool
    settled: bool


def residues_of(posterior: Posterior) -> tuple[Residue, ...]:
    """What each descale on record left, in order of date."""
    model = posterior.model
    found = []
    for index, (before, descale) in enumerate(model.timeline.descales):
        share = expit(posterior.unknown(unknowns.residue(index)))
        left = middle_of(posterior.deposits[before + 1])
        chance = float(np.mean(share > TOO_MUCH)) if descale.scope == "full" else None
        seen, settled = bears_on(posterior.facts, descale), unknowns.is_settled(posterior.facts, descale)
        found.append(Residue(descale.date, descale.scope, middle_of(share), left, chance, seen, settled))
    return tuple(found)


def bears_on(facts: BoilerFacts, descale: Descale) -> bool:
    """Whether a look between a descale and the next, or the scale recovered, tells what the descale left."""
    return descale.scale_recovered_g is not None or any(True for _ in unknowns.looks_before_next(facts, descale))
