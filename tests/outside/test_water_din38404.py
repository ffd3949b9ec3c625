"""The example waters of DIN 38404-10, as reproduced at aqion.de (inputs and printed results).

1995 edition, table 6: aqion.de/sd/185?page=6 and /sd/2?page=6. 2012 edition, table 4: aqion.de/sd/185?page=3,
of which results of nos. 1 to 5 are printed there; no. 5 holds phosphate, which this package does not know.
Potassium counts as sodium here and nitrate as chloride. "D", the calcite dissolution capacity, has the
opposite sign to what settles. Tolerances: pH 0.01, pHc 0.02, SI and D 0.03.
"""

import numpy as np
import pytest

from scalemodel.water.carbonate import Ions, closed_system, closed_system_with_calcite, from_ph

# pH, T, T_b, carbon, Ca, Mg, Na, K, Cl, NO3, SO4 [mmol/L]; printed pH(T_b), pHc, SI, D [mmol/L]
EDITION_1995 = {
    1: ((6.90, 20, 10, 6.680, 3.50, 0.75, 2.05, 0.15, 2.50, 0.50, 1.20), (6.98, 7.07, -0.15, 0.20)),
    2: ((8.20, 15, 11, 1.661, 1.24, 0.41, 0.90, 0.07, 0.90, 0.55, 0.58), (8.25, 8.00, 0.27, -0.03)),
    3: ((7.90, 20, 5.5, 2.456, 1.22, 0.35, 0.15, 0.05, 0.16, 0.07, 0.35), (8.05, 7.90, 0.17, -0.03)),
    4: ((8.40, 17, 12, 0.941, 0.57, 0.10, 0.21, 0.02, 0.34, 0.08, 0.10), (8.47, 8.46, 0.01, 0.00)),
    5: ((8.90, 20, 10, 0.329, 0.30, 0.15, 0.30, 0.05, 0.30, 0.20, 0.20), (9.08, 9.22, -0.15, 0.01)),
}

# pH, T, KS4.3, Ca, Mg, Na, K, Cl, NO3, SO4 [mmol/L]; printed I [mmol/L], pHc, carbon [mmol/L]
EDITION_2012 = {
    1: ((7.34, 10, 2.50, 1.40, 0.23, 0.3, 0.05, 0.25, 0.15, 0.38), (5.36, 7.66, 2.74)),
    2: ((7.80, 15, 1.63, 0.75, 0.10, 0.4, 0.10, 0.30, 0.03, 0.15), (3.12, 8.05, 1.63)),
    3: ((7.00, 10, 5.45, 3.50, 0.70, 2.3, 0.30, 2.70, 0.50, 1.20), (15.17, 7.08, 6.72)),
    4: ((5.60, 10, 0.22, 0.15, 0.05, 0.3, 0.10, 0.34, 0.18, 0.05), (1.04, 7.77, 1.38)),
}
# the same by PHREEQC (phreeqpython 1.6.2, phreeqc.dat): SI, calcite dissolved [mg/L]
PHREEQC_2012 = {1: (-0.391, 14.22), 2: (-0.273, 3.16), 3: (-0.103, 13.97), 4: (-4.144, 111.75)}


def ions_of(alkalinity, *parts) -> Ions:
    ca, mg, na, k, cl, no3, so4 = parts
    return Ions(*(np.asarray(1e-3 * part) for part in (ca, mg, na + k, cl + no3, so4, alkalinity)))


@pytest.mark.parametrize("number", EDITION_1995)
def test_edition_of_1995(number):
    (ph, t, t_boiler, carbon, *parts), printed = EDITION_1995[number]
    low, high = 0.0, 2.5 * carbon  # the alkalinity that carries this carbon at this pH
    for _ in range(60):
        alkalinity = 0.5 * (low + high)
        held = 1e3 * float(from_ph(ions_of(alkalinity, *parts), ph, t).carbon)
        low, high = (alkalinity, high) if held < carbon else (low, alkalinity)
    ions = ions_of(alkalinity, *parts)
    hot = closed_system(ions, 1e-3 * carbon, t_boiler)
    saturated = closed_system_with_calcite(ions, 1e-3 * carbon, t_boiler)
    assert float(hot.ph) == pytest.approx(printed[0], abs=0.01)
    assert float(saturated.ph) == pytest.approx(printed[1], abs=0.02)
    assert float(hot.saturation_index) == pytest.approx(printed[2], abs=0.03)
    assert -1e3 * float(saturated.settled) == pytest.approx(printed[3], abs=0.03)


@pytest.mark.parametrize("number", EDITION_2012)
def test_edition_of_2012(number):
    (ph, t, ks43, *parts), (strength, ph_c, carbon) = EDITION_2012[number]
    ions = ions_of(ks43 - 0.05, *parts)  # KS4.3 is acid to pH 4.3, 0.05 mmol/L past the equivalence point
    cold = from_ph(ions, ph, t)
    saturated = closed_system_with_calcite(ions, cold.carbon, t)
    assert 1e3 * float(cold.ionic_strength) == pytest.approx(strength, rel=0.005)
    assert float(saturated.ph) == pytest.approx(ph_c, abs=0.02)
    assert 1e3 * float(cold.carbon) == pytest.approx(carbon, rel=0.008)
    index, dissolved = PHREEQC_2012[number]
    assert float(cold.saturation_index) == pytest.approx(index, abs=0.03)
    assert -100.087e3 * float(saturated.settled) == pytest.approx(dissolved, rel=0.02, abs=1.5)
