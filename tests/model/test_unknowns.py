"""Unknowns: their keys, the names that are printed of them, and their priors."""

import numpy as np
import pytest

from scalemodel.errors import UnknownNameError
from scalemodel.inference.posterior import solve
from scalemodel.logbook.records import WORST_PATCH, Descale
from scalemodel.model import priors
from scalemodel.model.timeline import build_timeline
from scalemodel.model.unknowns import (
    CAPTURE,
    DEGASSING,
    INITIAL,
    NEXT_RESIDUE,
    USE,
    Kind,
    Unknown,
    all_unknowns,
    concentration,
    leniency,
    prior_of,
    reading,
    relative,
    residue,
)
from tests.builders import day, history, look

FACTS = history(look(90, 1, inspector="kim"), descales=(Descale("urn", day(100), "partial"),))


def prior(unknown, facts=FACTS):
    return prior_of(unknown, facts, build_timeline(facts))


def test_the_printed_names():
    named = (CAPTURE, leniency(""), leniency("kim"), reading("eye"), relative("lid"), concentration("tap"), residue(1))
    said = ["capture", "leniency ", "leniency kim", "reading eye", "relative lid", "strength tap", "residue 1"]
    assert list(map(str, named)) == said


def test_a_prior_is_found_of_what_nobody_looked_at_too():
    assert prior(relative("chamber")) == priors.RELATIVE
    assert prior(relative("element")).mean == pytest.approx(np.log(1.5))
    assert prior(reading("glance")) == priors.READING_GLANCE
    assert prior(leniency("somebody new")) == priors.LENIENCY
    assert prior(concentration("soft")) == priors.STRENGTH
    assert prior(residue(0)) == priors.RESIDUE_PARTIAL
    assert prior(NEXT_RESIDUE) == priors.RESIDUE_FULL
    assert prior(USE) == priors.USE
    assert prior(DEGASSING, history(boiler={"steam_share": 0.1})) == priors.DEGASSING_STEAM
    assert prior(INITIAL, history(boiler={"start": "unknown"})) == priors.INITIAL


@pytest.mark.parametrize(
    "wrong",
    [
        "leniency nina", "captures", "", leniency("nina"), relative("cellar"), relative("wall"), reading("sonar"),
        concentration("wine"),
        residue(1), residue(-1), residue("0"), INITIAL, Unknown(Kind.CAPTURE, "kim"), Unknown(Kind.LENIENCY),
    ],
)  # fmt: skip
def test_what_the_boiler_has_not_is_an_error_and_never_drawn(wrong):
    posterior = solve(FACTS, particles=50)
    with pytest.raises(UnknownNameError, match="no unknown of 'urn' is called"):
        posterior.unknown(wrong)
    with pytest.raises(UnknownNameError, match="no unknown of 'urn' is called"):
        posterior.model.value(wrong, posterior.x)


def test_what_no_record_bears_on_has_no_draws_of_its_own():
    posterior = solve(FACTS, particles=50)
    with pytest.raises(UnknownNameError):
        posterior.model.value(relative("chamber"), posterior.x)
    drawn = posterior.unknown(relative("chamber"))
    assert drawn.shape == (posterior.count,)
    np.testing.assert_array_equal(drawn, posterior.unknown(relative("chamber")))


def test_an_unknown_is_found_by_what_is_printed_of_it():
    facts = history(look(90, 1, site="chamber", inspector="kim"), boiler={"graded": WORST_PATCH})
    posterior = solve(facts, particles=50)
    for unknown in all_unknowns(facts, posterior.model.timeline):
        np.testing.assert_array_equal(posterior.unknown(str(unknown)), posterior.unknown(unknown))
    assert {str(one) for one in posterior.model.unknowns} <= {*map(str, all_unknowns(facts, posterior.model.timeline))}
    np.testing.assert_array_equal(posterior.unknown("relative chamber"), posterior.unknown(relative("chamber")))
    with pytest.raises(UnknownNameError, match="did you mean 'leniency kim'"):
        posterior.unknown("leniency kym")
    with pytest.raises(UnknownNameError):
        posterior.unknown(leniency("nina"))
    assert (
        np.ndim(posterior.look_model("chamber", "eye", "nina").shift) == 1
    )  # who may yet look has a prior all the same
