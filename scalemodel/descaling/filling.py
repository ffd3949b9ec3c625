"""How a boiler is filled, and the one amount of acid, solution and rinse water that follows from it and from its scale.

By hand the boiler is drained, filled to its water line, drained and filled again. A pump pushes new liquid through a
boiler that stays full: it is never heated empty, but what it held before thins what comes in.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, exp, sqrt

from scalemodel.descaling.acid import (
    LEAST_STRENGTH,
    SAFETY,
    USUAL_STRENGTH,
    Acid,
    acid_for,
    drained_and_filled,
    fillings_to_flush,
    fillings_to_rinse,
    flushed,
    grams_per_litre,
    strength_of,
)
from scalemodel.errors import BadValueError, Remedy, UnknownNameError
from scalemodel.logbook.units import ROUNDING

KEPT_SHARE = 0.1
"""Of a boiler's volume so much stays behind when it is drained by hand (house figure, no source)."""

LEAST_FILL = 0.25
"""Of a boiler's volume a bath fills at least so much: less would hardly wet the floor around what stayed behind."""

DWELL_MINUTES = 20
"""A bath of `USUAL_STRENGTH` works so long, and a vibration pump rests so long between passes (common practice, no
source)."""

PUMP_UP_TO_L = 5.0
"""Boilers up to this volume are taken as filled by a pump where nothing is said: a built-in boiler of a machine (house
figure). Larger ones are taken as urns, filled and drained by hand."""


@dataclass(frozen=True)
class Filling:
    """A way of filling a boiler.

    Attributes
    ----------
    kind, words : str
        Its name in commands, and for people.
    least_passes : int
        Fillings of solution at the least. Through a pump two: the first is thinned by the water that it meets.
    stays : float
        Of the acid in each filling, the share that stays to work when none was there before. All that is poured in;
        of a boilerful pumped through a full, stirred boiler 1 - 1/e, the rest leaves with the water.
    """

    kind: str
    words: str
    least_passes: int
    stays: float

    def rinses(self, start_g_l: float, limit_g_l: float) -> int:
        """Boilerfuls of water after which at most the limit is left [g/L]."""
        if self.kind == "pump":
            return fillings_to_flush(start_g_l, limit_g_l)
        return fillings_to_rinse(start_g_l, limit_g_l, KEPT_SHARE)

    def left(self, start_g_l: float, rinses: int) -> float:
        """Acid that so many boilerfuls of water leave [g/L]."""
        if self.kind == "pump":
            return flushed(start_g_l, rinses, 1.0)
        return drained_and_filled(start_g_l, KEPT_SHARE, rinses)


FILLINGS = {
    filling.kind: filling
    for filling in (Filling("pump", "by its pump", 2, 1.0 - exp(-1.0)), Filling("hand", "by hand", 1, 1.0))
}
"""Every way of filling that a plan can be made for, by its kind."""


def find_filling(kind: str | None, volume_l: float) -> Filling:
    """The way of filling of a kind, or by the boiler's volume [L] where None; UnknownNameError for any other.

    >>> find_filling(None, 0.75).kind, find_filling(None, 20.0).kind, find_filling(" Hand ", 0.75).kind
    ('pump', 'hand', 'hand')
    """
    if kind is None:
        return FILLINGS["pump" if volume_l <= PUMP_UP_TO_L else "hand"]
    kind = kind.strip().lower()
    if kind not in FILLINGS:
        raise UnknownNameError("way of filling", kind, FILLINGS)
    return FILLINGS[kind]


def check_fill(fill_l: float | None, volume_l: float, filling: Filling) -> float:
    """The litres that a bath fills [L]: the boiler's volume, or fewer by hand; BadValueError for others."""
    if fill_l is None:
        return volume_l
    if filling.kind == "pump" and fill_l != volume_l:
        allowed = ("none, as a pump fills the whole of it (or ", Remedy("filled_by hand", "by hand"), ")")
        raise BadValueError("fill to", f"{fill_l:g}", allowed)
    if not LEAST_FILL * volume_l <= fill_l <= volume_l:
        raise BadValueError("fill to", f"{fill_l:g}", f"{LEAST_FILL * volume_l:g} to {volume_l:g} L")
    return float(fill_l)


@dataclass(frozen=True)
class Amounts:
    """What a descale takes, by arithmetic alone.

    Attributes
    ----------
    volume_l : float
        The boiler's [L].
    filling : Filling
    scale_g : float
        The scale that it is reckoned for [g as CaCO3].
    acid_needed_g : float
        Acid for that scale, with the safety factor [g].
    floor_g : float
        Acid that the bath holds at the least strength that works [g].
    acid_g : float
        The one amount: acid of all passes, in whole grams unless a strength was asked for [g].
    fill_l, passes, solution_l : float, int, float
        Litres of a pass, how many of them, and all of them [L].
    strength_percent : float [% w/v]
    asked_percent : float, optional
        The strength where it was asked for, not reckoned [% w/v].
    dwell_minutes : int
        How long each pass works.
    load_g_l : float
        Scale that a litre at work dissolves, were all of it dissolved [g/L as CaCO3].
    rinses, rinse_l : int, float
        Boilerfuls of rinse water, and their litres [L].
    residual_acid_g_l : float
        Acid that the rinse leaves, even if none was spent [g/L].
    """

    volume_l: float
    filling: Filling
    scale_g: float
    acid_needed_g: float
    floor_g: float
    acid_g: float
    fill_l: float
    passes: int
    solution_l: float
    strength_percent: float
    asked_percent: float | None
    dwell_minutes: int
    load_g_l: float
    rinses: int
    rinse_l: float
    residual_acid_g_l: float

    @property
    def start_g_l(self) -> float:
        """Acid in the solution as it is mixed [g/L]."""
        return grams_per_litre(self.strength_percent)

    @property
    def each_g(self) -> float:
        """Acid of one pass [g]."""
        return self.acid_g / self.passes

    @property
    def kept_l(self) -> float:
        """Liquid that may stay behind in the boiler when it is drained by hand [L]."""
        return KEPT_SHARE * self.volume_l

    @property
    def nothing_to_do(self) -> bool:
        return self.passes == 0


def amounts(
    scale_g: float,
    volume_l: float,
    acid: Acid,
    filling: Filling,
    strength_percent: float | None = None,
    fill_l: float | None = None,
    safety: float = SAFETY,
) -> Amounts:
    """Acid, solution, passes and rinse for a mass of scale [g] in a boiler [L].

    Without a strength [% w/v] the solution is as strong as the scale needs it, between `LEAST_STRENGTH` in the boiler
    and `USUAL_STRENGTH`; where that does not suffice, passes are added. ``fill_l`` is what a pass fills [L].

    >>> from scalemodel.descaling.acid import ACIDS
    >>> urn = amounts(2.0, 20.0, ACIDS["citric-monohydrate"], FILLINGS["hand"])
    >>> round(urn.acid_needed_g, 1), urn.acid_g, urn.solution_l, urn.rinse_l, round(urn.residual_acid_g_l, 6)
    (8.4, 200, 20.0, 60.0, 0.01)
    """
    fill = check_fill(fill_l, volume_l, filling)
    needed = acid_for(acid, scale_g, safety)
    let_in = needed / filling.stays
    at_most = fill * grams_per_litre(USUAL_STRENGTH if strength_percent is None else strength_percent)
    passes = max(filling.least_passes, ceil(let_in / at_most - ROUNDING))
    solution = passes * fill
    floor = solution * grams_per_litre(LEAST_STRENGTH) / filling.stays
    acid_g = passes * at_most if strength_percent is not None else ceil(max(let_in, floor) - ROUNDING)
    strength = strength_of(acid_g, solution) if strength_percent is None else strength_percent
    start = grams_per_litre(strength)
    rinses = filling.rinses(start, acid.residue_limit_g_l)
    return Amounts(
        volume_l,
        filling,
        scale_g,
        needed,
        floor,
        acid_g,
        fill,
        passes,
        solution,
        strength,
        strength_percent,
        dwell_minutes(strength * filling.stays, filling, passes),
        scale_g / (solution * filling.stays),
        rinses,
        rinses * volume_l,
        filling.left(start, rinses),
    )


def nothing(volume_l: float, filling: Filling, scale_g: float) -> Amounts:
    """What a bare boiler takes: no acid, no water."""
    return Amounts(volume_l, filling, scale_g, 0.0, 0.0, 0, 0.0, 0, 0.0, 0.0, None, 0, 0.0, 0, 0.0, 0.0)


def dwell_minutes(strength_percent: float, filling: Filling, passes: int) -> int:
    """How long a pass works [min], in steps of five, for a strength in the boiler [% w/v].

    `DWELL_MINUTES` at `USUAL_STRENGTH`; a weaker bath works longer as the root of the strength, as the hydrogen ions of
    a weak acid go (ideal pH of citric acid: 2.23 at 10 g/L, 1.87 at 50). The passes of a pump share that time, but
    each is at least the rest that the pump needs.

    >>> dwell_minutes(5.0, FILLINGS["hand"], 1), dwell_minutes(1.0, FILLINGS["hand"], 1)
    (20, 45)
    """
    whole = DWELL_MINUTES * sqrt(max(1.0, USUAL_STRENGTH / strength_percent))
    each = whole / passes if filling.kind == "pump" else whole
    return max(DWELL_MINUTES, 5 * ceil(each / 5.0 - ROUNDING))
