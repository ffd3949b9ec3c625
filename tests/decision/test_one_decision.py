"""Properties of the one decision, over simulated logbooks: each an invented history whose findings follow from a truth.

The first few are asked in every run, all 200 of them with --run-slow. The date that a question names carries a random
error, of at most 3 days or 3 % of the wait by rule; two dates of two posteriors are held to four times that.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.alarms import FORETOLD, chance_foretold, is_unforetold
from scalemodel.decision.case import Case
from scalemodel.decision.status import Status
from scalemodel.inference.posterior import monte_carlo_error
from scalemodel.logbook.records import BoilerFacts, Prices
from scalemodel.model.unknowns import CAPTURE
from scalemodel.validation.simulated_boilers import simulated_logbook

BOILERS, QUICK = 200, 4
numbers = pytest.mark.parametrize(
    "number", [pytest.param(n, marks=[] if n < QUICK else pytest.mark.slow) for n in range(BOILERS)]
)

DAYS, SHARE = 12.0, 0.12
"""What a date may differ by chance alone: so many days, or so much of the wait."""


@cache
def logbook(number: int) -> BoilerFacts:
    """A simulated logbook with a price of a descale and one of a strip-down."""
    rng = np.random.default_rng([20, number])
    facts = simulated_logbook(rng)
    descale, ratio = np.exp(rng.uniform(np.log((5.0, 2.0)), np.log((60.0, 30.0))))
    name = facts.boiler.boiler
    prices = Prices(name, facts.boiler.installed_on, descale_materials=descale, strip_down=descale * ratio)
    return replace(facts, prices=(prices,))


@cache
def asked(number: int) -> Case:
    return api.prepare(logbook(number))


def priced(case: Case, **prices) -> Case:
    """The same question on the same draws, with other prices on record."""
    old = case.forecast.posterior
    facts = replace(case.facts, prices=(replace(case.facts.prices[0], **prices),))
    posterior = replace(old, model=replace(old.model, facts=facts))
    forecast = type(case.forecast)(posterior, case.forecast.plan, case.forecast.site)
    return Case(forecast, case.threshold, case.tolerance, case.horizon_days)


def days_from(case: Case, day) -> float:
    return np.inf if day is None else (day - case.as_of).days


@numbers
def test_no_advice_without_a_look_passes_the_last_safe_date(number):
    case = asked(number)
    answer, looks, cost = api.defer(case), api.next_inspection(case), api.cost(case)
    assert answer.status is looks.status is cost.status
    assert answer.cheapest_on == cost.cheapest_on
    if answer.status is Status.BEYOND:
        return
    safe = days_from(case, answer.defer_until) if answer.status is Status.WITHIN else 0.0
    if answer.status is Status.WITHIN:
        deciding = [case.deciding_risk(int(safe) + k) for k in (0, 1)]  # a milder latest look may hold the date earlier
        assert case.risk(int(safe)) <= deciding[0] <= case.tolerance < deciding[1]
    for advised in (looks.descale_on, cost.cheapest_on, answer.cheapest_on):
        assert advised is None or 0.0 <= days_from(case, advised) <= safe
    assert looks.descale_on is not None


@numbers
def test_a_worse_last_look_never_gives_a_later_date_in_any_command(number):
    facts = logbook(number)
    last = max(facts.inspections, key=lambda look: look.date)
    before = None
    for grade in range(5):
        worse = replace(last, grade_low=grade, grade_high=grade, thickness_um=None)
        case = api.prepare(replace(facts, inspections=tuple(worse if x is last else x for x in facts.inspections)))
        answer, looks = api.defer(case), api.next_inspection(case)
        if answer.status is Status.LOOK_AGAIN:
            # A mild look may be why an earlier one is hard to believe; a worse one that agrees with it lifts that.
            about_itself = any(a.date == last.date and a.site == last.site for a in answer.alarms)
            before = (0.0, 0.0, 0.0) if about_itself else before
            continue
        told = (answer.defer_until, looks.descale_on, answer.cheapest_on)
        dates = [min(days_from(case, day), case.horizon_days) for day in told]  # no date: beyond the horizon
        if answer.status is Status.PAST:
            dates = [0.0] * 3
        if before is not None:
            for now, then in zip(dates, before, strict=True):
                assert now <= then + max(DAYS, SHARE * then), (grade, dates, before)
        before = tuple(dates)


@numbers
def test_dearer_strip_downs_never_put_the_cheapest_day_off_and_dearer_descales_never_bring_it_on(number):
    case = asked(number)
    own = case.facts.prices[0]
    strip_downs = [api.defer(priced(case, strip_down=own.strip_down * k)).cheapest_on for k in (0.25, 1.0, 4.0)]
    descales = [api.defer(priced(case, descale_materials=own.descale_materials * k)).cheapest_on for k in (0.5, 1, 2)]
    waits = [days_from(case, day) for day in strip_downs]
    assert waits == sorted(waits, reverse=True)
    waits = [days_from(case, day) for day in descales]
    assert waits == sorted(waits)


@numbers
def test_a_look_is_worth_no_less_than_nothing_and_no_more_than_knowing(number):
    """Its value is cut off at nothing, so what is left of it uncut, saved less its error, is held too."""
    for option in api.next_inspection(asked(number)).options:
        assert 0.0 <= option.value <= option.perfect
        assert option.pair_value is None or option.value <= option.pair_value <= option.perfect


def test_how_surprising_a_look_is_is_solved_for_and_not_read_off_the_draws_that_it_emptied():
    """Grade 3 here has a chance of 0.003 by all else; its draws, reweighed by one over its probability, make it 0.03,
    which is no alarm."""
    facts, found = logbook(21), []
    last = max(facts.inspections, key=lambda look: look.date)
    for grade in range(1, 5):
        worse = replace(last, grade_low=grade, grade_high=grade, thickness_um=None)
        records = replace(facts, inspections=tuple(worse if x is last else x for x in facts.inspections))
        case = api.prepare(records, seed=3, particles=60, threshold_mg_cm2=40.0)
        (k,) = [k for k, (_, look) in enumerate(case.forecast.posterior.model.timeline.looks) if look is worse]
        if grade == 3:
            assert chance_foretold(worse, case.forecast.looks_by_grade[k]) > FORETOLD
        found.append(is_unforetold(case.forecast.posterior, k, case.forecast.looks_by_grade[k]))
    assert found == sorted(found)
    assert found[2]


def test_a_posterior_without_a_look_is_that_of_the_other_records():
    """Against the same records solved without it, within five standard errors of each probability's difference."""
    facts = logbook(1)
    whole = api.posterior(facts, particles=250)
    index, (_, look) = len(whole.model.timeline.looks) - 1, whole.model.timeline.looks[-1]
    others = api.posterior(replace(facts, inspections=tuple(x for x in facts.inspections if x is not look)), 3, 250)
    now = [p.unknown(CAPTURE) for p in (whole.without(index), others)]
    error = np.hypot(*(monte_carlo_error(p.by_population(x)) for p, x in zip((whole, others), now, strict=True)))
    assert abs(now[0].mean() - now[1].mean()) < 5.0 * error
    assert whole.without(index) is whole.without(index)
