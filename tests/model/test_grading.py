"""Cut points, density and contamination of a user's own: read, refused in a line, and in all that reads a look."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from scalemodel import api
from scalemodel.answers.key import key_of
from scalemodel.decision.alarms import severe_alarms
from scalemodel.decision.deposit_by_date import graded_range
from scalemodel.decision.forecast import find_threshold
from scalemodel.decision.question import Question
from scalemodel.descaling.guide import make_guide
from scalemodel.errors import BadValueError
from scalemodel.fleet.told import constants_text
from scalemodel.inference.posterior import solve
from scalemodel.logbook.records import GRADES
from scalemodel.model.beliefs import as_priors, differing, parse_priors
from scalemodel.model.grading import GRADE_COUNT, HOUSE_GRADING, Grading, constants_of, grading_of
from scalemodel.model.look import LookModel, Looks
from scalemodel.model.priors import CUT_POINTS_MG_CM2
from scalemodel.model.tailed_normal import LOOK_ERROR, turn_of
from scalemodel.report.scales import DepositScale
from scalemodel.validation.simulated_boilers import simulate
from tests.builders import history, look

OURS = """
cut_points_mg_cm2 = [0.6, 3, 12, 50]
density_g_cm3 = 1.5
contamination = 0.1
[capture]
mean = 0.2
"""
TOLD = parse_priors(OURS)


def test_what_is_said_and_only_that_differs():
    own = grading_of(TOLD)
    assert own == Grading((0.6, 3.0, 12.0, 50.0), 1.5, 0.1)
    assert own.bounds_mg_cm2 == (0.0, 0.6, 3.0, 12.0, 50.0, np.inf)
    assert (own.threshold(3), own.deposit(40.0), own.thickness(6.0)) == (12.0, 6.0, 40.0)
    assert grading_of(()) is HOUSE_GRADING
    assert grading_of(parse_priors("[capture]\nmean = 1")) is HOUSE_GRADING
    assert grading_of(parse_priors("contamination = 0.02")).error is LOOK_ERROR
    assert grading_of(parse_priors("density_g_cm3 = 1.5")).cut_points_mg_cm2 == CUT_POINTS_MG_CM2
    assert differing(TOLD) == (
        "cut points at 0.6, 3, 12, 50 mg/cm2, density 1.5 g/cm3, contamination 0.1, capture (mean 0.2)"
    )
    assert len(CUT_POINTS_MG_CM2) == GRADES[-1] == GRADE_COUNT - 1
    assert grading_of(parse_priors("\n".join(constants_text(TOLD)))) == own
    assert [name for name, *_ in constants_of(own)] == ["cut_points_mg_cm2", "density_g_cm3", "contamination"]


def test_they_hold_of_boilers_that_are_told_apart_too():
    told = as_priors(TOLD).of("urn"), parse_priors(OURS + "[boilers.urn]\ncapture.mean = 1.0")
    assert grading_of(told[0]) == grading_of(told[1]) == grading_of(TOLD)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("cut_points_mg_cm2 = [0.3, 1.5, 6]", "4 numbers that rise"),
        ("cut_points_mg_cm2 = 3", "4 numbers that rise"),
        ("cut_points_mg_cm2 = [0.3, 6, 1.5, 25]", "4 numbers that rise"),
        ("cut_points_mg_cm2 = [0.3, 1.5, 1.5, 25]", "4 numbers that rise"),
        ("cut_points_mg_cm2 = [0, 1.5, 6, 25]", "from 0.01 to 500"),
        ("cut_points_mg_cm2 = [0.3, '1', 6, 25]", "from 0.01 to 500"),
        ("density_g_cm3 = 0.5", "from 1 to 2.95"),
        ("density_g_cm3 = 3.0", "from 1 to 2.95"),
        ("density_g_cm3 = nan", "from 1 to 2.95"),
        ("contamination = -0.01", "from 0 to 0.2"),
        ("contamination = 0.21", "from 0 to 0.2"),
        ("contamination = true", "from 0 to 0.2"),
    ],
)
def test_what_will_not_do_is_a_line(text, said):
    with pytest.raises(BadValueError, match=said) as caught:
        parse_priors(text)
    assert "\n" not in str(caught.value)


def test_the_turns_of_the_law_follow_its_contamination():
    """Huber (1964): 2 phi(k)/k - 2 Phi(-k) = eps/(1 - eps); his table has k = 1.140 at 10 % and 0.862 at 20 %."""
    assert turn_of(0.02) == pytest.approx(LOOK_ERROR.upper, abs=5e-5)
    assert [turn_of(eps) for eps in (0.1, 0.2)] == pytest.approx([1.140, 0.862], abs=5e-4)
    laws = [Grading(contamination=eps).error for eps in (0.0, 0.001, 0.02, 0.1, 0.2)]
    far = [float(law.mass(6.0, np.inf)) for law in laws]
    assert far == sorted(far)
    assert [law.lower / law.upper for law in laws] == pytest.approx([LOOK_ERROR.lower / LOOK_ERROR.upper] * 5)
    assert float(laws[0].cdf(1.0)) == pytest.approx(float(ndtr(1.0)), abs=2e-3)
    assert all(float(law.mass(-np.inf, -9.0)) > 0.0 < float(law.mass(9.0, np.inf)) for law in laws)


def test_one_look_and_many_read_by_the_same_scale():
    facts = replace(history(look(60, 1), look(120, 2), look(180, 2, 4)), beliefs=TOLD)
    model = solve(facts, seed=1, particles=50).model
    x = model.draw_prior(np.random.default_rng(3), 40)
    parameters = model.parameters(x[: model.static_dim])
    states = model.surfaces(x)
    found = model.looks.probabilities(parameters.looking, states)
    for chance, (state, one) in zip(found, model.timeline.looks, strict=True):
        alone = model.look_model(x, one).probability(one.grade_low, one.grade_high, states[state])
        np.testing.assert_allclose(chance, alone, rtol=1e-9)
    house = Looks.of([(0, 0, 0, 0)], [(2, 2)])
    assert not np.allclose(model.looks.bounds[1, 0], house.bounds[1, 0])


def test_twice_the_cut_points_and_as_much_again_of_a_thickness_are_twice_the_deposit():
    """A look says more deposit where its grade begins higher, and every threshold by a grade moves along."""
    facts = history(look(120, 2), look(180, 2), days=200)
    own = replace(facts, beliefs=parse_priors("cut_points_mg_cm2 = [0.6, 3, 12, 50]"))
    assert find_threshold(own).mg_cm2 == 12.0
    assert find_threshold(replace(facts, beliefs=TOLD), um=40.0).mg_cm2 == 6.0
    one, other = (api.defer(f, seed=1, particles=200).deposit_now_mg_cm2.p50 for f in (facts, own))
    assert 1.3 * one < other < 2.5 * one
    thick = [replace(f, inspections=(look(120, 3, thickness_um=100.0),)) for f in (facts, replace(facts, beliefs=TOLD))]
    assert [bool(severe_alarms(f, 17.0)) for f in thick] == [True, False]  # 20 and 15 mg/cm2
    assert len({key_of(f, Question(), 1, 100) for f in (facts, own)}) == 2


def test_with_more_contamination_an_odd_look_is_likelier_and_tells_less():
    gradings = [Grading(contamination=eps) for eps in (0.001, 0.02, 0.2)]
    odd = [LookModel(1.0, 1 / 0.35, 0.0, grading=one).grade_probabilities(np.array([0.5, 5.0]))[4] for one in gradings]
    assert [one[0] for one in odd] == sorted(one[0] for one in odd)
    pulls = [one[1] / one[0] for one in odd]
    assert pulls == sorted(pulls, reverse=True)


def test_what_is_invented_is_read_off_the_same_scale():
    """Bands of the prior's own looks: with cut points so low that nearly all is past them, nearly all is a 4."""
    low = parse_priors("cut_points_mg_cm2 = [0.01, 0.02, 0.03, 0.04]")
    facts = replace(history(*(look(40 * (k + 1), 0) for k in range(6)), days=300), beliefs=low)
    model = solve(facts, seed=1, particles=50).model
    rng = np.random.default_rng(5)
    drawn = [one.grade_high for _ in range(20) for one in simulate(model, rng)[1].inspections]
    assert np.mean([grade == 4 for grade in drawn]) > 0.8


def test_what_people_see_follows():
    own = grading_of(TOLD)
    assert graded_range(look(60, 2), own) == (3.0, 12.0)
    assert "from about 80 um, 12 mg/cm2" in make_guide(grading=own).grades[3]
    scale = DepositScale.for_drawing(6.0, grading=own)
    assert (scale.top, scale.linear_below, scale.grades[4]) == (75.0, 0.6, (50.0, 75.0))
