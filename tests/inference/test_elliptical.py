"""The move: its geometry, and what it refuses."""

import numpy as np
import pytest

from scalemodel.errors import SamplerError
from scalemodel.inference.elliptical import elliptical_move, on_ellipse


def test_geometry():
    point, other, centre = np.array([3.0, -1.0]), np.array([0.5, 2.0]), np.array([1.0, 1.0])
    np.testing.assert_allclose(on_ellipse(point, other, centre, 0.0), point)
    np.testing.assert_allclose(on_ellipse(point, other, centre, np.pi / 2), other, atol=1e-15)
    np.testing.assert_allclose(on_ellipse(point, other, centre, np.pi), 2 * centre - point)


def test_the_ellipse_keeps_the_pair_s_norm():
    rng = np.random.default_rng(0)
    point, other = rng.standard_normal((2, 5))
    for angle in (0.3, 1.7, 4.0):
        there, its_other = (
            on_ellipse(point, other, 0.0, angle),
            on_ellipse(other, -point, 0.0, angle),
        )
        assert there @ there + its_other @ its_other == pytest.approx(point @ point + other @ other)


def move(log_target, point, seed=1):
    rng = np.random.default_rng(seed)
    return elliptical_move(
        rng, point, log_target(point), rng.standard_normal(point.shape), 0.0, lambda x, which: log_target(x)
    )


def test_a_constant_target_is_taken_at_once():
    start = np.random.default_rng(2).standard_normal((3, 1000))
    moved, _, info = move(lambda x: np.zeros(x.shape[1]), start)
    assert info.evaluated == 1000
    assert not np.any(np.all(moved == start, axis=0))


@pytest.mark.parametrize("bad", [np.nan, -np.inf])
def test_what_is_not_a_number_is_refused(bad):
    start = -np.abs(np.random.default_rng(3).standard_normal((1, 2000)))
    moved, value, info = move(lambda x: np.where(x[0] > 0, bad, 0.0), start)
    assert np.all(moved <= 0)
    assert np.all(np.isfinite(value))
    assert (info.refused > 0) == bool(np.isnan(bad))


def test_the_input_is_left_alone_and_values_are_fresh():
    start = np.random.default_rng(4).standard_normal((2, 100))
    kept = start.copy()
    moved, value, _ = move(lambda x: -(x[0] ** 2), start)
    np.testing.assert_array_equal(start, kept)
    np.testing.assert_allclose(value, -(moved[0] ** 2))


def test_a_point_that_nothing_can_beat_raises():
    rng = np.random.default_rng(5)
    start = np.ones((1, 3))
    with pytest.raises(SamplerError, match="after 100 rounds"):
        elliptical_move(rng, start, np.zeros(3), start, 0.0, lambda x, which: np.full(x.shape[1], -np.inf))
