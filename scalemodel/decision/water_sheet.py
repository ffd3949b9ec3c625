"""What is known of the water that a boiler draws from now on, and what this boiler's records say it leaves."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from scalemodel.decision.forecast import Forecast
from scalemodel.decision.residue import Middle
from scalemodel.decision.water_plan import middle_of
from scalemodel.water.cautions import cautions
from scalemodel.water.potential import closed, open_, range_note, saturation
from scalemodel.wording import figure

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
        float(closed(analysis, temperature)),
        float(open_(analysis, temperature)),
        middle_of(LITRES * forecast.relative * forecast.per_litre(supply)),
        forecast.site,
        cautions(analysis, temperature),
        (*analysis.assumptions, *range_note(temperature)),
    )


def water_sentences(sheet: WaterSheet) -> list[str]:
    """What a litre can drop, and what this boiler takes of it."""
    growth = sheet.growth_mg_cm2
    return [
        f"From now on {sheet.water}: at {sheet.boiler_temperature_c:g} deg C a litre can drop "
        f"{figure(sheet.potential_closed_mg_l)} mg of lime with its CO2 kept, {figure(sheet.potential_open_mg_l)} mg "
        "once the CO2 has left.",
        f"In this boiler {LITRES:g} L of it probably leave {figure(growth.p50, 2)} mg/cm2 at the {sheet.site} "
        f"(eight in ten: {figure(growth.p10, 2)} to {figure(growth.p90, 2)}).",
    ]


SHEET_TITLES = ("water", "amount", "unit")


def water_sheet_rows(sheet: WaterSheet) -> list[tuple[str, str, str]]:
    """What is known of it, a line each."""
    index = sheet.saturation_index
    return [
        ("hardness", figure(sheet.hardness), "mg/L as CaCO3"),
        ("alkalinity", figure(sheet.alkalinity), "mg/L as CaCO3"),
        ("dissolved solids (TDS)", figure(sheet.tds_mg_l), "mg/L"),
        ("pH of the sample", f"{sheet.ph:.2f}", ""),
        ("saturation index in the boiler", "none" if index is None else f"{index:+.2f}", ""),
    ]
