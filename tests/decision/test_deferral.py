"""Risk by date and the deferral: definitions, thresholds, words."""

import dataclasses
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from scalemodel import api
from scalemodel.decision.status import Status
from scalemodel.errors import BadValueError, UnknownNameError
from scalemodel.logbook.records import Descale
from scalemodel.words.account import evidence_of
from scalemodel.words.answer import first_sentences, reason_of
from tests.builders import day, history, look

SEEN = (look(90, 0, 1), look(180, 1), look(270, 1))


def test_the_date_is_the_last_within_the_tolerance():
    facts = history(*SEEN)
    answer = api.defer(facts)
    dates = [answer.defer_until, answer.defer_until + timedelta(days=1)]
    within, past = api.risk(facts, dates).points
    assert within.probability <= 0.1 < past.probability
    assert answer.crossing["p10"] == dates[1]
    assert answer.crossing["p10"] < answer.crossing["p50"]
    assert answer.mc_error_days > 0


def test_risk_never_falls_and_agrees_with_the_drawn_deposits():
    case = api.prepare(history(*SEEN), particles=2000)
    forecast, threshold = case.forecast, case.threshold
    risks = [forecast.risk(threshold.mg_cm2, d)[0] for d in range(0, 1000, 50)]
    assert np.all(np.diff(risks) >= 0)
    drawn = np.mean(forecast.deposit_draws(400) >= threshold.mg_cm2)
    assert drawn == pytest.approx(forecast.risk(threshold.mg_cm2, 400)[0], abs=4 * 0.5 / np.sqrt(8000))


def test_a_smaller_tolerance_or_threshold_is_never_later():
    facts = history(*SEEN)
    by_tolerance = [api.prepare(facts, tolerance=t).last_safe or -1 for t in (0.02, 0.05, 0.1, 0.3)]
    assert by_tolerance == sorted(by_tolerance)
    by_threshold = [api.prepare(facts, threshold_mg_cm2=x).last_safe or -1 for x in (4.0, 6.0, 9.0)]
    assert by_threshold == sorted(by_threshold)
    assert by_tolerance[-1] > by_tolerance[0]
    assert by_threshold[-1] > by_threshold[0]


def test_thresholds_by_grade_thickness_and_deposit_agree():
    facts = history(*SEEN)
    answers = [
        api.defer(facts, **q) for q in ({"threshold_grade": 3}, {"threshold_um": 30.0}, {"threshold_mg_cm2": 6.0})
    ]
    assert len({a.defer_until for a in answers}) == 1
    with pytest.raises(BadValueError, match="not several"):
        api.defer(facts, threshold_grade=3, threshold_um=30.0)


def test_more_water_or_harder_water_is_never_later():
    facts = history(*SEEN)
    slow, fast = (api.defer(facts, litres_per_day=x).defer_until for x in (0.2, 0.8))
    assert fast < slow
    softer = api.defer(facts, water="soft").defer_until
    assert softer > api.defer(facts).defer_until


def test_already_past_and_beyond_the_horizon_are_said():
    past = api.defer(history(*SEEN, look(355, 2)), tolerance=0.01)
    assert (past.status, past.defer_until) == (Status.PAST, None)
    assert reason_of(past).startswith("already past")
    assert "do not defer" in first_sentences(past)[0]
    safe = api.defer(history(*SEEN, tds=20.0), horizon_days=200)
    assert (safe.status, safe.defer_until) == (Status.BEYOND, None)
    assert reason_of(safe).startswith("beyond the horizon")
    assert "no descale is due within 200 days" in first_sentences(safe)[0]


def test_no_use_from_now_on_never_crosses():
    answer = api.defer(history(*SEEN), litres_per_day=0.0)
    assert reason_of(answer).startswith("beyond the horizon")
    assert answer.crossing["p90"] is None


@pytest.mark.parametrize(
    ("question", "words"),
    [
        ({"tolerance": 0.0}, "tolerance"),
        ({"tolerance": float("nan")}, "tolerance"),
        ({"tolerance": 1.5}, "tolerance"),
        ({"threshold_grade": 0}, "1 to 4"),
        ({"threshold_grade": 5}, "1 to 4"),
        ({"threshold_um": -3.0}, "positive"),
        ({"threshold_um": float("inf")}, "positive"),
        ({"threshold_mg_cm2": float("nan")}, "positive"),
        ({"litres_per_day": -1.0}, "litres"),
        ({"litres_per_day": float("nan")}, "litres"),
        ({"horizon_days": 0}, "horizon"),
        ({"horizon_days": 10**7}, "horizon"),
    ],
)
def test_senseless_questions_are_refused(question, words):
    with pytest.raises(BadValueError, match=words):
        api.defer(history(*SEEN), **question)


def test_unknown_site_and_water():
    with pytest.raises(UnknownNameError, match="site"):
        api.defer(history(*SEEN), site="nowhere")
    with pytest.raises(UnknownNameError, match="water"):
        api.defer(history(*SEEN), water="rain")


def test_a_date_before_as_of_is_refused():
    with pytest.raises(BadValueError, match="from"):
        api.risk(history(*SEEN), [day(5)])


def test_thin_evidence_is_said():
    assert any("thin" in s and "nobody" in s for s in evidence_of(history()))
    assert any("thin" in s and "only 1 look" in s for s in evidence_of(history(look(90, 1))))
    assert not any("thin" in s for s in evidence_of(history(*SEEN)))
    descaled = history(*SEEN, descales=(Descale("urn", day(300)),))
    assert any("no look since the last descale" in s for s in evidence_of(descaled))


def test_an_unsettled_sampler_is_said():
    answer = api.defer(history(*SEEN))
    assert not any("Caution" in s for s in first_sentences(answer))
    capped = dataclasses.replace(answer, engine=dataclasses.replace(answer.engine, capped=True))
    assert any("Caution" in s for s in first_sentences(capped))
    apart = dataclasses.replace(answer, engine=dataclasses.replace(answer.engine, r_hat=float("nan")))
    assert any("Caution" in s for s in first_sentences(apart))


def test_results_offer_frames():
    facts = history(*SEEN)
    points = api.risk(facts, [str(facts.as_of), pd.Timestamp(day(700))]).to_frame()
    assert list(points.columns)[:3] == ["date", "probability", "mc_error"]
    assert list(points["date"]) == [pd.Timestamp(facts.as_of), pd.Timestamp(day(700))]
    assert set(points["boiler"]) == {"urn"}
    answer = api.defer(facts)
    row = answer.to_frame().loc[0]
    assert (row["boiler"], row["status"], row["alarms"]) == ("urn", "within", "")
    assert (row["tolerance"], row["threshold_mg_cm2"]) == (0.1, 6.0)
    assert row["mc_error_days"] == answer.mc_error_days
    assert row["defer_until"] <= row["crossing_p10"]
    assert row["deposit_now_mg_cm2_mean"] == answer.deposit_now_mg_cm2.mean
    left = {one.name for one in dataclasses.fields(answer)} - {"basis"}
    assert all(any(column.startswith(name) for column in row.index) for name in left)


def test_another_site_has_its_own_risk():
    facts = history(*SEEN)
    wall, chamber, element = (
        api.risk(facts, [day(700)], site=s).points[0].probability for s in (None, "chamber", "element")
    )
    assert chamber < wall < element


def test_the_error_in_days_is_the_spread_over_seeds():
    facts = history(*SEEN)
    answers = [api.defer(facts, seed=s) for s in range(16)]
    days = np.array([(a.defer_until - a.as_of).days for a in answers])
    stated = np.sqrt(np.mean([a.mc_error_days**2 for a in answers]))
    assert 0.5 * days.std(ddof=1) < stated < 2.0 * days.std(ddof=1)


@pytest.mark.parametrize(
    "question",
    [{"horizon_days": 10.5}, {"seed": -1}, {"seed": 1.5}, {"particles": 0}, {"particles": -5}, {"particles": 10.5}],
)
def test_what_must_be_whole_is_whole(question):
    with pytest.raises(BadValueError, match="whole number"):
        api.defer(history(*SEEN), **question)


def test_small_tolerances_are_said_as_they_are():
    answer = api.defer(history(*SEEN, days=900), tolerance=0.004)
    assert answer.status is Status.PAST
    assert "0.4%" in reason_of(answer)
    assert "you accept 0.4%" in " ".join(first_sentences(answer))


def test_a_stated_rate_owes_nothing_to_past_gaps():
    from scalemodel.logbook.records import Use

    gaps = (Use("urn", day(0), day(60), litres=30.0), Use("urn", day(300), day(350), litres=25.0))
    facts = history(look(250, 4), look(340, 4), uses=gaps)
    stated = api.prepare(facts, litres_per_day=0.4).forecast
    assert np.log(stated.litres_a_day / 0.4).mean() == pytest.approx(0.0, abs=0.03)
    recorded = api.prepare(facts).forecast
    assert np.log(recorded.litres_a_day / 0.5).mean() > 0.03
