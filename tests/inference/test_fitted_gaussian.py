"""The Gaussians that guide the moves: what a chain in time is fitted by, against a law whose covariance is known."""

import numpy as np
import pytest

from scalemodel.inference.fitted_gaussian import BAND, ArrowGaussian, LeaveOneOutGaussian, banded_whitener

HEAD, TAIL = 3, 12


def chain_covariance(lags: int) -> np.ndarray:
    """Of a head that goes with all, and a tail each of which leans on so many before it."""
    rng = np.random.default_rng(4)
    whole = HEAD + TAIL
    rows = np.eye(whole)
    for j in range(whole):
        before = slice(0, j) if j < HEAD else np.r_[0:HEAD, max(HEAD, j - lags) : j]
        rows[j, before] = rng.uniform(-0.4, 0.4, len(rows[j, before]))
    factor = np.linalg.inv(rows)
    return factor @ factor.T


def draws(covariance: np.ndarray, count: int) -> np.ndarray:
    return np.linalg.cholesky(covariance) @ np.random.default_rng(1).standard_normal((len(covariance), count))


@pytest.mark.parametrize("lags", range(BAND + 1))
def test_a_chain_is_whitened_exactly(lags):
    covariance = chain_covariance(lags)
    tail = covariance[HEAD:, HEAD:] - covariance[HEAD:, :HEAD] @ np.linalg.solve(
        covariance[:HEAD, :HEAD], covariance[:HEAD, HEAD:]
    )
    (rows,) = banded_whitener(tail[None])
    np.testing.assert_allclose(rows @ tail @ rows.T, np.eye(TAIL), atol=1e-12)


def test_an_arrow_finds_the_law_of_a_chain_from_fewer_draws():
    covariance = chain_covariance(BAND)

    def error(fit: LeaveOneOutGaussian) -> float:
        return float(np.mean([np.linalg.norm(f @ f.T - covariance) for f in fit.factor]))

    few, many = draws(covariance, 80), draws(covariance, 80_000)
    assert error(ArrowGaussian(few, 4, HEAD)) < error(LeaveOneOutGaussian(few, 4))
    assert error(ArrowGaussian(many, 4, HEAD)) < 0.05 * np.linalg.norm(covariance)


@pytest.mark.parametrize("head", [0, HEAD, HEAD + TAIL - 1, HEAD + TAIL])
def test_factor_and_whitener_undo_each_other(head):
    x = draws(chain_covariance(BAND), 400)
    fit = ArrowGaussian(x, 4, head)
    np.testing.assert_allclose(fit.factor @ fit.whitener, np.broadcast_to(np.eye(len(x)), fit.factor.shape), atol=1e-12)
    np.testing.assert_allclose(fit.colour(fit.whiten(x)), x, atol=1e-12)


def test_a_head_alone_is_fitted_as_ever():
    x = draws(chain_covariance(1), 400)
    np.testing.assert_allclose(ArrowGaussian(x, 4, len(x)).factor, LeaveOneOutGaussian(x, 4).factor)


def test_slopes_go_back_through_the_map():
    x = draws(chain_covariance(BAND), 40)
    fit, step = ArrowGaussian(x, 4, HEAD), 1e-6
    z, toward = fit.whiten(x), np.random.default_rng(2).standard_normal(x.shape)
    along = ((fit.colour(z + step * toward) - fit.colour(z)) * x).sum() / step
    np.testing.assert_allclose((fit.colour_back(x) * toward).sum(), along, rtol=1e-6)
