"""What a descale left: told by the evidence after it, and said where it is too much."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit

from scalemodel import api
from scalemodel.decision.residue import TOO_MUCH, bears_on, residues_of
from scalemodel.logbook.records import Descale
from scalemodel.model.unknowns import residue
from scalemodel.words.account import residue_words
from tests.builders import day, history, look

BEFORE = (look(90, 2), look(180, 3), look(199, 3))
FULL = Descale("urn", day(200))


def told(*after, descale=FULL, seed=None):
    return residues_of(api.posterior(history(*BEFORE, *after, descales=(descale,)), seed))[0]


def test_looks_after_a_descale_tell_what_it_left():
    clean = told(look(200, 0, after_descale=True), look(201, 0))
    dirty = told(look(200, 3, after_descale=True), look(201, 3))
    untold = told()
    assert clean.share.p50 < untold.share.p50 < dirty.share.p50
    assert clean.left_mg_cm2.p50 < untold.left_mg_cm2.p50 < dirty.left_mg_cm2.p50
    assert clean.chance_too_much < 0.5 < dirty.chance_too_much


def test_scale_recovered_tells_too():
    # some 10 mg/cm2 before on 500 cm2 is 5 g
    little, much = (told(descale=replace(FULL, scale_recovered_g=g)) for g in (1.5, 6.0))
    assert much.share.p50 < little.share.p50
    assert much.seen


def test_the_numbers_are_the_posteriors():
    facts = history(*BEFORE, look(230, 1), descales=(FULL, Descale("urn", day(300), "partial")))
    posterior = api.posterior(facts)
    first, second = residues_of(posterior)
    share = expit(posterior.unknown(residue(0)))
    before, _ = posterior.model.timeline.descales[0]
    assert (first.share.p10, first.share.p50, first.share.p90) == pytest.approx(np.quantile(share, (0.1, 0.5, 0.9)))
    left = posterior.deposits[before] * share
    assert first.left_mg_cm2.p50 == pytest.approx(np.median(left))
    assert first.chance_too_much == pytest.approx(np.mean(share > TOO_MUCH))
    assert (second.scope, second.chance_too_much) == ("partial", None)
    assert api.defer(facts).residue == (first, second)


def test_too_much_is_said_in_words_of_a_full_descale_only():
    dirty = (look(200, 3, after_descale=True), look(201, 3), look(202, 3))
    said = residue_words(told(*dirty))
    assert "left more than it should: more than 30%" in said
    assert "more than it should" not in residue_words(told(look(200, 0, after_descale=True)))
    assert "more than it should" not in residue_words(told(*dirty, descale=Descale("urn", day(200), "partial")))


def test_what_nothing_tells_is_said():
    assert "this is what is usual" in residue_words(told())
    assert "this is what is usual" not in residue_words(told(look(230, 1)))


@pytest.mark.parametrize(
    ("made", "tells"),
    [
        (look(199, 2), False),
        (look(200, 2), False),
        (look(200, 2, after_descale=True), True),
        (look(250, 2), True),
        (look(300, 2), True),
        (look(300, 2, after_descale=True), False),
        (look(301, 2), False),
    ],
)
def test_which_looks_bear_on_a_descale(made, tells):
    facts = history(made, descales=(FULL, Descale("urn", day(300))))
    assert bears_on(facts, FULL) == tells


def test_without_descales_nothing_is_said():
    assert api.defer(history(*BEFORE)).residue == ()
