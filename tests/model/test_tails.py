"""The scaled tail against the library's own, and blocks against the whole."""

import numpy as np
import pytest
from scipy.special import erfcx

from scalemodel.model.tails import BLOCK, in_blocks, scaled_tail


def test_the_scaled_tail_is_the_librarys():
    z = np.concatenate([[0.0], np.geomspace(1e-12, 1e150, 20_001), np.linspace(0.0, 40.0, 20_001)])
    assert scaled_tail(z) == pytest.approx(erfcx(z), rel=2e-14, abs=0.0)
    assert scaled_tail(np.array([np.inf])) == 0.0


def test_the_difference_of_two_near_tails_keeps_its_digits():
    """What a law of little growth is made of; the slope is 2 z erfcx(z) - 2 / sqrt(pi), which cancels at large z."""
    z, step = np.linspace(0.0, 8.0, 801), 1e-5
    slope = (scaled_tail(z + step) - scaled_tail(z - step)) / (2.0 * step)
    assert slope == pytest.approx(2.0 * z * erfcx(z) - 2.0 / np.sqrt(np.pi), rel=1e-6, abs=1e-8)


@pytest.mark.parametrize("shape", [(3, BLOCK + 1), (1000, 70), (5, 7, 2000), (0, 4), (2 * BLOCK,), ()])
def test_blocks_are_as_the_whole(shape):
    rng = np.random.default_rng(4)
    whole = rng.random(shape)
    rows, columns = rng.random((*shape[:1], *(1 for _ in shape[1:]))), rng.random(shape[1:])

    def function(*arrays):
        return arrays[0] * arrays[1] + arrays[2] - arrays[3]

    found = in_blocks(function, whole, rows, columns, 2.0)
    assert np.shape(found) == shape
    assert np.array_equal(found, function(whole, rows, columns, 2.0))
