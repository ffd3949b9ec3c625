"""Looks as they are read: somebody sparing of the worst grade, and grades of a worst patch."""

from dataclasses import replace

import numpy as np
import pytest

from scalemodel import api
from scalemodel.descaling.procedure import scale_mass
from scalemodel.logbook.records import WHOLE_SURFACE, WORST_PATCH
from scalemodel.model import priors, unknowns
from scalemodel.model.habits import SPARING_AFTER, as_read, sparing
from scalemodel.words.account import assumptions_of
from tests.builders import history, look

MILD = [look(20 * n, 1, inspector="anna") for n in range(1, SPARING_AFTER)]


def grades(facts):
    return [(one.grade_low, one.grade_high) for one in facts.inspections]


def test_who_never_says_the_worst_grade_is_read_as_the_last_but_one_or_worse():
    facts = history(*MILD, look(300, 3, inspector="anna"), look(310, 3, inspector="ben"))
    assert sparing(facts) == ("anna",)
    assert grades(as_read(facts))[-2:] == [(3, 4), (3, 3)]
    assert grades(as_read(facts))[:-2] == grades(facts)[:-2]
    assert as_read(as_read(facts)) == as_read(facts)
    assert sparing(as_read(facts)) == ("anna",)


@pytest.mark.parametrize(
    "looks",
    [
        MILD,  # not yet so many
        [*MILD, look(300, 2, inspector="anna")],  # nothing to read otherwise
        [*MILD[1:], look(280, 4, inspector="anna"), look(300, 3, inspector="anna")],  # has said the worst
        [*MILD[1:], look(280, 0, 4, inspector="anna"), look(300, 3, inspector="anna")],  # one that says nothing
        [*MILD[1:], look(280, 1, inspector="ben"), look(300, 3, inspector="anna")],  # somebody else's
    ],
)
def test_others_are_read_as_they_are(looks):
    facts = history(*looks)
    assert as_read(facts) is facts
    assert sparing(facts) == ()


def risk_now(*looks, threshold=25.0):
    return api.prepare(history(*looks), particles=500).forecast.risk(threshold, 0)[0]


def test_reading_it_so_raises_the_risk_of_the_worst_grade_and_is_said():
    """Against the same looks by somebody who has said a 4 of another site: then a 3 is a 3."""
    threes = [look(20 * n, 3, inspector="anna") for n in range(6, 16)]
    assert risk_now(*threes) > 1.5 * risk_now(look(100, 4, site="element", inspector="anna"), *threes)
    case = api.prepare(history(*threes), particles=100)
    assert any("a 3 by anna is read as 3 or 4" in line for line in assumptions_of(api.defer(case).basis))


def graded(of, *looks, **more):
    facts = history(*looks)
    return replace(facts, boiler=replace(facts.boiler, graded=of), **more)


def test_whole_surface_is_what_is_taken_where_nobody_says_and_that_is_said():
    looks = look(150, 1), look(300, 2)
    unsaid, whole = (api.prepare(graded(of, *looks), particles=100) for of in (None, WHOLE_SURFACE))
    np.testing.assert_array_equal(unsaid.forecast.posterior.x, whole.forecast.posterior.x)
    assert unknowns.PATCH not in whole.forecast.posterior.model.unknowns
    told = [assumptions_of(api.defer(case).basis) for case in (unsaid, whole)]
    assert [any("surface as a whole" in line for line in said) for said in told] == [True, False]


def test_the_worst_patch_is_past_a_threshold_sooner_and_holds_less_than_it_looks():
    """Before any look the patch is at twice the whole (the prior's median); grades and threshold are of it alike."""
    whole, patch = (api.prepare(graded(of), particles=500) for of in (WHOLE_SURFACE, WORST_PATCH))
    sooner, at_half, later = (case.forecast.risk(mg, 0)[0] for case, mg in ((patch, 6.0), (whole, 3.0), (whole, 6.0)))
    assert sooner == pytest.approx(at_half, abs=0.05)
    assert sooner > later + 0.05
    seen = [api.prepare(graded(of, look(300, 3)), particles=500) for of in (WHOLE_SURFACE, WORST_PATCH)]
    heavy, light = (scale_mass(case.forecast).mean for case in seen)
    assert light < 0.8 * heavy  # a patch of grade 3 is less scale in all than a surface of it


def test_patch_is_a_priors_unknown_in_the_gradient_and_the_twin():
    """`test_gradient` and `test_pymc_twin` compare whole laws; here that the unknown is one of them, with its prior."""
    facts = graded(WORST_PATCH, look(150, 1), look(300, 2, site="chamber"))
    model = api.prepare(facts, particles=50).forecast.posterior.model
    assert model.unknowns[unknowns.PATCH] == priors.PATCH
    rng = np.random.default_rng(4)
    x = model.draw_prior(rng, 3)
    row, step = list(model.unknowns).index(unknowns.PATCH), 1e-5
    up, down = x.copy(), x.copy()
    up[row] += step
    down[row] -= step
    by_steps = (model.evaluate(up).log_likelihood - model.evaluate(down).log_likelihood) / (2.0 * step)
    np.testing.assert_allclose(model.evaluate_with_gradient(x, np.ones(3))[1][row], by_steps, rtol=1e-5, atol=1e-8)
