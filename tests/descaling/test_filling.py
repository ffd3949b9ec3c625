"""One amount of acid: by the scale, by the way of filling, by the weakest bath that works."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from scalemodel.descaling.acid import ACIDS, LEAST_STRENGTH, MOST_STRENGTH, USUAL_STRENGTH, caco3_per_g, strength_of
from scalemodel.descaling.filling import (
    DWELL_MINUTES,
    FILLINGS,
    KEPT_SHARE,
    LEAST_FILL,
    PUMP_UP_TO_L,
    amounts,
    check_fill,
    dwell_minutes,
    find_filling,
)
from scalemodel.errors import BadValueError, UnknownNameError
from scalemodel.logbook.records import FILLED_BY

CITRIC, SULFAMIC = ACIDS["citric-monohydrate"], ACIDS["sulfamic"]
HAND, PUMP = FILLINGS["hand"], FILLINGS["pump"]
ACID = st.sampled_from(list(ACIDS.values()))
FILLING = st.sampled_from([HAND, PUMP])
SCALE = st.floats(0.0, 2000.0)
LITRES = st.floats(0.05, 100.0)
STRENGTH = st.floats(LEAST_STRENGTH, MOST_STRENGTH)
MAYBE_STRENGTH = st.none() | STRENGTH
ROUNDING = 1 + 1e-9


@given(SCALE, SCALE, LITRES, ACID, FILLING, MAYBE_STRENGTH)
def test_more_scale_never_asks_for_less(one, other, volume, acid, filling, strength):
    low, high = (amounts(g, volume, acid, filling, strength) for g in sorted((one, other)))
    assert low.acid_needed_g <= high.acid_needed_g
    assert low.acid_g <= high.acid_g
    assert low.passes <= high.passes
    assert low.solution_l <= high.solution_l


@given(SCALE, LITRES, ACID, FILLING, st.floats(2.0, 10.0), st.floats(2.0, 10.0))
def test_a_larger_safety_never_asks_for_less(scale, volume, acid, filling, one, other):
    low, high = (amounts(scale, volume, acid, filling, safety=s) for s in sorted((one, other)))
    assert low.acid_g <= high.acid_g


@given(SCALE, LITRES, ACID, FILLING, STRENGTH, STRENGTH)
def test_a_higher_strength_never_takes_more_litres(scale, volume, acid, filling, one, other):
    weak, strong = (amounts(scale, volume, acid, filling, s) for s in sorted((one, other)))
    assert strong.solution_l <= weak.solution_l
    assert strong.passes <= weak.passes
    assert strong.rinse_l >= weak.rinse_l
    assert strong.dwell_minutes <= weak.dwell_minutes or filling is PUMP


@given(SCALE, LITRES, ACID, FILLING, MAYBE_STRENGTH)
def test_never_less_than_the_scale_takes_twice_over(scale, volume, acid, filling, strength):
    takes = amounts(scale, volume, acid, filling, strength)
    works = takes.acid_g * filling.stays
    assert works * ROUNDING >= 2.0 * scale / caco3_per_g(acid, acid.usable)
    assert works * ROUNDING >= 2.0 * scale / caco3_per_g(acid)


@given(SCALE, LITRES, ACID, FILLING, MAYBE_STRENGTH)
def test_amounts_agree_with_each_other(scale, volume, acid, filling, strength):
    takes = amounts(scale, volume, acid, filling, strength)
    assert takes.solution_l == pytest.approx(takes.passes * volume)
    assert takes.passes >= filling.least_passes
    assert strength_of(takes.acid_g, takes.solution_l) == pytest.approx(takes.strength_percent)
    assert takes.each_g * takes.passes == pytest.approx(takes.acid_g)
    assert takes.load_g_l * takes.solution_l * filling.stays == pytest.approx(scale)
    assert takes.rinse_l == pytest.approx(takes.rinses * volume)
    assert takes.residual_acid_g_l <= acid.residue_limit_g_l * (1 + 1e-6)
    assert takes.dwell_minutes >= DWELL_MINUTES


@given(SCALE, LITRES, ACID, FILLING)
def test_strength_follows_the_scale_between_the_weakest_that_works_and_the_usual(scale, volume, acid, filling):
    takes = amounts(scale, volume, acid, filling)
    gram = strength_of(1.0, takes.solution_l)
    assert takes.acid_g == int(takes.acid_g)
    assert takes.strength_percent * filling.stays * ROUNDING >= LEAST_STRENGTH
    assert takes.strength_percent <= USUAL_STRENGTH + gram
    assert takes.acid_g <= max(takes.floor_g, takes.acid_needed_g / filling.stays) + 1.0


def test_an_urn_with_little_scale_by_hand():
    """2 g x 210.138 / 100.086 g/g x 2 = 8.4 g of acid; 20 L x 10 g/L = 200 g count; 10 g/L x 0.1^3 = 0.01 g/L."""
    takes = amounts(2.0, 20.0, CITRIC, HAND)
    assert takes.acid_needed_g == pytest.approx(2.0 * 210.138 / 100.086 * 2.0, rel=1e-4)
    assert (takes.acid_g, takes.solution_l, takes.passes) == (200, 20.0, 1)
    assert takes.strength_percent == 1.0
    assert (takes.rinses, takes.rinse_l) == (3, 60.0)
    assert takes.residual_acid_g_l == pytest.approx(0.01)
    assert takes.dwell_minutes == 45
    assert takes.load_g_l == pytest.approx(0.1)


def test_the_same_urn_filled_only_as_high_as_its_scale_sits():
    takes = amounts(2.0, 20.0, CITRIC, HAND, fill_l=8.0)
    assert (takes.acid_g, takes.solution_l, takes.rinse_l) == (80, 8.0, 60.0)


def test_an_urn_with_much_scale_by_hand():
    """300 g x 2.0996 g/g x 2 = 1259.7 g; a filling at 5 % holds 1000 g."""
    takes = amounts(300.0, 20.0, CITRIC, HAND)
    assert (takes.acid_g, takes.passes, takes.solution_l) == (1260, 2, 40.0)
    assert takes.strength_percent == pytest.approx(3.15)
    assert takes.each_g == 630.0


def test_a_small_boiler_that_its_pump_fills():
    """1.5 L x 10 g/L / (1 - 1/e) = 23.7 g count for 1.5 g of scale; 63 g / (1 - 1/e) = 99.6 g for 15 g."""
    little, much = (amounts(g, 0.75, CITRIC, PUMP) for g in (1.5, 15.0))
    assert (little.acid_g, little.passes, little.solution_l, little.dwell_minutes) == (24, 2, 1.5, 25)
    assert (much.acid_g, much.passes, much.solution_l, much.dwell_minutes) == (100, 3, 2.25, 20)
    assert little.residual_acid_g_l == pytest.approx(16.0 * math.exp(-6.0))
    assert (little.rinses, much.rinses) == (6, 7)


@pytest.mark.parametrize("passes", [1, 2, 5])
def test_the_share_that_stays_when_solution_is_pumped_through_a_full_boiler(passes):
    """A stirred boiler of one litre, whose acid the scale spends wholly between two fillings of a litre each."""
    sips, stayed = 20_000, 0.0
    for _ in range(passes):
        inside = 0.0
        for _ in range(sips):
            inside += (1.0 - inside) / sips
        stayed += inside
    assert stayed == pytest.approx(passes * PUMP.stays, rel=1e-3)


def test_how_long_a_bath_works():
    assert dwell_minutes(5.0, HAND, 1) == dwell_minutes(20.0, HAND, 1) == DWELL_MINUTES
    assert dwell_minutes(1.0, HAND, 1) == 45  # 20 sqrt(5) = 44.7
    assert dwell_minutes(1.0, HAND, 3) == 45  # every filling meets its own scale
    for passes in range(2, 9):
        assert passes * dwell_minutes(1.0, PUMP, passes) >= 20.0 * math.sqrt(5.0)


def test_the_way_of_filling_by_volume_or_as_said():
    assert find_filling(None, PUMP_UP_TO_L) is PUMP
    assert find_filling(None, PUMP_UP_TO_L + 0.1) is HAND
    assert find_filling("hand", 0.5) is HAND
    assert find_filling(" Pump", 50.0) is PUMP
    with pytest.raises(UnknownNameError, match=r"no way of filling is called 'mains'; known: hand, pump"):
        find_filling("mains", 1.0)


def test_a_lower_bath_is_for_hands_and_not_too_low():
    assert check_fill(None, 20.0, HAND) == check_fill(20.0, 20.0, PUMP) == 20.0
    assert check_fill(5.0, 20.0, HAND) == LEAST_FILL * 20.0
    for litres, filling in ((4.9, HAND), (20.1, HAND), (math.nan, HAND), (math.inf, HAND), (10.0, PUMP)):
        with pytest.raises(BadValueError, match="fill to"):
            check_fill(litres, 20.0, filling)


@given(SCALE, LITRES, ACID, st.floats(LEAST_FILL, 1.0), st.floats(LEAST_FILL, 1.0))
def test_a_lower_bath_never_takes_less_than_the_scale_asks_for(scale, volume, acid, one, other):
    low, high = (amounts(scale, volume, acid, HAND, fill_l=share * volume) for share in sorted((one, other)))
    assume(scale > 0.0)
    assert min(low.acid_g, high.acid_g) * ROUNDING >= low.acid_needed_g
    assert KEPT_SHARE * volume < low.fill_l


def test_every_way_of_filling_that_a_boiler_can_record_has_a_procedure():
    assert tuple(FILLINGS) == FILLED_BY
