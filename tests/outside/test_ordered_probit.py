"""Our grading code, fitted by maximum likelihood, against published fits of the ordered probit on statsmodels' data.

Published: the admissions example of UCLA's statistical consulting group as fitted by R's MASS polr (3.4.4), whose
numbers stand in statsmodels' own tests. The others are fits of statsmodels' OrderedModel(probit), which is run here
too: the survey of Fair (1978), A Theory of Extramarital Affairs, Journal of Political Economy, February, 45-61; and the
American National Election Study of 1996. All data are read from statsmodels.
"""

import warnings
from importlib import resources

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from scalemodel.model.look import LookModel
from scalemodel.model.tailed_normal import TailedNormal

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    datasets = pytest.importorskip("statsmodels.datasets", reason="the test extra is not installed")
    from statsmodels.miscmodels.ordinal_model import OrderedModel


NORMAL = TailedNormal(8.0, 8.0)
"""Tails that begin where nothing is left: the law of a look becomes the ordered probit of the references."""

PLAIN = LookModel(1.0, 1.0, 0.0)


def chances(parameters: np.ndarray, x: np.ndarray, levels: int) -> np.ndarray:
    """P(grade) of every row (n, levels), by a look's probit inputs with slopes, then free cuts, and unit precision."""
    slopes, cuts = parameters[: x.shape[1]], parameters[x.shape[1] :]
    edges = np.array([-np.inf, *cuts, np.inf])
    return np.diff([NORMAL.cdf(PLAIN.inputs(edge, x @ slopes)) for edge in edges], axis=0).T


def log_likelihood(parameters: np.ndarray, grades: np.ndarray, x: np.ndarray, levels: int) -> float:
    return float(np.log(np.maximum(chances(parameters, x, levels)[np.arange(len(grades)), grades], 1e-300)).sum())


def fit(grades: np.ndarray, x: np.ndarray, levels: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Maximum likelihood: slopes then cuts, their standard errors, and the log-likelihood.

    The number of levels comes from the caller: not every grade need have been seen. Cuts are fitted by their gaps'
    logarithms, slopes on columns of unit spread; standard errors are those of the inverse curvature.
    """
    width, scale = x.shape[1], x.std(axis=0)

    def unfold(free: np.ndarray) -> np.ndarray:
        cuts = free[width] + np.concatenate([[0.0], np.cumsum(np.exp(free[width + 1 :]))])
        return np.concatenate([free[:width] / scale, cuts])

    free = np.concatenate([np.zeros(width), [-1.0], np.full(levels - 2, -0.5)])
    for _ in range(3):  # by numerical slopes: begun again where it came to rest
        free = minimize(lambda f: -log_likelihood(unfold(f), grades, x, levels) / len(grades), free, tol=1e-9).x
    found = unfold(free)
    return found, standard_errors(found, grades, x, levels), log_likelihood(found, grades, x, levels)


def standard_errors(found: np.ndarray, grades: np.ndarray, x: np.ndarray, levels: int) -> np.ndarray:
    """From the curvature by central differences."""
    steps = np.diag(1e-3 / np.concatenate([x.std(axis=0) + np.abs(x.mean(axis=0)), np.ones(levels - 1)]))

    def at(*moves):
        return log_likelihood(found + sum(moves), grades, x, levels)

    curvature = [
        [(at(a, b) - at(a, -b) - at(-a, b) + at(-a, -b)) / (4 * a.sum() * b.sum()) for b in steps] for a in steps
    ]
    return np.sqrt(np.diag(np.linalg.inv(-np.array(curvature))))


def admissions():
    name = "miscmodels/tests/results/ologit_ucla.csv"
    data = pd.read_csv(resources.files("statsmodels").joinpath(name))
    words = ["unlikely", "somewhat likely", "very likely"]
    grades = data["apply"].map({word: k for k, word in enumerate(words)})
    return grades.to_numpy(), data[["pared", "public", "gpa"]].to_numpy(float), 3


def survey(*columns):
    data = datasets.fair.load_pandas().data
    return data["rate_marriage"].to_numpy(int) - 1, data[list(columns)].to_numpy(float), 5


def election():
    data = datasets.anes96.load_pandas().data
    return data["PID"].to_numpy(int), data[["selfLR", "age", "educ", "income"]].to_numpy(float), 7


CASES = {
    "admissions": (
        admissions,
        (0.598107, 0.010164, 0.358158, 1.296837, 2.502851),
        -358.747564,
    ),
    "survey": (
        lambda: survey("yrs_married", "religious"),
        (-0.020858, 0.128670, -2.069066, -1.373746, -0.638092, 0.325908),
        -7845.543476,
    ),
    "survey with children": (
        lambda: survey("yrs_married", "religious", "children"),
        (-0.011251, 0.133239, -0.064154, -2.065138, -1.368392, -0.631341, 0.334321),
        -7836.487762,
    ),
    "election": (
        election,
        (0.580738, -0.003281, 0.104291, 0.030702, 2.248974, 2.958731, 3.362845, 3.509532, 3.885722, 4.561885),
        -1507.863792,
    ),
}


@pytest.fixture(scope="module")
def fitted():
    return {name: (data(), fit(*data())) for name, (data, _, _) in CASES.items()}


@pytest.mark.parametrize("name", CASES)
def test_estimates_are_those_of_the_reference(fitted, name):
    _, (found, _, height) = fitted[name]
    _, estimates, reference_height = CASES[name]
    np.testing.assert_allclose(found, estimates, atol=2e-5)
    assert height == pytest.approx(reference_height, abs=2e-6)


@pytest.mark.parametrize("name", CASES)
def test_the_reference_run_here_agrees(fitted, name):
    (grades, x, levels), (found, errors, height) = fitted[name]
    assert set(grades) == set(range(levels))
    model = OrderedModel(grades, x, distr="probit")
    result = model.fit(method="bfgs", disp=False, gtol=1e-7, maxiter=500)
    width = x.shape[1]
    cuts = model.transform_threshold_params(result.params)[1:-1]
    np.testing.assert_allclose(found, np.concatenate([result.params[:width], cuts]), atol=2e-5)
    np.testing.assert_allclose(errors[:width], result.bse[:width], rtol=1e-3)
    assert height == pytest.approx(result.llf, abs=2e-6)
    np.testing.assert_allclose(chances(found, x, levels), result.predict(), atol=2e-5)


def test_the_published_admissions_fit(fitted):
    """R's polr: slopes, standard errors, cuts, and the first row's probabilities."""
    (_, x, levels), (found, errors, _) = fitted["admissions"]
    np.testing.assert_allclose(found, [0.59811, 0.01016, 0.35815, 1.2968, 2.5028], atol=1e-4)
    np.testing.assert_allclose(errors[:3], [0.1579, 0.1728, 0.1568], atol=1e-4)
    np.testing.assert_allclose(chances(found, x, levels)[0], [0.5514181, 0.3576848, 0.09089707], atol=2e-5)


def test_the_survey_has_five_grades_like_ours(fitted):
    (grades, x, levels), (found, errors, _) = fitted["survey"]
    assert np.bincount(grades).tolist() == [99, 348, 993, 2242, 2684]
    np.testing.assert_allclose(errors[:2], [0.001917, 0.016009], rtol=2e-3)
    first = [0.011684, 0.046287, 0.143499, 0.349305, 0.449224]
    np.testing.assert_allclose(chances(found, x, levels)[0], first, atol=1e-5)


def test_a_grade_that_nobody_saw_keeps_its_place():
    """Every twentieth answer of the survey: its lowest level is gone, yet the levels are the caller's."""
    grades, x, levels = survey("yrs_married", "religious")
    grades, x = grades[::20], x[::20]
    assert 0 not in grades
    row = chances(np.array(CASES["survey"][1]), x, levels)
    assert row.shape == (len(grades), 5)
    assert np.all(row[:, 0] > 0)
    np.testing.assert_allclose(row.sum(axis=1), 1.0)
