"""Equilibrium constants of the carbonate system and what water does to charges, 0 to 130 deg C.

Every constant is ``log10 K = A + B T + C/T + D log10 T + E/T^2 + F T^2`` with T in kelvin and
concentrations in mol per kg of water. Calcite, CO2, the two dissociations, CaHCO3+ and CaCO3 are those
of Plummer & Busenberg (1982), Geochim. Cosmochim. Acta 46:1011, doi 10.1016/0016-7037(82)90056-4, who state
0-90 deg C for the solubilities and CaHCO3+, 5-80 for CaCO3 and 0-250 for the dissociations; beyond that the
same curves are extrapolated. Water and the remaining ion pairs are those of the phreeqc.dat file
shipped with phreeqpython 1.6.2 (log K at 25 deg C and a heat of reaction, where no curve is given).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scalemodel.errors import BadValueError

COLDEST_C, HOTTEST_C = 0.0, 130.0
"""Range of validity of this room [deg C]."""

EXTRAPOLATED_ABOVE_C = 90.0
"""Above this the solubility of calcite is extrapolated [deg C]."""

KELVIN = 273.15
_KCAL_PER_DECADE = 8.314462618 * np.log(10.0) / 4184.0
"""R ln 10 [kcal/(mol K)]."""


class LogK(NamedTuple):
    """Coefficients of log10 K over absolute temperature (see the module's first lines)."""

    a: float
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0

    def at(self, temperature_c: ArrayLike) -> NDArray:
        """log10 K at a temperature [deg C], any shape."""
        t = np.asarray(temperature_c, dtype=float) + KELVIN
        return self.a + self.b * t + self.c / t + self.d * np.log10(t) + self.e / t**2 + self.f * t**2


def _van_t_hoff(log_k_25: float, heat_kcal: float = 0.0) -> LogK:
    """A constant known at 25 deg C with its heat of reaction [kcal/mol]."""
    slope = heat_kcal / _KCAL_PER_DECADE
    return LogK(a=log_k_25 + slope / (25.0 + KELVIN), c=-slope)


LOG_K = {
    # Plummer & Busenberg 1982
    "calcite": LogK(-171.9065, -0.077993, 2839.319, 71.595),
    "aragonite": LogK(-171.9773, -0.077993, 2903.293, 71.595),
    "vaterite": LogK(-172.1295, -0.077993, 3074.688, 71.595),
    "co2_gas": LogK(108.3865, 0.01985076, -6919.53, -40.45154, 669365.0),
    "first": LogK(-356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0),
    "second": LogK(-107.8871, -0.03252849, 5151.79, 38.92561, -563713.9),
    "CaHCO3+": LogK(1209.120, 0.31294, -34765.05, -478.782),
    "CaCO3": LogK(-1228.732, -0.299444, 35512.75, 485.818),
    # phreeqc.dat; the bicarbonate pairs are written there from carbonate, here from bicarbonate
    "water": LogK(293.29227, 0.1360833, -10576.913, -123.73158, 0.0, -6.996455e-5),
    "MgHCO3+": LogK(-59.2150, 0.0, 2537.455, 20.92298),
    "MgCO3": LogK(0.9910, 0.00667),
    "CaSO4": _van_t_hoff(2.25, 1.325),
    "MgSO4": _van_t_hoff(2.37, 4.550),
    "NaHCO3": _van_t_hoff(-0.25, -1.0),
    "NaCO3-": _van_t_hoff(1.27, 8.91),
    "NaSO4-": _van_t_hoff(0.7, 1.120),
    # with water: metal + H2O = hydroxide pair + H+
    "CaOH+": _van_t_hoff(-12.78),
    "MgOH+": _van_t_hoff(-11.44, 15.952),
}
"""Constants by the species (or phase) that they form."""


def checked_temperature(temperature_c: ArrayLike, field: str = "temperature") -> NDArray:
    """The temperature as an array [deg C]; refused with BadValueError outside 0 to 130 or if not a number."""
    t = np.asarray(temperature_c, dtype=float)
    bad = ~((t >= COLDEST_C) & (t <= HOTTEST_C))
    if np.any(bad):
        raise BadValueError(field, f"{t[bad].flat[0]:g}", f"{COLDEST_C:g} to {HOTTEST_C:g} deg C")
    return t


def density_kg_m3(temperature_c: ArrayLike) -> NDArray:
    """Density of pure water at 1 atm [kg/m3], any shape, 0 to 130 deg C.

    Kell (1975), J. Chem. Eng. Data 20:97 (coefficients recalled; the tests hold them against IAPWS values).

    >>> density_kg_m3([0.0, 25.0, 100.0]).round(2)
    array([999.84, 997.05, 958.36])
    """
    t = np.asarray(temperature_c, dtype=float)
    above = np.polynomial.polynomial.polyval(
        t, [999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12]
    )
    return above / (1.0 + 16.879850e-3 * t)


def permittivity(temperature_c: ArrayLike) -> NDArray:
    """Relative permittivity of water at 1 bar, any shape, 0 to 130 deg C.

    Bradley & Pitzer (1979), J. Phys. Chem. 83:1599 (coefficients recalled; the tests hold them against
    IAPWS values).

    >>> permittivity([25.0, 100.0]).round(2)
    array([78.38, 55.47])
    """
    t = np.asarray(temperature_c, dtype=float) + KELVIN
    at_1000_bar = 342.79 * np.exp(-5.0866e-3 * t + 9.4690e-7 * t**2)
    c = -2.0525 + 3115.9 / (t - 182.89)
    b = -8032.5 + 4.2142e6 / t + 2.1417 * t
    return at_1000_bar + c * np.log((b + 1.0) / (b + 1000.0))


def debye_huckel_a(temperature_c: ArrayLike) -> NDArray:
    """The Debye-Hueckel slope A [kg^0.5 mol^-0.5, decadic], any shape, 0 to 130 deg C.

    ``A = sqrt(2 pi N rho) (e^2 / (4 pi eps0 eps k T))^1.5 / ln 10``.

    >>> round(float(debye_huckel_a(25.0)), 4)
    0.5100
    """
    t = np.asarray(temperature_c, dtype=float) + KELVIN
    # e^2 / (4 pi eps0 k) = 1.671009e-5 m K ; Avogadro's number 6.02214076e23 /mol
    length = 1.671009e-5 / (permittivity(temperature_c) * t)
    return np.sqrt(2.0 * np.pi * 6.02214076e23 * density_kg_m3(temperature_c)) * length**1.5 / np.log(10.0)


def log_activity(ionic_strength: ArrayLike, slope_a: ArrayLike) -> NDArray:
    """log10 of the activity coefficient of an ion of charge 1 (times z^2 for charge z), any shape.

    Davies (1962): ``-A (sqrt(I) / (1 + sqrt(I)) - 0.3 I)``, I the ionic strength [mol/kg], up to about 0.5.

    >>> round(float(10.0 ** log_activity(0.01, 0.5108)), 5)
    0.90177
    """
    root = np.sqrt(ionic_strength)
    return -slope_a * (root / (1.0 + root) - 0.3 * np.asarray(ionic_strength))
