"""Langelier and Ryznar: what they refuse, and how they lean."""

import pytest

from scalemodel.errors import BadValueError
from scalemodel.water.indices import langelier_index, ryznar_index, saturation_ph


def test_harder_hotter_water_tends_more_to_scale():
    base = saturation_ph(300.0, 100.0, 100.0, 60.0)
    assert saturation_ph(300.0, 200.0, 100.0, 60.0) < base
    assert saturation_ph(300.0, 100.0, 200.0, 60.0) < base
    assert saturation_ph(300.0, 100.0, 100.0, 93.0) < base
    assert saturation_ph(900.0, 100.0, 100.0, 60.0) > base
    assert langelier_index(base, base) == 0.0
    assert ryznar_index(base, base) == pytest.approx(base)


@pytest.mark.parametrize("water", [(0.0, 100.0, 100.0), (300.0, 0.0, 100.0), (300.0, 100.0, 0.0), (300.0, -1.0, 9.0)])
def test_water_without_lime_has_no_index(water):
    with pytest.raises(BadValueError, match="more than 0"):
        saturation_ph(*water, 60.0)
