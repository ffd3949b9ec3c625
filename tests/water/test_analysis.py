"""From tests to an analysis: fillings, merging, refusals."""

import math
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalemodel.errors import BadValueError, EvidenceError, RecordClashError
from scalemodel.logbook.records import WaterTest
from scalemodel.water.analysis import WaterAnalysis, analyse_tests, close_charge
from scalemodel.water.defaults import WaterDefaults


def one(**given_values) -> WaterTest:
    return WaterTest("w", date(2026, 1, 5), **given_values)


def test_meter_alone():
    got = analyse_tests([one(tds_mg_l=240.0)])
    assert got.conductivity_us_cm == 480.0
    assert got.tds_mg_l == 240.0
    assert got.hardness == pytest.approx(0.43 * 480.0)
    assert got.alkalinity == pytest.approx(0.33 * 480.0)
    assert got.magnesium == pytest.approx(0.25 * got.hardness)
    assert (got.ph, got.temperature_c, got.log_sd) == (7.5, 15.0, pytest.approx(0.25))
    text = "; ".join(got.assumptions)
    for said in (
        "no pH measured: 7.5 taken",
        "0.5 times conductivity",
        "0.43",
        "0.33",
        "25%",
        "15 deg C",
        "chloride",
    ):
        assert said in text


def test_meter_factor_and_conductivity():
    assert analyse_tests([one(tds_mg_l=201.0, tds_factor=0.67)]).conductivity_us_cm == pytest.approx(300.0)
    assert analyse_tests([one(tds_mg_l=201.0, tds_factor=0.67)]).tds_mg_l == pytest.approx(201.0)
    both = analyse_tests([one(tds_mg_l=210.0, conductivity_us_cm=300.0)])
    assert both.conductivity_us_cm == 300.0
    assert both.tds_mg_l == pytest.approx(210.0)
    assert not any("factor" in line for line in both.assumptions)


def test_complete_laboratory_test():
    full = one(conductivity_us_cm=500.0, hardness=200.0, calcium=150.0, alkalinity=180.0, ph=7.8,
               temperature_c=12.0, kit="laboratory")  # fmt: skip
    got = analyse_tests([full])
    assert (got.hardness, got.calcium, got.magnesium, got.alkalinity) == (200.0, 150.0, 50.0, 180.0)
    assert (got.ph, got.temperature_c, got.log_sd) == (7.8, 12.0, pytest.approx(0.05))
    assert got.assumptions == ("no other ions measured: the charge balance closed with chloride",)


def test_units_are_converted():
    got = analyse_tests([one(hardness=9.0, hardness_unit="dH", alkalinity=1.0, alkalinity_unit="mmol/L")])
    assert got.hardness == pytest.approx(160.63, abs=0.01)
    assert got.alkalinity == pytest.approx(50.043)  # a mmol/L of acid capacity is one equivalent


def test_half_a_drop_either_way():
    nine, six = one(hardness=9.0, hardness_unit="dH"), one(alkalinity=6.0, alkalinity_unit="dH")
    got = analyse_tests([replace(nine, alkalinity=6.0, alkalinity_unit="dH")])
    per_drop = [1.0 / math.sqrt(12.0) / drops for drops in (9.0, 6.0)]
    assert got.log_sd == pytest.approx(max(math.hypot(*per_drop) / math.sqrt(2.0), 0.05), abs=1e-12)
    coarse = analyse_tests([one(hardness=2.0, hardness_unit="dH", alkalinity=2.0, alkalinity_unit="dH")])
    assert coarse.log_sd == pytest.approx(1.0 / math.sqrt(12.0) / 2.0)
    assert analyse_tests([nine, six]).hardness == got.hardness


def test_no_drop_at_all_is_a_quarter_of_one():
    got = analyse_tests([one(hardness=0.0, hardness_unit="dH", alkalinity=40.0)])
    assert got.hardness == pytest.approx(0.25 * 17.848, abs=1e-3)
    assert any("no drop at all" in line for line in got.assumptions)
    assert analyse_tests([one(hardness=0.0, kit="laboratory")]).hardness == 0.0


def test_repeated_meter_readings_are_averaged_and_no_surer():
    readings = [one(tds_mg_l=tds) for tds in (200.0, 260.0, 230.0, 270.0)]
    got = analyse_tests(readings)
    assert got.log_sd == pytest.approx(0.25)
    assert got.tds_mg_l == pytest.approx(240.0)
    assert got.hardness == pytest.approx(0.43 * 2.0 * 240.0)


def test_a_meter_not_dipped_does_not_make_a_hard_water_soft():
    got = analyse_tests([one(tds_mg_l=tds) for tds in (240.0, 245.0, 0.0)])
    assert got.hardness == pytest.approx(0.43 * got.tds_mg_l / 0.5)
    assert got.hardness > 130.0
    assert any("if one is a slip" in said for said in got.assumptions)
    steady = analyse_tests([one(tds_mg_l=tds) for tds in (240.0, 245.0)])
    assert not any("slip" in said for said in steady.assumptions)


def test_repeated_drop_tests_average_by_precision():
    pair = [one(hardness=h, hardness_unit="dH", alkalinity=h, alkalinity_unit="dH") for h in (2.0, 4.0)]
    got = analyse_tests(pair)
    sd = [1.0 / math.sqrt(12.0) / h for h in (2.0, 4.0)]
    weights = [s**-2 for s in sd]
    mean = sum(w * math.log(h) for w, h in zip(weights, (2.0, 4.0), strict=True)) / sum(weights)
    assert got.hardness == pytest.approx(17.8480 * math.exp(mean), rel=1e-4)
    assert got.log_sd == pytest.approx(sum(weights) ** -0.5)


def test_kinds_combine_by_precision():
    meter = one(tds_mg_l=240.0)
    drops = one(hardness=2.0, hardness_unit="dH", alkalinity=2.0, alkalinity_unit="dH")
    near = replace(drops, hardness=7.0, alkalinity=6.0)
    got = analyse_tests([meter, near])
    sd = 1.0 / math.sqrt(12.0) / 7.0
    weights = 0.25**-2, sd**-2
    direct = 7.0 * 17.848
    mean = (weights[0] * math.log(206.4) + weights[1] * math.log(direct)) / sum(weights)
    assert got.hardness == pytest.approx(math.exp(mean), rel=1e-4)
    assert got.log_sd < 0.06


def test_own_value_stands_before_conductivity_in_one_test():
    got = analyse_tests([one(tds_mg_l=240.0, hardness=160.0, kit="laboratory")])
    assert got.hardness == 160.0
    assert got.alkalinity == pytest.approx(0.33 * 480.0)
    assert got.log_sd == pytest.approx(math.hypot(0.05, 0.25) / math.sqrt(2.0))


def test_softened_water_sets_the_meters_hardness_aside():
    got = analyse_tests([one(tds_mg_l=300.0), one(hardness=1.0, hardness_unit="dH")])
    assert got.hardness == pytest.approx(17.848, abs=1e-3)
    assert got.sodium > 0.0
    assert got.chloride == 0.0
    assert any("set aside" in line for line in got.assumptions)


def test_kit_says_what_a_value_is_worth():
    by_kit = {
        kit: analyse_tests([one(hardness=100.0, alkalinity=80.0, kit=kit)]).log_sd
        for kit in ("meter", "laboratory", "drops", None)
    }
    assert by_kit["meter"] == pytest.approx(0.25)
    assert by_kit["laboratory"] == pytest.approx(0.05)
    assert by_kit[None] == by_kit["drops"] == pytest.approx(max(0.05, math.hypot(1 / 80, 1 / 100) * 10 / 24**0.5))
    many = [one(hardness=100.0, alkalinity=80.0, kit="laboratory")] * 9
    assert analyse_tests(many).log_sd == 0.05  # never surer than a laboratory


def test_one_of_hardness_and_alkalinity_from_the_other():
    hard = analyse_tests([one(hardness=129.0, kit="laboratory")])
    assert hard.alkalinity == pytest.approx(99.0)
    assert hard.conductivity_us_cm == pytest.approx(300.0)
    alkaline = analyse_tests([one(alkalinity=99.0, kit="laboratory")])
    assert alkaline.hardness == pytest.approx(129.0)
    assert hard.log_sd == alkaline.log_sd == pytest.approx(math.sqrt((0.05**2 + 0.05**2 + 0.25**2) / 2.0))
    limed = analyse_tests([one(calcium=75.0, kit="laboratory")])
    assert limed.hardness == pytest.approx(100.0)


def test_ph_and_temperature_are_means_with_the_ph_first():
    got = analyse_tests(
        [
            one(tds_mg_l=100.0, ph=7.2, temperature_c=10.0),
            one(ph=7.6, temperature_c=14.0),
            one(temperature_c=30.0),
        ]
    )
    assert got.ph == pytest.approx(7.4)
    assert got.temperature_c == pytest.approx(12.0)


@given(
    st.lists(
        st.builds(
            one,
            tds_mg_l=st.none() | st.floats(0.0, 2000.0),
            hardness=st.none() | st.floats(0.0, 1500.0),
            alkalinity=st.floats(0.0, 1500.0),
            ph=st.none() | st.floats(6.0, 9.0),
            kit=st.sampled_from(["meter", "drops", "laboratory", None]),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_any_tests_make_a_neutral_water_whatever_their_order(tests):
    got = analyse_tests(tests)
    again = analyse_tests(tests[::-1])
    assert got.hardness == pytest.approx(again.hardness, rel=1e-9, abs=1e-9)
    assert got.alkalinity == pytest.approx(again.alkalinity, rel=1e-9, abs=1e-9)
    assert 0.05 <= got.log_sd <= 1.0
    ions = got.ions()
    plus = 2.0 * (ions.calcium + ions.magnesium) + ions.sodium
    assert float(plus) == pytest.approx(float(ions.chloride + 2.0 * ions.sulphate + ions.alkalinity), abs=1e-12)


def test_close_charge():
    assert close_charge(100.0, 100.0) == (0.0, 0.0)
    sodium, chloride = close_charge(100.086, 50.043)
    assert (sodium, chloride) == (0.0, pytest.approx(35.453))
    assert close_charge(50.043, 100.086) == (pytest.approx(22.990), 0.0)
    assert close_charge(100.086, 0.0, sulphate=96.06) == (
        pytest.approx(0.0, abs=1e-9),
        pytest.approx(0.0, abs=1e-9),
    )


@pytest.mark.parametrize(
    "values",
    [
        {"tds_mg_l": math.nan},
        {"tds_mg_l": math.inf},
        {"tds_mg_l": -1.0},
        {"tds_mg_l": 1e6},
        {"tds_mg_l": 100.0, "tds_factor": 0.0},
        {"tds_mg_l": 100.0, "tds_factor": 5.0},
        {"conductivity_us_cm": -3.0},
        {"hardness": math.nan},
        {"hardness": -1.0},
        {"hardness": 281.0, "hardness_unit": "dH"},
        {"hardness": 4.0, "hardness_unit": "dK"},
        {"alkalinity": math.inf},
        {"calcium": -1.0},
        {"tds_mg_l": 100.0, "ph": 2.0},
        {"tds_mg_l": 100.0, "ph": math.nan},
        {"tds_mg_l": 100.0, "temperature_c": math.nan},
        {"tds_mg_l": 100.0, "temperature_c": 150.0},
    ],
)
def test_bad_values_refused(values):
    with pytest.raises(BadValueError):
        analyse_tests([one(**values)])


def test_contradictions_refused():
    with pytest.raises(RecordClashError, match="hardness 50 is below calcium 80"):
        analyse_tests([one(hardness=50.0, calcium=80.0, kit="laboratory")])
    with pytest.raises(RecordClashError, match="contradict"):
        analyse_tests([one(tds_mg_l=100.0, conductivity_us_cm=1000.0)])
    with pytest.raises(RecordClashError, match="pH 11 needs more alkalinity"):
        analyse_tests([one(hardness=20.0, alkalinity=10.0, ph=11.0, kit="laboratory")])
    close = analyse_tests([one(hardness=9.0, hardness_unit="dH", calcium=9.5, calcium_unit="dH")])
    assert close.magnesium == 0.0
    assert close.calcium == close.hardness


@pytest.mark.parametrize("tests", [[], [one()], [one(ph=7.0, temperature_c=12.0)]])
def test_no_evidence_refused(tests):
    with pytest.raises(EvidenceError, match="no test of this water"):
        analyse_tests(tests)


def test_an_analysis_by_hand_is_checked():
    sound = analyse_tests([one(tds_mg_l=240.0)])
    with pytest.raises(RecordClashError, match="do not make up hardness"):
        replace(sound, calcium=sound.calcium - 20.0)
    for field in ("hardness", "alkalinity", "log_sd", "sulphate"):
        with pytest.raises(BadValueError, match=field):
            replace(sound, **{field: math.nan})
    with pytest.raises(BadValueError, match="pH"):
        WaterAnalysis(*[0.0] * 9, ph=2.9, temperature_c=15.0, log_sd=0.05)


def test_acid_water_has_no_alkalinity():
    got = analyse_tests([one(tds_mg_l=100.0, ph=3.6)])
    assert (got.alkalinity, got.ph) == (0.0, 4.5)
    assert got.hardness == pytest.approx(86.0)
    assert any("pH 3.6 leaves no alkalinity" in line for line in got.assumptions)
    with pytest.raises(RecordClashError, match="leaves no alkalinity"):
        analyse_tests([one(alkalinity=60.0, ph=3.6)])


def test_settings_move_the_answer():
    got = analyse_tests([one(tds_mg_l=200.0)], WaterDefaults(tds_factor=0.67, ph=8.0, meter_log_sd=0.4))
    assert got.conductivity_us_cm == pytest.approx(298.5, abs=0.1)
    assert (got.ph, got.log_sd) == (8.0, pytest.approx(0.4))


def test_dates_do_not_matter():
    early = one(hardness=100.0, kit="laboratory")
    late = replace(early, date=early.date + timedelta(days=400), hardness=110.0)
    assert analyse_tests([early, late]).hardness == pytest.approx(math.sqrt(100.0 * 110.0))
