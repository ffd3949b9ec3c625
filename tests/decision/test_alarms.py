"""Alarms: which looks raise one, what answers it, what confirms it, and what is then said."""

from dataclasses import asdict, replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scalemodel import api
from scalemodel.cli.ask import deferral_json, deferral_text
from scalemodel.cli.cost import cost_text
from scalemodel.cli.next_inspection import inspection_text
from scalemodel.decision.alarms import AlarmReason, chance_foretold, find_alarms, is_mild, is_severe, severe_alarms
from scalemodel.decision.inspection_value import LookReason
from scalemodel.decision.loss import LONGEST_UNSEEN_DAYS
from scalemodel.decision.status import Status
from scalemodel.logbook.records import Descale, Inspection, Prices
from scalemodel.logbook.store import Logbook
from scalemodel.words.advice import next_look_words
from scalemodel.words.answer import first_sentences, reason_of
from tests.builders import START, day, history, look

BARE = tuple(look(n, 0) for n in (60, 110, 160, 210, 260, 310))
GRADE_3 = 6.0
QUICK = {"particles": 100}


def alarms(*looks, threshold=GRADE_3, **more):
    return severe_alarms(history(*looks, **more), threshold)


# ---- which looks are severe


@pytest.mark.parametrize(
    ("low", "high", "severe"),
    [
        (2, 2, False), (3, 3, True), (4, 4, True),
        (3, 4, True),  # 3+
        (2, 4, True),  # 2+: more of it past the threshold than not
        (2, 3, False), (1, 4, False), (0, 4, False), (1, 3, False), (0, 2, False),
    ],
)  # fmt: skip
def test_a_grade_or_range_mostly_at_or_past_the_threshold_is_severe(low, high, severe):
    assert bool(alarms(look(100, low, high))) == severe


@pytest.mark.parametrize(
    ("threshold", "mildest"),
    [(0.1, 1), (0.3, 1), (0.31, 2), (1.5, 2), (4.0, 3), (6.0, 3), (6.1, 4), (25.0, 4), (40.0, 4)],
)
def test_the_threshold_decides_the_mildest_severe_grade(threshold, mildest):
    found = [grade for grade in range(5) if alarms(look(100, grade), threshold=threshold)]
    assert found == list(range(mildest, 5))


def test_a_threshold_asked_about_in_any_unit_is_the_same():
    facts = history(*BARE, look(355, 3))
    asked = ({"threshold_grade": 3}, {"threshold_um": 30.0}, {"threshold_mg_cm2": 6.0})
    assert {api.defer(facts, **QUICK, **one).status for one in asked} == {Status.LOOK_AGAIN}
    assert api.defer(facts, **QUICK, threshold_mg_cm2=6.0).alarms[0].grade == "3"
    higher = severe_alarms(facts, 25.0)
    assert higher == ()


def test_a_thickness_at_the_threshold_is_severe_whatever_the_grade():
    assert alarms(look(100, 1, thickness_um=30.0))
    assert not alarms(look(100, 1, thickness_um=29.9))
    assert alarms(look(100, 3, thickness_um=12.0))  # the crust that was graded is not where the gauge was put


@given(st.integers(0, 4), st.integers(0, 4), st.floats(0.05, 60.0))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_no_look_is_severe_and_mild_and_a_worse_one_never_less_severe(one, other, threshold):
    low, high = sorted((one, other))
    seen = look(100, low, high)
    assert not (is_severe(seen, threshold) and is_mild(seen, threshold))
    if low < 4:
        worse = look(100, min(low + 1, 4), min(high + 1, 4))
        assert is_severe(worse, threshold) >= is_severe(seen, threshold)
        assert is_mild(worse, threshold) <= is_mild(seen, threshold)


# ---- what answers one


def test_two_milder_looks_answer_it_and_one_does_not():
    assert [a.milder for a in alarms(look(100, 4), look(101, 1))] == [1]
    assert alarms(look(100, 4), look(101, 1), look(102, 0)) == ()
    assert alarms(look(100, 4), look(100, 1), look(100, 1)) == ()  # looked again at once, twice
    assert alarms(look(98, 1), look(99, 1), look(100, 4)) != ()  # looks before it do not answer it


def test_a_severe_look_between_begins_anew():
    assert alarms(look(100, 4), look(101, 1), look(102, 3), look(103, 1)) != ()
    assert alarms(look(100, 4), look(101, 1), look(102, 3), look(103, 1), look(104, 1)) == ()
    every_other = [look(20 * k, 4 * (k % 2)) for k in range(1, 12)]
    (alarm,) = alarms(*every_other, look(230, 0))
    assert alarm.confirmed


def test_a_range_that_may_be_past_the_threshold_answers_nothing():
    assert alarms(look(100, 4), look(101, 2, 3), look(102, 2, 3), look(103, 1, 4)) != ()
    assert alarms(look(100, 4), look(101, 2), look(102, 1, 2)) == ()
    assert alarms(look(100, 4), look(101, 2), look(102, 2), threshold=4.0) != ()  # grade 2 reaches 6 mg/cm2


@pytest.mark.parametrize("asked", ["eye", "mirror", "camera", "glance"])
@pytest.mark.parametrize("told", ["eye", "mirror", "camera", "glance"])
def test_only_the_same_method_or_a_better_one_answers(asked, told):
    found = alarms(look(100, 4, method=asked), look(101, 0, method=told), look(102, 0, method=told))
    assert bool(found) == (told == "glance" and asked != "glance")


def test_a_severe_glance_does_not_let_glances_answer_the_eye():
    glances = [look(n, 0, method="glance") for n in (103, 104)]
    (alarm,) = alarms(look(100, 4), look(102, 3, method="glance"), *glances)
    assert (alarm.date, alarm.method) == (day(100), "eye")


def test_only_the_same_site_answers():
    chamber = [look(n, 0, site="chamber") for n in (101, 102, 103)]
    assert alarms(look(100, 4), *chamber) != ()
    assert [a.site for a in alarms(look(100, 4, site="chamber"), look(101, 0), look(102, 0))] == ["chamber"]


def test_a_thickness_below_the_threshold_answers_it():
    assert alarms(look(100, 4), look(101, 2, thickness_um=12.0)) == ()
    assert alarms(look(100, 4), look(101, 2, thickness_um=30.0)) != ()
    assert alarms(look(100, 4), look(101, 1, site="chamber", thickness_um=2.0)) != ()
    assert alarms(look(99, 2, thickness_um=12.0), look(100, 4)) != ()


def test_a_descale_after_it_answers_it():
    seen = look(100, 4)
    for scope in ("full", "partial"):
        assert alarms(seen, descales=(Descale("urn", day(101), scope),)) == ()
    assert alarms(seen, descales=(Descale("urn", day(100)),)) == ()  # a look counts as made before that day's descale
    assert alarms(seen, descales=(Descale("urn", day(99)),)) != ()
    after = replace(seen, after_descale=True)
    assert alarms(after, descales=(Descale("urn", day(100)),)) != ()


# ---- what confirms one, and that each is told once


def test_another_inspector_or_a_later_day_confirms():
    ada, ben = (look(100, 4, inspector=name) for name in ("Ada", "Ben"))
    assert not alarms(ada)[0].confirmed
    (alarm,) = alarms(ada, ben)
    assert (alarm.confirmed, alarm.inspector, [s.inspector for s in alarm.agreeing]) == (True, "Ben", ["Ada"])
    assert alarms(ada, replace(ben, date=day(120)))[0].confirmed
    assert alarms(ada, replace(ada, date=day(101)))[0].confirmed
    assert not alarms(ada, replace(ada, grade_low=3, grade_high=3))[0].confirmed  # one person, one day
    assert not alarms(ada, replace(ben, site="chamber"))[0].confirmed
    assert not alarms(ada, look(101, 0), look(102, 0), replace(ben, date=day(103)))[0].confirmed  # answered meanwhile


def test_one_alarm_a_site_told_by_the_latest():
    found = alarms(look(90, 3), look(100, 4), look(120, 3, 4), look(110, 3, site="element"))
    assert {(a.site, a.date, a.grade) for a in found} == {
        ("wall", day(120), "3+"),
        ("element", day(110), "3"),
    }
    answer = api.defer(history(look(90, 3), look(100, 4), look(120, 3, 4), look(110, 3, site="element")), **QUICK)
    assert [a.site for a in answer.alarms] == ["wall", "element"]  # the latest first
    text = " ".join(first_sentences(answer))
    assert text.count("at the wall on") == text.count("at the element on") == 1


# ---- looks that all else contradicts from below


def test_a_look_far_above_all_else_is_an_alarm_below_the_threshold_too():
    """Asked about grade 4, a crust where six looks found bare metal is not past it, and still an alarm."""
    facts = history(*BARE, look(330, 3, inspector="Ada"), days=340, tds=60.0)
    answer = api.defer(facts, threshold_grade=4)
    (alarm,) = answer.alarms
    assert (alarm.reason, alarm.date, answer.status) == (AlarmReason.UNFORETOLD, day(330), Status.LOOK_AGAIN)
    assert "all else on record gives so much a chance below 1 in 100" in first_sentences(answer)[0]
    calm = history(*BARE, look(330, 3), look(332, 1), look(334, 0), days=340, tds=60.0)
    assert api.defer(calm, threshold_grade=4).alarms == ()
    once = history(*BARE, look(330, 3), look(332, 1), days=340, tds=60.0)
    assert [a.milder for a in api.defer(once, threshold_grade=4).alarms] == [1]


def test_looks_that_agree_and_looks_that_are_milder_than_all_else_are_none():
    agree = history(look(90, 1), look(180, 1), look(270, 2), look(350, 2))
    assert find_alarms(api.prepare(agree).forecast, GRADE_3) == ()
    milder = history(look(90, 1, 2), look(180, 2), look(270, 2), look(350, 2), look(355, 0))
    assert find_alarms(api.prepare(milder).forecast, GRADE_3) == ()


def test_the_chance_without_a_look_is_that_of_the_others_alone():
    """Importance weights against the two-state model solved by hand, and no division by nought."""
    by_grade = np.array([[0.8, 0.1], [0.1, 0.2], [0.1, 0.7]])
    posterior = np.array([0.2, 0.8])  # given the look, in proportion to prior times by_grade[2]
    prior = posterior / by_grade[2]
    prior /= prior.sum()
    draws = np.repeat(by_grade, (200, 800), axis=1)
    seen = Inspection("k", day(1), "wall", 2, 2)
    assert chance_foretold(seen, draws) == pytest.approx(by_grade[2] @ prior)
    assert chance_foretold(replace(seen, grade_low=1), draws) <= 1.0
    assert np.isfinite(chance_foretold(seen, np.array([[1.0, 1.0], [0.0, 0.0], [0.0, 1e-320]])))


# ---- what is then said


@pytest.fixture(scope="module")
def alarmed():
    prices = (Prices("urn", START, 4.0, 1.0, 20.0, strip_down=150.0),)
    return history(*BARE, look(355, 4, inspector="Ada"), days=360, tds=90.0, prices=prices)


def test_no_date_until_it_is_answered(alarmed):
    answer = api.defer(alarmed)
    assert answer.status is Status.LOOK_AGAIN
    assert answer.defer_until is answer.mc_error_days is None
    assert set(answer.crossing.values()) == {None}
    head, *rest = first_sentences(answer)
    assert head.startswith(
        "urn: look again now, do not defer: grade 4 (thick, flaking or bridging) was seen at the wall"
    )
    assert f"on {day(355)} by Ada" in head
    assert reason_of(answer).startswith("look again first: grade 4")
    assert not any("reach it" in sentence or "How sure" in sentence for sentence in rest)
    row = answer.to_frame().loc[0]
    assert row["status"] == "look_again"
    assert str(row["defer_until"]) == str(row["crossing_p50"]) == "NaT"
    assert row["alarms"] == f"grade 4 at the wall on {day(355)} by Ada"
    body = deferral_json(answer)
    assert body["status"] == "look_again"
    assert {k: body["alarms"][0][k] for k in ("record", "site", "date", "grade", "inspector", "confirmed")} == {
        "record": None, "site": "wall", "date": day(355), "grade": "4", "inspector": "Ada", "confirmed": False,
    }  # fmt: skip


def test_every_screen_says_look_again_first_and_names_no_later_date(alarmed):
    answer, looks, cost = api.defer(alarmed), api.next_inspection(alarmed), api.cost(alarmed)
    screens = (deferral_text(answer, *next_look_words("urn", looks)), inspection_text(looks), cost_text(cost))
    for text in screens:
        assert text.startswith("urn: look again now, do not defer: ")
        assert text.count("was seen at the wall") == 1
        for later in ("can wait until", "around 20", "is due around", "No look", "Without a look: descale around"):
            assert later not in text
    assert (cost.status, cost.cheapest_on, cost.defer_until) == (Status.LOOK_AGAIN, None, None)


def test_the_next_look_is_at_its_site_today(alarmed):
    for seen in (alarmed.inspections, (*alarmed.inspections, look(360, 1))):  # also where it was looked at today
        answer = api.next_inspection(replace(alarmed, inspections=seen), particles=100)
        assert (answer.best.site, answer.best.date) == ("wall", alarmed.as_of)
        assert answer.look_reason is LookReason.ALARM
        assert (answer.findings, answer.descale_on) == ((), alarmed.as_of)
    mirrored = (*BARE, look(355, 4, site="chamber", method="mirror"))
    best = api.next_inspection(replace(alarmed, inspections=mirrored), particles=100).best
    assert (best.site, best.method) == ("chamber", "mirror")


def test_a_confirmed_alarm_says_who_agrees_and_to_descale(alarmed):
    seen = (*alarmed.inspections, look(356, 3, 4, inspector="Ben"))
    answer = api.defer(replace(alarmed, inspections=seen), particles=100)
    head, second, *_ = first_sentences(answer)
    assert f"grade 3 or worse was seen at the wall on {day(356)} by Ben, and grade 4 on {day(355)} by Ada" in head
    assert "descale now" in second
    cleaned = (*seen, look(358, 0, after_descale=True))
    descaled = replace(alarmed, inspections=cleaned, descales=(Descale("urn", day(358)),))
    assert api.defer(descaled, particles=100).status.waits


def test_an_alarm_is_known_from_its_day_on_and_gone_once_amended_or_struck():
    facts = history(*BARE, tds=90.0, days=360)
    with Logbook.in_memory(today=lambda: day(400)) as book:
        for record in (facts.boiler, *facts.sites, *facts.waters, *facts.water_tests, *facts.fills, *facts.uses):
            book.add(record)
        for seen in BARE:
            book.add(seen)
        number = book.add(look(355, 4, inspector="Ada"))
        asked = {n: severe_alarms(book.facts("urn", day(n)), GRADE_3) for n in (354, 355, 390)}
        assert [len(found) for found in asked.values()] == [0, 1, 1]
        assert asked[355][0].record == number
        (said,) = next_look_words("urn", api.next_inspection(book.facts("urn", day(360)), particles=100))
        assert f"record {number} is mistaken" in said
        again = book.amend(number, {"grade": "3+"})
        assert [a.record for a in severe_alarms(book.facts("urn", day(360)), GRADE_3)] == [again]
        last = book.amend(again, {"grade": "1"})
        assert severe_alarms(book.facts("urn", day(360)), GRADE_3) == ()
        worse = book.amend(last, {"grade": "4"})
        book.strike(worse, "another boiler's look")
        assert severe_alarms(book.facts("urn", day(360)), GRADE_3) == ()


# ---- no boiler goes unseen for longer than a year


@pytest.mark.parametrize(
    ("seen", "days", "due"),
    [((300,), 360, 300 + LONGEST_UNSEEN_DAYS), ((), 100, LONGEST_UNSEEN_DAYS), ((), 500, 500), ((60,), 600, 600)],
)
def test_a_look_is_due_within_a_year_of_the_last_whatever_it_is_worth(seen, days, due):
    facts = history(*(look(n, 0) for n in seen), days=days, tds=20.0, litres_per_day=0.05)
    answer = api.next_inspection(facts, particles=100)
    assert answer.status is Status.BEYOND
    assert answer.best.date <= max(day(due), facts.as_of)
    assert all(option.date <= day(due) for option in answer.options)
    if answer.look_reason is LookReason.YEARLY:
        assert answer.best.date == day(due)
        when = "today" if day(due) == facts.as_of else f"by {day(due)}"
        assert f"{when}: once a year at least" in next_look_words("urn", answer)[0]


@given(
    st.lists(st.tuples(st.integers(0, 4), st.integers(20, 90)), min_size=0, max_size=6),
    st.sampled_from([20.0, 90.0, 240.0, 400.0]),
    st.sampled_from([0.01, 0.1, 0.4]),
)
@settings(max_examples=25, deadline=None, derandomize=True)
def test_no_advice_without_a_look_is_later_than_the_status_allows(seen, tds, tolerance):
    days, looks = 0, []
    for grade, gap in seen:
        days += gap
        looks.append(look(days, grade))
    facts = history(*looks, days=max(days + 5, 60), tds=tds, prices=(Prices("urn", START, 4.0, 1.0, 20.0),))
    asked = {"particles": 100, "tolerance": tolerance}
    answer, looks, cost = (ask(facts, **asked) for ask in (api.defer, api.next_inspection, api.cost))
    assert answer.status is looks.status is cost.status
    assert (answer.status is Status.LOOK_AGAIN) == bool(answer.alarms)
    bound = {Status.WITHIN: answer.defer_until, Status.BEYOND: None}.get(answer.status, facts.as_of)
    for advised in (looks.descale_on, cost.cheapest_on, answer.cheapest_on):
        assert bound is None or advised is None or advised <= bound
    assert bound is None or looks.descale_on is not None
    if looks.best is not None:
        assert looks.best.date <= facts.as_of + timedelta(days=LONGEST_UNSEEN_DAYS)
        assert answer.status.waits or looks.best.date == facts.as_of
    assert all(asdict(alarm)["site"] == "wall" for alarm in answer.alarms)
