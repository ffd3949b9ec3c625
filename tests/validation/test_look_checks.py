"""Looks against each other: the mistyped one stands out, and leaving out by reweighing equals leaving out."""

import numpy as np
import pytest

from scalemodel.inference.look_probabilities import grade_probabilities
from scalemodel.inference.posterior import solve
from scalemodel.validation.look_checks import counts_by_grade, surprises
from tests.builders import history, look

HONEST = (look(60, 0, 1), look(120, 1), look(180, 1), look(240, 1, 2), look(300, 2))


def test_reweighing_equals_leaving_the_look_out():
    wrong = look(350, 3)
    with_it = solve(history(*HONEST, wrong), particles=4000)
    found = next(s for s in surprises(with_it) if s.look == wrong)
    spectator = look(350, 0, 4)  # the same look, telling nothing
    without = solve(history(*HONEST, spectator), particles=4000)
    exact = grade_probabilities(without)[-1, 3].mean()
    assert found.probability == pytest.approx(exact, rel=0.2)  # the cut reads it up to a tenth high


def test_a_mistyped_grade_stands_out():
    typed = look(270, 4)
    found = surprises(solve(history(*HONEST, typed), particles=1000))
    assert found[0].look == typed
    assert found[0].stands_out
    assert found[0].expected <= 2
    assert not any(s.stands_out for s in found[1:])
    assert not any(s.stands_out for s in surprises(solve(history(*HONEST))))


def test_grades_add_up():
    draws = solve(history(*HONEST, look(310, 1, 3, site="chamber")))
    assert np.allclose(grade_probabilities(draws).sum(axis=1), 1.0)
    counts = counts_by_grade(draws)
    for site, looks in (("wall", 5), ("chamber", 1)):
        mine = [c for c in counts if c.site == site]
        assert sum(c.observed for c in mine) == pytest.approx(looks)
        assert sum(c.expected for c in mine) == pytest.approx(looks)
    assert not any(c.odd for c in counts)


def test_no_look_nothing_to_compare():
    draws = solve(history())
    assert surprises(draws) == ()
    assert counts_by_grade(draws) == ()
