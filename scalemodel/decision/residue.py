"""What each descale left: the posterior of its residue, and whether that is more than it should be."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.special import expit

from scalemodel.inference.draws import Posterior
from scalemodel.logbook.records import BoilerFacts, Descale
from scalemodel.wording import figure

TOO_MUCH = 0.3
"""A full descale should leave no more than this share of the deposit (beforehand that has one chance in twenty)."""

PROBABLY = 0.5
"""It is said in words where the share is more probably too much than not."""


@dataclass(frozen=True)
class Middle:
    """The draws' median and the ends of their middle eight tenths."""

    p10: float
    p50: float
    p90: float


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
    words : str
        The same as a sentence.
    """

    date: date
    scope: str
    share: Middle
    left_mg_cm2: Middle
    chance_too_much: float | None
    seen: bool
    words: str


def _middle(draws: np.ndarray) -> Middle:
    p10, p50, p90 = np.quantile(draws, (0.1, 0.5, 0.9))
    return Middle(float(p10), float(p50), float(p90))


def residues_of(posterior: Posterior) -> tuple[Residue, ...]:
    """What each descale on record left, in order of date."""
    model = posterior.model
    found = []
    for index, (before, descale) in enumerate(model.timeline.descales):
        share = expit(model.value(f"residue {index}", posterior.x))
        left = _middle(posterior.deposits[before + 1])
        chance = float(np.mean(share > TOO_MUCH)) if descale.scope == "full" else None
        seen = bears_on(posterior.facts, descale)
        middle = _middle(share)
        words = residue_words(descale, middle, left, chance, seen)
        found.append(Residue(descale.date, descale.scope, middle, left, chance, seen, words))
    return tuple(found)


def bears_on(facts: BoilerFacts, descale: Descale) -> bool:
    """Whether a look between a descale and the next, or the scale recovered, tells what the descale left."""
    following = [d.date for d in facts.descales if d.date > descale.date]
    until = min(following, default=date.max)
    if descale.scale_recovered_g is not None:
        return True
    return any(
        look.after_descale if look.date == descale.date else look.date < until or not look.after_descale
        for look in facts.inspections
        if descale.date <= look.date <= until
    )


def residue_words(descale: Descale, share: Middle, left: Middle, chance: float | None, seen: bool) -> str:
    """What a descale left, as a sentence; said plainly where it probably left more than it should."""
    said = (
        f"the {descale.scope} descale on {descale.date} left about {share.p50:.0%} of the deposit "
        f"(eight in ten: {share.p10:.0%} to {share.p90:.0%}), {figure(left.p50, 2)} mg/cm2 "
        f"({figure(left.p10, 2)} to {figure(left.p90, 2)})"
    )
    if not seen:
        said += "; no look after it and no recovered scale tells, so this is what is usual"
    if chance is not None and chance > PROBABLY:
        said += (
            f"; it left more than it should: more than {TOO_MUCH:.0%} with a chance of {chance:.0%}. "
            "Look inside; a second, longer descale may be needed"
        )
    return said
