"""The move: its geometry, and what it refuses."""

import numpy as np
import pytest

from scalemodel.errors import SamplerError
from scalemodel.inference.elliptical import elliptical_move


def test_every_point_tried_is_on_the_particle_s_own_ellipse():
    """A point at an angle is ``centre + (point - centre) cos + (other - centre) sin``, whatever the centre is."""
    rng = np.random.default_rng(0)
    point, other, centre = rng.standard_normal((3, 4, 50))
    tried = []

    def evaluate(proposed, which):
        tried.append((proposed.copy(), which))
        return np.where(rng.random(len(which)) < 0.3, 0.0, -np.inf)  # most are refused, so that slices shrink

    elliptical_move(rng, point, np.zeros(50), other, centre, evaluate)
    angles = [[] for _ in range(50)]
    for proposed, which in tried:
        for there, k in zip(proposed.T, which, strict=True):
            axes = np.stack([point[:, k] - centre[:, k], other[:, k] - centre[:, k]], axis=1)
            turn, off, *_ = np.linalg.lstsq(axes, there - centre[:, k], rcond=None)
            assert turn @ turn == pytest.approx(1.0)
            assert off[0] < 1e-20
            angles[k].append(np.arctan2(turn[1], turn[0]))
    assert np.ptp([each[0] for each in angles]) > np.pi  # all round
    assert max(map(len, angles)) >= 8
    for first, *others in angles:  # a slice shrinks towards the particle itself, at angle 0
        high = first % (2 * np.pi)
        low = high - 2 * np.pi
        for angle in others:
            turn = next(t for t in (angle, angle + 2 * np.pi, angle - 2 * np.pi) if low < t < high)
            low, high = (turn, high) if turn < 0 else (low, turn)


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
    assert (info.nan_count > 0) == bool(np.isnan(bad))


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
