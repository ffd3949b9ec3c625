"""What is taken for granted where a water test is silent, and what is taken for a slip of the pen."""

from __future__ import annotations

from dataclasses import dataclass

from scalemodel.logbook.records import WaterTest

PH_OF_NO_ALKALINITY = 4.5
"""At and below this pH no alkalinity is left: the end point of its titration."""

MOST_US_CM = WaterTest.KIND.fields["conductivity_us_cm"].rule.high
"""More conductivity than this is taken for a slip of the pen [uS/cm]."""


@dataclass(frozen=True)
class WaterDefaults:
    """What is taken for granted where a test is silent.

    The figures by conductivity fit the specific conductance that PHREEQC (phreeqpython 1.6.2, phreeqc.dat)
    computes for nine natural waters, save the alkalinity of a permanently hard one. Other figures are
    common practice, no source.
    """

    tds_factor: float = 0.5
    """Meter reading [mg/L] over conductivity [uS/cm at 25 deg C]: the usual pocket meter."""
    hardness_per_us_cm: float = 0.43
    alkalinity_per_us_cm: float = 0.33
    """mg/L as CaCO3 per uS/cm."""
    meter_log_sd: float = 0.25
    """Of hardness or alkalinity inferred from conductivity, or of one of the two inferred from the other."""
    laboratory_log_sd: float = 0.05
    """Of one laboratory reading; a water's strength is never held to be known better than this."""
    trace_mg_l: float = 0.001
    """Less hardness or alkalinity than this is none."""
    most_log_sd: float = 1.0
    """No reading (of a drop or less, say) and no strength is held to be vaguer than this."""
    disagreement_sd: float = 3.0
    """A meter's inference further than this from what was measured directly is set aside."""
    magnesium_share: float = 0.25
    """Of the hardness."""
    ph: float = 7.5
    sample_temperature_c: float = 15.0
    boiler_temperature_c: float = 93.0
    """Where a question about water names no boiler temperature."""


DEFAULTS = WaterDefaults()
