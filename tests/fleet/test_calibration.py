"""Ranks of a population's truth: how fleets are made from one, and whether pooling is calibrated over many."""

import numpy as np
import pytest

from scalemodel.fleet import calibration as room
from scalemodel.fleet.calibration import Population, calibrate, draw_population, findings, invent_fleet, standard_of
from scalemodel.fleet.traits import keys_of
from scalemodel.model import priors
from scalemodel.model.target import model_of
from scalemodel.validation.calibration import RANKS

pytest.importorskip("pymc", reason="the audit extra is not installed")


def test_a_standard_normal_and_back():
    for prior in (priors.CAPTURE, priors.FLOOR, priors.STRENGTH):
        for u in (-2.5, 0.0, 0.7):
            assert standard_of(prior, float(prior.value(u))) == pytest.approx(u, abs=1e-9)


def test_a_fleet_follows_its_population():
    """Thirty boilers of a population that keeps nothing are bare; those of one that keeps all are worse."""
    rng = np.random.default_rng(1)
    histories = invent_fleet(rng, boilers=30, looks=3)
    drawn = draw_population(histories, rng)
    names = [one.name for one in drawn.traits]
    assert {key for facts in histories for key in keys_of(model_of(facts)[0])} >= {
        (n.name, n.subject) for n in drawn.traits
    }
    grades = {}
    for middle in (-9.0, 3.0):
        mu, tau = drawn.mu.copy(), np.full(len(names), 0.01)
        mu[names.index("capture")] = middle
        made = findings(histories, Population(drawn.traits, mu, tau), np.random.default_rng(2))
        grades[middle] = np.mean([look.grade_high for facts in made for look in facts.inspections])
    assert grades[3.0] > grades[-9.0] + 0.3


def test_the_ranks_tell_a_pool_that_is_off(monkeypatch):
    """A pool whose draws are all too low: every truth ranks high, and the histogram says so."""

    class Off:
        settled = True

        def __init__(self, traits):
            self.draws = {(t.name, t.subject): (np.full(RANKS, -99.0), np.zeros(RANKS)) for t in traits}

    monkeypatch.setattr(room, "pool", lambda made, *_: Off(draw_population(made, np.random.default_rng(1)).traits))
    seen = []
    found = calibrate(20, seed=5, boilers=2, looks=2, done=seen.append)
    assert (found.fleets, found.settled, seen[-1]) == (20, 20, 1.0)
    assert "too low" in " ".join(found.by_name["capture mean"].faults)
    assert not [name for name in found.by_name if name.startswith("strength") and name.endswith("spread")]


@pytest.mark.slow
def test_populations_are_where_pooling_says():
    """Of 14 fleets of eight boilers: no lean above 3.5 standard errors, and 80 % intervals hold the truth within as
    many binomial errors of 80 %; most pools settle."""
    found = calibrate(14, seed=77)
    for one in found.histograms:
        assert abs(one.lean_z) < 3.5, one
        assert abs(next(c.z for c in one.coverage if c.level == 0.8)) < 3.5, one
    assert found.settled > 7
