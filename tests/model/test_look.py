"""How looks and readings read a deposit."""

import numpy as np
import pytest

from scalemodel.errors import BadValueError
from scalemodel.model.grading import HOUSE_GRADING
from scalemodel.model.look import RECOVERED, LookModel, Looks, visible_log
from scalemodel.model.priors import LOOK_FLOOR_MG_CM2, deposit_to_thickness, thickness_to_deposit

EYE = LookModel(1.0, 1 / 0.35, 0.0)


def at_most(grade, deposit, look=EYE):
    return float(look.probability(0, grade, deposit))


@pytest.mark.parametrize("deposit", [0.0, 0.1, 1.0, 5.0, 40.0])
def test_grades_are_a_distribution(deposit):
    single = EYE.grade_probabilities(np.array([deposit]))[:, 0]
    assert sum(single) == pytest.approx(1.0)
    assert min(single) > 0.0
    assert EYE.probability(1, 3, deposit) == pytest.approx(sum(single[1:4]))


@pytest.mark.parametrize(("deposit", "grade"), [(0.05, 0), (0.7, 1), (3.0, 2), (12.0, 3), (60.0, 4)])
def test_the_likeliest_grade_is_the_nominal_one(deposit, grade):
    assert int(np.argmax(EYE.grade_probabilities(deposit))) == grade


def test_a_lenient_inspector_gives_milder_grades():
    strict, lenient = (at_most(1, 1.48, EYE._replace(shift=shift)) for shift in (0.0, 0.5))
    assert strict == pytest.approx(0.56, abs=0.01)  # the law's milder side is the heavier
    assert lenient > strict


def test_a_site_with_half_the_deposit_looks_as_half_of_it():
    half = EYE._replace(relative=0.5)
    np.testing.assert_array_equal(half.grade_probabilities(6.0), EYE.grade_probabilities(3.0))


def test_threshold_of_a_grade():
    """A grade begins where a look is as likely to say less; the house's figures stand in README.md too."""
    for grade, begins in enumerate((0.3, 1.5, 6.0, 25.0), start=1):
        assert HOUSE_GRADING.threshold(grade) == begins == pytest.approx(np.exp(HOUSE_GRADING.log_bounds[grade]))
        milder = [at_most(grade - 1, at - LOOK_FLOOR_MG_CM2) for at in (begins / 2, begins, 2 * begins)]
        assert milder[0] > 0.9
        assert milder[1] == pytest.approx(0.56, abs=0.01)
        assert milder[2] < 0.2
    for outside in (0, 5):
        with pytest.raises(BadValueError, match="1 to 4"):
            HOUSE_GRADING.threshold(outside)


def test_many_looks_as_arrays_are_each_look_alone():
    rng = np.random.default_rng(8)
    states, subjects = rng.gamma(1.0, 4.0, (3, 50)), LookModel(*rng.gamma(4.0, 0.3, (3, 2, 50)))
    places = [(0, 0, 1, 1), (2, 1, 0, 0), (1, 1, 1, 0), (1, 0, 0, 1)]
    grades = [(0, 0), (1, 3), (4, 4), (2, 4)]
    found = Looks.of(places, grades).probabilities(subjects, states)
    for place, own, chance in zip(places, grades, found, strict=True):
        state, *rows = place
        alone = LookModel(*(value[row] for value, row in zip(subjects[:3], rows, strict=True)))
        np.testing.assert_allclose(chance, alone.probability(*own, states[state]), rtol=1e-9)


def test_readings_scatter_about_what_is_there():
    rng = np.random.default_rng(9)
    drawn = [np.log(RECOVERED.draw(rng, 3.0) + LOOK_FLOOR_MG_CM2) for _ in range(4000)]
    assert np.median(drawn) == pytest.approx(visible_log(3.0), abs=4 * 1.3 * 0.3 / np.sqrt(4000))
    grid = np.exp(np.linspace(-4.0, 6.0, 4001)) - LOOK_FLOOR_MG_CM2
    assert np.sum(np.exp(RECOVERED.log_density(grid, 3.0))) * 10.0 / 4000 == pytest.approx(1.0, abs=1e-3)


def test_thickness_and_deposit_are_inverse():
    assert deposit_to_thickness(6.0) == pytest.approx(30.0)  # 6 mg/cm2 of a density of 2 g/cm3 [um]
    assert deposit_to_thickness(thickness_to_deposit(37.0)) == pytest.approx(37.0)
