"""The value of the next look: bounds, errors, what moves it, and the plan that it serves."""

import dataclasses

import numpy as np
import pytest

from scalemodel import api
from scalemodel.decision.inspection_value import LookReason, kinds_of_look, look_cost, value_looks
from scalemodel.decision.look_value import after_look, drawn_path, pair_values, sample_information, usual_look_model
from scalemodel.decision.loss import Losses, descale_price
from scalemodel.decision.status import Status
from scalemodel.errors import UnknownNameError
from scalemodel.inference.posterior import monte_carlo_error
from scalemodel.logbook.records import Prices, Site
from scalemodel.model.look import LookModel
from scalemodel.words.advice import act_words, amount, look_sentences, next_look_words
from scalemodel.words.assumed import assumed_words
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
    return {name: api.prepare(facts, particles=500) for name, facts in HISTORIES.items()}


@pytest.fixture(scope="module")
def losses(asked):
    return Losses(asked["new"], (90, 100))


@pytest.mark.parametrize("name", HISTORIES)
def test_between_nothing_and_perfect_knowledge(asked, name):
    answer = value_looks(asked[name])
    assert answer.options
    for option in answer.options:
        assert -1e-9 <= option.value <= option.perfect + 1e-9
        assert (option.net is None) == (option.cost is None)
        assert option.net is None or option.net == pytest.approx(option.value - option.cost)
        assert option.pair_value is None or option.pair_value >= option.value
        assert option.mc_error >= 0.0
        assert option.date >= answer.as_of
    nets = [o.net for o in answer.options if o.net is not None]
    assert nets == sorted(nets, reverse=True)
    assert all(o.net is None for o in answer.options[len(nets) :])
    if answer.look_reason is LookReason.PAYS:
        first = answer.options[0]
        assert answer.best in answer.options
        assert (answer.best.site, answer.best.method) == (first.site, first.method)
        assert answer.best.net >= first.net - first.mc_error
        assert answer.best.date >= first.date  # of looks worth the same, the latest


def test_the_same_seed_gives_the_same_answer(asked):
    assert value_looks(asked["seen"]) == value_looks(api.prepare(HISTORIES["seen"], particles=500))


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


def test_without_a_price_the_plan_is_the_last_safe_day(asked):
    for name in ("seen", "new"):
        answer = value_looks(asked[name])
        assert answer.descale_on == answer.defer_until == asked[name].defer_until


def test_where_the_risk_is_past_what_is_accepted_no_look_is_later_than_today(asked):
    answer = value_looks(dataclasses.replace(asked["past"], tolerance=0.01, _kept={}))
    assert answer.status is Status.PAST
    assert answer.descale_on == answer.as_of
    assert {o.date for o in answer.options} == {answer.as_of}
    said = look_sentences(answer)
    assert said[0].startswith("urn: do not defer: the risk is more than you accept.")
    assert "Without a look: descale now." in said
    assert ("No look would save more than it takes" in said[1]) == (answer.best is None)


def test_where_it_is_past_and_every_site_was_seen_today_there_is_no_look():
    facts = history(look(90, 1), look(180, 2), look(360, 2), sites=())
    answer = value_looks(api.prepare(facts, particles=100, tolerance=0.005))
    assert (answer.status, answer.options, answer.best, answer.look_reason) == (Status.PAST, (), None, None)
    assert "No look would save more than it takes" in next_look_words("urn", answer)[0]
    assert "No look would save more than it takes" in look_sentences(answer)[1]


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


def test_the_drawn_path_never_falls_and_agrees_with_the_risk(asked, losses):
    at = np.array([0, 10, 20, 30])
    path = drawn_path(losses, at)
    assert np.all(np.diff(path, axis=0) >= 0)
    for row, index in zip(path, at, strict=True):
        exact = asked["new"].risk(int(losses.days[index]))
        assert np.mean(row >= losses.reference_threshold) == pytest.approx(exact, abs=4 * 0.5 / np.sqrt(row.size))


def test_the_loss_after_a_look_is_the_loss_before_it_on_average(losses):
    """Conditioning on the drawn deposit must not move the expected loss of any later plan: the tower rule."""
    index = int(np.searchsorted(losses.days, 90))
    after = after_look(losses, index, drawn_path(losses, np.array([index]))[0]).loss
    before = losses.before[index:]
    by_population = losses.case.forecast.posterior.by_population
    error = np.array([monte_carlo_error(by_population(row)) for row in after - before])
    assert np.all(np.abs((after - before).mean(axis=1)) < 5 * error + 0.01 * np.abs(before.mean(axis=1)))


def test_a_sharper_eye_is_never_worth_less_and_a_blind_one_nothing(losses):
    index = int(np.searchsorted(losses.days, 100))
    deposit = drawn_path(losses, np.array([index]))[0]
    ones, after = np.ones(deposit.size), after_look(losses, index, deposit)
    values = [
        sample_information(losses, after, LookModel(1.0, ones / spread, 0.0 * ones).grade_probabilities(deposit)).value
        for spread in (0.1, 0.35, 0.8, 2.0)
    ]
    assert values == sorted(values, reverse=True)
    assert values[0] > 0.0
    blind = np.full((5, deposit.size), 0.2)
    assert sample_information(losses, after, blind).value == pytest.approx(0.0, abs=0.02 * values[0])


def test_two_looks_are_worth_no_less_than_one_and_no_more_than_knowing_all(asked, losses):
    index = int(np.searchsorted(losses.days, 90))
    look = usual_look_model(asked["new"].forecast, "wall", "eye").part(losses.draws)
    deposit = drawn_path(losses, np.array([index]))[0]
    one = sample_information(losses, after_look(losses, index, deposit), look.grade_probabilities(deposit))
    (value, _, looks), (dear, error, fewer) = pair_values(losses, index, [(look, 0.0), (look, 1e6)])
    assert one.value - 3 * one.mc_error <= value <= one.perfect
    assert value > 1.02 * one.value
    assert 1.0 < looks <= 2.0
    assert fewer == 1.0
    assert dear == pytest.approx(one.value, abs=4 * (one.mc_error + error))


def test_the_error_covers_other_seeds():
    """Values by other seeds scatter as the stated errors say, within what five runs can tell."""
    values, errors = [], []
    for seed in range(5):
        mine = Losses(api.prepare(HISTORIES["new"], seed=seed, particles=250), (90,))
        index = int(np.searchsorted(mine.days, 90))
        deposit = drawn_path(mine, np.array([index]))[0]
        look = usual_look_model(mine.case.forecast, "wall", "eye").part(mine.draws)
        one = sample_information(mine, after_look(mine, index, deposit), look.grade_probabilities(deposit))
        values.append(one.value)
        errors.append(one.mc_error)
    assert np.std(values, ddof=1) < 4 * np.mean(errors) + 0.1 * np.mean(values)


@pytest.mark.parametrize("name", ["seen", "new"])
def test_a_finding_promises_what_is_said_once_it_is_recorded(asked, name):
    """The look is recorded, and the question asked again on its day."""
    answer, facts = value_looks(asked[name]), HISTORIES[name]
    best = answer.best or answer.options[0]
    answer = value_looks(asked[name]) if answer.best else None
    if answer is None:
        pytest.skip("no look pays here, so none is promised")
    days = (best.date - START).days
    asked_again = 0
    for finding in answer.findings:
        if finding.probability < 0.05 or finding.alarm or finding.descale_on is None:
            continue
        seen = (*facts.inspections, look(days, finding.grade, site=best.site, method=best.method))
        later = api.defer(dataclasses.replace(facts, inspections=seen, as_of=best.date), particles=500)
        until = later.defer_until or later.as_of
        wait = (finding.descale_on - best.date).days
        assert abs((until - finding.descale_on).days) <= max(10, 0.2 * wait), finding
        asked_again += 1
    assert asked_again


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
    case = api.prepare(dataclasses.replace(HISTORIES["seen"], prices=(new, old)), particles=100)
    assert Losses(case).terms.descale == 8.0
    assert descale_price(None) == 0.0


def test_which_looks_are_weighed_and_what_they_cost(asked):
    facts = history(*SEEN, look(300, 1, site="element", method="mirror"))
    assert kinds_of_look(facts) == [
        ("chamber", "eye"), ("element", "eye"), ("element", "mirror"), ("wall", "eye"),
    ]  # fmt: skip
    assert look_cost(facts, "chamber", "eye", False) == 0.0
    assert look_cost(facts, "wall", "eye", False) is None
    assert look_cost(facts, "wall", "glance", False) == 0.0
    dear = dataclasses.replace(
        facts, sites=(Site("urn", "chamber", look_cost=1.0), Site("urn", "element", look_cost=9.0))
    )
    assert look_cost(dear, "element", "eye", False) is None
    assert look_cost(dear, "element", "eye", True) == 9.0
    bare = dataclasses.replace(facts, sites=())
    assert look_cost(bare, "wall", "eye", False) == 0.0


@pytest.mark.parametrize("priced", [False, True])
def test_the_look_that_is_asked_about_is_answered_first(priced):
    price = (Prices("urn", START, descale_materials=20.0, strip_down=100.0),) if priced else ()
    sites = (Site("urn", "chamber", look_cost=1.0), Site("urn", "wall", look_cost=500.0 if priced else None))
    case = api.prepare(dataclasses.replace(HISTORIES["new"], prices=price, sites=sites), particles=100)
    answer = value_looks(case, "wall", "camera")
    assert (answer.asked.site, answer.asked.method) == ("wall", "camera")
    first = look_sentences(answer)[0]
    assert first.startswith("urn: a look at the wall by camera, best ")
    assert ("does not pay: it is worth about " if priced else "what it costs is not on record") in first
    assert value_looks(case).asked is None
    with pytest.raises(UnknownNameError, match="no site is called 'lid'"):
        value_looks(case, "lid")
    with pytest.raises(UnknownNameError, match="no method is called 'sonar'"):
        value_looks(case, method="sonar")


def test_a_site_seen_today_is_not_tried_again_today():
    facts = history(*SEEN, look(360, 1), tds=150.0)
    answer = value_looks(api.prepare(facts, particles=100))
    assert not [o for o in answer.options if o.date == facts.as_of and o.site == "wall"]
    assert [o for o in answer.options if o.date == facts.as_of and o.site == "chamber"]


def test_where_every_site_was_seen_today_a_later_day_is_tried():
    """Also where the last safe day is so near that today alone would be left to try."""
    facts = history(look(120, 1), look(300, 2), look(360, 2), sites=())
    case = api.prepare(facts, particles=50)
    answer = value_looks(dataclasses.replace(case, tolerance=case.risk(1), _kept={}))
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
        assert answer.best.site in ({"gauge", "port"} if last == "lid" else {last})


def test_without_prices_a_worth_is_told_in_days_of_waiting(asked):
    answer = value_looks(asked["seen"])
    option = answer.options[0]
    assert option.value_days == pytest.approx(option.value / answer.day_value)
    assert amount(option.value, answer) == f"{option.value_days:.0f}"
    assert "descales" not in " ".join(look_sentences(answer))
    assert any("days of waiting save what a descale costs" in note for note in assumed_words(answer.assumptions))
