"""A descale need not clean every site alike: which sites have a surface of their own, and what a look settles."""

from dataclasses import replace

import numpy as np
import pytest

from scalemodel import api
from scalemodel.logbook.records import Descale
from scalemodel.model import priors, unknowns
from scalemodel.model.timeline import build_timeline
from scalemodel.model.unknowns import Kind, Unknown, find_unknowns, is_settled
from tests.builders import day, history, look

CLEANED = Descale("urn", day(200))


def prior_of_residue(*looks, descales=(CLEANED,)):
    facts = history(*looks, descales=descales)
    return find_unknowns(facts, build_timeline(facts))[unknowns.residue(0)]


@pytest.mark.parametrize(
    ("looks", "settled"),
    [
        ((), False),
        ((look(300, 1),), True),
        ((look(200, 0, after_descale=True),), True),
        ((look(200, 3),), False),  # before it, that day
        ((look(150, 3),), False),
        ((look(300, 0, site="chamber"),), False),  # another site
        ((look(300, 0, 4),), False),  # says nothing
        ((look(300, 0, 4, thickness_um=9.0),), True),
    ],
)
def test_a_full_descale_is_partly_known_until_somebody_looks_at_the_reference_surface(looks, settled):
    assert prior_of_residue(*looks) == (priors.RESIDUE_FULL if settled else priors.RESIDUE_UNSEEN)


def test_recovered_scale_settles_it_and_the_next_descale_ends_the_time_to_look():
    weighed = replace(CLEANED, scale_recovered_g=1.0)
    assert prior_of_residue(descales=(weighed,)) == priors.RESIDUE_FULL
    twice = (CLEANED, Descale("urn", day(250)))
    facts = history(look(300, 1), descales=twice)
    assert [is_settled(facts, one) for one in twice] == [False, True]
    assert prior_of_residue(descales=(replace(CLEANED, scope="partial"),)) == priors.RESIDUE_PARTIAL


def test_a_site_seen_after_a_descale_has_residues_of_its_own():
    def names(*looks, **more):
        facts = history(*looks, **more)
        return {str(one) for one in find_unknowns(facts, build_timeline(facts)) if one.kind is Kind.SITE_RESIDUE}

    chamber = (look(150, 2, site="chamber"), look(300, 0, site="chamber"))
    assert names(*chamber, descales=(CLEANED,)) == {"site residue chamber 0"}
    assert names(chamber[0], descales=(CLEANED,)) == set()  # shares the wall's
    assert names(*chamber) == set()
    assert names(look(300, 1), descales=(CLEANED,)) == set()
    facts = history(*chamber, descales=(CLEANED,))
    assert find_unknowns(facts, build_timeline(facts))[Unknown(Kind.SITE_RESIDUE, "chamber", 0)] == priors.RESIDUE_FULL


@pytest.fixture(scope="module")
def seen_clean():
    """A chamber and a wall as coated as can be before a descale; then the chamber bare, the wall not looked at."""
    looks = (look(190, 4, site="chamber"), look(195, 4), look(205, 0, site="chamber"))
    return history(*looks, descales=(CLEANED,), days=206)


def test_a_clean_chamber_does_not_say_that_the_wall_is_clean(seen_clean):
    draws = api.posterior(seen_clean, particles=500)
    wall, chamber = draws.deposits[-1], draws.deposits_at("chamber")[-1]
    assert np.quantile(chamber, 0.9) < 5.0
    assert np.quantile(wall, 0.9) > 9.0  # half of it may be left
    assert draws.deposits_at("wall") is not chamber
    np.testing.assert_array_equal(draws.deposits_at("element"), draws.deposits)  # never looked at: the wall's share


def test_a_look_at_the_wall_settles_it(seen_clean):
    asked = api.prepare(seen_clean, particles=250)
    bare = replace(seen_clean, inspections=(*seen_clean.inspections, look(206, 0)))
    assert api.risk(bare, [bare.as_of], particles=250).points[0].probability < 0.02
    assert asked.risk(0) > 0.1
