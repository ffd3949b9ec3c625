"""Waters and mixes of the logbook, ready for the law."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scalemodel.errors import BadValueError, EvidenceError, UnknownNameError
from scalemodel.logbook.records import Water, WaterTest
from scalemodel.model.supply import find_supply, log_factor, log_factor_of_mix, mix_supply, parse_mix
from scalemodel.model.supply_law import read_table
from scalemodel.water.mixing import mix
from scalemodel.water.potential import closed_system_potential, open_system_potential
from tests.builders import START, history

FACTS = replace(
    history(),
    waters=(Water("tap"), Water("soft"), Water("demin"), Water("new")),
    water_tests=(
        WaterTest("tap", START, tds_mg_l=240.0),
        WaterTest("soft", START, tds_mg_l=100.0),
        WaterTest("demin", START, tds_mg_l=2.0),
    ),
)
AMOUNTS = ("hardness", "calcium", "magnesium", "alkalinity", "sodium", "chloride", "tds_mg_l", "conductivity_us_cm")


def scaled(analysis, z):
    """A water stronger than its analysis by exp(s z), its pH held."""
    factor = np.exp(analysis.log_sd * z)
    return replace(analysis, **{name: factor * getattr(analysis, name) for name in AMOUNTS})


def test_shares_are_read():
    assert parse_mix("a:0.25,b:0.25, c d:.5") == (("a", 0.25), ("b", 0.25), ("c d", 0.5))
    assert parse_mix("a:0.333,b:0.666")[0][1] == pytest.approx(1 / 3, abs=1e-3)
    assert parse_mix("a:b:0.5,c:0.5")[0][0] == "a:b"


@pytest.mark.parametrize(
    "text",
    ["", "tap", "tap:1", "tap:0.4", "tap:0.4,demin:0.4", "tap:0.5,tap:0.5", "tap:x,demin:1", ":0.5,b:0.5",
     "a:-0.5,b:1.5", "a:nan,b:0.5", "a:0,b:1", "a:0.5;b:0.5", "a:40,b:60"],
)  # fmt: skip
def test_what_is_no_mix_is_refused(text):
    with pytest.raises(BadValueError, match="such as"):
        parse_mix(text)


def test_the_waters_of_a_mix_are_known_and_tested():
    with pytest.raises(UnknownNameError, match="did you mean 'tap'"):
        mix_supply(FACTS, parse_mix("tapp:0.5,demin:0.5"))
    with pytest.raises(EvidenceError, match="water new has no test"):
        mix_supply(FACTS, parse_mix("tap:0.5,new:0.5"))


def test_a_mix_is_the_mix_of_the_water_room():
    supply = mix_supply(FACTS, parse_mix("tap:0.4,demin:0.6"))
    expected = mix(find_supply(FACTS, "tap").analysis, find_supply(FACTS, "demin").analysis, 0.4)
    assert replace(supply.analysis, assumptions=()) == replace(expected, assumptions=())
    assert supply.water == "tap:0.4,demin:0.6"
    assert sum(part for _, part, _ in supply.parts) == pytest.approx(1.0)
    assert supply.parts[0][1] > 0.95


def test_the_order_of_three_waters_does_not_matter():
    one = mix_supply(FACTS, parse_mix("tap:0.2,soft:0.3,demin:0.5"))
    two = mix_supply(FACTS, parse_mix("demin:0.5,tap:0.2,soft:0.3"))
    for name in (*AMOUNTS, "ph", "log_sd"):
        assert getattr(one.analysis, name) == pytest.approx(getattr(two.analysis, name), rel=1e-6)
    assert sorted(one.parts) == [(name, pytest.approx(part), sd) for name, part, sd in sorted(two.parts)]


@settings(max_examples=8, deadline=None, derandomize=True)
@given(st.floats(-2.0, 2.0), st.floats(-2.0, 2.0), st.floats(0.2, 0.8))
def test_the_concentration_of_a_mix_follows_from_that_of_its_parts(z_tap, z_soft, share):
    """The table at the weighted factor against the two waters scaled, mixed and heated in full."""
    supply = mix_supply(FACTS, (("tap", share), ("soft", 1.0 - share)))
    mixed = log_factor_of_mix(supply, (np.array([z_tap]), np.array([z_soft])), (0.0, 0.0))
    tap, soft = (find_supply(FACTS, name).analysis for name in ("tap", "soft"))
    exact = mix(scaled(tap, z_tap), scaled(soft, z_soft), share)
    temperature = FACTS.boiler.temperature_c
    kept, gone, _ = read_table(supply.table, mixed)
    assert kept[0] == pytest.approx(float(closed_system_potential(exact, temperature)), rel=0.06, abs=1.0)
    assert gone[0] == pytest.approx(float(open_system_potential(exact, temperature)), rel=0.03, abs=1.0)


def test_a_concentration_stays_within_the_table():
    assert log_factor(0.25, np.array([-1e9, 2.0, 1e9])).tolist() == [-3.0, 0.5, 3.0]
    assert log_factor(0.25, np.array([2.0, 2.0]), np.array([0.25, 9.0])).tolist() == [0.75, 3.0]
