"""How a look sees a deposit."""

import numpy as np
import pytest

from scalemodel.errors import BadValueError
from scalemodel.model.grading import apparent, cumulative, grade_threshold, look_probability
from scalemodel.model.priors import CUT_POINTS_MG_CM2, deposit_to_thickness, thickness_to_deposit


@pytest.mark.parametrize("deposit", [0.0, 0.1, 1.0, 5.0, 40.0])
def test_grades_are_a_distribution(deposit):
    seen = apparent(np.array([deposit]))
    single = [look_probability(g, g, seen, 0.35)[0] for g in range(5)]
    assert sum(single) == pytest.approx(1.0)
    assert min(single) > 0.0
    assert look_probability(1, 3, seen, 0.35)[0] == pytest.approx(sum(single[1:4]))


@pytest.mark.parametrize(("deposit", "grade"), [(0.05, 0), (0.7, 1), (3.0, 2), (12.0, 3), (60.0, 4)])
def test_the_likeliest_grade_is_the_nominal_one(deposit, grade):
    single = [float(look_probability(g, g, np.log(deposit), 0.35)) for g in range(5)]
    assert int(np.argmax(single)) == grade


def test_a_lenient_inspector_gives_milder_grades():
    strict, lenient = (float(cumulative(1, np.log(1.5), 0.35, shift)) for shift in (0.0, 0.5))
    assert strict == pytest.approx(0.56, abs=0.01)  # the law's milder side is the heavier
    assert lenient > strict


def test_threshold_of_a_grade():
    assert [grade_threshold(g) for g in (1, 2, 3, 4)] == list(CUT_POINTS_MG_CM2)
    with pytest.raises(BadValueError, match="1 to 4"):
        grade_threshold(0)


def test_thickness_and_deposit_are_inverse():
    assert deposit_to_thickness(thickness_to_deposit(37.0)) == pytest.approx(37.0)
