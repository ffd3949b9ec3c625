"""The equilibria: mass balances, limits, broadcasting and waters at the edge of sense."""

import numpy as np
import pytest

from scalemodel.errors import BadValueError
from scalemodel.water.carbonate import (
    Ions,
    closed_system,
    closed_system_with_calcite,
    from_ph,
    open_system,
    open_system_with_calcite,
)
from scalemodel.water.constants import LOG_K

NO_IONS = Ions(*np.zeros(6))


def random_waters(seed: int, count: int) -> tuple[Ions, np.ndarray, np.ndarray]:
    """Neutral waters over nine decades, some without calcium or alkalinity; their pH and temperature."""
    rng = np.random.default_rng(seed)

    def amounts(low, high, absent):
        return 10.0 ** rng.uniform(low, high, count) * (rng.random(count) > absent)

    calcium, magnesium = amounts(-9, -1.5, 0.1), amounts(-9, -1.7, 0.1)
    alkalinity, sulphate = amounts(-8, -1.7, 0.1), amounts(-6, -2, 0.3)
    surplus = 2.0 * (calcium + magnesium - sulphate) - alkalinity
    ions = Ions(calcium, magnesium, np.maximum(0, -surplus), np.maximum(0, surplus), sulphate, alkalinity)
    return ions, rng.uniform(4.0, 11.0, count), rng.uniform(0.0, 130.0, count)


def test_any_water_settles_with_its_balances_closed():
    ions, ph, temperature = random_waters(1, 3000)
    cold = from_ph(ions, ph, 15.0)
    assert np.all(cold.carbon >= 0.0)
    hot = closed_system(ions, cold.carbon, temperature)
    np.testing.assert_allclose(hot.carbon, cold.carbon, rtol=1e-6)
    lime = closed_system_with_calcite(ions, cold.carbon, temperature)
    np.testing.assert_allclose(lime.saturation_index, 0.0, atol=1e-6)
    np.testing.assert_allclose(lime.carbon + lime.settled, cold.carbon, rtol=1e-6, atol=1e-9)
    assert np.all(lime.settled <= np.minimum(ions.calcium, cold.carbon) + 1e-9)
    for state in (hot, lime, open_system(ions, temperature), open_system_with_calcite(ions, temperature)):
        assert all(np.all(np.isfinite(f)) for f in (state.ph, state.carbon, state.ionic_strength, state.settled))


def test_calcite_settles_exactly_where_the_index_is_positive():
    ions, ph, temperature = random_waters(2, 1500)
    carbon = from_ph(ions, ph, 15.0).carbon
    index = closed_system(ions, carbon, temperature).saturation_index
    settled = closed_system_with_calcite(ions, carbon, temperature).settled
    clear = np.abs(index) > 1e-3
    assert 50 < np.sum(index[clear] > 0.0) < 1400
    assert np.array_equal(index[clear] > 0.0, settled[clear] > 0.0)


def test_taking_out_what_settles_leaves_a_saturated_water():
    ions, ph, temperature = random_waters(3, 300)
    carbon = from_ph(ions, ph, 15.0).carbon
    settled = closed_system_with_calcite(ions, carbon, temperature).settled
    rest = ions._replace(calcium=ions.calcium - settled, alkalinity=ions.alkalinity - 2.0 * settled)
    sound = (rest.calcium > 1e-7) & (rest.alkalinity > 1e-7)
    picked = Ions(*(part[sound] for part in rest))
    again = closed_system(picked, (carbon - settled)[sound], temperature[sound])
    np.testing.assert_allclose(again.saturation_index, 0.0, atol=2e-4)


def test_ph_round_trip():
    ions, ph, temperature = random_waters(4, 1000)
    cold = from_ph(ions, ph, temperature)
    held = cold.carbon > 1e-7
    back = closed_system(Ions(*(p[held] for p in ions)), cold.carbon[held], temperature[held])
    np.testing.assert_allclose(back.ph, ph[held], atol=1e-6)


def test_pure_water_is_neutral():
    for temperature in (0.0, 25.0, 93.0, 130.0):
        neutral = -0.5 * LOG_K["water"].at(temperature)
        assert float(closed_system(NO_IONS, 0.0, temperature).ph) == pytest.approx(float(neutral), abs=1e-3)


def test_rain_in_air():
    # pure water under air: h^2 = K1 KH pCO2 + Kw, activities near 1
    temperature = 25.0
    k = {name: 10.0 ** LOG_K[name].at(temperature) for name in ("first", "co2_gas", "water")}
    expected = -0.5 * np.log10(k["first"] * k["co2_gas"] * 10**-3.4 + k["water"])
    assert float(open_system(NO_IONS, temperature).ph) == pytest.approx(float(expected), abs=1e-3)


def test_hot_dilute_water_with_a_ph_that_hydroxide_alone_would_exceed():
    # held alkalinity 0.08 meq; near pH 9 at 125 deg C hydroxide alone would carry more than that
    ions = Ions(*(np.asarray(x) for x in (4e-5, 1e-5, 0.0, 2e-5, 0.0, 8e-5)))
    carbon = from_ph(ions, 8.6, 15.0).carbon
    hot = closed_system(ions, carbon, 125.0)
    assert 6.0 < float(hot.ph) < 8.6
    assert float(hot.carbon) == pytest.approx(float(carbon), rel=1e-6)


def test_without_calcium_the_index_is_minus_infinity():
    assert float(closed_system(NO_IONS, 1e-3, 50.0).saturation_index) == -np.inf


def test_shapes_broadcast():
    ions = Ions(*(np.full((3, 1), x) for x in (1e-3, 3e-4, 0.0, 6e-4, 0.0, 2e-3)))
    temperature = np.array([15.0, 60.0, 93.0, 125.0])
    many = closed_system_with_calcite(ions, 2.1e-3, temperature)
    assert many.settled.shape == (3, 4)
    one = closed_system_with_calcite(Ions(*(part[0, 0] for part in ions)), 2.1e-3, 93.0)
    assert one.settled.shape == ()
    np.testing.assert_allclose(many.settled[:, 2], one.settled, rtol=1e-6)


@pytest.mark.parametrize("temperature", [-0.1, 130.1, np.nan, np.inf])
def test_temperatures_refused(temperature):
    with pytest.raises(BadValueError, match="0 to 130"):
        closed_system(NO_IONS, 0.0, temperature)
