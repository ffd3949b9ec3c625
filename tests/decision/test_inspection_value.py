"""The value of the next look: bounds, errors, what moves it, and the plan that it serves."""

import dataclasses
import re

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.inspection_value import (
    Eye,
    LookReason,
    Outlook,
    find_eye,
    kinds_of_look,
    look_cost,
    value_looks,
    weigh,
)
from scalemodel.decision.stakes import descale_price, find_stakes
from scalemodel.decision.status import Status
from scalemodel.inference.draws import monte_carlo_error
from scalemodel.logbook.records import Prices, Site
from scalemodel.words.advice import act_words, amount, look_sentences, next_look_words
from tests.builders import START, day, history, look

SEEN = (look(90, 0, 1), look(180, 1, site="chamber"), look(270, 1))
HISTORIES = {
    "seen": history(*SEEN, tds=150.0),
    "new": history(tds=150.0, days=30),
    "past": history(look(90, 1), look(180, 2), look(300, 2), look(350, 2)),
    "soft": history(*SEEN, tds=40.0),
}


@pytest.fixture(scope="module")
def asked():
    return {name: api.prepare(facts, particles=250) for name, facts in HISTORIES.items()}


@pytest.fixture(scope="module")
def outlook(asked):
    return outlook_of(*asked["new"])


def outlook_of(forecast, threshold, tolerance, horizon_days, deferral=100):
    stakes = find_stakes(forecast, threshold, tolerance, deferral)
    return Outlook(forecast, threshold, stakes, horizon_days, deferral)


@pytest.mark.parametrize("name", HISTORIES)
def test_between_nothing_and_perfect_knowledge(asked, name):
    answer = value_looks(asked[name])
    assert answer.options
    for option in answer.options:
        assert -1e-9 <= option.value <= option.perfect + 1e-9
        assert option.net == pytest.approx(option.value - option.cost)
        assert option.mc_error >= 0.0
        assert option.date >= answer.as_of
    nets = [o.net for o in answer.options]
    assert nets == sorted(nets, reverse=True)
    if answer.best is not None:
        first = answer.options[0]
        assert answer.best in answer.options
        assert (answer.best.site, answer.best.method) == (first.site, first.method)
        assert answer.best.net >= first.net - first.mc_error
        assert answer.best.date >= first.date  # of looks worth the same, the latest


def test_the_same_seed_gives_the_same_answer(asked):
    assert value_looks(asked["seen"]) == value_looks(api.prepare(HISTORIES["seen"], particles=250))


def test_findings_are_a_distribution_and_worse_grades_never_wait_longer(asked):
    answer = value_looks(asked["new"])
    assert answer.best is not None
    assert sum(f.probability for f in answer.findings) == pytest.approx(1.0)
    assert [f.grade for f in answer.findings] == [0, 1, 2, 3, 4]
    likely = [f for f in answer.findings if f.probability > 0.03]
    days = [f.descale_on or day(10**5) for f in likely]
    assert len(set(days)) > 1
    assert days == sorted(days, reverse=True)
    assert min(days) >= answer.best.date


def test_without_a_price_the_best_day_is_the_deferral(asked):
    for name in ("seen", "new"):
        deferral = api.defer(HISTORIES[name], particles=250).defer_until
        plan = value_looks(asked[name]).descale_on
        whole = (deferral - HISTORIES[name].as_of).days
        assert abs((plan - deferral).days) <= max(14, 0.15 * whole)


def test_where_the_risk_is_past_what_is_accepted_no_look_is_later_than_today(asked):
    forecast, threshold, _, horizon_days = asked["past"]
    answer = value_looks(forecast, threshold, 0.01, horizon_days)
    assert answer.status is Status.PAST
    assert answer.descale_on == answer.as_of
    assert {o.date for o in answer.options} == {answer.as_of}
    said = look_sentences(answer)
    assert said[0].startswith("urn: do not defer: the risk is more than you accept. ")
    assert "Without a look: descale now." in said
    assert ("No look would change that" in said[0]) == (answer.best is None)


def test_where_it_is_past_and_every_site_was_seen_today_there_is_no_look():
    facts = history(look(90, 1), look(180, 2), look(360, 2), sites=())
    answer = value_looks(api.prepare(facts, particles=100, tolerance=0.005))
    assert (answer.status, answer.options, answer.best, answer.look_reason) == (Status.PAST, (), None, None)
    assert "No look would change that" in next_look_words("urn", answer)
    assert "No look would change that" in look_sentences(answer)[0]


def test_a_grade_that_would_be_an_alarm_is_not_waited_on(asked):
    """What a finding promises is what is said once it is recorded."""
    for name in ("new", "seen"):
        answer = value_looks(asked[name])
        for finding in answer.findings:
            assert finding.alarm or finding.grade < 3
            if finding.alarm:
                assert finding.descale_on == answer.best.date
                assert act_words(finding, answer) == "look again at once, and do not wait"
        assert answer.findings[3].alarm


def test_the_drawn_path_never_falls_and_agrees_with_the_risk(asked):
    forecast, threshold, tolerance, horizon_days = asked["new"]
    mine = outlook_of(forecast, threshold, tolerance, horizon_days)
    at = np.array([0, 10, 20, 30])
    path = mine.path(at)
    assert np.all(np.diff(path, axis=0) >= 0)
    for row, index in zip(path, at, strict=True):
        exact = forecast.risk(threshold.mg_cm2, int(mine.days[index]))[0]
        assert np.mean(row >= threshold.mg_cm2) == pytest.approx(exact, abs=4 * 0.5 / np.sqrt(row.size))


def test_the_loss_after_a_look_is_the_loss_before_it_on_average(outlook):
    """Conditioning on the drawn deposit must not move the expected loss of any later plan: the tower rule."""
    index = 25
    before = outlook.before[index:]
    after = outlook.after(index, outlook.path(np.array([index]))[0])
    difference = (after - before).mean(axis=1)
    by_population = outlook.forecast.posterior.by_population
    error = np.array([monte_carlo_error(by_population(row)) for row in after - before])
    assert np.all(np.abs(difference) < 5 * error + 0.01 * np.abs(before.mean(axis=1)))


def test_a_sharper_eye_is_never_worth_less_and_a_blind_one_nothing(outlook):
    index = int(np.searchsorted(outlook.days, 100))
    deposit = outlook.path(np.array([index]))[0]
    losses = outlook.after(index, deposit)
    ones = np.ones(deposit.size)
    values = [
        weigh(outlook, index, losses, Eye(1.0, spread * ones, 0.0 * ones).chances(deposit)).value
        for spread in (0.1, 0.35, 0.8, 2.0)
    ]
    assert values == sorted(values, reverse=True)
    assert values[0] > 0.0
    blind = np.full((5, deposit.size), 0.2)
    assert weigh(outlook, index, losses, blind).value == pytest.approx(0.0, abs=1e-9)


def test_the_error_covers_other_seeds():
    """Values by other seeds scatter as the stated errors say, within what five runs can tell."""
    forecast_of = [api.prepare(HISTORIES["new"], seed=s, particles=250) for s in range(5)]
    values, errors = [], []
    for forecast, threshold, tolerance, horizon_days in forecast_of:
        mine = outlook_of(forecast, threshold, tolerance, horizon_days)
        index = int(np.searchsorted(mine.days, 90))
        deposit = mine.path(np.array([index]))[0]
        eye = find_eye(forecast, "wall", "eye")
        one = weigh(mine, index, mine.after(index, deposit), eye.chances(deposit))
        values.append(one.value)
        errors.append(one.mc_error)
    assert np.std(values, ddof=1) < 4 * np.mean(errors) + 0.1 * np.mean(values)


def test_prices_change_the_unit_and_scale_with_it(asked):
    def priced(factor):
        price = Prices("urn", START, descale_materials=5.0 * factor, descale_hours=1.0, hour_cost=15.0 * factor,
                       strip_down=100.0 * factor)  # fmt: skip
        facts = dataclasses.replace(HISTORIES["seen"], prices=(price,))
        return value_looks(api.prepare(facts, particles=250))

    one, ten = priced(1.0), priced(10.0)
    assert one.priced
    assert one.descale_cost == pytest.approx(20.0)
    assert max(o.value for o in ten.options) == pytest.approx(10 * max(o.value for o in one.options))
    assert not value_looks(asked["seen"]).priced


def test_the_newest_price_counts():
    old, new = (Prices("urn", day(n), descale_materials=x) for n, x in ((0, 3.0), (50, 8.0)))
    forecast, threshold, tolerance, _ = api.prepare(
        dataclasses.replace(HISTORIES["seen"], prices=(new, old)), particles=100
    )
    assert find_stakes(forecast, threshold, tolerance, 100).descale == 8.0
    assert descale_price(None) == 0.0


def test_which_looks_are_weighed_and_what_they_cost(asked):
    forecast, threshold, tolerance, _ = asked["seen"]
    facts = history(*SEEN, look(300, 1, site="element", method="mirror"))
    assert kinds_of_look(facts) == [
        ("chamber", "eye"), ("element", "eye"), ("element", "mirror"), ("wall", "eye"),
    ]  # fmt: skip
    stakes = find_stakes(forecast, threshold, tolerance, 100)
    assert look_cost(facts, "chamber", "eye", stakes) == 0.0
    assert look_cost(facts, "wall", "eye", stakes) == 0.25
    assert look_cost(facts, "wall", "glance", stakes) == 0.0
    dear = dataclasses.replace(
        facts, sites=(Site("urn", "chamber", look_cost=1.0), Site("urn", "element", look_cost=9.0))
    )
    assert look_cost(dear, "element", "eye", stakes) == 0.25
    assert look_cost(dear, "element", "eye", stakes._replace(priced=True, descale=20.0)) == 9.0
    bare = dataclasses.replace(facts, sites=())
    assert look_cost(bare, "wall", "eye", stakes) == 0.0


def test_a_site_seen_today_is_not_tried_again_today():
    facts = history(*SEEN, look(360, 1), tds=150.0)
    answer = value_looks(api.prepare(facts, particles=100))
    assert not [o for o in answer.options if o.date == facts.as_of and o.site == "wall"]
    assert [o for o in answer.options if o.date == facts.as_of and o.site == "chamber"]


def test_where_every_site_was_seen_today_a_later_day_is_tried():
    """Also where the last safe day is so near that today alone would be left to try."""
    facts = history(look(120, 1), look(300, 2), look(360, 2), sites=())
    asked = api.prepare(facts, particles=50)
    close = asked[0].risk(asked[1].mg_cm2, 1)[0]
    answer = value_looks(asked[:2], close, asked[3])
    assert answer.status is Status.WITHIN
    assert answer.options
    assert all(option.date > facts.as_of for option in answer.options)


def test_no_use_ahead_leaves_the_yearly_look():
    answer = value_looks(api.prepare(HISTORIES["seen"], particles=100, litres_per_day=0.0))
    assert answer.look_reason is LookReason.YEARLY
    assert answer.best.date == day(270 + 365)
    assert answer.descale_on is None


def test_the_yearly_look_is_at_the_easiest_site_and_there_where_one_looked_last():
    sites = (Site("urn", "lid", look_cost=9.0), Site("urn", "gauge", look_cost=1.0), Site("urn", "port", look_cost=1.0))
    price = Prices("urn", START, descale_materials=5.0)
    for last in ("lid", "gauge", "port"):
        facts = history(look(300, 0, site=last), tds=20.0, sites=sites, prices=(price,))
        answer = value_looks(api.prepare(facts, particles=50))
        assert answer.look_reason is LookReason.YEARLY
        assert answer.best.site == ("gauge" if last == "lid" else last)


def test_without_prices_a_worth_is_told_in_days_of_waiting(asked):
    answer = value_looks(asked["seen"])
    option = answer.options[0]
    assert option.value_days == pytest.approx(option.value / answer.day_value)
    assert amount(option.value, answer) == f"{option.value_days:.0f}"
    assert "descales" not in " ".join(look_sentences(answer))
    assert not any(re.search(r"\d descales", note) for note in answer.assumptions)
