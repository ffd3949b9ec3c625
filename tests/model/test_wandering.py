"""How a water's concentration moves: knots, the law of a step, what tests say, and what follows for a posterior."""

from datetime import date, timedelta

import numpy as np
import pytest

from scalemodel import api
from scalemodel.logbook.records import WaterTest
from scalemodel.model.tailed_normal import MEASURE_ERROR
from scalemodel.model.wandering import (
    MOST_KNOTS,
    draw_steps,
    path_untold,
    step_prior,
    wandering_of,
)
from tests.builders import START, history, look

FIRST = date(2025, 1, 1)
DAY_0 = FIRST.toordinal()


def test(days: int, **told) -> WaterTest:
    return WaterTest("tap", FIRST + timedelta(days=days), **(told or {"tds_mg_l": 200.0}))


test.__test__ = False


def days(path) -> list[int]:
    return [knot - DAY_0 for knot in path.knots]


@pytest.mark.parametrize(
    ("tested", "first", "as_of", "knots", "reference"),
    [
        ((0,), 0, 20, [0], 0),
        ((0,), 0, 360, [0, 180, 360], 0),
        ((300,), 0, 360, [0, 150, 300, 360], 2),
        ((0, 100, 120), 0, 360, [0, 100, 230, 360], 0),  # the second and third are of one visit
        ((-400,), 0, 10, [-400, -263, -127, 10], 0),
        ((), 0, 360, [0, 180, 360], 2),  # no test: the water is refused elsewhere
    ],
)
def test_knots_stand_at_tests_and_half_years(tested, first, as_of, knots, reference):
    path = wandering_of([test(n) for n in tested], DAY_0 + first, DAY_0 + as_of)
    assert days(path) == knots
    assert path.reference == reference


def test_a_long_history_or_many_tests_make_no_more_knots():
    assert len(wandering_of([test(0)], DAY_0, DAY_0 + 7300).knots) == MOST_KNOTS + 1
    assert len(wandering_of([test(n) for n in range(0, 3650, 31)], DAY_0, DAY_0 + 3650).knots) <= 14


def test_a_step_wanders_and_now_and_then_breaks():
    """Variance and share of breaks against the two parts of the law, within four standard errors of 400,000 draws."""
    years, count = 0.5, 400_000
    steps = draw_steps(np.random.default_rng(3), [years], count)[0]
    wander, broken = 0.15**2 * years, 1.0 - np.exp(-0.02 * years)
    assert steps.var() == pytest.approx(wander + broken * 0.9**2, rel=0.05)
    far = np.abs(steps) > 0.6  # more than five of the walk's own sds: a break
    assert far.mean() == pytest.approx(broken * 0.5092, rel=0.08)  # P(|N(0, 0.9063)| > 0.6)
    assert step_prior(years).value(0.0) == pytest.approx(0.0, abs=1e-9)


def test_steps_add_up_both_ways_from_the_reference():
    path = wandering_of([test(300)], DAY_0, DAY_0 + 460)
    assert days(path) == [0, 150, 300, 460]
    np.testing.assert_array_equal(path.sums, [[1, 1, 0], [0, 1, 0], [0, 0, 0], [0, 0, 1]])


def test_tests_of_one_quantity_read_the_path_and_others_do_not():
    two = wandering_of([test(0, tds_mg_l=150.0), test(200, tds_mg_l=300.0)], DAY_0, DAY_0 + 210)
    assert two.start.log_ratio == pytest.approx(-0.5 * np.log(2.0))
    (reading,) = two.readings
    assert (reading.epoch, reading.log_ratio) == (2, pytest.approx(0.5 * np.log(2.0)))
    assert reading.log_sd == two.start.log_sd == 0.07
    other = wandering_of([test(0, tds_mg_l=150.0), test(200, hardness=9.0, hardness_unit="dH")], DAY_0, DAY_0 + 210)
    assert other.readings == ()


def test_the_readings_likelihood_by_hand():
    path = wandering_of([test(0, tds_mg_l=150.0), test(200, tds_mg_l=300.0)], DAY_0, DAY_0 + 210)
    moved = np.zeros((3, 2))
    moved[2] = 0.3, 0.4
    expected = MEASURE_ERROR.log_density((0.5 * np.log(2.0) - moved[2]) / 0.07) - np.log(0.07)
    np.testing.assert_allclose(path.readings[0].log_density(moved), expected)


def test_what_a_test_tells_fades_with_its_age():
    rng = np.random.default_rng(4)
    spread = []
    for age in (0, 180, 720):
        path = wandering_of([test(0)], DAY_0 + age, DAY_0 + age)
        spread.append(np.quantile(np.abs(path_untold(path, DAY_0 + age, rng, 40_000)), 0.68))
    assert spread[0] == 0.0
    np.testing.assert_allclose(spread[1:], 0.15 * np.sqrt(np.array([180, 720]) / 365.25), rtol=0.06)


def at_end(*tests):
    """Median log concentration on as_of by the posterior, after a year without a look."""
    facts = history(look(60, 1), days=360, water_tests=tests)
    forecast = api.prepare(facts, particles=250).forecast
    supply = forecast.plan.supply
    return np.median(np.log(supply.analysis.hardness) + forecast.log_factor(supply))


def test_a_second_test_moves_the_present_strength_and_not_only_the_mean():
    """A water that reads twice as much by its second test is by then twice as strong, within a tenth; the mean of both
    would be half of that."""
    first = WaterTest("tap", START, tds_mg_l=150.0)
    before = at_end(first)
    after = at_end(first, WaterTest("tap", START + timedelta(days=340), tds_mg_l=300.0))
    assert after - before == pytest.approx(np.log(2.0), abs=0.1)
