"""The posterior as a function of the records: what must change it and what must not."""

import numpy as np
import pytest

from scalemodel import api
from scalemodel.errors import EvidenceError
from scalemodel.inference.draws import monte_carlo_error, r_hat, solve
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


def test_one_mild_look_pulls_with_bounded_force():
    """Bare metal after a year of growing crust, with no descale, does not rule; and ever more of it is believed."""
    crust = (look(90, 1, 2), look(180, 2), look(270, 2, 3), look(350, 3))
    honest = risk(history(*crust))[0]
    bare = [risk(history(*crust, *(look(355 + k, 0) for k in range(count))))[0] for count in (1, 2, 5)]
    assert bare[0] > 0.85 * honest
    assert honest > bare[0] > bare[1] > bare[2]


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
    assert 0 < np.std(draws.info.log_evidence, ddof=1) / np.sqrt(draws.populations) < 0.3
    assert not draws.info.cap_hit
    assert draws.info.nan_count == 0


def test_diagnostics_of_known_draws():
    rng = np.random.default_rng(0)
    good = rng.standard_normal((4, 1000))
    assert r_hat(good) == pytest.approx(1.0, abs=0.01)
    assert r_hat(good + np.arange(4)[:, None]) > 1.5
    errors = [monte_carlo_error(rng.standard_normal((4, 1000))) for _ in range(200)]
    assert min(errors) > 0.95 / np.sqrt(4000)  # luck among four means makes nobody sure
    assert 1.0 < np.sqrt(np.mean(np.square(errors)) * 4000) < 1.35
    assert monte_carlo_error(good + np.arange(4)[:, None]) == pytest.approx(np.std(np.arange(4), ddof=1) / 2, rel=0.1)
    assert r_hat(np.ones((4, 10))) == 1.0


def test_a_water_never_tested_is_said():
    with pytest.raises(EvidenceError, match="add water-test tap"):
        solve(history(water_tests=()))
