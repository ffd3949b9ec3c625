"""Priors of a user's own: read from a file, refused in a line, and in every answer that follows from them."""

from dataclasses import replace
from datetime import timedelta

import pytest

import scalemodel
from scalemodel import api
from scalemodel.answers.key import key_of
from scalemodel.decision.foretelling import as_known_on
from scalemodel.decision.question import Question
from scalemodel.errors import BadValueError, UnknownNameError
from scalemodel.logbook.belief import Adopted, Belief
from scalemodel.logbook.priors_text import LARGEST, OF_SEVERAL, REACH
from scalemodel.logbook.records import Site
from scalemodel.model import priors, unknowns
from scalemodel.model.beliefs import believed, house, parse_priors, read_priors
from scalemodel.model.timeline import build_timeline
from scalemodel.model.unknowns import find_unknowns
from scalemodel.validation.other_worlds import METERS
from scalemodel.validation.prior_predictive import prior_predictive
from tests.builders import history, look

OURS = """
[capture]
mean = 0.8
sd = 0.5
scale = "logit"

[relative]
sd = 0.3

[relative.chamber]
mean = -0.7

[reading.mirror]
mean = -1.5
"""


def test_only_what_differs_and_one_alone_before_all_of_a_kind():
    told = parse_priors(OURS)
    assert told == (
        Belief("capture", "", 0.8, 0.5),
        Belief("reading", "mirror", -1.5, None),
        Belief("relative", "", None, 0.3),
        Belief("relative", "chamber", -0.7, None),
    )
    assert believed(told, "relative", "chamber")[:2] == (-0.7, 0.3)
    assert believed(told, "relative", "element")[:2] == (priors.RELATIVE.mean, 0.3)
    assert believed(told, "capture").transform is priors.CAPTURE.transform
    assert believed(told, "floor") == priors.FLOOR
    assert parse_priors("") == ()


def test_every_unknown_of_a_boiler_follows_them_and_a_site_on_record_outranks_them():
    facts = replace(
        history(look(90, 1), look(180, 1, site="chamber", method="mirror"), look(270, 2, site="lid")),
        sites=(Site("urn", "chamber"), Site("urn", "lid", relative_deposit=1.5)),
        beliefs=parse_priors(OURS),
    )
    found = find_unknowns(facts, build_timeline(facts))
    assert found[unknowns.CAPTURE][:2] == (0.8, 0.5)
    assert found[unknowns.relative("chamber")][:2] == (-0.7, 0.3)
    assert found[unknowns.relative("lid")].mean == pytest.approx(0.405, abs=1e-3)
    assert found[unknowns.reading("mirror")].mean == -1.5
    assert found[unknowns.reading("eye")] == priors.READING


@pytest.mark.parametrize("name", house())
def test_every_unknown_can_be_told_by_its_name(name):
    prior = house()[name]
    told = parse_priors(f"[{name}]\nmean = {prior.mean + 0.5 * prior.sd}\nsd = {0.5 * prior.sd}")
    assert believed(told, name).sd == pytest.approx(0.5 * prior.sd)
    inner = f"[{name}.x]\nsd = {prior.sd}"
    if name in OF_SEVERAL:
        assert parse_priors(inner)[0].subject == "x"
    else:
        with pytest.raises(BadValueError, match="a boiler has but one"):
            parse_priors(inner)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[capture", "TOML, such as"),
        ("[captur]\nmean = 1", "did you mean 'capture'"),
        ("capture = 1", r"a table, \[capture\]"),
        ("[capture]\nmode = 1", "no field of 'priors, capture' is called 'mode'"),
        ("[capture]\nscale = 'ln'\nmean = 1", "expected 'logit'"),
        ("[capture]\nscale = 'logit'", "a mean or an sd"),
        ("[capture]", "a mean or an sd"),
        ("[capture]\nmean = 'much'", "a number from -10 to 10"),
        ("[capture]\nmean = true", "a number from -10 to 10"),
        ("[capture]\nmean = nan", "a number from -10 to 10"),
        ("[capture]\nmean = 99", "a number from -10 to 10"),
        ("[capture]\nsd = 0", "a number from 0.05 to 5"),
        ("[capture]\nsd = -1", "a number from 0.05 to 5"),
        ("[capture]\nsd = inf", "a number from 0.05 to 5"),
    ],
)
def test_what_will_not_do_is_a_line(text, said):
    with pytest.raises((BadValueError, UnknownNameError), match=said) as caught:
        parse_priors(text)
    assert "\n" not in str(caught.value)


def test_a_file_that_cannot_be_read_is_a_line(tmp_path):
    for place in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(BadValueError, match="can be read"):
            read_priors(place)
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b"# \xe9\n")
    with pytest.raises(BadValueError, match="no UTF-8 text"):
        read_priors(latin)
    long = tmp_path / "long.toml"
    long.write_text("#" * (LARGEST + 1))
    with pytest.raises(BadValueError, match="at most 1000000 bytes"):
        read_priors(long)


def test_answers_follow_them_say_so_and_are_kept_apart(tmp_path):
    place = tmp_path / "ours.toml"
    place.write_text(OURS)
    facts = history(look(120, 1), days=180)
    own = scalemodel.with_priors(facts, place)
    keys = {key_of(one, Question(), 1, 100) for one in (facts, own)}
    assert len(keys) == 2
    house_answer, one, other = (
        api.defer(facts, particles=200),
        api.defer(facts, particles=200, priors=place),
        api.defer(own, particles=200),
    )
    assert one.crossing == other.crossing
    assert one.crossing["p50"] < house_answer.crossing["p50"]
    assert scalemodel.with_priors(own, ()) == facts


def test_before_any_record_the_house_agrees_with_itself_and_more_capture_is_sooner():
    """A meter reading of 100 mg/L alone gives about 10 to 12 months until a risk of 10 %."""
    same = prior_predictive(())
    assert [one.water for one in same] == list(METERS)
    assert all(one.days == one.house for one in same)
    assert 9.5 * 30.4 < same[0].days[0] < 12.5 * 30.4
    for one, more in zip(same, prior_predictive(parse_priors(OURS)), strict=True):
        assert more.days[0] < one.days[0]
        assert more.house == one.house


def test_what_may_be_said_reaches_as_far_about_every_prior_of_the_house():
    """Ten of its sds either way; an sd from a twentieth of it to five times."""
    assert set(REACH) == set(house())
    for name, prior in house().items():
        scale, mean, sd = REACH[name]
        assert scale == prior.scale
        assert mean == pytest.approx(
            (prior.mean - 10.0 * prior.sd, prior.mean + 10.0 * prior.sd), abs=0.01 * prior.sd + 0.05
        )
        assert sd == pytest.approx((0.05 * prior.sd, 5.0 * prior.sd))


def test_an_earlier_day_knew_of_no_later_adoption():
    facts = history(look(120, 1), days=180)
    ours, day_of = parse_priors(OURS), facts.as_of - timedelta(days=30)
    own = replace(facts, beliefs=ours)
    adopted = replace(own, adoptions=(Adopted(day_of, ours),))
    assert as_known_on(adopted, day_of).beliefs == ours == as_known_on(own, day_of - timedelta(days=1)).beliefs
    before = as_known_on(adopted, day_of - timedelta(days=1))
    assert before.beliefs == before.adoptions == ()
    first = Adopted(day_of - timedelta(days=9), ours[:1])
    twice = replace(own, adoptions=(first, Adopted(day_of, ours)))
    assert as_known_on(twice, day_of - timedelta(days=1)).beliefs == ours[:1]
    assert len({key_of(one, Question(), 1, 100) for one in (facts, own, adopted, twice)}) == 4
    assert scalemodel.with_priors(adopted, "house") == scalemodel.with_priors(adopted, ()) == facts
