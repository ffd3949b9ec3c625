"""What a new test of the water would be worth: a reading of its concentration today, as sample information.

A test of hardness reads the concentration of the day within what it repeats to, whatever a pocket meter makes of this
kind of water. Its readings are told apart in five parts that are equally likely; after each the best safe day is taken
under the draws weighed by it, as after a look (`scalemodel.decision.look_value`).
"""

from __future__ import annotations

from datetime import date

import numpy as np
from scipy.special import ndtr

from scalemodel.decision.case import Case
from scalemodel.decision.look_value import after_look, sample_information
from scalemodel.decision.loss import losses_of
from scalemodel.logbook.plausible_tests import METER_REPEATS
from scalemodel.logbook.records import BoilerFacts

PARTS = 5


def last_test(facts: BoilerFacts, water: str) -> date | None:
    """The day of the last test of a water."""
    return max((test.date for test in facts.water_tests if test.water == water), default=None)


def reading_probabilities(log_factor: np.ndarray, log_sd: float) -> np.ndarray:
    """Probability of each part of the readings (PARTS, S), from the log concentration of every draw (S,) [ln].

    >>> np.round(reading_probabilities(np.array([-1.0, 0.0, 1.0, 2.0, 3.0]), 1e-6), 6).argmax(axis=0).tolist()
    [0, 1, 2, 3, 4]
    """
    edges = np.concatenate([[-np.inf], np.quantile(log_factor, np.arange(1, PARTS) / PARTS), [np.inf]])
    below = ndtr((edges[:, None] - log_factor) / log_sd)
    return np.diff(below, axis=0)


def test_worth_days(case: Case) -> float | None:
    """Days of waiting that a test of the present water's hardness today would be worth; None where nothing waits."""
    supply = case.forecast.plan.supply
    if not case.standing.status.waits or supply.parts:
        return None
    losses = losses_of(case)
    readings = reading_probabilities(case.forecast.log_factor(supply)[losses.draws], METER_REPEATS)
    return sample_information(losses, after_look(losses, 0, losses.deposit), readings).value / losses.terms.day
