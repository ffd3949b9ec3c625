"""Every field's text: what is taken, what is refused, and with what advice."""

import math
from dataclasses import MISSING, fields
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scalemodel.errors import BadValueError, UnknownNameError
from scalemodel.logbook.days import parse_date
from scalemodel.logbook.field_types import Choice, Day, Name, Number, Text, Whole, YesNo
from scalemodel.logbook.fields import (
    build,
    clean,
    parse_grade,
    parse_hardness,
    read,
    rule,
    spread,
)
from scalemodel.logbook.kinds import KINDS, kind_of
from scalemodel.logbook.records import HARDNESS_UNITS, Boiler, Inspection, Water, WaterTest
from scalemodel.logbook.units import HIGHEST_BY_UNIT, UNIT_SPELLINGS
from tests.logbook.samples import RECORDS

EVERY_FIELD = [(kind.name, field) for kind in KINDS.values() for field in kind.columns]
NUMBERS = [(kind, field) for kind, field in EVERY_FIELD if isinstance(rule(KINDS[kind], field), Number)]
CHOICES = [(kind, field) for kind, field in EVERY_FIELD if isinstance(rule(KINDS[kind], field), Choice)]


def refused(call, *arguments) -> BadValueError:
    with pytest.raises(BadValueError) as caught:
        call(*arguments)
    return caught.value


# ---- the registry and the table of rules


@pytest.mark.parametrize(("kind", "field"), EVERY_FIELD)
def test_every_field_says_what_it_means(kind, field):
    column = KINDS[kind].column(field)
    assert column.about.endswith(".")
    assert column.about.isprintable()
    assert not column.option or column.option.startswith("--")


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_required_columns_are_those_without_a_default(kind):
    bare = [f.name for f in fields(kind.record) if f.default is MISSING]
    assert [f for f in bare if f != "grade_high"] == list(kind.required)
    assert kind.file.endswith(".csv")
    assert {kind.dated_by, kind.known_on, *kind.naming} - {None} <= set(kind.columns)


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: kind_of(record).name)
def test_a_good_record_is_left_as_it_is(record):
    assert clean(record) == record


@pytest.mark.parametrize(("kind", "field"), EVERY_FIELD)
def test_defaults_are_within_their_own_rules(kind, field):
    default = KINDS[kind].defaults.get(field)
    if default not in (None, MISSING):
        assert rule(KINDS[kind], field).clean(default, field) == default


def test_an_unknown_field_names_the_nearest():
    with pytest.raises(UnknownNameError, match="did you mean 'grade_low'"):
        rule(KINDS["inspection"], "grad_low")


def test_something_that_is_no_record_is_a_type_error():
    with pytest.raises(TypeError, match="int is no record"):
        kind_of(3)


# ---- numbers


@pytest.mark.parametrize(("kind", "field"), NUMBERS)
def test_numbers_take_both_ends_of_their_range(kind, field):
    meaning = rule(KINDS[kind], field)
    for end in (meaning.low, meaning.high):
        assert read(KINDS[kind], field, f" {end!r} ") == end
        assert meaning.clean(end, field) == end


@pytest.mark.parametrize(("kind", "field"), NUMBERS)
@pytest.mark.parametrize(
    "text", ["nan", "inf", "-inf", "1e400", "-1", "1e12", "", "x", "1_0", "0x10", "١", "1 2", "--1", "1e"]
)
def test_numbers_refuse_what_is_absurd(kind, field, text):
    error = refused(read, KINDS[kind], field, text)
    assert error.field == field
    assert rule(KINDS[kind], field).allowed in str(error)


@pytest.mark.parametrize(("kind", "field"), NUMBERS)
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, -1.0, 1e12, True, "1", None])
def test_numbers_from_a_program_are_held_to_the_same_range(kind, field, value):
    refused(rule(KINDS[kind], field).clean, value, field)


@pytest.mark.parametrize(("kind", "field"), NUMBERS)
def test_just_outside_the_range_is_refused(kind, field):
    meaning = rule(KINDS[kind], field)
    refused(meaning.clean, math.nextafter(meaning.low, -math.inf), field)
    refused(meaning.clean, math.nextafter(meaning.high, math.inf), field)


@pytest.mark.parametrize(
    ("kind", "field"),
    [
        ("boiler", "volume_l"),
        ("boiler", "area_cm2"),
        ("boiler", "tolerance"),
        ("site", "relative_deposit"),
        ("inspection", "thickness_um"),
        ("descale", "acid_g"),
        ("descale", "scale_recovered_g"),
        ("use", "litres_per_drink"),
        ("water_test", "tds_factor"),
        ("water_test", "ph"),
    ],
)
def test_zero_is_refused_where_it_makes_no_sense(kind, field):
    refused(read, KINDS[kind], field, "0")


def test_zero_is_taken_where_it_makes_sense():
    assert read(KINDS["use"], "litres", "0") == 0.0
    assert math.copysign(1.0, read(KINDS["use"], "litres", "-0")) == 1.0


@pytest.mark.parametrize(
    ("kind", "field", "text", "number"),
    [
        ("boiler", "volume_l", "0,75", 0.75),
        ("boiler", "volume_l", "750 mL", 0.75),
        ("boiler", "volume_l", "330ml", 0.33),
        ("boiler", "volume_l", "0.75 L", 0.75),
        ("boiler", "temperature_c", "93,5", 93.5),
        ("boiler", "tolerance", "10%", 0.1),
        ("boiler", "tolerance", "0,1", 0.1),
        ("boiler", "tolerance", "2,5 %", 0.025),
        ("boiler", "area_cm2", "0.064 m²", 640.0),
        ("water_test", "conductivity_us_cm", "0.62 mS/cm", 620.0),
        ("water_test", "conductivity_us_cm", "620 µS/cm", 620.0),
        ("water_test", "conductivity_us_cm", "620 μS/cm", 620.0),
        ("water_test", "tds_mg_l", "310 ppm", 310.0),
        ("water_test", "tds_mg_l", "0.31 g/L", 310.0),
        ("use", "litres", "1.2 m3", 1200.0),
        ("use", "litres", "0,125", 0.125),
        ("use", "litres", "1,2000", 1.2),
        ("use", "litres_per_drink", "200 ml", 0.2),
        ("use", "litres_per_drink", "20 cl", 0.2),
        ("inspection", "thickness_um", "0.3 mm", 300.0),
        ("descale", "acid_g", "0.1 kg", 100.0),
        ("prices", "descale_hours", "90 min", 1.5),
    ],
)
def test_a_unit_and_a_comma_are_understood_where_they_mean_one_thing(kind, field, text, number):
    assert read(KINDS[kind], field, text) == number


@pytest.mark.parametrize(
    ("kind", "field", "text", "said"),
    [
        ("water_test", "tds_mg_l", "620 uS/cm", "620 uS/cm is a conductivity: say --conductivity 620"),
        ("water_test", "tds_mg_l", "0,62 mS/cm", "0.62 mS/cm is a conductivity: say --conductivity 620"),
        ("water_test", "conductivity_us_cm", "310 ppm", "is a reading of dissolved solids: say --tds 310"),
        ("boiler", "tolerance", "10", "expected a number 0.001 to 0.9, or 0.1% to 90%"),
        ("boiler", "volume_l", "1 gal", "a number 0.05 to 1000 L"),
        ("boiler", "volume_l", "1 200", "a number 0.05 to 1000 L"),
        ("use", "drinks", "30 L", "a number 0 to"),
    ],
)
def test_any_other_unit_is_refused_with_the_words_to_type(kind, field, text, said):
    assert said in str(refused(read, KINDS[kind], field, text))


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("1,200", "write 1200, or 1.2 if the comma was a decimal comma"),
        ("1.200,5", "without marks of thousands, such as 1200.5"),
        ("1,200,300.25", "without marks of thousands, such as 1200300.25"),
    ],
)
def test_a_mark_of_thousands_is_not_taken_for_a_decimal_point(text, hint):
    assert str(refused(read, KINDS["use"], "litres", text)).endswith(hint)


@pytest.mark.parametrize(
    ("text", "celsius"), [("93", 93.0), ("93 C", 93.0), ("93°C", 93.0), ("200 F", 93.33), ("212°f", 100.0)]
)
def test_temperatures_take_fahrenheit(text, celsius):
    assert read(KINDS["boiler"], "temperature_c", text) == celsius


@pytest.mark.parametrize("text", ["300 F", "19.9", "131", "93 K", "F", "93,500", "nan F", "-5 C"])
def test_temperatures_outside_a_boiler_are_refused(text):
    assert "20 to 130 C" in str(refused(read, KINDS["boiler"], "temperature_c", text))


def test_a_sample_may_be_colder_than_a_boiler():
    assert read(KINDS["water_test"], "temperature_c", "4") == 4.0
    refused(read, KINDS["water_test"], "temperature_c", "101")


@pytest.mark.parametrize("text", ["7", "-1", "1.5", "", "two", "1e0", "9" * 30])
def test_grades_in_a_cell_are_whole_and_0_to_4(text):
    error = refused(read, KINDS["inspection"], "grade_low", text)
    assert str(error).endswith("will not do; expected a whole number 0 to 4")


def test_whole_numbers_as_spreadsheets_write_them():
    assert read(KINDS["inspection"], "grade_low", "2.0") == 2
    refused(Whole(0, 4).clean, 2.0, "grade_low")
    refused(Whole(0, 4).clean, True, "grade_low")


# ---- words


@pytest.mark.parametrize(("kind", "field"), CHOICES)
def test_choices_take_any_case_and_nothing_else(kind, field):
    meaning = rule(KINDS[kind], field)
    for option in meaning.options:
        assert read(KINDS[kind], field, f" {option.upper()} ") == option
    for text in ("", "other", meaning.options[0] + "x"):
        assert meaning.options[-1] in str(refused(read, KINDS[kind], field, text))
    refused(meaning.clean, 3, field)


def test_yes_and_no():
    answer = YesNo()
    assert all(answer.read(text, "reference") is True for text in ("yes", " Y ", "TRUE", "1"))
    assert all(answer.read(text, "reference") is False for text in ("no", " N ", "False", "0"))
    refused(answer.read, "maybe", "reference")
    refused(answer.clean, 1, "reference")


@pytest.mark.parametrize("name", ["kitchen", "Küche 2", "台所", "مطبخ", "a" * 80, "x.y", "=1", "'x", "👩‍🍳"])
def test_names_in_any_script(name):
    assert Name().read(f"  {name}\u3000", "boiler") == name


def test_names_are_composed():
    assert Name().read("Ku\u0308che", "boiler") == "K\u00fcche"


HARMFUL = ["", "   ", "a" * 81, "a/b", "a\\b", "..", "a..b", "."]
INVISIBLE = ["a\nb", "a\tb", "a\0b", "a\x7fb", "\ud800", "a\u202eb", "a\u2028b", "a\ufeffb"]


@pytest.mark.parametrize("name", [*HARMFUL, *INVISIBLE])
def test_names_that_could_do_harm(name):
    assert "a name of 1 to 80" in str(refused(Name().read, name, "boiler"))


def test_names_and_texts_are_text():
    refused(Name().clean, 3, "boiler")
    refused(Text(10).clean, None, "note")


def test_notes_keep_their_lines_and_are_capped():
    note = rule(KINDS["descale"], "note")
    assert note.read(" a\r\nb\rc\t ", "note") == "a\nb\nc"
    assert note.read("x" * 2000, "note") == "x" * 2000
    for text in ("x" * 2001, "a\x00b", "a\x1bb", "\udcff"):
        refused(note.read, text, "note")
    refused(rule(KINDS["inspection"], "inspector").read, "a\nb", "inspector")


# ---- dates


def test_dates():
    assert parse_date(" 2026-04-12 ") == date(2026, 4, 12)
    assert parse_date("2024-02-29") == date(2024, 2, 29)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("2026-02-30", "a day that exists"),
        ("2025-02-29", "a day that exists"),
        ("2026-13-01", "a day that exists"),
        ("0000-01-01", "a day that exists"),
        ("12.04.2026", "such as 2026-04-12"),
        ("12/4/2026", "such as 2026-04-12 (if it is day first) or 2026-12-04 (if it is month first)"),
        ("4-4-2026", "such as 2026-04-04"),
        ("31.02.2026", "year first"),
        ("2026/4/2", "such as 2026-04-02"),
        ("04/13/2026", "such as 2026-04-13"),
        ("04.13.2026", "such as 2026-04-13"),
        ("12.04.26", "its year with four digits"),
        ("46124", "such as 2026-04-12 if 46124 is a spreadsheet's number of that day"),
        ("1899-12-31", "from 1900-01-01 on"),
        ("20260412", "YYYY-MM-DD"),
        ("today", "YYYY-MM-DD"),
        ("", "YYYY-MM-DD"),
        ("２０２６-04-12", "YYYY-MM-DD"),
        ("2026-04-12T00:00", "such as 2026-04-12, without the time"),
        ("2026-04-12 00:00:00", "such as 2026-04-12, without the time"),
    ],
)
def test_dates_that_are_none(text, hint):
    error = refused(parse_date, text, "installed")
    assert str(error).startswith("installed: ")
    assert hint in str(error)


def test_whatever_says_a_day_is_one():
    day = date(2026, 1, 1)
    for value in (
        day,
        datetime(2026, 1, 1, 23, 59),
        "2026-01-01",
        pd.Timestamp("2026-01-01 08:00"),
        np.datetime64(day),
    ):
        assert Day().clean(value, "date") == day
        assert type(Day().clean(value, "date")) is date
    for value in (date(1899, 1, 1), None, pd.NaT, np.datetime64("NaT"), 20260101, "1 Jan 2026", float("nan")):
        refused(Day().clean, value, "date")


# ---- grades and quantities


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0", (0, 0)),
        (" 2 ", (2, 2)),
        ("1-2", (1, 2)),
        ("1 – 3", (1, 3)),
        ("2-2", (2, 2)),
        ("3+", (3, 4)),
        ("1-", (0, 1)),
        ("0+", (0, 4)),
        ("4-", (0, 4)),
    ],
)
def test_grade_texts(text, expected):
    assert parse_grade(text) == expected


@pytest.mark.parametrize("text", ["", "5", "-1", "2-1", "1-5", "1.5", "+", "1--2", "2 3", "nan", "²", "22"])
def test_grade_texts_that_are_none(text):
    refused(parse_grade, text, "GRADE")


def test_a_reversed_range_of_grades_is_turned_round_in_the_advice():
    assert "1-3" in str(refused(parse_grade, "3-1"))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("160", (160.0, "mg/L")),
        ("160 mg/L", (160.0, "mg/L")),
        ("160ppm", (160.0, "mg/L")),
        ("160 mg/l as CaCO3", (160.0, "mg/L")),
        ("2.1 mmol/L", (2.1, "mmol/L")),
        ("9 dH", (9.0, "dH")),
        ("9 °dH", (9.0, "dH")),
        ("9DH", (9.0, "dH")),
        ("16 °fH", (16.0, "fH")),
        ("9e", (9.0, "e")),
        ("1e2", (100.0, "mg/L")),
        ("11 Clark", (11.0, "e")),
        ("9 gpg", (9.0, "gpg")),
        (".5 dH", (0.5, "dH")),
        ("-0", (0.0, "mg/L")),
    ],
)
def test_hardness_texts(text, expected):
    assert parse_hardness(text, "hardness") == expected


@pytest.mark.parametrize(
    "text",
    ["", "dH", "-1 dH", "nan dH", "inf", "5001", "281 dH", "9 dX", "9,500 dH", "9 9 dH", "1.2.3", "1e400 dH"],
)
def test_hardness_texts_that_are_none(text):
    assert refused(parse_hardness, text, "hardness").field == "hardness"


def test_hardness_may_have_a_decimal_comma():
    assert parse_hardness("9,5 dH", "hardness") == (9.5, "dH")


def test_the_units_are_those_of_the_records():
    assert set(HIGHEST_BY_UNIT) == set(HARDNESS_UNITS)
    assert set(UNIT_SPELLINGS.values()) <= set(HARDNESS_UNITS)


def test_a_bare_quantity_is_stored_with_its_unit():
    stored = clean(WaterTest("tap", date(2026, 1, 1), hardness=160.0))
    assert stored.hardness_unit == "mg/L"
    error = refused(clean, WaterTest("tap", date(2026, 1, 1), alkalinity=300.0, alkalinity_unit="dH"))
    assert "300 dH" in str(error)
    assert "0 to 280 dH" in str(error)


def test_short_forms_are_spread_over_their_columns():
    look, test = KINDS["inspection"], KINDS["water_test"]
    assert spread(look, {"grade": "3+", "note": "x"}) == {"grade_low": "3", "grade_high": "4", "note": "x"}
    assert spread(test, {"hardness": "9 dH"}) == {"hardness": "9", "hardness_unit": "dH"}
    assert spread(test, {"hardness": "9e"}) == {"hardness": "9", "hardness_unit": "e"}
    assert spread(test, {"hardness": "9"}) == {"hardness": "9", "hardness_unit": "mg/L"}
    assert spread(test, {"calcium": ""}) == {"calcium": "", "calcium_unit": ""}
    both = {"hardness": "9", "hardness_unit": "dH"}
    assert spread(test, both) == both


# ---- records from values


def test_build_takes_the_records_own_defaults():
    given_ = {"boiler": "kitchen", "volume_l": 0.75, "temperature_c": 93.0, "installed_on": date(2026, 1, 10)}
    assert build(KINDS["boiler"], {**given_, "note": None}) == Boiler(*given_.values())


def test_build_takes_one_grade_for_both():
    given_ = {"boiler": "k", "date": date(2026, 1, 1), "site": "wall", "grade_low": 2}
    assert build(KINDS["inspection"], given_) == Inspection("k", date(2026, 1, 1), "wall", 2, 2)


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_build_asks_for_what_is_required(kind):
    assert refused(build, kind, {}).field == kind.required[0]


def test_build_fills_in_and_leaves_the_judging_to_the_logbook():
    look = build(KINDS["inspection"], {"boiler": "k", "date": date(2026, 1, 1), "site": "wall", "grade_low": 7})
    assert (look.grade_low, look.grade_high) == (7, 7)
    assert refused(clean, look).field == "grade_low"
    assert (
        build(KINDS["water_test"], {"water": "tap", "date": date(2026, 1, 1), "hardness": 9.0}).hardness_unit == "mg/L"
    )


def test_a_record_is_tidied():
    assert clean(Water("  tap ", cost_per_litre=1, note=" x ")) == Water("tap", 1.0, "x")


# ---- writing is the inverse of reading


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.floats(0, 1e9, allow_nan=False))
def test_numbers_come_back_from_text(value):
    meaning = Number(0, 1e9)
    assert meaning.read(meaning.write(value), "x") == value


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: kind_of(record).name)
def test_every_value_comes_back_from_text_and_from_the_database(record):
    kind = kind_of(record)
    for field in kind.columns:
        value = getattr(record, field)
        if value is not None:
            meaning = rule(kind, field)
            assert meaning.read(meaning.write(value), field) == value
            assert meaning.load(meaning.store(value)) == value
