"""Scaling potentials: how much lime a litre can drop when it is heated, mg/L as CaCO3.

Three of them: the calcium carbonate precipitation potential of the *closed system* (the CO2 stays in the water: the
classic one) and of the *open system* (the CO2 leaves to the pressure of air), and the *evaporation residue* (the water
leaves as steam). The signed functions are negative for water that would rather dissolve lime; what a boiler is supplied
with is never negative. The table over a water's uncertain concentration is all that later rooms see of chemistry.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scalemodel.logbook.units import CACO3_G_MOL
from scalemodel.water.analysis import WaterAnalysis
from scalemodel.water.carbonate import (
    Ions,
    closed_system,
    closed_system_with_calcite,
    from_ph,
    open_system_with_calcite,
)
from scalemodel.water.constants import EXTRAPOLATED_ABOVE_C

LOG_FACTORS = np.linspace(-3.0, 3.0, 49)
"""Log concentration factors ln f at which a water is tabulated: a twentieth to twenty times what was told of it."""
LOG_FACTORS.setflags(write=False)

_MG_PER_MOL = 1000.0 * CACO3_G_MOL


class SupplyTable(NamedTuple):
    """Potentials of one water at one temperature over its concentration.

    log_factor : (49,) knots of the log concentration factor ln f, -3 to 3 [-].
    closed_system, open_system, evaporation_residue : (49,) potentials [mg/L as CaCO3], finite and never negative.
    log_sd : s_w, how uncertain ln f is [-].
    """

    log_factor: NDArray
    closed_system: NDArray
    open_system: NDArray
    evaporation_residue: NDArray
    log_sd: float

    @property
    def potentials(self) -> tuple[NDArray, NDArray, NDArray]:
        """The three in their order."""
        return self.closed_system, self.open_system, self.evaporation_residue


def signed_closed_system(ions: Ions, carbon: ArrayLike, temperature_c: ArrayLike) -> NDArray:
    """Calcite that settles with the carbon [mol/kg] kept [mg/L as CaCO3].

    Negative where it would dissolve; arguments broadcast; 0 to 130 deg C, extrapolated above 90.
    """
    return closed_system_with_calcite(ions, carbon, temperature_c).settled * _MG_PER_MOL


def signed_open_system(ions: Ions, temperature_c: ArrayLike) -> NDArray:
    """Calcite that settles once the CO2 is at the pressure of air [mg/L as CaCO3].

    Negative where it would dissolve; arguments broadcast; 0 to 130 deg C, extrapolated above 90.
    """
    return open_system_with_calcite(ions, temperature_c).settled * _MG_PER_MOL


def closed_system_potential(analysis: WaterAnalysis, temperature_c: ArrayLike) -> NDArray:
    """Precipitation potential of a closed system at temperatures [deg C]: [mg/L as CaCO3], never negative."""
    ions = analysis.ions()
    carbon = from_ph(ions, analysis.ph, analysis.temperature_c).carbon
    return np.maximum(signed_closed_system(ions, carbon, temperature_c), 0.0)


def open_system_potential(analysis: WaterAnalysis, temperature_c: ArrayLike) -> NDArray:
    """Precipitation potential of an open system at temperatures [deg C]: [mg/L as CaCO3], never negative."""
    return np.maximum(signed_open_system(analysis.ions(), temperature_c), 0.0)


def evaporation_residue(analysis: WaterAnalysis) -> float:
    """What is left by water that goes as steam: the lesser of calcium and alkalinity [mg/L as CaCO3]."""
    return min(analysis.calcium, analysis.alkalinity)


def saturation(analysis: WaterAnalysis, temperature_c: float) -> tuple[float, float]:
    """pH and saturation index of the water heated to a temperature [deg C] with its CO2 kept."""
    ions = analysis.ions()
    carbon = from_ph(ions, analysis.ph, analysis.temperature_c).carbon
    state = closed_system(ions, carbon, temperature_c)
    return float(state.ph), float(state.saturation_index)


def range_note(temperature_c: float) -> tuple[str, ...]:
    """What to say of a temperature [deg C] past the measured solubilities; empty below."""
    if temperature_c <= EXTRAPOLATED_ABOVE_C:
        return ()
    measured = f"calcite solubility is measured to {EXTRAPOLATED_ABOVE_C:g} deg C"
    return (f"{measured}: extrapolated to {temperature_c:.4g} deg C",)


@lru_cache(maxsize=256)  # the same water is asked about again and again: by every question, on every page
def supply_table(analysis: WaterAnalysis, temperature_c: float) -> SupplyTable:
    """The supply of one water at one boiler temperature [deg C], over its uncertain concentration.

    At the knot ln f every ion is multiplied by f and the sample's pH is held; 0 is the analysis itself. Raises
    BadValueError outside 0 to 130 deg C.
    """
    factor = np.exp(LOG_FACTORS)
    ions = analysis.ions().scaled(factor)
    carbon = from_ph(ions, analysis.ph, analysis.temperature_c).carbon
    table = SupplyTable(
        log_factor=LOG_FACTORS,
        closed_system=np.maximum(signed_closed_system(ions, carbon, temperature_c), 0.0),
        open_system=np.maximum(signed_open_system(ions, temperature_c), 0.0),
        evaporation_residue=evaporation_residue(analysis) * factor,
        log_sd=analysis.log_sd,
    )
    for column in table.potentials:
        column.setflags(write=False)  # many hold it
    return table
