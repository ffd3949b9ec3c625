"""The Langelier and Ryznar indices by their customary printed formulas.

They are rules of thumb over total dissolved solids, calcium, alkalinity and temperature, and differ from the
saturation index of the equilibria by up to about 0.4; they stand here for people who know those numbers. At
a boiler's temperature give the pH that the water has there: with the pH of the cold sample the index
comes out as much as 1.7 too high. Formula and worked example: corrosion-doctors.org, Cooling-Water-Towers,
Index-Lang-calcul.htm; Ryznar's index: Facility Piping Systems Handbook, p. 4.14.
"""

from __future__ import annotations

import math

from scalemodel.errors import BadValueError


def saturation_ph(tds_mg_l: float, calcium: float, alkalinity: float, temperature_c: float) -> float:
    """The pH at which the water would just be saturated, ``pHs = (9.3 + A + B) - (C + D)``.

    Parameters
    ----------
    tds_mg_l : total dissolved solids [mg/L]
    calcium, alkalinity : [mg/L as CaCO3]
    temperature_c : [deg C]

    ``A = (log10 TDS - 1)/10``, ``B = -13.12 log10(T + 273) + 34.55``, ``C = log10 Ca - 0.4``,
    ``D = log10 Alk``. Raises BadValueError unless solids, calcium and alkalinity are above zero.

    >>> round(saturation_ph(320.0, 150.0, 34.0, 25.0), 4)
    8.2312
    """
    for field, given in (("TDS", tds_mg_l), ("calcium", calcium), ("alkalinity", alkalinity)):
        if not given > 0.0:
            raise BadValueError(field, given, "more than 0 mg/L, for the Langelier and Ryznar indices")
    a = (math.log10(tds_mg_l) - 1.0) / 10.0
    b = -13.12 * math.log10(temperature_c + 273.0) + 34.55
    return 9.3 + a + b - (math.log10(calcium) - 0.4) - math.log10(alkalinity)


def langelier_index(ph: float, saturation: float) -> float:
    """Langelier: pH less the pH of saturation; above zero the water tends to scale."""
    return ph - saturation


def ryznar_index(ph: float, saturation: float) -> float:
    """Ryznar: twice the pH of saturation less pH; below about 6 the water tends to scale."""
    return 2.0 * saturation - ph
