"""Age replacement against independent solutions.

R. E. Barlow & F. Proschan (1965), Mathematical Theory of Reliability, Wiley, chapter 4, section on age replacement
(chapter and section recalled): with c_e the cost of a failure, c_d < c_e that of a planned replacement, h the hazard
and R the survival function, the best age solves

    h(t) * integral_0^t R - F(t) = c_d / (c_e - c_d),      and then the least cost a unit time is (c_e - c_d) h(t);

where the hazard does not rise, or a failure costs no more than a planned replacement, one never replaces early.
"""

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar
from scipy.special import gamma, gammainc

from scalemodel.decision.renewal import Cycles, ages_within, best_age, long_run_cost


def replacement_cost(survived, lived, planned, late):
    """Passing found out at once: the cycle ends there, at a cost of ``late`` in all."""
    return long_run_cost(1.0 - survived, 0.0, lived, planned, late - planned, 0.0)


AGES = np.geomspace(0.01, 20.0, 80)


def weibull_cost(shape, planned, late):
    """Ours, for a Weibull lifetime of scale 1; its integral of R by the incomplete gamma function."""

    def cost(t):
        lived = gamma(1.0 + 1.0 / shape) * gammainc(1.0 / shape, t**shape)
        return replacement_cost(np.exp(-(t**shape)), lived, planned, late)

    return cost


@pytest.mark.parametrize("shape", [1.5, 2.0, 3.5])
@pytest.mark.parametrize("ratio", [2.0, 5.0, 25.0])
def test_weibull(shape, ratio):
    def hazard(t):
        return shape * t ** (shape - 1.0)

    def optimality(t):
        return hazard(t) * quad(lambda s: np.exp(-(s**shape)), 0.0, t)[0] - -np.expm1(-(t**shape)) - 1.0 / (ratio - 1.0)

    exact = brentq(optimality, 1e-4, 20.0)
    ours = best_age(weibull_cost(shape, 1.0, ratio), AGES)
    assert ours == pytest.approx(exact, rel=1e-3)
    assert weibull_cost(shape, 1.0, ratio)(ours) == pytest.approx((ratio - 1.0) * hazard(exact), rel=1e-6)


def waits_longest(cost):
    """No age that is tried costs less than the longest."""
    assert cost(best_age(cost, AGES)) == pytest.approx(cost(AGES[-1]), rel=1e-9)


def test_exponential_lifetimes_are_never_replaced_early():
    for ratio in (1.0, 3.0, 100.0):
        waits_longest(weibull_cost(1.0, 1.0, ratio))


@pytest.mark.parametrize("shape", [0.7, 2.0, 4.0])
def test_nothing_is_replaced_early_where_a_failure_costs_no_more(shape):
    for ratio in (1.0, 0.5):
        waits_longest(weibull_cost(shape, 1.0, ratio))


@pytest.mark.parametrize("ratio", [1.5, 3.0, 40.0])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_two_lives(share, ratio):
    """A lifetime of 1 with probability p, else of 4: replace just before 1, just before 4, or never; worked by hand."""

    def cost(t):
        survived = np.where(t <= 1.0, 1.0, np.where(t <= 4.0, 1.0 - share, 0.0))
        lived = share * np.minimum(t, 1.0) + (1.0 - share) * np.minimum(t, 4.0)
        return replacement_cost(survived, lived, 1.0, ratio)

    mean = share + 4.0 * (1.0 - share)
    by_hand = {1.0: 1.0, 4.0: (share * ratio + 1.0 - share) / mean, 5.0: ratio / mean}
    best = min(by_hand, key=lambda age: by_hand[age])
    ours = best_age(cost, np.sort([*np.linspace(0.05, 6.0, 120), 1.0, 4.0]))
    assert ours > 4.0 if best == 5.0 else ours == pytest.approx(best, rel=2e-3)
    assert cost(np.array([1.0, 4.0, np.inf])) == pytest.approx(list(by_hand.values()))


@pytest.mark.parametrize(("rate", "nu", "late"), [(0.02, 0.3, 178.0), (0.05, 2.0, 90.0), (0.004, 0.05, 500.0)])
def test_the_law_of_growth_by_general_purpose_libraries(rate, nu, late):
    """One draw, nothing left by a descale, passing found out there: scipy's law, by quadrature."""
    cycles = Cycles(*(np.array([v]) for v in (6.0, rate, nu, 1e-12)))

    def survived(t):
        mean = rate * t
        shape = mean * mean / nu
        return stats.invgauss.cdf(6.0, mean / shape, scale=shape) if t > 0.0 else 1.0

    def exact(t):
        lived = quad(survived, 0.0, t, limit=200)[0]
        return (28.0 + late * (1.0 - survived(t) + kappa * (t - lived))) / t

    ages, kappa = np.geomspace(0.05, 3.0, 40) * 6.0 / rate, rate / 6.0
    ours = best_age(lambda t: cycles.cost(t, 28.0, late, kappa).mean(axis=1), ages)
    found = minimize_scalar(exact, bounds=(ages[0], ages[-1] / 2.0), method="bounded", options={"xatol": 1e-3})
    assert ours == pytest.approx(found.x, rel=2e-3)
    assert cycles.cost(np.array([ours]), 28.0, late, kappa)[0, 0] == pytest.approx(found.fun, rel=1e-6)


def test_the_flat_stretch_holds_the_cost():
    cost = weibull_cost(2.0, 1.0, 5.0)
    least = cost(best_age(cost, AGES))
    low, high = ages_within(cost(AGES), AGES, 1.05 * least)
    assert cost(np.array([low, high])) == pytest.approx(1.05 * least, rel=2e-3)
