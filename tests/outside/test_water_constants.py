"""Constants against printed values and reference equations of state."""

import numpy as np
import pytest

from scalemodel.water.constants import LOG_K, debye_huckel_a, density_kg_m3, log_activity, permittivity
from tests.outside.phreeqc_rows import read

# Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011, doi 10.1016/0016-7037(82)90056-4, abstract:
# log K at 25 deg C and its stated error
PRINTED_25 = {
    "calcite": (-8.480, 0.020),
    "aragonite": (-8.336, 0.020),
    "vaterite": (-7.913, 0.020),
    "CaHCO3+": (1.11, 0.07),
    "CaCO3": (3.22, 0.14),
}

# deg C; Debye-Hueckel A of phreeqc.dat (DH_A); permittivity and density [kg/m3] by IAPWS (iapws 1.5.5)
WATER = np.array(
    [
        (0.0, 0.4908, 87.90, 999.84),
        (15.0, 0.5017, 82.08, 999.10),
        (25.0, 0.5100, 78.41, 997.05),
        (50.0, 0.5346, 69.92, 988.05),
        (75.0, 0.5645, 62.32, 974.86),
        (90.0, 0.5852, 58.15, 965.32),
        (100.0, 0.6001, 55.53, 958.35),
        (125.0, 0.6416, 49.46, 939.02),
    ]
).T


@pytest.mark.parametrize("name", PRINTED_25)
def test_constants_at_25_are_those_printed(name):
    printed, _ = PRINTED_25[name]
    half_a_digit = 0.0005 if name[0] in "cav" else 0.005
    assert LOG_K[name].at(25.0) == pytest.approx(printed, abs=half_a_digit)


def test_constants_over_temperature():
    # the printed coefficients (and phreeqc.dat for water), evaluated apart from this code to four decimals
    rows = read("log_k.csv")
    assert len(rows) == 14
    for row in rows:
        for name, value in row.items():
            if name != "temperature_c":
                assert LOG_K[name].at(row["temperature_c"]) == pytest.approx(value, abs=6e-5), (name, row)


def test_debye_hueckel_slope():
    np.testing.assert_allclose(debye_huckel_a(WATER[0]), WATER[1], rtol=0.0005)


def test_permittivity_and_density():
    np.testing.assert_allclose(permittivity(WATER[0]), WATER[2], rtol=0.002)
    np.testing.assert_allclose(density_kg_m3(WATER[0]), WATER[3], rtol=0.0001)


def test_davies():
    # C. W. Davies 1962, A = 0.5108 at 25 deg C: activity coefficients of charges 1 and 2
    strength = np.array([0.001, 0.005, 0.01, 0.05])
    one = log_activity(strength, 0.5108)
    np.testing.assert_allclose(10.0**one, [0.96493, 0.92690, 0.90177, 0.82095], atol=6e-6)
    np.testing.assert_allclose(10.0 ** (4.0 * one), [0.86693, 0.73813, 0.66128, 0.45422], atol=6e-6)
