"""What descaling costs by age: by simulation, by its properties, in its words."""

from dataclasses import fields, replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.cost import budget_of, descaling_cost, need_prices
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.forecast import Forecast
from scalemodel.decision.horizon import LONGEST_INTERVAL_DAYS
from scalemodel.decision.inspection_value import value_looks
from scalemodel.decision.loss import cheapest_of, prices_of
from scalemodel.decision.renewal import Cycles, longest_interval
from scalemodel.errors import WantedError
from scalemodel.logbook.records import Descale, Prices, Site, Water
from scalemodel.model.inverse_gaussian import draw_growth
from scalemodel.words.advice import cost_sentences
from scalemodel.words.assumed import assumed_words
from scalemodel.words.commands import wanted_words
from tests.builders import START, day, history, look

SEEN = (look(90, 0, 1), look(180, 1), look(270, 1))
TYPED_PRICES = "--descale-materials 4 --descale-hours 1 --hour-cost 20 --strip-down 150"
PRICES = Prices(
    "urn", START, descale_materials=3.0, descale_hours=1.0, hour_cost=20.0, descale_wear=5.0, strip_down=150.0
)


@pytest.fixture(scope="module")
def asked():
    return api.prepare(history(*SEEN, prices=(PRICES,)), particles=250)


def repriced(asked, **changes):
    """The same posterior with other prices."""
    forecast = asked.forecast
    facts = replace(asked.facts, prices=(replace(PRICES, **changes),))
    model = replace(forecast.posterior.model, facts=facts)
    return asked.under(Forecast(replace(forecast.posterior, model=model), forecast.plan, forecast.site))


def priced(asked, **changes):
    return descaling_cost(repriced(asked, **changes))


def test_long_run_cost_against_simulated_boilers():
    """Ten thousand cycles and more, each descaled at a fixed age; scale past the threshold is found out there."""
    rng = np.random.default_rng(8)
    rate, nu, residue, age, step, boilers, kappa = 0.02, 0.4, 0.12, 240, 2.0, 500, 1.0 / 200.0
    deposit, passed, above, cycles = np.zeros(boilers), 0, 0.0, 0
    for cycle in range(30):
        for _ in range(round(age / step)):
            before = int((deposit >= 6.0).sum())
            deposit = deposit + draw_growth(rng, np.full(boilers, step * rate), nu)
            above += 0.5 * step * (before + int((deposit >= 6.0).sum())) * (cycle >= 5)
        if cycle >= 5:
            passed, cycles = passed + int((deposit >= 6.0).sum()), cycles + boilers
        deposit = residue * np.minimum(deposit, 6.0)
    assert cycles > 10_000
    ours, ages = Cycles(*(np.array([v]) for v in (6.0, rate, nu, residue))), np.array([float(age)])
    assert passed / cycles == pytest.approx(float(ours.failure_probability(ages)[0, 0]), abs=0.02)
    assert above / cycles == pytest.approx(age - float(ours.mean_cycle(ages)[0, 0]), rel=0.08)
    simulated = (28.0 * cycles + 150.0 * (passed + kappa * above)) / (cycles * age)
    assert ours.cost(ages, 28.0, 150.0, kappa)[0, 0] == pytest.approx(simulated, rel=0.04)


def test_the_least_cost_is_the_least_of_all_ages_within_the_tolerance(asked):
    answer, budget = descaling_cost(asked), budget_of(asked.forecast, asked.threshold, asked.tolerance)
    assert answer.longest_age_days == longest_interval(budget.cycles, asked.tolerance)
    ages = np.arange(5.0, answer.longest_age_days + 1.0)
    costs = budget.draws(ages).mean(axis=1)
    assert costs.min() >= answer.cost_a_year * (1.0 - 1e-6)
    assert abs(ages[costs.argmin()] - answer.best_age_days) < 5
    within = ages[costs <= 1.05 * answer.cost_a_year]
    assert answer.nearly_best_days == pytest.approx((within[0], within[-1]), abs=12)
    assert 0 <= answer.best_age_mc_error_days < 0.1 * answer.best_age_days
    assert 0 < answer.cost_a_year_mc_error < 0.1 * answer.cost_a_year


def test_what_happens_a_year_adds_up_to_the_cost(asked):
    answer = descaling_cost(asked)
    for point in answer.curve:
        failures = point.strip_downs + point.days_above / answer.longest_age_days
        made = answer.descale * point.descales + answer.strip_down * failures
        assert point.cost_a_year == pytest.approx(made + answer.looks_a_year + answer.water_a_year)
        assert point.p10 <= point.p90
    chances = [point.passed for point in answer.curve]
    assert chances == sorted(chances)
    (longest,) = (point.passed for point in answer.curve if point.age_days == answer.longest_age_days)
    assert longest <= asked.tolerance


def test_a_dearer_descale_is_never_made_younger_and_a_dearer_strip_down_never_older(asked):
    """The age, and this boiler's own day; where the tolerance binds neither moves."""
    dearer = [repriced(asked, descale_materials=m, strip_down=400.0) for m in (0.0, 3.0, 10.0, 40.0, 100.0)]
    ages = [descaling_cost(case).best_age_days for case in dearer]
    days = [cheapest_of(case).day for case in dearer]
    assert all(a <= b + 0.1 for a, b in pairwise(ages))
    assert ages[0] < ages[-1]
    assert days == sorted(days)
    worse = [repriced(asked, strip_down=s) for s in (50.0, 100.0, 300.0, 1000.0, 4000.0)]
    ages = [descaling_cost(case).best_age_days for case in worse]
    days = [cheapest_of(case).day for case in worse]
    assert all(a >= b - 0.1 for a, b in pairwise(ages))
    assert ages[0] > ages[-1]
    assert days == sorted(days, reverse=True)
    assert days[0] > days[-1]
    assert days[0] <= asked.last_safe


def test_only_the_ratio_of_prices_moves_the_age(asked):
    twice = {"descale_materials": 6.0, "hour_cost": 40.0, "descale_wear": 10.0, "strip_down": 300.0}
    one, two = descaling_cost(asked), priced(asked, **twice)
    assert two.best_age_days == pytest.approx(one.best_age_days)
    assert two.cost_a_year == pytest.approx(2.0 * one.cost_a_year)


def test_without_the_price_of_a_strip_down_one_waits_as_long_as_the_risk_allows(asked):
    for strip_down in (None, 0.0):
        case = repriced(asked, strip_down=strip_down)
        answer = descaling_cost(case)
        assert answer.best_age_days == pytest.approx(answer.longest_age_days)
        assert answer.cheapest_on == answer.defer_until
        assert answer.waiting_costs == 0.0
    assert "price of a strip-down" in " ".join(assumed_words(priced(asked, strip_down=None).assumptions))


def test_looks_and_water_are_paid_at_any_age():
    sites = (Site("urn", "chamber", look_cost=2.0), Site("urn", "wall", look_cost=10.0), Site("urn", "element"))
    facts = history(*SEEN, look(300, 1, site="element"), prices=(PRICES,), sites=sites)
    facts = replace(facts, waters=(Water("tap", 0.004), Water("soft")))
    case = api.prepare(facts, particles=150)
    answer = descaling_cost(case)
    assert answer.looks_a_year == pytest.approx(3 * 10.0 * 365.25 / 360)
    assert answer.water_a_year == pytest.approx(float(case.forecast.litres_a_day.mean()) * 365.25 * 0.004)
    bare = replace(facts, sites=(Site("urn", "element"),), waters=(Water("tap"), Water("soft")))
    other = descaling_cost(api.prepare(bare, particles=150))
    assert other.best_age_days == pytest.approx(answer.best_age_days, rel=1e-3)
    said = " ".join(assumed_words(other.assumptions))
    assert "no price of a look at the element, the wall: taken as free" in said
    assert "price of tap" in said


def test_the_day_is_this_boilers_own_and_not_that_of_the_age():
    """A bare look moves the day and leaves no age behind; the age since the last descale does not count."""
    descales = (Descale("urn", day(200)), Descale("urn", day(300), "partial"))
    facts = history(*SEEN, descales=descales, prices=(PRICES,))
    seen, bare = (
        descaling_cost(api.prepare(one, particles=250))
        for one in (facts, replace(facts, inspections=(*facts.inspections, look(355, 0), look(356, 0))))
    )
    assert seen.last_descale == bare.last_descale == day(200)
    assert bare.cheapest_on > seen.cheapest_on


def test_the_prices_are_the_last_begun():
    later = replace(PRICES, from_date=day(100), strip_down=90.0)
    facts = history(*SEEN, prices=(PRICES, later))
    assert prices_of(facts) == later
    assert descaling_cost(api.prepare(facts, particles=100)).strip_down == 90.0


def test_missing_and_empty_prices_are_refused_with_the_fields_that_are_wanted():
    with pytest.raises(WantedError, match=r"no prices of urn .*; record prices of urn with descale_mat") as refused:
        need_prices(history(*SEEN))
    assert (refused.value.kind, refused.value.boiler, refused.value.day) == ("prices", "urn", date(2025, 12, 27))
    assert set(refused.value.fields) <= {field.name for field in fields(Prices)}
    assert wanted_words(refused.value).endswith("add them: scalemodel add prices urn 2025-12-27 " + TYPED_PRICES)
    free = Prices("urn", START, strip_down=9.0)
    with pytest.raises(WantedError, match="costs nothing by the prices from 2025-01-01"):
        need_prices(history(*SEEN, prices=(free,)))
    for facts in (history(*SEEN), history(*SEEN, prices=(free,))):
        assert cheapest_of(api.prepare(facts, particles=100)) == (None, None)


def test_one_day_in_every_answer(asked):
    answer, looks, cost = defer_until(asked), value_looks(asked), descaling_cost(asked)
    assert answer.cheapest_on == looks.descale_on == cost.cheapest_on
    assert answer.defer_until == looks.defer_until == cost.defer_until
    assert answer.cheapest_on <= answer.defer_until
    assert answer.waiting_costs == cost.waiting_costs >= 0.0


def test_softer_water_waits_longer(asked):
    facts = asked.facts
    soft = descaling_cost(api.prepare(facts, particles=250, water="soft"))
    assert soft.best_age_days > 1.5 * descaling_cost(asked).best_age_days
    assert soft.water == "soft"


def test_no_use_ahead_costs_nothing_but_what_is_paid_anyway(asked):
    facts = asked.facts
    answer = descaling_cost(api.prepare(facts, particles=100, litres_per_day=0.0))
    assert answer.best_age_days > LONGEST_INTERVAL_DAYS - 1
    assert answer.cheapest_on is None
    assert "within twenty years" in cost_sentences(answer)[0]
