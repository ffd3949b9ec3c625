"""How a look sees a deposit."""

import numpy as np
import pytest

from scalemodel.errors import BadValueError
from scalemodel.model.grading import apparent, cumulative, grade_threshold, look_probability
from scalemodel.model.priors import deposit_to_thickness, thickness_to_deposit


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
    """A grade begins where a look is as likely to say less; the house's figures stand in README.md too."""
    for grade, begins in enumerate((0.3, 1.5, 6.0, 25.0), start=1):
        assert grade_threshold(grade) == begins
        milder = [float(cumulative(grade - 1, np.log(at), 0.35)) for at in (begins / 2, begins, 2 * begins)]
        assert milder[0] > 0.9
        assert milder[1] == pytest.approx(0.56, abs=0.01)
        assert milder[2] < 0.2
    for outside in (0, 5):
        with pytest.raises(BadValueError, match="1 to 4"):
            grade_threshold(outside)


def test_thickness_and_deposit_are_inverse():
    assert deposit_to_thickness(6.0) == pytest.approx(30.0)  # 6 mg/cm2 of a density of 2 g/cm3 [um]
    assert deposit_to_thickness(thickness_to_deposit(37.0)) == pytest.approx(37.0)
