"""Saturation index and potentials against PHREEQC: 12 waters at 8 temperatures, 2 waters in 10 mixes."""

import importlib

import numpy as np
import pytest

from scalemodel.water.analysis import WaterAnalysis, close_charge
from scalemodel.water.carbonate import Ions, closed_system, from_ph
from scalemodel.water.mixing import mix
from scalemodel.water.potential import closed_system_potential, saturation, signed_closed_system, signed_open_system
from tests.outside.phreeqc_rows import MIXED, SAMPLES, SHARES, TEMPERATURES, heated_row, mixed_row, read

INDEX_WITHIN = 0.03
RELATIVE, MG_L = 0.02, 1.5


def ions_of(sample) -> Ions:
    amounts = sample.mmol()
    order = ("Ca", "Mg", "Na", "Cl", "S(6)", "Alkalinity")
    return Ions(*(np.asarray(amounts[name] * 1e-3) for name in order))


def hold(rows):
    """Every row against this package, as one array of waters and temperatures."""
    samples = [SAMPLES[row["water"]] for row in rows]
    ions = Ions(*map(np.array, zip(*(ions_of(s) for s in samples), strict=True)))
    temperature = np.array([row["temperature_c"] for row in rows])
    carbon = from_ph(ions, [s.ph for s in samples], [s.temperature_c for s in samples]).carbon
    hot = closed_system(ions, carbon, temperature)
    np.testing.assert_allclose(hot.saturation_index, [r["si"] for r in rows], rtol=0.0, atol=INDEX_WITHIN)
    np.testing.assert_allclose(hot.ph, [r["ph"] for r in rows], rtol=0.0, atol=0.01)
    for name, got in (
        ("closed", signed_closed_system(ions, carbon, temperature)),
        ("open", signed_open_system(ions, temperature)),
    ):
        expected = np.array([row[name] for row in rows])
        allowed = np.maximum(RELATIVE * np.abs(expected), MG_L)
        worst = np.argmax(np.abs(got - expected) / allowed)
        assert abs(got[worst] - expected[worst]) <= allowed[worst], (name, rows[worst], got[worst])


@pytest.fixture(scope="module")
def engine():
    try:
        module = importlib.import_module("phreeqpython")
    except ImportError:
        pytest.skip("phreeqpython is not installed here; the stored rows are held instead")
    return module.PhreeqPython(database="phreeqc.dat")


def test_stored_rows():
    rows = read("phreeqc_heated.csv")
    assert len(rows) == 96
    hold(rows)


def test_live_rows(engine):
    hold(
        [
            {"water": name, "temperature_c": t, **heated_row(engine, sample, t)}
            for name, sample in SAMPLES.items()
            for t in TEMPERATURES
        ]
    )


def test_stored_rows_are_those_of_the_engine(engine):
    stored = {(r["water"], r["temperature_c"]): r for r in read("phreeqc_heated.csv")}
    for name in ("soft", "permanent"):
        fresh = heated_row(engine, SAMPLES[name], 93)
        kept = stored[name, 93.0]
        assert {k: kept[k] for k in fresh} == pytest.approx(fresh, abs=1e-3)
    kept = next(r for r in read("phreeqc_mixed.csv") if r["water"] == MIXED[0] and r["share"] == SHARES[4])
    fresh = mixed_row(engine, SAMPLES[MIXED[0]], SHARES[4])
    assert {k: kept[k] for k in fresh} == pytest.approx(fresh, abs=1e-3)


def analysis_of(sample) -> WaterAnalysis:
    hardness = sample.calcium + sample.magnesium
    sodium, chloride = close_charge(hardness, sample.alkalinity, sample.sulphate)
    return WaterAnalysis(
        hardness=hardness,
        calcium=sample.calcium,
        magnesium=sample.magnesium,
        alkalinity=sample.alkalinity,
        sodium=sodium + sample.sodium,
        chloride=chloride + sample.sodium / 22.990 * 35.453,
        sulphate=sample.sulphate,
        tds_mg_l=1.0,
        conductivity_us_cm=2.0,
        ph=sample.ph,
        temperature_c=sample.temperature_c,
        log_sd=0.05,
    )


def test_mixes():
    rows = read("phreeqc_mixed.csv")
    assert len(rows) == 20
    for row in rows:
        sample = SAMPLES[row["water"]]
        tap = analysis_of(sample)
        pure = WaterAnalysis(*[0.0] * 9, ph=7.0, temperature_c=sample.temperature_c, log_sd=0.05)
        mixed = mix(tap, pure, row["share"])
        assert mixed.ph == pytest.approx(row["ph"], abs=0.005), row
        assert saturation(mixed, mixed.temperature_c)[1] == pytest.approx(row["si"], abs=INDEX_WITHIN), row
        assert saturation(mixed, 93.0)[1] == pytest.approx(row["si_93"], abs=INDEX_WITHIN), row
        expected = max(row["closed_93"], 0.0)
        assert float(closed_system_potential(mixed, 93.0)) == pytest.approx(expected, rel=RELATIVE, abs=MG_L), row
