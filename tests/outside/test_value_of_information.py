"""The value of a reading against textbook preposterior analyses and a closed form.

Sources: Samuelson & Marks, Managerial Economics, chapter 13 (an oil well with an imperfect test); Raiffa (1968),
Decision Analysis (the wildcatter and the seismic test: inputs as published, branch sums by arithmetic); the
getting-started example of the SAS/OR DTREE procedure, whose printed figures for perfect knowledge of the oil are
140,000 and 295,000; and the normal prior with a normal sample against a payoff of theta or nothing, closed form in
Raiffa & Schlaifer (1961).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.special import ndtr, ndtri

from scalemodel.decision.information import expected_value_of_information
from scalemodel.errors import BadValueError

SEISMIC = np.array([[0.30, 0.15, 0.05], [0.09, 0.12, 0.09], [0.02, 0.08, 0.10]])
"""Joint probability of state (rows: dry, wet, soaking, at 0.5, 0.3, 0.2) and structure (columns)."""


def conditional():
    return (SEISMIC / SEISMIC.sum(axis=1, keepdims=True)).T


def test_samuelson_and_marks():
    prior = np.array([0.4, 0.6])
    good, bad = 0.5 * np.array([0.6, 0.4]) / prior, 0.5 * np.array([0.2, 0.8]) / prior
    np.testing.assert_allclose(good, [0.75, 1 / 3])
    found = expected_value_of_information(prior, [good, bad], [[600.0, -200.0], [0.0, 0.0]])
    assert found.without == pytest.approx(120)
    assert found.perfect == pytest.approx(120)
    assert found.value == pytest.approx(20)
    assert found.reading_probabilities == pytest.approx([0.5, 0.5])
    after = [sum(p * u for p, u in zip(post, (600, -200), strict=True)) for post in ((0.6, 0.4), (0.2, 0.8))]
    assert after == pytest.approx([280, -40])
    assert found.acts.tolist() == [0, 1]
    assert found.without + found.value == pytest.approx(0.5 * 280)


def test_raiffa_wildcatter():
    prior = SEISMIC.sum(axis=1)
    np.testing.assert_allclose(prior, [0.5, 0.3, 0.2])
    drill = np.array([0.0, 120.0, 270.0]) - 70.0
    found = expected_value_of_information(prior, conditional(), [drill, np.zeros(3)])
    assert found.without == pytest.approx(20)
    assert found.perfect == pytest.approx(35)
    assert found.value == pytest.approx(12.5)
    assert (conditional() * prior) @ drill == pytest.approx([-12.5, 11.5, 21.0])
    assert found.acts.tolist() == [1, 0, 0]


def test_dtree_getting_started():
    """Payoffs 0, 700, 1200 less an uncertain cost (150, 300, 500 at 0.2, 0.6, 0.2); unit 1000."""
    prior, cost = SEISMIC.sum(axis=1), np.array([150.0, 300.0, 500.0]) @ [0.2, 0.6, 0.2]
    drill = np.array([0.0, 700.0, 1200.0]) - cost
    found = expected_value_of_information(prior, conditional(), [drill, np.zeros(3)])
    assert found.without == pytest.approx(140)
    assert found.perfect == pytest.approx(155)
    assert found.value == pytest.approx(40.1, abs=0.05)
    value = np.array([0.0, 700.0, 1200.0]) @ prior
    of_cost = expected_value_of_information(
        [0.2, 0.6, 0.2], np.eye(3), [value - np.array([150.0, 300.0, 500.0]), np.zeros(3)]
    )
    assert of_cost.perfect == pytest.approx(10)
    assert of_cost.value == pytest.approx(of_cost.perfect)


@pytest.mark.parametrize(
    ("bad", "sensitivity", "specificity", "base", "perfect", "value"),
    [
        (0.3, 0.9, 0.8, 30, 21, 14.7),
        (0.1, 0.9, 0.8, 10, 7, 0.9),
        (0.3, 0.5, 0.5, 30, 21, 0),
        (0.3, 1.0, 1.0, 30, 21, 21),
        (0.6, 0.7, 0.9, 30, 12, 0),
    ],
)
def test_treat_or_not(bad, sensitivity, specificity, base, perfect, value):
    """Treating costs 30, an untreated fault 100; figures are sums over results of min(c P(r), l P(r, bad))."""
    reading = [[sensitivity, 1 - specificity], [1 - sensitivity, specificity]]
    found = expected_value_of_information([bad, 1 - bad], reading, [[-30.0, -30.0], [-100.0, 0.0]])
    assert -found.without == pytest.approx(base)
    assert found.perfect == pytest.approx(perfect)
    assert found.value == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize(
    ("mean", "sd", "noise", "count", "value", "perfect"),
    [
        (0, 1, 1, 1, 0.28209479, 0.39894228),
        (0.5, 1, 1, 1, 0.09982061, 0.19779656),
        (1, 2, 3, 9, 0.32234183, 0.39559311),
    ],
)
def test_normal_sample_by_fine_cells(mean, sd, noise, count, value, perfect):
    """States and readings cut into fine cells come near the closed form m Phi(m/s) + s phi(m/s) - max(0, m)."""
    cells = (np.arange(1200) + 0.5) / 1200
    states = mean + sd * ndtri(cells)
    error = noise / np.sqrt(count)
    edges = np.linspace(mean - 6 * np.hypot(sd, error), mean + 6 * np.hypot(sd, error), 801)
    below = np.vstack([np.zeros(1200), ndtr((edges[1:-1, None] - states) / error), np.ones(1200)])
    found = expected_value_of_information(
        np.full(1200, 1 / 1200), np.diff(below, axis=0), np.vstack([states, np.zeros(1200)])
    )
    assert found.value == pytest.approx(value, abs=1.5e-3)
    assert found.perfect == pytest.approx(perfect, abs=1.5e-3)


def problems(readings: int = 4):
    """Random priors, likelihoods and payoffs."""
    numbers = st.floats(0.01, 1.0)
    return st.tuples(
        hnp.arrays(float, (5,), elements=numbers).map(lambda p: p / p.sum()),
        hnp.arrays(float, (readings, 5), elements=numbers).map(lambda q: q / q.sum(axis=0)),
        hnp.arrays(float, (3, 5), elements=st.floats(-10.0, 10.0)),
    )


@settings(max_examples=150, deadline=None, derandomize=True)
@given(problems())
def test_between_nothing_and_perfect_knowledge(problem):
    found = expected_value_of_information(*problem)
    assert -1e-9 <= found.value <= found.perfect + 1e-9
    assert problem[0] @ found.gains == pytest.approx(found.value, abs=1e-9)
    assert found.reading_probabilities.sum() == pytest.approx(1.0)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(problems(), st.floats(0.0, 1.0), st.permutations(range(4)))
def test_garbling_never_helps_and_names_do_not_matter(problem, share, order):
    prior, likelihood, payoffs = problem
    found = expected_value_of_information(prior, likelihood, payoffs)
    blurred = share * likelihood + (1.0 - share) / len(likelihood)
    assert expected_value_of_information(prior, blurred, payoffs).value <= found.value + 1e-9
    renamed = expected_value_of_information(prior, likelihood[list(order)], payoffs)
    assert renamed.value == pytest.approx(found.value, abs=1e-9)
    assert renamed.acts.tolist() == found.acts[list(order)].tolist()


@pytest.mark.parametrize(
    ("prior", "likelihood", "payoffs"),
    [
        ([0.5, 0.6], np.eye(2), np.eye(2)),
        ([0.5, 0.5], [[1.0, 0.2], [0.0, 0.7]], np.eye(2)),
        ([1.5, -0.5], np.eye(2), np.eye(2)),
        ([0.5, 0.5], np.eye(3), np.eye(2)),
        ([0.5, np.nan], np.eye(2), np.eye(2)),
    ],
)
def test_what_is_no_probability_is_refused(prior, likelihood, payoffs):
    with pytest.raises(BadValueError):
        expected_value_of_information(prior, likelihood, payoffs)
