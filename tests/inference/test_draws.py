"""The posterior as a function of the records: what must change it and what must not."""

from itertools import pairwise

import numpy as np
import pytest

from scalemodel import api
from scalemodel.errors import EvidenceError
from scalemodel.inference.draws import effective_draws, monte_carlo_error, r_hat, solve
from scalemodel.logbook.records import Descale
from tests.builders import day, history, look

SEEN = (look(90, 1), look(180, 1, 2), look(270, 2))


def risk(facts, ahead=90, **question):
    point = api.risk(facts, [day((facts.as_of - day(0)).days + ahead)], **question).points[0]
    return point.probability, point.mc_error


def test_a_record_that_says_nothing_changes_nothing():
    """Closure under splitting: a look "grade 0 to 4" cuts an interval in two and tells nothing."""
    plain = [risk(history(*SEEN), seed=s)[0] for s in range(6)]
    split = [risk(history(*SEEN, look(33, 0, 4), look(222, 0, 4)), seed=s)[0] for s in range(6)]
    error = np.hypot(np.std(plain, ddof=1), np.std(split, ddof=1)) / np.sqrt(6)
    assert abs(np.mean(plain) - np.mean(split)) < 5 * error


@pytest.mark.parametrize("earlier", [(), (look(300, 0, 3, method="glance"),)])
def test_a_worse_grade_never_lowers_the_risk(earlier):
    """Monotone in evidence, but for the probability that a grade is a slip: a flat contradiction tells little."""
    open_minded = {"boiler": {"start": "unknown"}, "tds": 60.0, "litres_per_day": 0.1}
    found = []
    for grade in range(5):
        facts = history(*earlier, look(350, grade), **open_minded)
        draws = solve(facts, particles=1000)
        found.append((*risk(facts, particles=1000), draws.model.lapse_chances(draws.x)[-1][1]))
    for (milder, e0, slip0), (worse, e1, slip1) in pairwise(found):
        assert worse > milder - 4 * np.hypot(e0, e1) - slip0 - slip1
    assert max(slip for _, _, slip in found) < 0.3
    assert found[1][0] < found[2][0] < found[3][0] < found[4][0]
    assert found[4][0] > found[0][0] + 0.2


def test_one_slip_of_the_pen_does_not_rule():
    """Bare metal after a year of growing crust, with no descale, is nearly ignored, and is named."""
    crust = (look(90, 1, 2), look(180, 2), look(270, 2, 3), look(350, 3))
    honest, slipped = risk(history(*crust))[0], risk(history(*crust, look(355, 0)))[0]
    assert slipped > 0.8 * honest
    draws = solve(history(*crust, look(355, 0)))
    slips = dict(draws.model.lapse_chances(draws.x))
    assert slips[look(355, 0)] > 0.8
    assert max(slips[e] for e in crust) < 0.2


def test_at_least_two_lies_between_two_and_four():
    low, wide, high = (risk(history(*SEEN, look(350, a, b)), particles=1000)[0] for a, b in ((2, 2), (2, 4), (4, 4)))
    assert low - 0.03 < wide < high + 0.03


def test_a_descale_lowers_the_deposit_and_a_recovered_mass_informs_it():
    def deposit(descale):
        return solve(history(days=290, descales=(descale,)), particles=1000).deposits

    little, much = (deposit(Descale("urn", day(280), scale_recovered_g=g)) for g in (0.2, 3.0))
    unweighed = deposit(Descale("urn", day(280)))
    assert unweighed[-1].mean() < 0.4 * unweighed[-2].mean()
    assert much[-2].mean() > little[-2].mean()
    expected = 1000 * 0.2 / 500
    assert np.median(little[-2] - little[-1]) == pytest.approx(expected, rel=0.5)


def test_a_thickness_reading_informs():
    thin, thick = (solve(history(*SEEN, look(350, 2, thickness_um=t))).deposits[-1] for t in (8.0, 25.0))
    assert np.median(thin) < 2.6
    assert np.median(thick) > 3.0


def test_same_facts_same_seed_same_posterior():
    one, two = solve(history(*SEEN), seed=9), solve(history(*SEEN), seed=9)
    np.testing.assert_array_equal(one.x, two.x)


def test_chains_agree_and_the_evidence_has_an_error():
    draws = solve(history(*SEEN))
    last = draws.by_population(np.log(draws.deposits[-1]))
    assert r_hat(last) < 1.03
    assert 0 < draws.log_evidence_error < 0.3
    assert not draws.info.capped
    assert draws.info.refused == 0


def test_diagnostics_of_known_draws():
    rng = np.random.default_rng(0)
    good = rng.standard_normal((4, 1000))
    assert r_hat(good) == pytest.approx(1.0, abs=0.01)
    assert r_hat(good + np.arange(4)[:, None]) > 1.5
    errors = [monte_carlo_error(rng.standard_normal((4, 1000))) for _ in range(200)]
    assert min(errors) > 0.95 / np.sqrt(4000)  # luck among four means makes nobody sure
    assert 1.0 < np.sqrt(np.mean(np.square(errors)) * 4000) < 1.35
    assert monte_carlo_error(good + np.arange(4)[:, None]) == pytest.approx(np.std(np.arange(4), ddof=1) / 2, rel=0.1)
    assert effective_draws(good + np.arange(4)[:, None]) < 10
    assert r_hat(np.ones((4, 10))) == 1.0


def test_a_water_never_tested_is_said():
    with pytest.raises(EvidenceError, match="add water-test tap"):
        solve(history(water_tests=()))
