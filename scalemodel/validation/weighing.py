"""Scale weighed at a descale, against what was foretold of it from what was known before."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache

import numpy as np
from scipy.special import expit

from scalemodel.decision.foretelling import as_known_on
from scalemodel.decision.middle import middle_of
from scalemodel.errors import EvidenceError
from scalemodel.inference.posterior import solve
from scalemodel.logbook.records import GRADES, BoilerFacts, Descale, Inspection
from scalemodel.model.beliefs import believed
from scalemodel.model.look import RECOVERED

MG_A_GRAM = 1000.0


@dataclass(frozen=True)
class Weighed:
    """The scale that came out at a descale, against what was foretold of it [g]; ``p_value`` as of a look."""

    date: date
    found_g: float
    p10: float
    p50: float
    p90: float
    p_value: float


def weighings(facts: BoilerFacts, seed: int, particles: int) -> tuple[Weighed, ...]:
    """Every recovered mass foretold; without those before which too little was known."""
    found = []
    for descale in facts.descales:
        if descale.scale_recovered_g is None:
            continue
        foretold = foretold_masses(before_descale(facts, descale), descale.scope, seed, particles)
        if foretold is not None:
            found.append(weighed(descale, np.array(foretold)))
    return tuple(found)


def before_descale(facts: BoilerFacts, descale: Descale) -> BoilerFacts:
    """What was known before a descale, with the looks of its day before it, and one that says nothing on that day."""
    known = as_known_on(facts, descale.date - timedelta(days=1))
    same_day = tuple(e for e in facts.inspections if e.date == descale.date and not e.after_descale)
    blank = Inspection(facts.boiler.boiler, descale.date, facts.reference_site, GRADES[0], GRADES[-1])
    return replace(known, as_of=descale.date, inspections=(*known.inspections, *same_day, blank), look_numbers=())


@lru_cache(maxsize=256)
def foretold_masses(known: BoilerFacts, scope: str, seed: int, particles: int) -> tuple[float, ...] | None:
    """Draws of the mass that a descale on ``as_of`` will be found to recover [g]; None where too little is known."""
    try:
        posterior = solve(known, seed, particles)
    except EvidenceError:
        return None
    rng = posterior.fresh("recovered mass")
    prior = believed(known.beliefs, "residue_full" if scope == "full" else "residue_partial")
    left = expit(prior.value(rng.standard_normal(posterior.count)))
    deposit = np.maximum(0.0, RECOVERED.draw(rng, (1.0 - left) * posterior.deposits[-1]))
    return tuple((deposit * known.boiler.wetted_area_cm2 / MG_A_GRAM).tolist())


def weighed(descale: Descale, draws: np.ndarray) -> Weighed:
    """A recovered mass against draws (n,) of what was foretold [g].

    >>> half = weighed(Descale("k", date(2026, 1, 1), scale_recovered_g=2.0), np.array([1.0, 2.0, 3.0]))
    >>> half.p50, round(half.p_value, 2)
    (2.0, 1.0)
    """
    found = descale.scale_recovered_g
    below = (np.sum(draws < found) + 0.5 * np.sum(draws == found) + 0.5) / (len(draws) + 1)
    middle = middle_of(draws)
    return Weighed(
        descale.date, found, middle.p10, middle.p50, middle.p90, float(min(1.0, 2.0 * min(below, 1.0 - below)))
    )
