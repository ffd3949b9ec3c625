"""Units of hardness and the quantities people write."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalemodel.errors import BadValueError
from scalemodel.logbook.records import HARDNESS_UNITS
from scalemodel.logbook.units import DROP_SIZE
from scalemodel.water.hardness import (
    MG_CACO3_PER_UNIT,
    checked_amount,
    from_mg_l,
    parse_quantity,
    parse_temperature,
    to_mg_l,
)


def test_units_are_those_of_the_records():
    assert tuple(MG_CACO3_PER_UNIT) == HARDNESS_UNITS
    assert set(DROP_SIZE) == set(HARDNESS_UNITS)


# exact grain and gallons, atomic masses of periodictable 2.1.0; many tables round them: 17.85, 17.12, 14.25
@pytest.mark.parametrize(
    ("unit", "factor"),
    [("mmol/L", 100.086), ("dH", 17.848), ("fH", 10.0), ("gpg", 17.1181), ("e", 14.2538), ("mg/L", 1.0)],
)
def test_factors(unit, factor):
    assert to_mg_l(1.0, unit) == pytest.approx(factor, abs=5.1e-4)


@given(st.floats(0.0, 5000.0), st.sampled_from(HARDNESS_UNITS), st.sampled_from(HARDNESS_UNITS))
def test_round_trip(amount, one, other):
    there = from_mg_l(to_mg_l(from_mg_l(amount, one), one), other)
    assert to_mg_l(there, other) == pytest.approx(amount, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("9 dH", 9.0, "dH"),
        ("9dh", 9.0, "dH"),
        (" 9 °dH ", 9.0, "dH"),
        ("9.5 º DH", 9.5, "dH"),
        ("160 mg/L", 160.0, "mg/L"),
        ("160 MG/L as CaCO3", 160.0, "mg/L"),
        ("160 mg/L CaCO3", 160.0, "mg/L"),
        ("160ppm", 160.0, "mg/L"),
        ("160", 160.0, "mg/L"),
        ("1.6e2", 160.0, "mg/L"),
        ("2.1 mmol/L", 2.1, "mmol/L"),
        ("16 fH", 16.0, "fH"),
        ("16 °f", 16.0, "fH"),
        ("11 e", 11.0, "e"),
        ("11e", 11.0, "e"),
        ("9 gpg", 9.0, "gpg"),
        (".5 dH", 0.5, "dH"),
        ("0 dH", 0.0, "dH"),
    ],
)
def test_quantities_as_written(text, value, unit):
    assert parse_quantity(text, "hardness") == (value, unit)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "dH",
        "nan",
        "inf",
        "-inf dH",
        "-3 dH",
        "9 dK",
        "9 9 dH",
        "9,5,1 dH",
        "1e9",
        "300 dH",
        "1e400",
        "9 mg",
        "0x9",
    ],
)
def test_quantities_refused(text):
    with pytest.raises(BadValueError, match="hardness"):
        parse_quantity(text, "hardness")


def test_units_refused():
    with pytest.raises(BadValueError, match="one of mg/L"):
        to_mg_l(1.0, "dK")
    with pytest.raises(BadValueError, match="0 to 280 dH"):
        checked_amount(float("nan"), "dH", "hardness")


@pytest.mark.parametrize(
    ("text", "celsius"), [("15", 15.0), ("15 C", 15.0), ("15°c", 15.0), ("60 F", 15.56), ("212 °F", 100.0)]
)
def test_temperatures_as_written(text, celsius):
    assert parse_temperature(text) == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize("text", ["", "C", "nan", "inf", "-1", "131", "300 F", "31 F", "15 K"])
def test_temperatures_refused(text):
    with pytest.raises(BadValueError, match="boiler temperature"):
        parse_temperature(text, "boiler temperature")
