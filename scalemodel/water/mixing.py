"""Mixing tap water with treated (demineralised, say) water.

Hardness, the ions, alkalinity, dissolved solids and inorganic carbon are conserved and mix in proportion to
litres; pH is solved anew from the mixed alkalinity and carbon, CO2 kept. Scaling potential is *not*
conserved: with half the tap water, less than half of its potential is left.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from scalemodel.errors import BadValueError
from scalemodel.water.analysis import WaterAnalysis
from scalemodel.water.carbonate import closed_system, from_ph

_CONSERVED = (
    "hardness",
    "calcium",
    "magnesium",
    "alkalinity",
    "sodium",
    "chloride",
    "sulphate",
    "tds_mg_l",
    "conductivity_us_cm",
    "temperature_c",
)


class CartridgeUse(NamedTuple):
    """What a mix asks of the demineralising cartridge; None where no treated water is drawn.

    treated_litres : treated water that one cartridge makes [L].
    mix_litres : mix that one cartridge makes [L].
    cost_per_litre : of the mix, tap water included [money/L].
    """

    treated_litres: float
    mix_litres: float | None
    cost_per_litre: float | None


def mix(tap: WaterAnalysis, treated: WaterAnalysis, tap_share: float) -> WaterAnalysis:
    """The mix of a share (0 to 1) of tap water with treated water.

    The log-sd is that of the mixed hardness and alkalinity when both waters err alike. Raises BadValueError
    for a share outside 0 to 1.
    """
    if not 0.0 <= tap_share <= 1.0:
        raise BadValueError("tap share", tap_share, "0 to 1")
    if tap_share in (0.0, 1.0):
        return tap if tap_share == 1.0 else treated
    rest = 1.0 - tap_share
    parts = {name: tap_share * getattr(tap, name) + rest * getattr(treated, name) for name in _CONSERVED}
    carbon = sum(
        share * float(from_ph(part.ions(), part.ph, part.temperature_c).carbon)
        for share, part in ((tap_share, tap), (rest, treated))
    )
    brought = tap_share * (tap.hardness + tap.alkalinity), rest * (treated.hardness + treated.alkalinity)
    total = sum(brought)
    log_sd = (brought[0] * tap.log_sd + brought[1] * treated.log_sd) / total if total > 0.0 else tap.log_sd
    said = [f"tap: {line}" for line in tap.assumptions]
    said += [f"treated: {line}" for line in treated.assumptions if line not in tap.assumptions]
    # the pH is not known before the ions are mixed: any will do until it is solved
    mixed = WaterAnalysis(**parts, ph=tap.ph, log_sd=log_sd, assumptions=tuple(said))
    state = closed_system(mixed.ions(), carbon, mixed.temperature_c)
    return WaterAnalysis(**parts, ph=float(state.ph), log_sd=log_sd, assumptions=tuple(said))


def tap_share_for(tap_value: float, treated_value: float, target: float, quantity: str = "TDS") -> float:
    """The share of tap water whose mix reaches a target of any conserved quantity, all three in one unit.

    Raises BadValueError for values that are not numbers of zero or more, and if no mix of the two reaches the
    target. Where tap and treated water are alike, and as the target, the share is 1.

    >>> round(tap_share_for(310.0, 0.0, 120.0), 4)
    0.3871
    """
    for field, value in (("tap", tap_value), ("treated", treated_value), ("target", target)):
        if not (math.isfinite(value) and value >= 0.0):
            raise BadValueError(f"{field} {quantity}", value, "a number, zero or more")
    low, high = sorted((tap_value, treated_value))
    if not low <= target <= high:
        allowed = f"{low:.4g} to {high:.4g} mg/L, what mixes of this tap and this treated water can have"
        raise BadValueError(f"target {quantity}", f"{target:g}", allowed)
    if tap_value == treated_value:
        return 1.0
    return (target - treated_value) / (tap_value - treated_value)


def cartridge_use(
    tap_share: float,
    cartridge_litres: float,
    cartridge_cost: float | None = None,
    tap_cost_per_litre: float = 0.0,
) -> CartridgeUse:
    """How far a cartridge goes at a share of tap water, and what a litre of mix costs.

    ``cartridge_litres`` is the treated water that one cartridge makes from this tap [L]; costs in any money.
    Raises BadValueError for a share outside 0 to 1, litres not above 0, a negative cost.

    >>> cartridge_use(0.4, 60.0, 14.0)
    CartridgeUse(treated_litres=60.0, mix_litres=100.0, cost_per_litre=0.14)
    """
    if not 0.0 <= tap_share <= 1.0:
        raise BadValueError("tap share", tap_share, "0 to 1")
    if not (math.isfinite(cartridge_litres) and cartridge_litres > 0.0):
        raise BadValueError("cartridge litres", cartridge_litres, "a number above 0")
    for field, cost in (("cartridge cost", cartridge_cost), ("tap cost", tap_cost_per_litre)):
        if cost is not None and not (math.isfinite(cost) and cost >= 0.0):
            raise BadValueError(field, cost, "a number, zero or more")
    rest = 1.0 - tap_share
    per_litre = None
    if cartridge_cost is not None:
        per_litre = rest * cartridge_cost / cartridge_litres + tap_share * tap_cost_per_litre
    return CartridgeUse(cartridge_litres, cartridge_litres / rest if rest > 0.0 else None, per_litre)
