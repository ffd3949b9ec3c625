"""Potentials and the supply table."""

from datetime import date

import numpy as np
import pytest

from scalemodel.errors import BadValueError
from scalemodel.logbook.records import WaterTest
from scalemodel.water.analysis import analyse_tests
from scalemodel.water.potential import (
    closed_system_potential,
    evaporation_residue,
    open_system_potential,
    range_note,
    saturation,
    supply_table,
)

DAY = date(2026, 1, 5)


def meter(tds: float):
    return analyse_tests([WaterTest("w", DAY, tds_mg_l=tds)])


@pytest.mark.parametrize("temperature", [15.0, 60.0, 93.0, 125.0])
@pytest.mark.parametrize("tds", [20.0, 100.0, 240.0, 700.0])
def test_table_is_sound(tds, temperature):
    analysis = meter(tds)
    table = supply_table(analysis, temperature)
    np.testing.assert_array_equal(table.log_factor, np.linspace(-3.0, 3.0, 49))
    assert table.log_sd == analysis.log_sd
    for part in (table.closed_system, table.open_system, table.evaporation_residue):
        assert part.shape == (49,)
        assert np.all(np.isfinite(part))
        assert np.all(part >= 0.0)
        assert np.all(np.diff(part) >= 0.0)  # a stronger water of the same make never drops less
    assert np.all(
        table.closed_system <= table.open_system + 1e-6
    )  # at pH 7.5 the sample holds more CO2 than air leaves it


def test_middle_knot_is_the_analysis():
    analysis = meter(240.0)
    table = supply_table(analysis, 93.0)
    assert table.closed_system[24] == pytest.approx(float(closed_system_potential(analysis, 93.0)), rel=1e-9)
    assert table.open_system[24] == pytest.approx(float(open_system_potential(analysis, 93.0)), rel=1e-9)
    assert table.evaporation_residue[24] == evaporation_residue(analysis) == min(analysis.calcium, analysis.alkalinity)


def test_knot_is_the_water_that_much_stronger():
    table = supply_table(meter(240.0), 93.0)
    stronger = meter(240.0 * np.exp(0.5))
    assert table.closed_system[28] == pytest.approx(float(closed_system_potential(stronger, 93.0)), rel=1e-6)
    assert table.open_system[28] == pytest.approx(float(open_system_potential(stronger, 93.0)), rel=1e-6)
    assert table.evaporation_residue[28] == pytest.approx(evaporation_residue(stronger), rel=1e-9)


def test_demineralised_water_drops_nothing():
    for tds in (0.0, 0.001, 1.0):
        table = supply_table(meter(tds), 93.0)
        assert np.all(table.closed_system == 0.0)
        assert np.all(
            table.open_system[:33] == 0.0
        )  # up to e times what was told; twenty times 1 mg/L may drop a little
        assert np.all(table.evaporation_residue < np.exp(3.0) * tds + 1e-12)


def test_heat_drops_more():
    analysis = meter(310.0)
    temperature = np.linspace(10.0, 125.0, 24)
    assert np.all(np.diff(closed_system_potential(analysis, temperature)) >= 0.0)
    assert closed_system_potential(analysis, temperature).shape == (24,)


def test_saturation_of_the_sample_holds_its_ph():
    analysis = meter(310.0)
    ph, index = saturation(analysis, analysis.temperature_c)
    assert ph == pytest.approx(7.5, abs=1e-7)
    ph_hot, index_hot = saturation(analysis, 93.0)
    assert ph_hot < ph
    assert index_hot > index
    assert saturation(meter(0.0), 93.0)[1] == -np.inf


def test_range():
    assert range_note(90.0) == ()
    assert "90" in range_note(93.0)[0]
    for temperature in (-1.0, 131.0, float("nan")):
        with pytest.raises(BadValueError, match="0 to 130"):
            supply_table(meter(100.0), temperature)
