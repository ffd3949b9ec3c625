"""The test that may be watched for ever: its rate, its power, and what a range of grades is worth."""

from itertools import pairwise

import numpy as np
import pytest

from scalemodel.decision.sequential import (
    FEWEST,
    LEAST,
    OCCASION,
    PATIENCE,
    RATE,
    SIZES,
    STEADY,
    Direction,
    alarmed,
    evidence,
    log_ratios,
    moved,
    pooled_evidence,
    shares_of_days,
    shares_of_looks,
    start_weights,
)

GRADES = 5


def forecasts(rng, looks):
    """Forecasts of every kind, sure ones and open ones, as the test takes them: no grade without a chance."""
    return (1.0 - LEAST) * rng.dirichlet(np.full(GRADES, 0.5), size=looks) + LEAST / GRADES


def drawn(rng, chances):
    return (rng.random((len(chances), 1)) > chances.cumsum(axis=1)[:, :-1]).sum(axis=1)


def watched(chances, low, high=None, occasions=None):
    occasions = np.zeros(len(low), dtype=bool) if occasions is None else occasions
    return evidence(log_ratios(chances, low, low if high is None else high), shares_of_looks(occasions))


def test_every_single_look_is_an_e_value_whatever_its_forecast():
    """The mean over grades of the ratio is 1, never more, for every size and direction: the mixture's is too."""
    chances = forecasts(np.random.default_rng(1), 40)
    means = sum(chances[:, g] * np.exp(log_ratios(chances, np.full(40, g), np.full(40, g))) for g in range(GRADES))
    assert means.shape == (len(Direction), len(SIZES), 40)
    assert np.all(means <= 1.0 + 1e-12)
    assert np.all(means > 0.9999)


def test_a_range_is_worth_no_more_than_any_of_its_grades():
    chances = forecasts(np.random.default_rng(2), 30)
    for low in range(GRADES):
        for high in range(low, GRADES):
            whole = log_ratios(chances, np.full(30, low), np.full(30, high))
            each = [log_ratios(chances, np.full(30, g), np.full(30, g)) for g in range(low, high + 1)]
            assert np.all(whole <= np.min(each, axis=0) + 1e-12)


def test_a_thousand_sound_boilers_raise_no_more_false_alarms_than_the_rate_however_long_they_are_watched():
    """Ville's inequality: at most 10 of 1,000 are meant; 21 would be more than 3 standard errors above."""
    rng = np.random.default_rng(3)
    raised = 0
    for _ in range(1000):
        chances = forecasts(rng, 80)
        seen = drawn(rng, chances)
        wide = rng.random(80) < 0.3
        high = np.where(wide, np.minimum(seen + 1, GRADES - 1), seen)
        raised += alarmed(watched(chances, seen, high, rng.random(80) < 0.15)) is not None
    assert raised <= 1000 * RATE + 3.3 * np.sqrt(1000 * RATE)


def test_the_mean_of_the_mixture_is_one_at_any_time():
    """Over all paths of three looks, by enumeration: neither mixing nor occasions give evidence away or make it."""
    chances = forecasts(np.random.default_rng(4), 3)
    occasions = np.array([False, True, False])
    total = 0.0
    for path in np.ndindex(GRADES, GRADES, GRADES):
        seen = np.array(path)
        total += np.prod(chances[np.arange(3), seen]) * watched(chances, seen, occasions=occasions).total
    assert total == pytest.approx(np.ones(3), abs=1e-4)


@pytest.mark.parametrize("direction", list(Direction))
def test_looks_that_run_off_are_told_with_their_direction_and_their_first_look(direction):
    rng = np.random.default_rng(5)
    size, first = (1.2 if direction is Direction.WORSE else -1.2), 15
    told, begun = [], []
    for _ in range(60):
        chances = forecasts(rng, 60)
        truth = np.vstack([chances[:first], moved(chances[first:], size)])
        found = alarmed(watched(chances, drawn(rng, truth)))
        if found is not None:
            told.append(found)
            begun.append(found.start)
    assert len(told) >= 57
    assert all(one.direction is direction for one in told)
    assert all(one.at >= one.start and one.evidence >= 1.0 / RATE for one in told)
    assert abs(np.median(begun) - first) <= 4


def test_looks_as_foretold_leave_the_evidence_below_one():
    """Growing evidence that nothing has changed is no proof of it, but it is never read as a change."""
    rng = np.random.default_rng(6)
    ends = []
    for _ in range(100):
        chances = forecasts(rng, 50)
        ends.append(watched(chances, drawn(rng, chances)).total[-1])
    assert np.median(ends) < 1.0
    assert np.mean(ends) < 1.5


def test_the_weights_of_all_first_looks_sum_to_one():
    occasions = np.random.default_rng(7).random(400) < 0.1
    begun, left = start_weights(shares_of_looks(occasions))
    assert begun.sum() + left[-1] == pytest.approx(1.0)
    assert np.all(np.diff(left) < 0.0)
    plain, _ = start_weights(shares_of_looks(np.zeros(5000, dtype=bool)))
    assert plain.sum() == pytest.approx(1.0, abs=(1 + PATIENCE) / 5000)
    assert all(a > b for a, b in pairwise(plain))
    at = int(np.flatnonzero(occasions)[0])
    assert begun[at] == pytest.approx(OCCASION * np.append(1.0, left)[at])


def test_one_look_alone_hardly_ever_tells():
    """The unlikeliest look there may be is an alarm only where it was all but excluded; seven honest ones are none."""
    chances = np.tile([0.05, 0.3, 0.6, 0.049, 0.001], (FEWEST - 1, 1))
    assert alarmed(watched(chances, np.array([2, 2, 1, 2, 2, 3, 2]))) is None


def test_the_mean_of_the_pooled_mixture_is_never_more_than_one():
    """Over all paths of three looks, by enumeration, under each steady move that may have been there all along."""
    chances = forecasts(np.random.default_rng(5), 3)
    days = np.array([0, 10, 50])
    for steady in (0.0, *STEADY):
        truth, total = moved(chances, steady), 0.0
        for path in np.ndindex(GRADES, GRADES, GRADES):
            seen = np.array(path)
            total += np.prod(truth[np.arange(3), seen]) * pooled_evidence(chances, seen, seen, days).total
        assert np.all(total <= 1.0 + 1e-6), steady


def test_pools_are_never_surer_than_a_test_without_steady_moves_and_begin_with_months():
    rng = np.random.default_rng(6)
    chances, days = forecasts(rng, 90), np.sort(rng.integers(0, 400, size=90))
    seen = drawn(rng, moved(chances, 0.5))
    shares = shares_of_days(days)
    assert (shares > 0.0).sum() == len(set((days - days[0]) // 30))
    plain = evidence(log_ratios(chances, seen, seen), shares)
    assert np.all(pooled_evidence(chances, seen, seen, days).total <= plain.total)
    assert shares_of_days(np.array([], dtype=int)).shape == (0,)


def test_a_thousand_sound_pools_raise_no_more_false_alarms_than_the_rate():
    rng = np.random.default_rng(7)
    raised = 0
    for _ in range(1000):
        chances = forecasts(rng, 60)
        seen = drawn(rng, moved(chances, 0.05))
        found = pooled_evidence(chances, seen, seen, np.sort(rng.integers(0, 500, size=60)))
        raised += alarmed(found) is not None
    assert raised <= 1000 * RATE + 3.3 * np.sqrt(1000 * RATE)
