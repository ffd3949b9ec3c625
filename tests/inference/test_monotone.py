"""A worse last grade hardly ever lowers the risk, and never by much: over invented logbooks, at every site, by every
method and inspector. That the date is no later either is held by `scalemodel.decision.milder`.

Every grade of the last look is tried on the same draws of the posterior without it, each weighed by the probability of
the grade. Given all else, the law's likelihood ratio is monotone in the deposit. What is unknown beside the deposit
could turn the order only far ahead, where the risk is large: a grade that nobody expected also says that growth is
unsteady, and unsteady growth brings fewer of the likely late passings. So the risk is compared where a date is read
from it: now, and on the day on which the milder grade comes to the tolerance.
"""

from dataclasses import replace
from functools import partial
from itertools import pairwise

import numpy as np
import pytest

from scalemodel.decision.case import last_day_within
from scalemodel.decision.forecast import Forecast, find_plan
from scalemodel.inference.posterior import draw
from scalemodel.model.supply import find_supply
from scalemodel.model.target import build_model
from scalemodel.model.timeline import build_timeline
from scalemodel.validation.histories import invent_history
from scalemodel.validation.simulated_boilers import simulate
from tests.builders import history, look

TOLERANCE, HORIZON_DAYS = 0.1, 1460
FEWEST = 25
"""Effective draws that a grade must leave for its risk to be compared."""

LOOKS = ((0, 0), (0, 1), (1, 1), (1, 2), (2, 2), (2, 3), (3, 3), (3, 4), (4, 4))
"""Grades and ranges, each worse than the one before."""


def modelled(facts):
    timeline = build_timeline(facts)
    supplies = {w: find_supply(facts, w) for w in timeline.waters}
    return build_model(facts, timeline, lambda w: supplies[w].table), supplies


def invented(number):
    """A logbook from a truth of its own, and the model of it in which the last look says nothing."""
    rng = np.random.default_rng([11, number])
    model, _ = modelled(invent_history(rng))
    _, facts = simulate(model, rng)
    last = max(facts.inspections, key=lambda e: (e.date, e.after_descale))
    blank = replace(last, grade_low=0, grade_high=4, thickness_um=None)
    facts = replace(facts, inspections=tuple(blank if e is last else e for e in facts.inspections))
    return *modelled(facts), blank


def weights_by_grade(posterior, last):
    """Weights of the draws (S,) after every one of `LOOKS` in place of the last look; None where they leave too few."""
    model = posterior.model
    state = next(k for k, e in model.timeline.looks if e is last)
    reads = model.look_model(posterior.x, last)
    weights = [reads.probability(*grades, posterior.deposits_at(last.site)[state]) for grades in LOOKS]
    return [w / w.sum() if w.sum() ** 2 / (w**2).sum() >= FEWEST else None for w in weights]


def compared(number):
    """Risk after a milder and after a worse look, now and on the milder one's date, and the error of the difference."""
    model, supplies, last = invented(number)
    posterior = draw(model, supplies, seed=1, particles=500)
    forecast = Forecast(posterior, find_plan(posterior))
    usable = [w for w in weights_by_grade(posterior, last) if w is not None]
    for mild, bad in pairwise(usable):
        day = last_day_within(partial(weighed_risk, forecast, mild), TOLERANCE, HORIZON_DAYS)
        for ahead in {0, day or 0}:
            passed = forecast.risk_draws(6.0, ahead)
            milder, worse = passed @ mild, passed @ bad
            yield milder, worse, np.sqrt(np.sum((bad * (passed - worse) - mild * (passed - milder)) ** 2))


def weighed_risk(forecast, weights, days):
    return float(forecast.risk_draws(6.0, days) @ weights)


LOWERED = 0.03
"""By so much a worse last grade may lower the risk: where it also says that an earlier look, a residue or a water is
not what it was taken for."""


@pytest.mark.parametrize("number", range(40))
def test_a_worse_last_grade_never_lowers_the_risk_by_much(number):
    found = list(compared(number))
    assert found
    for milder, worse, error in found:
        assert worse >= milder - LOWERED - 5.0 * error
    assert sum(worse < milder - 5.0 * error - 1e-9 for milder, worse, error in found) <= 2


@pytest.mark.parametrize(
    ("earlier", "more"),
    [
        ((), {"boiler": {"start": "unknown"}, "tds": 60.0, "litres_per_day": 0.1}),
        ((look(300, 0, 3, method="glance"),), {"boiler": {"start": "unknown"}, "tds": 60.0}),
        (tuple(look(50 * k, 0) for k in range(1, 7)), {}),
        (tuple(look(50 * k, 4 * (k % 2)) for k in range(1, 7)), {"tds": 100.0}),
        ((look(90, 1), look(180, 2)), {}),
    ],
)
def test_also_when_it_is_solved_anew(earlier, more):
    """The whole road: with seeds apart, and records that contradict each other as flatly as they can."""
    found = []
    for grade in range(5):
        model, supplies = modelled(history(*earlier, look(350, grade), **more))
        posterior = draw(model, supplies, seed=2, particles=250)
        found.append(Forecast(posterior, find_plan(posterior)).risk(6.0, 60))
    for (milder, e0), (worse, e1) in pairwise(found):
        assert worse > milder - 5 * np.hypot(e0, e1)
    assert found[4][0] > found[0][0] + 0.05
