"""How a water's concentration moves in time, and what tests say of it on their days.

A water is no constant: its log concentration is a random walk, with now and then a break (a softener that fails,
another source),

    c(t + d) = c(t) + N(0, omega^2 d) + B,    omega = 0.15 a square root of a year,
    B = N(0, 0.9^2) with the probability 1 - exp(-0.02 d), else 0                       d in years

held at knots: at the days of the tests, on as_of, where the boiler's use of it begins, and at most half a year apart
between (more where that would be many). An epoch is what lies nearest to a knot. The law's concentration factor is
``ln f = s_w T(z_w) + c(t)``: what all tests share (what a pocket meter makes of this kind of water) in the first part,
what moves in the second, which is counted from the mean of the tests.

Tests that tell the same quantity are compared: each reads the concentration of its day within what the test repeats to.
A water with one such test needs no reading: it is where the walk begins, both ways. In the time to come a water is
held as it is: what may change after the question is for the next test and the next look to tell.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from scalemodel.logbook.plausible_tests import LEAST_COMPARED, WANDERS, compared, repeats
from scalemodel.logbook.records import WaterTest
from scalemodel.logbook.units import DAYS_A_YEAR
from scalemodel.model.priors import Prior
from scalemodel.model.quantiles import KEPT, Transform, mixture_of_normals
from scalemodel.model.tailed_normal import MEASURE_ERROR

BREAKS_A_YEAR, BREAK_LOG_SD = 0.02, 0.9

KNOT_YEARS = 0.5
"""Knots stand at most so far apart, where that makes no more than `MOST_KNOTS` of them."""

MOST_KNOTS = 8

ONE_VISIT_DAYS = 30
"""Tests so near to each other are of one day, and as_of or a beginning so near to a test needs no knot of its own."""

MOST_VISITS = 12
"""Of more tests than about so many, neighbours are taken together."""


class Reading(NamedTuple):
    """What a test says of the path: its epoch, the log ratio to the mean of all, and the log-sd of that."""

    epoch: int
    log_ratio: float
    log_sd: float

    def log_density(self, path, xp=np):
        """Log density of the reading, from the path (E, ...) [ln]: log-normal with tails, as other measurements."""
        miss = (self.log_ratio - path[self.epoch]) / self.log_sd
        return MEASURE_ERROR.log_density(miss, xp) - math.log(self.log_sd)


class Wandering(NamedTuple):
    """The path of one water's log concentration, as knots.

    Attributes
    ----------
    knots : tuple of int, length E
        Days (ordinals) whose concentration stands for the epoch about each.
    reference : int
        The epoch from which the walk goes, both ways: that of the first test that others can be compared with.
    start : Reading
        The path at the reference; its log-sd is 0 where a single test tells it (then it is what all is counted from).
    readings : tuple of Reading
        The other tests.
    """

    knots: tuple[int, ...]
    reference: int
    start: Reading
    readings: tuple[Reading, ...] = ()

    @property
    def edges(self) -> tuple[int, ...]:
        """The first day of every epoch but the first, length E - 1."""
        return tuple((a + b + 1) // 2 for a, b in pairwise(self.knots))

    @property
    def years(self) -> tuple[float, ...]:
        """The length of every step, length E - 1 [years]."""
        return tuple((b - a) / DAYS_A_YEAR for a, b in pairwise(self.knots))

    @property
    def sums(self) -> np.ndarray:
        """Which steps lead from the reference to each epoch (E, E - 1): 1 where one does, else 0; read only."""
        return _sums(len(self.knots), self.reference)


@cache
def _sums(epochs: int, reference: int) -> np.ndarray:
    epoch, step = np.arange(epochs)[:, None], np.arange(epochs - 1)
    ahead = (step >= reference) & (step < epoch)
    back = (step < reference) & (step >= epoch)
    sums = (ahead | back).astype(float)
    sums.setflags(write=False)
    return sums


def wandering_of(tests: Sequence[WaterTest], first: int, as_of: int) -> Wandering:
    """The path of one water that is drawn from day ``first`` to ``as_of`` (ordinals), from its tests up to as_of.

    >>> from datetime import date
    >>> day = date(2026, 1, 1)
    >>> walk = wandering_of([WaterTest("tap", day, tds_mg_l=240.0)], day.toordinal(), day.toordinal() + 400)
    >>> [knot - day.toordinal() for knot in walk.knots], walk.reference, walk.readings
    ([0, 133, 267, 400], 0, ())
    """
    visits = _visits(tests)
    told = [(day, *_mean_of(found)) for day, found in visits]
    anchors = [day for day, *_ in told] or [as_of]
    ends = [first] if first < anchors[0] - ONE_VISIT_DAYS else []
    last = [as_of] if as_of > anchors[-1] + ONE_VISIT_DAYS else []
    knots = _filled([*ends, *anchors, *last])
    if len(told) < 2:
        return Wandering(knots, knots.index(anchors[-1]), Reading(knots.index(anchors[-1]), 0.0, 0.0))
    mean = float(np.mean([level for _, level, _ in told]))
    start, *others = (Reading(knots.index(day), level - mean, log_sd) for day, level, log_sd in told)
    return Wandering(knots, start.epoch, start, tuple(others))


def _visits(tests: Sequence[WaterTest]) -> list[tuple[int, list[tuple[float, float]]]]:
    """The days on which the quantity that most tests tell was tested, each with (log level, log-sd) of its tests."""
    fields = Counter(field for test in tests for field in compared(test))
    if not fields:
        return []
    order = ("hardness", "alkalinity", "calcium", "conductivity_us_cm")
    yardstick = max(fields, key=lambda field: (fields[field], -order.index(field)))
    telling = sorted((test for test in tests if yardstick in compared(test)), key=lambda one: one.date)
    near = max(ONE_VISIT_DAYS, (telling[-1].date - telling[0].date).days // MOST_VISITS)
    visits: list[tuple[int, list[tuple[float, float]]]] = []
    for test in telling:
        day, level = test.date.toordinal(), max(compared(test)[yardstick], LEAST_COMPARED[yardstick])
        if not visits or day > visits[-1][0] + near:
            visits.append((day, []))
        visits[-1][1].append((math.log(level), repeats(test, yardstick)))
    return visits


def _mean_of(found: list[tuple[float, float]]) -> tuple[float, float]:
    """Level and log-sd of a visit's tests: their mean, as uncertain as the surest of them."""
    return float(np.mean([level for level, _ in found])), min(log_sd for _, log_sd in found)


def _filled(days: list[int]) -> tuple[int, ...]:
    """Days with others between them, evenly, so that none is further from the next than knots may be."""
    whole = (days[-1] - days[0]) / DAYS_A_YEAR
    longest = max(KNOT_YEARS, whole / MOST_KNOTS) * DAYS_A_YEAR
    knots = [days[0]]
    for a, b in pairwise(days):
        count = max(1, math.ceil((b - a) / longest - 1e-9))
        knots += [round(a + (b - a) * k / count) for k in range(1, count + 1)]
    return tuple(knots)


def paths_of(facts_tests: Sequence[WaterTest], begun: Mapping[str, int], as_of: int) -> dict[str, Wandering]:
    """The path of every water drawn, each ``begun`` on its first day (ordinal)."""
    return {
        water: wandering_of([test for test in facts_tests if test.water == water], first, as_of)
        for water, first in begun.items()
    }


@lru_cache(maxsize=KEPT)
def step_shape(years: float) -> Transform:
    """The law of a step over so many years, in log-sds of the walk without breaks."""
    broken = -math.expm1(-BREAKS_A_YEAR * years)
    wider = math.hypot(1.0, BREAK_LOG_SD / (WANDERS * math.sqrt(years)))
    return mixture_of_normals((1.0 - broken, 0.0, 1.0), (broken, 0.0, wider))


def step_prior(years: float) -> Prior:
    """The prior of a step over so many years [ln]."""
    return Prior(0.0, WANDERS * math.sqrt(years), "ln", "how a water's concentration moved", step_shape(years))


def draw_steps(rng: np.random.Generator, years: Sequence[float], count: int) -> np.ndarray:
    """Steps over so many years each, from their prior (len(years), count) [ln]."""
    return np.stack([step_prior(each).value(rng.standard_normal(count)) for each in years])


def path_untold(path: Wandering, as_of: int, rng: np.random.Generator, count: int) -> np.ndarray:
    """The path on ``as_of`` (count,) [ln] of a water that nothing but its tests tells of: its last, and time since."""
    last = (path.start, *path.readings)[-1]
    years = (as_of - path.knots[last.epoch]) / DAYS_A_YEAR
    now = last.log_ratio + last.log_sd * rng.standard_normal(count)
    return now + draw_steps(rng, [years], count)[0] if years > 0.0 else now
