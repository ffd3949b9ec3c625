"""What descaling at a fixed age costs in the long run, and the age that costs least.

A cycle runs from one descale to the next, at age t; scale passes the threshold on day T of it, and that is found out at
the descale. By renewal-reward the long-run cost a day is the mean cost of a cycle over its length,

    C(t) = [c_d + C (F(t) + kappa A(t))] / t        F(t) = P(T <= t), A(t) = t - E[min(T, t)], the mean days above

Were passing found out at once, the cycle would end there, with a length of E[min(T, t)] and no days above: that is age
replacement (Barlow & Proschan 1965, Mathematical Theory of Reliability, chapter 4; chapter recalled).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from scalemodel.decision.case import last_day_within
from scalemodel.decision.forecast import Forecast, Threshold
from scalemodel.decision.horizon import FARTHEST_DAYS, LONGEST_INTERVAL_DAYS
from scalemodel.model import unknowns
from scalemodel.model.inverse_gaussian import mean_time_below, survival

AGES_TRIED = 40
"""So many ages are weighed before the best is narrowed down."""

GOLDEN = (5.0**0.5 - 1.0) / 2.0


def long_run_cost(passed, above, length, descale, failure, kappa):
    """The mean cost of a cycle over its mean length [money/day].

    Parameters
    ----------
    passed : array (...)
        F, the chance that scale passes the threshold within the cycle.
    above : array (...)
        A, the mean days of use above the threshold in it [days]; 0 where passing ends the cycle.
    length : array (...)
        Its mean length [days of use].
    descale, failure : float
        What a descale costs, and what passing the threshold costs beside it [money].
    kappa : float
        Failures that a day above the threshold counts [1/day].

    >>> round(float(long_run_cost(0.1, 0.0, 95.0, 40.0, 120.0, 0.0)), 4)
    0.5474
    """
    return (descale + failure * (np.asarray(passed, dtype=float) + kappa * np.asarray(above, dtype=float))) / length


def best_age(cost: Callable[[np.ndarray], np.ndarray], ages: np.ndarray, costs: np.ndarray | None = None) -> float:
    """The age at which ``cost`` is least, between the first and the last of ``ages``.

    Parameters
    ----------
    cost : callable
        Long-run cost [money/day] at ages (m,) [days].
    ages : array (m,)
        Ascending; the best of them is narrowed down between its neighbours (golden section).
    costs : array (m,), optional
        ``cost(ages)``, where it is at hand.

    >>> best_age(lambda t: 1.0 / t + 0.01 * t, np.geomspace(1.0, 100.0, 30))
    10.0
    >>> best_age(lambda t: 1.0 / t + 2.0, np.geomspace(1.0, 100.0, 30))
    100.0
    """
    costs = cost(ages) if costs is None else costs
    at = int(np.argmin(costs))
    low, high = np.log(ages[max(0, at - 1)]), np.log(ages[min(len(ages) - 1, at + 1)])
    left, right = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_left, at_right = cost(np.exp(np.array([left, right])))
    while high - low > 1e-4:
        if at_left <= at_right:
            high, right, at_right = right, left, at_left
            left = high - GOLDEN * (high - low)
            at_left = cost(np.exp(np.array([left])))[0]
        else:
            low, left, at_left = left, right, at_right
            right = low + GOLDEN * (high - low)
            at_right = cost(np.exp(np.array([right])))[0]
    narrowed = float(np.exp(0.5 * (low + high)))
    return float(ages[at]) if costs[at] < cost(np.array([narrowed]))[0] else narrowed


def ages_within(costs: np.ndarray, ages: np.ndarray, most: float) -> tuple[float, float | None]:
    """The stretch of ages around the least cost on which the cost is at most ``most``; None for an open end.

    >>> low, high = ages_within(np.array([4.0, 2.0, 1.0, 2.0, 2.5]), np.array([1.0, 2.0, 3.0, 4.0, 5.0]), 2.0)
    >>> low, high
    (2.0, 4.0)
    """
    at = int(np.argmin(costs))
    low, high = at, at
    while low > 0 and costs[low - 1] <= most:
        low -= 1
    while high < len(costs) - 1 and costs[high + 1] <= most:
        high += 1

    def edge(inside: int, outside: int) -> float:
        part = (most - costs[inside]) / (costs[outside] - costs[inside])
        return float(ages[inside] + min(max(part, 0.0), 1.0) * (ages[outside] - ages[inside]))

    first = float(ages[0]) if low == 0 else edge(low, low - 1)
    return first, None if high == len(costs) - 1 else edge(high, high + 1)


def _rows(ages: np.ndarray) -> np.ndarray:
    """Ages (m,) as (m, 1), so that draws stand beside them."""
    return ages[:, None] if ages.ndim == 1 else ages


@dataclass(frozen=True)
class Cycles:
    """Cycles of each draw, from just after one full descale to the next; all arrays are (n,).

    A descale at age t leaves the share rho of the deposit; where every cycle is like the last, growth g a day, a cycle
    begins at ``rho g t / (1 - rho)``, and at no more than what is left of the threshold itself, ``rho theta``.

    Attributes
    ----------
    reference_threshold : array
        Deposit on the reference surface at which the threshold is passed [mg/cm2].
    rate : array
        Mean growth a day g [mg/cm2/day].
    irregularity : array
        nu [mg/cm2].
    residue : array
        rho in (0, 1).
    """

    reference_threshold: np.ndarray
    rate: np.ndarray
    irregularity: np.ndarray
    residue: np.ndarray

    def part(self, which) -> Cycles:
        """The cycles of some draws."""
        return Cycles(self.reference_threshold[which], self.rate[which], self.irregularity[which], self.residue[which])

    def margin(self, ages: np.ndarray) -> np.ndarray:
        """Growth that is still free at the start of a cycle, where descales are made at ages (m,): (m, n) [mg/cm2].

        Here and below, ages of each draw's own may be given as (1, n) instead.
        """
        grown = np.minimum(_rows(ages), float(FARTHEST_DAYS)) * self.rate / (1.0 - self.residue)
        return self.reference_threshold - self.residue * np.minimum(grown, self.reference_threshold)

    def failure_probability(self, ages: np.ndarray) -> np.ndarray:
        """F(t): chance of passing the threshold before the descale at ages (m,), for each draw (m, n)."""
        mean = np.minimum(_rows(ages), 10.0 * FARTHEST_DAYS) * self.rate
        return survival(self.margin(ages), mean, self.irregularity)

    def mean_cycle(self, ages: np.ndarray) -> np.ndarray:
        """E[min(T, t)] at ages (m,), for each draw (m, n) [days]."""
        until = np.minimum(_rows(ages), 10.0 * FARTHEST_DAYS)
        return mean_time_below(self.margin(ages), self.rate, self.irregularity, until)

    def life(self) -> float:
        """Median over draws of the mean time to the threshold, where no cycle is cut short [days]."""
        return float(np.median(self.mean_cycle(np.array([np.inf]))))

    def cost(self, ages: np.ndarray, descale: float, failure: float, kappa: float) -> np.ndarray:
        """C(t) at ages (m,), for each draw (m, n) [money/day].

        What is unknown of a boiler stays the same from cycle to cycle, so the expected long-run cost is the mean of
        this over draws, and not the quotient of means.
        """
        length = _rows(ages)
        return long_run_cost(
            self.failure_probability(ages), length - self.mean_cycle(ages), length, descale, failure, kappa
        )


def longest_interval(cycles: Cycles, tolerance: float, weights: np.ndarray | None = None) -> int | None:
    """The longest whole number of days between full descales within the tolerance; None beyond twenty years.

    ``weights`` (n,) weigh the draws; by default all count alike.
    """

    def passed(day: float) -> float:
        return float(np.average(cycles.failure_probability(np.array([float(day)]))[0], weights=weights))

    days = last_day_within(passed, tolerance, LONGEST_INTERVAL_DAYS)
    return None if days == LONGEST_INTERVAL_DAYS else max(1, days or 0)


def cycles_of(forecast: Forecast, threshold: Threshold) -> Cycles:
    """Cycles to come under a forecast's plan; what the next full descales leave is drawn from what is usual."""
    posterior = forecast.posterior
    residue = expit(posterior.unknown(unknowns.NEXT_RESIDUE))
    reference_threshold = np.broadcast_to(threshold.mg_cm2 / forecast.relative, residue.shape)
    return Cycles(reference_threshold, forecast.settled_growth_a_day, forecast.irregularity, residue)
