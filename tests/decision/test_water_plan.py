"""Waters side by side at equal risk."""

from dataclasses import replace

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.assumed import CartridgePrice, NoCosts, UnpricedWater
from scalemodel.decision.cost import descaling_cost
from scalemodel.decision.renewal import cycles_of
from scalemodel.decision.water_plan import compare_waters, interval_draws, on_water, supplies_for
from scalemodel.errors import UnknownNameError
from scalemodel.logbook.records import Prices, Water, WaterTest
from scalemodel.model.unknowns import concentration
from tests.builders import START, history, look

PRICES = Prices("urn", START, 3.0, 1.0, 20.0, 5.0, 150.0, 14.0, 60.0)
FACTS = history(
    look(90, 0, 1),
    look(180, 1),
    look(270, 1),
    prices=(PRICES,),
    waters=(Water("tap", 0.004), Water("soft", 0.1), Water("demin")),
    water_tests=(
        WaterTest("tap", START, tds_mg_l=240.0),
        WaterTest("soft", START, tds_mg_l=100.0),
        WaterTest("demin", START, tds_mg_l=2.0),
    ),
)
MIXES = ("tap:0.8,demin:0.2", "tap:0.6,demin:0.4", "tap:0.4,demin:0.6")


@pytest.fixture(scope="module")
def asked():
    return api.prepare(FACTS, particles=250)


@pytest.fixture(scope="module")
def plans(asked):
    return compare_waters(asked, supplies_for(FACTS, ("soft", "tap", "demin"), MIXES))


def by_name(plans):
    return {option.water: option for option in plans.options}


def test_the_present_water_comes_first_and_each_once(plans):
    assert [option.water for option in plans.options] == ["tap", "soft", "demin", *MIXES]
    assert [option.now for option in plans.options] == [True, *[False] * 5]


def test_the_interval_is_the_longest_within_the_tolerance(asked, plans):
    forecast, threshold, tolerance = asked.forecast, asked.threshold, asked.tolerance
    for supply in supplies_for(FACTS, ("tap", "soft"), MIXES):
        option = by_name(plans)[supply.water]
        cycles = cycles_of(on_water(forecast, supply), threshold)
        within, over = cycles.failure_probability(option.interval_days + np.array([0.0, 1.0])).mean(axis=1)
        assert within <= tolerance < over
        assert option.litres == pytest.approx(option.interval_days * option.litres_a_year / 365.25)
        assert 0.0 < option.interval_mc_error_days < 0.15 * option.interval_days


def test_each_draw_comes_to_the_tolerance_at_its_own_interval(asked, plans):
    tolerance, cycles = asked.tolerance, cycles_of(asked.forecast, asked.threshold)
    own = interval_draws(cycles, tolerance)
    reached = own < 7299.0
    assert cycles.failure_probability(own[None, :])[0][reached] == pytest.approx(tolerance, abs=1e-6)
    spread = by_name(plans)["tap"].interval_draws_days
    assert np.quantile(own, [0.1, 0.5, 0.9]) == pytest.approx([spread.p10, spread.p50, spread.p90])
    assert spread.p10 < by_name(plans)["tap"].interval_days < spread.p90


def test_the_more_is_demineralised_the_longer_it_lasts_and_the_more_cartridges_it_takes(plans):
    options = [by_name(plans)[name] for name in ("tap", *MIXES)]
    days = [option.interval_days for option in options]
    assert days == sorted(days)
    assert days[-1] > 2 * days[0]
    assert [option.cartridges_a_year for option in options[1:]] == pytest.approx(
        [option.litres_a_year * share / 60.0 for option, share in zip(options[1:], (0.2, 0.4, 0.6), strict=True)]
    )
    assert options[0].cartridges_a_year is None
    assert by_name(plans)["demin"].interval_days > 2 * days[-1]  # no water is quite free of scale


def test_costs_are_those_of_cost_at_that_age(asked, plans):
    curve = descaling_cost(asked)
    tap = by_name(plans)["tap"]
    (longest,) = (point for point in curve.curve if point.age_days == tap.interval_days)
    assert tap.cost_a_year == pytest.approx(longest.cost_a_year, rel=1e-9)
    assert tap.cost_a_year >= curve.cost_a_year
    assert tap.cost_draws_a_year.p10 <= tap.cost_draws_a_year.p50 <= tap.cost_draws_a_year.p90
    assert tap.cost_per_litre == 0.004
    mixed = by_name(plans)[MIXES[2]]
    assert mixed.cost_per_litre == pytest.approx(0.4 * 0.004 + 0.6 * 14.0 / 60.0)
    assert CartridgePrice("demin") in plans.assumptions
    assert by_name(plans)["demin"].cost_per_litre is None
    assert UnpricedWater("demin") in plans.assumptions


def test_without_prices_there_are_no_costs_but_all_else(asked):
    forecast = asked.forecast
    model = replace(forecast.posterior.model, facts=replace(FACTS, prices=()))
    bare = type(forecast)(replace(forecast.posterior, model=model), forecast.plan, forecast.site)
    plans = compare_waters(asked.under(bare), supplies_for(FACTS, ("soft",), MIXES[:1]))
    assert all(option.cost_a_year is None and option.cartridges_a_year is None for option in plans.options)
    assert NoCosts() in plans.assumptions
    priced = compare_waters(asked, ())
    assert plans.options[0].interval_days == priced.options[0].interval_days


def test_what_was_learned_of_the_tap_holds_in_its_mixes(asked):
    forecast = asked.forecast
    (supply,) = supplies_for(FACTS, (), MIXES[2:])
    tap = forecast.posterior.unknown(concentration("tap"))
    learned = forecast.posterior.supplies["tap"].table.log_sd * tap + forecast.moved("tap")
    assert np.corrcoef(forecast.log_factor(supply), learned)[0, 1] > 0.99
    assert forecast.log_factor(supply).mean() == pytest.approx(learned.mean(), abs=0.05)


def test_a_stricter_tolerance_gives_shorter_intervals(asked, plans):
    strict = compare_waters(replace(asked, tolerance=0.02, _kept={}), ())
    assert strict.options[0].interval_days < plans.options[0].interval_days


def test_by_the_public_function():
    plans = api.compare_waters(FACTS, ["soft"], MIXES[:1], particles=100)
    assert [option.water for option in plans.options] == ["tap", "soft", MIXES[0]]
    with pytest.raises(UnknownNameError):
        api.compare_waters(FACTS, ["wine"])
