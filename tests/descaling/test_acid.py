"""Acids and rinsing against published figures, a mixing simulation and common practice."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalemodel.descaling import acid as room
from scalemodel.descaling.acid import ACIDS
from scalemodel.errors import BadValueError, UnknownNameError
from scalemodel.logbook.units import CACO3_G_MOL

MONO, ANHYDROUS, SULFAMIC = (ACIDS[k] for k in ("citric-monohydrate", "citric-anhydrous", "sulfamic"))


@pytest.mark.parametrize(
    ("mass", "published"),
    [  # periodictable (CIAAW weights); citric acid also 192.124 and 210.14 in handbook copies
        (MONO.g_mol, 210.138),
        (ANHYDROUS.g_mol, 192.123),
        (SULFAMIC.g_mol, 97.088),
        (room.NAHCO3_G_MOL, 84.006),
        (room.molar_mass({"C": 1, "O": 2}), 44.009),
        (room.molar_mass({"Ca": 1, "O": 1}), 56.077),
        (room.molar_mass({"Ca": 3, "C": 12, "H": 18, "O": 18}), 570.492),  # Ca3(C6H5O7)2.4H2O
    ],
)
def test_molar_masses(mass, published):
    assert mass == pytest.approx(published, abs=0.002)


def test_the_molar_mass_of_scale_is_that_of_its_atoms():
    assert room.molar_mass({"Ca": 1, "C": 1, "O": 3}) == pytest.approx(CACO3_G_MOL, abs=1e-9)


@pytest.mark.parametrize(
    ("acid", "protons", "caco3"),
    [  # from the molar masses above, two protons a CaCO3
        (ANHYDROUS, None, 0.7814),
        (MONO, None, 0.7144),
        (ANHYDROUS, 2, 0.5210),
        (ANHYDROUS, 1, 0.2605),
        (SULFAMIC, None, 0.5154),
    ],
)
def test_scale_dissolved_by_a_gram_of_acid(acid, protons, caco3):
    assert room.caco3_per_g(acid, protons) == pytest.approx(caco3, abs=1e-4)


@pytest.mark.parametrize(("acid", "grams"), [(ANHYDROUS, 1.2797), (MONO, 1.3997), (SULFAMIC, 1.9401)])
def test_acid_for_a_gram_of_scale_is_at_least_twice_the_stoichiometric_need(acid, grams):
    assert 1.0 / room.caco3_per_g(acid) == pytest.approx(grams, abs=1e-4)
    assert room.acid_for(acid, 1.0) >= 2.0 * grams * (1.0 - 1e-4)


def test_the_factor_is_twice_for_what_is_really_spent():
    assert room.acid_for(ANHYDROUS, 1.0) * room.caco3_per_g(ANHYDROUS, 2) == pytest.approx(2.0)
    assert room.acid_for(ANHYDROUS, 1.0) * room.caco3_per_g(ANHYDROUS) == pytest.approx(3.0)
    assert room.acid_for(SULFAMIC, 1.0) * room.caco3_per_g(SULFAMIC) == pytest.approx(2.0)


@pytest.mark.parametrize(("equivalents", "ph"), [(1, 3.95), (2, 5.58), (2.9, 7.35)])
def test_citric_acid_has_spent_two_protons_where_bicarbonate_holds_the_bath(equivalents, ph):
    """Ideal pH of 20 g/L; pKa 3.128, 4.761, 6.388 at 25 deg C (handbook values). Bicarbonate holds pH 5 to 6."""
    k1, k2, k3 = (10.0**-pk for pk in (3.128, 4.761, 6.388))
    total, low, high = 20.0 / ANHYDROUS.g_mol, 1.0, 12.0
    for _ in range(60):
        middle = (low + high) / 2
        h = 10.0**-middle
        parts = (h**3, h**2 * k1, h * k1 * k2, k1 * k2 * k3)
        charge = total * sum(n * part for n, part in enumerate(parts)) / sum(parts) - h + 1e-14 / h
        low, high = (middle, high) if charge < equivalents * total else (low, middle)
    assert low == pytest.approx(ph, abs=0.01)
    assert (5.0 <= low <= 6.0) == (equivalents == ANHYDROUS.usable)


@pytest.mark.parametrize(("acid", "grams"), [(ANHYDROUS, 1.3117), (MONO, 1.1993), (SULFAMIC, 0.8653)])
def test_baking_soda_that_neutralises(acid, grams):
    assert room.bicarbonate_for(acid, 1.0) == pytest.approx(grams, abs=1e-4)


def test_gas_from_scale():
    litres_per_mol = 8.314462618 * 298.15 / 101.325
    assert pytest.approx(1000.0 * litres_per_mol / CACO3_G_MOL, abs=1.0) == room.CO2_ML_PER_G


def test_calcium_citrate_limit_is_its_handbook_solubility():
    """0.95 g/L of Ca3(C6H5O7)2.4H2O at 25 deg C; 1 part in 1050 parts of cold water: handbook, secondary copies."""
    salt = room.molar_mass({"Ca": 3, "C": 12, "H": 18, "O": 18})
    for dissolved in (0.95, 1000.0 / 1050.0):
        assert 3.0 * CACO3_G_MOL * dissolved / salt == pytest.approx(room.CITRATE_LIMIT_G_L, abs=0.005)


def test_titration_counts_every_proton():
    assert room.dissolved_by_titration(ANHYDROUS, 100.0) == pytest.approx(78.14, abs=0.01)
    acid, grams, how = room.recovered_by_titration("citric-monohydrate", 30.0, 50.0)
    assert (acid, grams) == (MONO, 21.43)
    assert "30 g of citric acid monohydrate spent by titration (0.7144 g/g)" in how


@pytest.mark.parametrize(("kind", "spent", "put_in"), [("", 5.0, None), ("citric", 5.0, None), ("sulfamic", 5.0, 4.0)])
def test_titration_refuses_what_it_cannot_reckon(kind, spent, put_in):
    with pytest.raises((BadValueError, UnknownNameError)):
        room.recovered_by_titration(kind, spent, put_in)


# ---- common practice, no source


def test_the_usual_solution_is_five_per_cent():
    assert room.strength_of(150.0, 3.0) == 5.0 == room.USUAL_STRENGTH  # 150 g of citric acid in 3 L
    assert room.grams_per_litre(5.0) * 3.0 == 150.0


def test_a_small_boiler_rinsed_with_six_litres_passes():
    left = room.flushed(room.grams_per_litre(room.USUAL_STRENGTH), 6.0, 0.75)
    assert left <= MONO.residue_limit_g_l
    assert 0.75 * room.fillings_to_flush(50.0, MONO.residue_limit_g_l) <= 6.0


# ---- the dilution law


@pytest.mark.parametrize(("volumes", "share"), [(1, 0.3679), (2, 0.1353), (3, 0.0498), (4, 0.0183), (5, 0.0067)])
def test_flow_through_a_stirred_vessel(volumes, share):
    assert room.flushed(1.0, 0.8 * volumes, 0.8) == pytest.approx(share, abs=1e-4)


@pytest.mark.parametrize("volumes", [0.5, 1.0, 3.0, 7.0])
def test_the_law_is_the_limit_of_many_small_exchanges(volumes):
    volume, steps = 1.8, 40_000
    sip = volumes * volume / steps
    acid_g = 50.0 * volume
    for _ in range(steps):
        acid_g -= sip * acid_g / volume  # a sip of the mixture leaves, as much clean water comes
    assert room.flushed(50.0, volumes * volume, volume) == pytest.approx(acid_g / volume, rel=1e-3)


def test_exchanges_in_portions():
    for portions in (2, 5, 1000):
        whole = room.drained_and_filled(1.0, 1.0 - 1.0 / portions, portions)
        assert whole == pytest.approx((1.0 - 1.0 / portions) ** portions)
    assert whole == pytest.approx(math.exp(-1.0), rel=1e-3)
    assert room.flushed(1.0, 1.0, 1.0) == pytest.approx(math.exp(-1.0))


def test_draining_between():
    for times in range(1, 6):
        assert room.drained_and_filled(1.0, 0.1, times) == pytest.approx(10.0**-times)
    assert room.drained_and_filled(7.0, 0.1, 0) == 7.0
    assert room.drained_and_filled(7.0, 0.0, 3) == 0.0
    # one filling after draining all but a part leaves no more than one filling that flows through
    assert room.drained_and_filled(1.0, 0.1, 7) < room.flushed(1.0, 7.0, 1.0)


LITRES = st.floats(0.05, 1000.0)


@given(st.floats(0.1, 200.0), LITRES, st.floats(0.0, 1e4), st.floats(0.0, 1e4))
def test_a_bigger_rinse_never_leaves_more(start, volume, one, other):
    low, high = sorted((one, other))
    assert room.flushed(start, high, volume) <= room.flushed(start, low, volume) <= start


SHARE = st.floats(0.01, 0.9)


@given(st.sampled_from(list(ACIDS.values())), st.floats(room.LEAST_STRENGTH, room.MOST_STRENGTH), SHARE)
def test_the_rinse_meets_the_limit_and_is_no_more_than_a_filling_too_much(acid, strength, kept):
    start, limit = room.grams_per_litre(strength), acid.residue_limit_g_l
    for count, left in (
        (room.fillings_to_flush(start, limit), lambda n: room.flushed(start, n, 1.0)),
        (room.fillings_to_rinse(start, limit, kept), lambda n: room.drained_and_filled(start, kept, n)),
    ):
        assert left(count) <= limit * (1 + 1e-6)
        assert count == 1 or left(count - 1) > limit * (1 - 1e-6)


@pytest.mark.parametrize(
    ("start", "limit", "flushes", "rinses"),  # ln and log10 of the thinning, rounded up
    [
        (50.0, 0.05, 7, 3),
        (10.0, 0.05, 6, 3),
        (10.0, 0.01, 7, 3),
        (50.0, 0.01, 9, 4),
        (1.0, 0.1, 3, 1),
        (1.0, 1.0, 1, 1),
    ],
)
def test_fillings_by_the_closed_forms(start, limit, flushes, rinses):
    assert room.fillings_to_flush(start, limit) == flushes
    assert room.fillings_to_rinse(start, limit, 0.1) == rinses


@pytest.mark.parametrize("acid", ACIDS.values(), ids=lambda a: a.kind)
def test_the_weakest_bath_still_fizzes_when_the_scale_and_a_hard_water_have_had_theirs(acid):
    start = room.grams_per_litre(room.LEAST_STRENGTH)
    water = 0.4 / room.caco3_per_g(acid, acid.usable)  # alkalinity of a very hard water, as CaCO3 (house figure)
    assert start - start / room.SAFETY - water > room.FIZZ_G_L
    half = start / 2.0  # and half of it would not: the floor is no mere habit
    assert half - half / room.SAFETY - water < room.FIZZ_G_L


@pytest.mark.parametrize(("g_l", "ph"), [(1, 2.78), (5, 2.39), (10, 2.23), (20, 2.07), (50, 1.87), (100, 1.71)])
def test_a_weaker_bath_is_hardly_less_sour(g_l, ph):
    """Ideal pH of citric acid, pKa 3.128, 4.761, 6.388 at 25 deg C (handbook values): as its first proton alone."""
    k1, total = 10.0**-3.128, g_l / ANHYDROUS.g_mol
    hydrogen = (-k1 + math.sqrt(k1 * k1 + 4.0 * k1 * total)) / 2.0
    assert -math.log10(hydrogen) == pytest.approx(ph, abs=0.015)


@pytest.mark.parametrize("strength", [0.0, 0.5, 0.99, 20.5, 60.0, -5.0, float("nan"), float("inf")])
def test_senseless_strengths_are_refused(strength):
    with pytest.raises(BadValueError, match=r"1 to 20 %"):
        room.check_strength(strength)


@pytest.mark.parametrize("kind", ["vinegar", "citric", "", "hydrochloric"])
def test_unknown_acids_are_refused(kind):
    with pytest.raises(UnknownNameError, match="citric"):
        room.find_acid(kind)


def test_defaults():
    assert room.find_acid() is MONO
    assert room.find_acid(" Sulfamic ") is SULFAMIC
    assert room.check_strength() is None  # the scale decides
    assert room.check_strength(5) == 5.0
