"""What to mind about a water that is soft or aggressive: taste, metal, level probes.

Limits: the brewing-water standard of the Specialty Coffee Association of America (scaa.org, resources,
water-standards): dissolved solids 75 to 250 mg/L, calcium hardness 17 to 85, alkalinity at or near
40 mg/L as CaCO3; a later edition, seen in a secondary copy, asks for calcium hardness of 50 to 175.
"""

from __future__ import annotations

from scalemodel.water.analysis import WaterAnalysis
from scalemodel.water.potential import saturation

LEAST_TDS_MG_L = 75.0
LEAST_CALCIUM, LATER_LEAST_CALCIUM = 17.0, 50.0
LEAST_ALKALINITY = 40.0
"""mg/L as CaCO3."""

PROBE_US_CM = 100.0
"""Below this a level probe may not see the water (common practice, no source) [uS/cm]."""


def cautions(analysis: WaterAnalysis, boiler_temperature_c: float) -> tuple[str, ...]:
    """Sentences to print with a water meant for a boiler at a temperature [deg C]; empty if all is well."""
    said = []
    if analysis.tds_mg_l < LEAST_TDS_MG_L:
        said.append(f"flat taste: TDS {analysis.tds_mg_l:.3g} is below {LEAST_TDS_MG_L:g} mg/L")
    if analysis.calcium < LATER_LEAST_CALCIUM:
        edition = "" if analysis.calcium < LEAST_CALCIUM else " of a later edition (the earlier one: 17)"
        limit = LEAST_CALCIUM if analysis.calcium < LEAST_CALCIUM else LATER_LEAST_CALCIUM
        said.append(f"flat taste: calcium hardness {analysis.calcium:.3g} is below {limit:g} mg/L as CaCO3{edition}")
    _, index = saturation(analysis, boiler_temperature_c)
    if index < 0.0:
        said.append(
            f"corrosion: at {boiler_temperature_c:g} deg C the water is short of lime "
            f"(saturation index {'far below 0' if index < -9.0 else format(index, '.2f')}): "
            "it lays down no protecting film and can attack metal"
        )
    if analysis.alkalinity < LEAST_ALKALINITY:
        said.append(
            f"corrosion: alkalinity {analysis.alkalinity:.3g} is below {LEAST_ALKALINITY:g} mg/L as CaCO3 "
            "and holds the pH poorly"
        )
    if analysis.conductivity_us_cm < PROBE_US_CM:
        said.append(
            f"level probes: at {analysis.conductivity_us_cm:.3g} uS/cm a probe may not see the water and "
            "the boiler may overfill (common practice, no source); follow the maker's instructions"
        )
    return tuple(said)
