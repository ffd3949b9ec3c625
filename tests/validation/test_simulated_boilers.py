"""Invented histories and findings: they are of every kind, and tell no more than the law says they do."""

from collections import defaultdict
from itertools import product

import numpy as np
import pytest

from scalemodel.logbook.records import SCOPES, STARTS
from scalemodel.model.grading import GRADE_COUNT
from scalemodel.model.look import LookModel
from scalemodel.model.supply import find_supply
from scalemodel.model.target import build_model
from scalemodel.model.timeline import build_timeline
from scalemodel.validation.histories import MOST_LOOKS, invent_history
from scalemodel.validation.simulated_boilers import draw_range, simulate


class FixedChance:
    """In place of a generator: every whole number drawn is the one given."""

    def __init__(self, number):
        self.number = number

    def integers(self, count):
        return self.number % count


@pytest.mark.parametrize("width", range(GRADE_COUNT))
def test_a_range_tells_only_that_the_grade_is_in_it(width):
    """Of all the ways to cut the scale, as many lead to a range from each of its grades."""
    ways = defaultdict(lambda: np.zeros(GRADE_COUNT, dtype=int))
    for cut, grade in product(range(width + 1), range(GRADE_COUNT)):
        low, high = draw_range(FixedChance(cut), grade, width)
        assert 0 <= low <= grade <= high < GRADE_COUNT
        assert high - low <= width
        ways[low, high][grade] += 1
    for (low, high), count in ways.items():
        assert len(set(count[low : high + 1])) == 1
        assert count.sum() == count[low] * (high - low + 1)


def test_grades_come_as_often_as_the_likelihood_says():
    rng, reads, deposit, n = np.random.default_rng(3), LookModel(0.7, 2.0, -0.2), 2.1, 20_000
    counts = np.bincount([reads.draw_grade(rng, deposit) for _ in range(n)], minlength=GRADE_COUNT)
    chance = reads.grade_probabilities(deposit)
    assert np.all(np.abs(counts - n * chance) < 4 * np.sqrt(n * chance))


@pytest.fixture(scope="module")
def histories():
    return [invent_history(np.random.default_rng([4, k])) for k in range(200)]


def test_histories_are_of_every_kind(histories):
    assert {h.boiler.start for h in histories} == set(STARTS)
    assert {len(h.inspections) for h in histories} == set(range(1, MOST_LOOKS + 1))
    assert {len(h.descales) for h in histories} == {0, 1, 2}
    assert {d.scope for h in histories for d in h.descales} == set(SCOPES)
    assert {d.scale_recovered_g is None for h in histories for d in h.descales} == {True, False}
    looks = [e for h in histories for e in h.inspections]
    assert {e.method for e in looks} == {"eye", "mirror", "camera", "glance"}
    assert {e.site for e in looks} == {"wall", "chamber", "element"}
    assert {e.grade_high for e in looks} == set(range(GRADE_COUNT))
    assert {e.thickness_um is None for e in looks} == {True, False}
    assert any(e.after_descale for e in looks)
    assert {len(h.fills) for h in histories} == {1, 2, 3}
    assert {h.reference_site for h in histories} == {"wall", "chamber"}
    lines = [build_timeline(h) for h in histories]
    assert {bool(line.planned_l.any()) for line in lines} == {True, False}
    assert {h.boiler.steam_share > 0 for h in histories} == {True, False}


def test_findings_keep_the_schedule(histories):
    for k, history in enumerate(histories[:20]):
        line = build_timeline(history)
        model = build_model(history, line, lambda w, h=history: find_supply(h, w).table)
        x, facts = simulate(model, np.random.default_rng(k))
        assert x.shape == (model.dim, 1)
        assert model.deposits(x).min() >= 0
        for before, after in zip(history.inspections, facts.inspections, strict=True):
            assert (before.date, before.site, before.method) == (after.date, after.site, after.method)
            assert after.grade_high - after.grade_low <= before.grade_high - before.grade_low
            assert (before.thickness_um is None) == (after.thickness_um is None)
        assert [d.date for d in facts.descales] == [d.date for d in history.descales]
        assert np.isfinite(build_model(facts, build_timeline(facts), model.tables.get).evaluate(x).log_likelihood).all()
