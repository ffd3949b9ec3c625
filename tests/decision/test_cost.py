"""What descaling costs by age: by simulation, by its properties, in its words."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.cost import budget_of, descaling_cost, least_cost, need_prices, prices_of
from scalemodel.decision.renewal import Cycles
from scalemodel.errors import EvidenceError
from scalemodel.logbook.records import Descale, Prices, Site, Water
from scalemodel.model.growth import draw_growth
from tests.builders import START, day, history, look

SEEN = (look(90, 0, 1), look(180, 1), look(270, 1))
PRICES = Prices(
    "urn", START, descale_materials=3.0, descale_hours=1.0, hour_cost=20.0, descale_wear=5.0, strip_down=150.0
)


@pytest.fixture(scope="module")
def asked():
    return api.prepare(history(*SEEN, prices=(PRICES,)), particles=250)


def priced(asked, **changes):
    """The same posterior with other prices."""
    forecast, threshold, *_ = asked
    facts = replace(forecast.posterior.facts, prices=(replace(PRICES, **changes),))
    model = replace(forecast.posterior.model, facts=facts)
    other = type(forecast)(replace(forecast.posterior, model=model), forecast.plan, forecast.site)
    return descaling_cost(other, threshold)


def test_long_run_cost_against_simulated_boilers():
    """Boilers descaled at a fixed age, or on the day on which the threshold passes, over many cycles."""
    rng = np.random.default_rng(8)
    rate, nu, residue, age, step = 0.02, 0.4, 0.12, 240, 2.0
    deposit, since = np.zeros(4000), np.zeros(4000)
    planned = late = days = 0
    for n in range(1500):
        mean = np.full(4000, step * rate)
        deposit += draw_growth(rng, mean, nu)
        since += step
        over = deposit >= 6.0
        due = ~over & (since >= age)
        deposit = np.where(over, 6.0 * residue, np.where(due, residue * deposit, deposit))
        since[over | due] = 0.0
        if n >= 400:
            planned, late, days = planned + due.sum(), late + over.sum(), days + 4000 * step
    cycles = Cycles(*(np.array([v]) for v in (6.0, rate, nu, residue)))
    ages = np.array([float(age)])
    passed, lived = float(cycles.passed(ages)[0, 0]), float(cycles.lived(ages)[0, 0])
    assert late / (planned + late) == pytest.approx(passed, abs=0.02)
    assert days / (planned + late) == pytest.approx(lived, rel=0.015)  # passing is seen within two days
    simulated = (28.0 * planned + 178.0 * late) / days
    assert cycles.cost(ages, 28.0, 178.0)[0, 0] == pytest.approx(simulated, rel=0.04)


def test_the_least_cost_is_the_least_of_all_ages(asked):
    forecast, threshold, *_ = asked
    answer = descaling_cost(forecast, threshold)
    budget = budget_of(forecast, threshold)
    ages = np.array([float(a) for a in range(5, 1500, 7)])
    costs = budget.draws(ages).mean(axis=1)
    assert costs.min() >= answer.cost_a_year * (1.0 - 1e-9)
    assert abs(ages[costs.argmin()] - answer.best_age_days) < 10
    within = ages[costs <= 1.05 * answer.cost_a_year]
    assert answer.nearly_best_days == pytest.approx((within[0], within[-1]), abs=12)
    assert answer.best_date == max(day(360), START + timedelta(days=round(answer.best_age_days)))
    assert 0 < answer.best_age_mc_error_days < 0.1 * answer.best_age_days
    assert 0 < answer.cost_a_year_mc_error < 0.1 * answer.cost_a_year


def test_what_happens_a_year_adds_up_to_the_cost(asked):
    answer = descaling_cost(asked)
    for point in answer.curve:
        made = answer.descale * (point.descales + point.strip_downs) + answer.strip_down * point.strip_downs
        assert point.cost_a_year == pytest.approx(made + answer.looks_a_year + answer.water_a_year)
        assert point.p10 <= point.p90
    chances = [point.passed for point in answer.curve]
    assert chances == sorted(chances)
    assert answer.curve[-1].age_days is None
    assert chances[-1] == pytest.approx(1.0, abs=1e-3)


def test_a_dearer_descale_is_never_made_younger_and_a_dearer_strip_down_never_older(asked):
    ages = [priced(asked, descale_materials=m).best_age_days for m in (0.0, 3.0, 10.0, 40.0, 100.0)]
    assert all(a < b for a, b in pairwise(ages))
    ages = [priced(asked, strip_down=s).best_age_days for s in (50.0, 100.0, 300.0, 1000.0)]
    assert all(a > b for a, b in pairwise(ages))


def test_only_the_ratio_of_prices_moves_the_age(asked):
    twice = {"descale_materials": 6.0, "hour_cost": 40.0, "descale_wear": 10.0, "strip_down": 300.0}
    one, two = descaling_cost(asked), priced(asked, **twice)
    assert two.best_age_days == pytest.approx(one.best_age_days)
    assert two.cost_a_year == pytest.approx(2.0 * one.cost_a_year)


def test_without_the_price_of_a_strip_down_one_never_descales_early(asked):
    for strip_down in (None, 0.0):
        answer = priced(asked, strip_down=strip_down)
        assert answer.best_age_days is None
        assert answer.best_date is None
        assert answer.best_age_mc_error_days is None
        assert answer.nearly_best_days[1] is None
        assert answer.cost_a_year == pytest.approx(answer.curve[-1].cost_a_year)
    assert "price of a strip-down" in " ".join(priced(asked, strip_down=None).assumptions)


def test_looks_and_water_are_paid_at_any_age():
    sites = (Site("urn", "chamber", look_cost=2.0), Site("urn", "wall", look_cost=10.0), Site("urn", "element"))
    facts = history(*SEEN, look(300, 1, site="element"), prices=(PRICES,), sites=sites)
    facts = replace(facts, waters=(Water("tap", 0.004), Water("soft")))
    forecast, threshold, *_ = api.prepare(facts, particles=150)
    answer = descaling_cost(forecast, threshold)
    assert answer.looks_a_year == pytest.approx(3 * 10.0 * 365.25 / 360)
    assert answer.water_a_year == pytest.approx(float(forecast.litres_a_day.mean()) * 365.25 * 0.004)
    bare = replace(facts, sites=(Site("urn", "element"),), waters=(Water("tap"), Water("soft")))
    other = descaling_cost(api.prepare(bare, particles=150))
    assert other.best_age_days == pytest.approx(answer.best_age_days, rel=1e-3)
    said = " ".join(other.assumptions)
    assert "no price of a look at the element, the wall: taken as free" in said
    assert "price of tap" in said


def test_the_age_counts_from_the_last_full_descale():
    descales = (Descale("urn", day(200)), Descale("urn", day(300), "partial"))
    answer = descaling_cost(api.prepare(history(*SEEN, descales=descales, prices=(PRICES,)), particles=150))
    assert answer.last_descale == day(200)
    assert answer.best_date == max(day(360), day(200) + timedelta(days=round(answer.best_age_days)))


def test_the_prices_are_the_last_begun():
    later = replace(PRICES, from_date=day(100), strip_down=90.0)
    facts = history(*SEEN, prices=(PRICES, later))
    assert prices_of(facts) == later
    assert descaling_cost(api.prepare(facts, particles=100)).strip_down == 90.0


def test_missing_and_empty_prices_are_refused_with_the_command_that_mends_it():
    with pytest.raises(EvidenceError, match=r"no prices of urn .*; add them: scalemodel add prices urn 2025-12-27"):
        need_prices(history(*SEEN))
    free = Prices("urn", START, strip_down=9.0)
    with pytest.raises(EvidenceError, match="costs nothing by the prices from 2025-01-01"):
        need_prices(history(*SEEN, prices=(free,)))
    for facts in (history(*SEEN), history(*SEEN, prices=(free,))):
        assert least_cost(*api.prepare(facts, particles=100)[:2]) is None


def test_the_quick_answer_is_the_same(asked):
    quick, whole = least_cost(*asked[:2]), descaling_cost(asked)
    for name in ("best_age_days", "best_date", "cost_a_year", "nearly_best_days"):
        assert getattr(quick, name) == getattr(whole, name)


def test_softer_water_waits_longer(asked):
    facts = asked[0].posterior.facts
    soft = descaling_cost(api.prepare(facts, particles=250, water="soft"))
    assert soft.best_age_days > 1.5 * descaling_cost(asked).best_age_days
    assert soft.water == "soft"


def test_no_use_ahead_costs_nothing_but_what_is_paid_anyway(asked):
    facts = asked[0].posterior.facts
    answer = descaling_cost(api.prepare(facts, particles=100, litres_per_day=0.0))
    assert answer.best_age_days is None or answer.best_date >= date(2100, 1, 1)
