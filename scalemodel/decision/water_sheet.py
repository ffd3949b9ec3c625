"""What is known of the water that a boiler draws from now on, and what this boiler's records say it leaves."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from scalemodel.decision.forecast import Forecast
from scalemodel.decision.middle import Middle, middle_of
from scalemodel.water.cautions import cautions
from scalemodel.water.potential import closed_system_potential, open_system_potential, range_note, saturation

LITRES = 100.0
"""Growth is told for so many litres."""


@dataclass(frozen=True)
class WaterSheet:
    """One water at a boiler's temperature.

    Attributes
    ----------
    water : str
    boiler_temperature_c : float [deg C]
    hardness, alkalinity : float [mg/L as CaCO3]
    tds_mg_l, ph : float
    saturation_index : float or None
        In the boiler, with the CO2 kept; None for a water without calcium or without carbonate.
    potential_closed_mg_l, potential_open_mg_l : float
        What a litre can drop in the boiler with its CO2 kept, and once that has left [mg/L as CaCO3].
    growth_mg_cm2 : Middle
        What `LITRES` of it leave at the site, by the draws [mg/cm2].
    site : str
    notes, assumptions : tuple of str
        What to mind, and what was taken for granted, a sentence each.
    """

    water: str
    boiler_temperature_c: float
    hardness: float
    alkalinity: float
    tds_mg_l: float
    ph: float
    saturation_index: float | None
    potential_closed_mg_l: float
    potential_open_mg_l: float
    growth_mg_cm2: Middle
    site: str
    notes: tuple[str, ...]
    assumptions: tuple[str, ...]


def water_sheet(forecast: Forecast) -> WaterSheet:
    """The water of a forecast's plan."""
    supply, temperature = forecast.plan.supply, forecast.posterior.facts.boiler.temperature_c
    analysis = supply.analysis
    index = saturation(analysis, temperature)[1]
    return WaterSheet(
        supply.water,
        temperature,
        analysis.hardness,
        analysis.alkalinity,
        analysis.tds_mg_l,
        analysis.ph,
        index if isfinite(index) else None,
        float(closed_system_potential(analysis, temperature)),
        float(open_system_potential(analysis, temperature)),
        middle_of(LITRES * forecast.relative * forecast.per_litre(supply)),
        forecast.site,
        cautions(analysis, temperature),
        (*analysis.assumptions, *range_note(temperature)),
    )
