"""The move: its geometry, and what it refuses."""

import numpy as np
import pytest

from scalemodel.errors import SamplerError
from scalemodel.inference import elliptical
from scalemodel.inference.elliptical import Ellipses, elliptical_move


def test_every_point_tried_is_on_the_particle_s_own_ellipse():
    """A point at an angle is ``centre + (point - centre) cos + (other - centre) sin``, whatever the centre is."""
    rng = np.random.default_rng(0)
    point, other, centre = rng.standard_normal((3, 4, 50))
    tried = []

    def evaluate(proposed, which, cos, sin):
        tried.append((proposed.copy(), which))
        at = centre[:, which] + (point - centre)[:, which] * cos + (other - centre)[:, which] * sin
        np.testing.assert_allclose(proposed, at)
        return np.where(rng.random(len(which)) < 0.3, 0.0, -np.inf), (proposed,)  # most are refused: slices shrink

    moved, (kept,), info = elliptical_move(
        rng, Ellipses(centre, point - centre, other - centre), np.zeros(50), evaluate
    )
    np.testing.assert_array_equal(moved, kept)
    assert info.rounds < info.evaluated / 50  # several angles at once
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
    ellipses = Ellipses(np.zeros_like(point), point, rng.standard_normal(point.shape))

    def evaluate(x, which, cos, sin):
        value = log_target(x)
        return value, (value,)

    moved, (value,), info = elliptical_move(rng, ellipses, log_target(point), evaluate)
    return moved, value, info


def bumps(x):
    """A target that most angles miss, and that is higher where the particle comes from some ways off."""
    return -40.0 * np.square(np.sin(2.0 * x[0]) + x[1])


def test_several_angles_at_once_leave_the_law_alone(monkeypatch):
    """Where slices end: means and spreads of a move, by one angle at a time and by many; 4 standard errors."""
    start = np.random.default_rng(7).standard_normal((2, 4000))
    many, _, info = move(bumps, start, seed=8)
    monkeypatch.setattr(elliptical, "MOST_ANGLES", 1)
    single, _, slow = move(bumps, start, seed=9)
    assert info.rounds < 0.7 * slow.rounds
    for f in (lambda x: x, np.square, lambda x: np.cos(3.0 * x)):
        apart = f(many) - f(single)  # from the same starts
        assert np.all(np.abs(apart.mean(axis=1)) < 4.0 * apart.std(axis=1) / np.sqrt(4000))


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

    def never(x, which, cos, sin):
        return np.full(x.shape[1], -np.inf), ()

    with pytest.raises(SamplerError, match="after 100 angles"):
        elliptical_move(rng, Ellipses(np.zeros((1, 3)), start, start), np.zeros(3), never)
