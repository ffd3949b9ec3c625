"""A change in words, and what it does to an answer: the first lines, the earlier date, the list."""

import json
from dataclasses import replace
from datetime import date

import pytest

from scalemodel import api
from scalemodel.cli.ask import deferral_json, deferral_text
from scalemodel.decision.change import Change
from scalemodel.decision.sequential import FEWEST, Direction
from scalemodel.decision.status import Status
from scalemodel.validation.other_worlds import SOUND, draw_luck, live
from scalemodel.words.advice import verdict
from scalemodel.words.answer import first_sentences
from scalemodel.words.change import EXPLAINED_BY, TOO_FEW, change_words, watch_words


@pytest.fixture(scope="module")
def facts():
    return live(draw_luck(4, 4), SOUND).facts


@pytest.fixture
def changed(facts, monkeypatch):
    """Cases of these facts have changed, as they would where their looks were told one by one."""
    looks = facts.inspections

    def make(direction=Direction.WORSE, since=looks[8].date):
        change = Change(since, 312.4, direction, looks[-1].date, 6)
        monkeypatch.setattr("scalemodel.decision.case.change_of", lambda forecast: change)
        return api.prepare(facts, seed=1, particles=150, tolerance=0.6)

    return make


@pytest.mark.parametrize("direction", list(Direction))
def test_the_first_lines_say_what_changed_since_when_why_and_what_to_do(changed, direction):
    answer = api.defer(changed(direction))
    head, what, why, dates, *_ = first_sentences(answer)
    assert head.startswith("urn: ")
    assert what.endswith("has the water, the use or the softener changed?")
    assert f"are {direction} than foretold (chance 1 in 310)" in what
    assert EXPLAINED_BY[direction] in why
    assert all(word in why for word in ("add water-test", "look at the wall", "check the use"))
    assert dates.startswith("By all records it can wait ")
    assert "as since then" in dates
    assert f"looks {direction} than foretold since {answer.change.since}" in verdict(answer)
    assert what in deferral_text(answer)


def test_of_the_two_dates_the_earlier_counts(changed):
    case = changed()
    answer = api.defer(case)
    waits = (answer.by_all_records, answer.as_since_then)
    assert all(wait.status is Status.WITHIN for wait in waits)
    assert waits[0].until != waits[1].until
    assert answer.defer_until == min(wait.until for wait in waits)
    assert case.date_of(case.last_by_all) == waits[0].until


def test_a_change_that_leaves_no_day_is_past(changed):
    case = changed()
    passed = replace(case.since_then, threshold=replace(case.threshold, mg_cm2=0.01), _kept={})  # long past
    case.__dict__["since_then"] = passed
    answer = api.defer(case)
    assert answer.as_since_then.status is Status.PAST
    assert answer.status is Status.PAST
    assert answer.defer_until is None
    assert "as since then, by the records since the change alone, no longer." in "".join(first_sentences(answer))


def test_scripts_are_told_of_a_change(changed):
    answer = api.defer(changed())
    told = json.loads(json.dumps(deferral_json(answer), default=str))
    assert told["change"]["direction"] == "worse"
    assert told["change"]["since"] == str(answer.change.since)
    assert told["as_since_then"]["until"] == str(answer.as_since_then.until)


def test_without_a_change_nothing_is_said_of_one(facts, monkeypatch):
    monkeypatch.setattr("scalemodel.decision.case.change_of", lambda forecast: None)
    answer = api.defer(facts, seed=1, particles=150)
    assert (answer.change, answer.by_all_records, answer.as_since_then) == (None, None, None)
    assert not any("than foretold" in said for said in first_sentences(answer))


def test_the_month_is_told_with_its_year_unless_it_is_this_one():
    change = Change(date(2025, 6, 2), 1e9, Direction.MILDER, date(2025, 9, 1), 4)
    assert change_words(change, date(2025, 11, 1)).startswith("since June its looks are milder")
    assert change_words(change, date(2026, 11, 1)).startswith("since June 2025 ")
    assert change_words(change, date(2026, 11, 1)).endswith("(chance less than 1 in 1000000)")


def test_no_alarm_is_never_called_a_right_model():
    assert TOO_FEW in watch_words(FEWEST - 1)
    assert TOO_FEW not in watch_words(FEWEST)
    assert "right" not in watch_words(40)
    assert "seldom" in watch_words(40)


def test_every_date_of_the_page_s_controls_counts_the_change_too(changed):
    from scalemodel.decision.curves import tabulate

    case = changed()
    risk = tabulate(case)
    assert risk.until(risk.own, risk.tolerance) == api.defer(case).defer_until
