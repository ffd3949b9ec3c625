"""Langelier and Ryznar indices against their own printed examples."""

import math

import pytest

from scalemodel.water.indices import langelier_index, ryznar_index, saturation_ph


# corrosion-doctors.org, Cooling-Water-Towers, Index-Lang-calcul.htm: pH 7.5, TDS 320 mg/L, calcium 150 and
# alkalinity 34 mg/L as CaCO3; printed pHs and index, to one decimal
@pytest.mark.parametrize(("temperature", "printed_ph_s", "printed_index"), [(25.0, 8.2, -0.7), (82.0, 7.2, 0.3)])
def test_langelier_example(temperature, printed_ph_s, printed_index):
    ph_s = saturation_ph(320.0, 150.0, 34.0, temperature)
    assert ph_s == pytest.approx(printed_ph_s, abs=0.05)
    assert langelier_index(7.5, ph_s) == pytest.approx(printed_index, abs=0.05)


# the same example without rounding on the way: plain arithmetic
@pytest.mark.parametrize(
    ("temperature", "ph_s", "langelier", "ryznar"),
    [(25.0, 8.2312, -0.7312, 8.9625), (82.0, 7.2339, 0.2661, 6.9679)],
)
def test_langelier_example_unrounded(temperature, ph_s, langelier, ryznar):
    got = saturation_ph(320.0, 150.0, 34.0, temperature)
    assert got == pytest.approx(ph_s, abs=6e-5)
    assert langelier_index(7.5, got) == pytest.approx(langelier, abs=6e-5)
    assert ryznar_index(7.5, got) == pytest.approx(ryznar, abs=1e-4)


# Facility Piping Systems Handbook p. 4.14, table 4.5: pHs = 9.3 + A + B - C - D by rows of one decimal
@pytest.mark.parametrize(
    ("water", "fahrenheit", "factors"),
    [
        ((150, 100, 100), 33, (0.1, 2.6, 1.6, 2.0)),
        ((200, 155, 32), 53, (0.1, 2.3, 1.8, 1.5)),
        ((600, 250, 200), 76, (0.2, 2.0, 2.0, 2.3)),
        ((300, 100, 100), 105, (0.1, 1.7, 1.6, 2.0)),
        ((300, 155, 200), 140, (0.1, 1.4, 1.8, 2.3)),
    ],
)
def test_handbook_table(water, fahrenheit, factors):
    a, b, c, d = factors
    table = 9.3 + a + b - c - d
    assert saturation_ph(*water, (fahrenheit - 32.0) / 1.8) == pytest.approx(table, abs=0.15)
    assert ryznar_index(7.0, table) == pytest.approx(2.0 * table - 7.0)


# pooloperationmanagement.com/cpo/sample-problems/saturation-index: index = AF + pH + CF + TF - 12.1. Its
# factors are the same logs rounded, so a step between two of its examples moves both formulas alike
def test_steps_of_the_pool_examples():
    low, high = saturation_ph(1000.0, 200.0, 50.0, 24.4), saturation_ph(1000.0, 400.0, 150.0, 34.4)
    printed_step = (2.2 + 2.2 + 0.8) - (1.7 + 1.9 + 0.6)  # 150, 400, 94 F less 50, 200, 76 F
    assert low - high == pytest.approx(printed_step, abs=0.1)
    assert low - saturation_ph(1000.0, 400.0, 50.0, 24.4) == pytest.approx(math.log10(2.0))
