"""Scaling potentials: how much lime a litre can drop when it is heated, mg/L as CaCO3.

Three of them: *closed* (the CO2 stays in the water: the classic calcium carbonate precipitation potential),
*open* (the CO2 leaves to the pressure of air) and *dry* (the water leaves as steam). The signed functions
are negative for water that would rather dissolve lime; what a boiler is supplied with is never negative. The
table over a water's uncertain strength is all that later rooms see of chemistry.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scalemodel.logbook.units import CACO3_G_MOL
from scalemodel.water.analysis import WaterAnalysis
from scalemodel.water.carbonate import Ions, aired_with_calcite, from_ph, sealed, sealed_with_calcite
from scalemodel.water.constants import EXTRAPOLATED_ABOVE_C

STRENGTH_KNOTS = np.linspace(-4.0, 4.0, 33)
"""Strengths at which a water is tabulated, in standard deviations of its log strength."""
STRENGTH_KNOTS.setflags(write=False)

_MG_PER_MOL = 1000.0 * CACO3_G_MOL


class StrengthTable(NamedTuple):
    """Supply over strength of one water at one temperature.

    z : (33,) knots in standard deviations of the log strength, -4 to 4.
    closed, open, dry : (33,) potentials [mg/L as CaCO3], finite and never negative.
    log_sd : the standard deviation s_w of the log strength.
    """

    z: NDArray
    closed: NDArray
    open: NDArray
    dry: NDArray
    log_sd: float


def signed_closed(ions: Ions, carbon: ArrayLike, temperature_c: ArrayLike) -> NDArray:
    """Calcite that settles with the carbon [mol/kg] kept [mg/L as CaCO3].

    Negative where it would dissolve; arguments broadcast; 0 to 130 deg C, extrapolated above 90.
    """
    return sealed_with_calcite(ions, carbon, temperature_c).settled * _MG_PER_MOL


def signed_open(ions: Ions, temperature_c: ArrayLike) -> NDArray:
    """Calcite that settles once the CO2 is at the pressure of air [mg/L as CaCO3].

    Negative where it would dissolve; arguments broadcast; 0 to 130 deg C, extrapolated above 90.
    """
    return aired_with_calcite(ions, temperature_c).settled * _MG_PER_MOL


def closed(analysis: WaterAnalysis, temperature_c: ArrayLike) -> NDArray:
    """Closed potential of a water heated to temperatures [deg C]: [mg/L as CaCO3], never negative."""
    ions = analysis.ions()
    carbon = from_ph(ions, analysis.ph, analysis.temperature_c).carbon
    return np.maximum(signed_closed(ions, carbon, temperature_c), 0.0)


def open_(analysis: WaterAnalysis, temperature_c: ArrayLike) -> NDArray:
    """Open potential of a water heated to temperatures [deg C]: [mg/L as CaCO3], never negative."""
    return np.maximum(signed_open(analysis.ions(), temperature_c), 0.0)


def dry(analysis: WaterAnalysis) -> float:
    """What is left by water that goes as steam: the lesser of calcium and alkalinity [mg/L as CaCO3]."""
    return min(analysis.calcium, analysis.alkalinity)


def saturation(analysis: WaterAnalysis, temperature_c: float) -> tuple[float, float]:
    """pH and saturation index of the water heated to a temperature [deg C] with its CO2 kept."""
    ions = analysis.ions()
    carbon = from_ph(ions, analysis.ph, analysis.temperature_c).carbon
    state = sealed(ions, carbon, temperature_c)
    return float(state.ph), float(state.saturation_index)


def range_note(temperature_c: float) -> tuple[str, ...]:
    """What to say of a temperature [deg C] past the measured solubilities; empty below."""
    if temperature_c <= EXTRAPOLATED_ABOVE_C:
        return ()
    measured = f"calcite solubility is measured to {EXTRAPOLATED_ABOVE_C:g} deg C"
    return (f"{measured}: extrapolated to {temperature_c:.4g} deg C",)


def strength_table(analysis: WaterAnalysis, temperature_c: float) -> StrengthTable:
    """The supply of one water at one boiler temperature [deg C], over its uncertain strength.

    At knot z every ion is multiplied by exp(log_sd * z) and the sample's pH is held; z = 0 is the analysis
    itself. Raises BadValueError outside 0 to 130 deg C.
    """
    factor = np.exp(analysis.log_sd * STRENGTH_KNOTS)
    ions = analysis.ions().scaled(factor)
    carbon = from_ph(ions, analysis.ph, analysis.temperature_c).carbon
    return StrengthTable(
        z=STRENGTH_KNOTS,
        closed=np.maximum(signed_closed(ions, carbon, temperature_c), 0.0),
        open=np.maximum(signed_open(ions, temperature_c), 0.0),
        dry=dry(analysis) * factor,
        log_sd=analysis.log_sd,
    )
