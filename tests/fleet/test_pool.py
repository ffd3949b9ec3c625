"""Pooling: which unknowns are pooled and how they hang together, what is made of the result, and whole runs."""

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

import scalemodel
from scalemodel.cli.main import main as cli
from scalemodel.errors import EvidenceError, RecordClashError, UnknownNameError
from scalemodel.fleet import pool as room
from scalemodel.fleet.pool import Known, Learned, Pool, as_arrays, blocks
from scalemodel.fleet.population import OWN_SHARE, Trait
from scalemodel.fleet.told import priors_text, sentences
from scalemodel.fleet.traits import Drawn, drawn, tells
from scalemodel.logbook.belief import Adopted, Belief, Pooled
from scalemodel.logbook.priors_text import constants_in, parse
from scalemodel.logbook.records import Descale
from scalemodel.model import priors
from scalemodel.model.beliefs import parse_priors
from tests.builders import day, history, look

CAPTURE, FLOOR, EYE, ANNA = ("capture", ""), ("floor", ""), ("reading", "eye"), ("leniency", "anna")


def of_boiler(keys, values, looks=4):
    values = np.asarray(values)
    return Drawn(tuple(keys), values, np.zeros(values.shape), dict.fromkeys(keys, looks))


def known(bears, boilers=("one", "two")):
    rng = np.random.default_rng(1)
    traits = (Trait("capture", "", priors.CAPTURE), Trait("leniency", "anna", priors.LENIENCY, shared=True))
    mu = np.array([-1.0, 0.3]) + 0.1 * rng.standard_normal((400, 2))
    return Known(traits, mu, np.full((400, 2), [0.5, 0.075]), np.zeros((2, 400)), boilers, np.array(bears, bool))


def learned(unknown, subject, mean, error, sd=0.5):
    return Learned(unknown, subject, "logit" if unknown == "capture" else "ln", mean, sd, error, 0.1, 0.0, 1.0, 2, 8)


def pooled(**more):
    told = {
        "as_of": date(2026, 11, 1),
        "population": (learned("capture", "", -1.0, 0.1),),
        "waters": (),
        "inspectors": (learned("leniency", "anna", 0.3, 0.1, 0.0),),
        "rounds": 4,
        "effective_share": 0.3,
        "settled": True,
        "boilers": 2,
        "looks": 8,
        "left_out": (),
        "_known": known([[1, 1], [1, 1]]),
    }
    return Pool(**{**told, **more})


def test_what_a_boiler_shares_with_others_is_named_as_in_a_priors_file():
    facts = history(
        look(60, 1, method="glance", inspector="anna"),
        look(90, 1, site="chamber"),
        look(200, 0, site="element", method="mirror"),
        descales=(Descale("urn", day(100)), Descale("urn", day(220), scope="partial")),
        days=240,
    )
    ((_, told),) = drawn(facts, seed=3, particles=50, most=100)
    assert set(told.keys) == {
        *(("capture", ""), ("degassing", ""), ("irregularity", ""), ("floor", "")),
        *(("strength", "tap"), ("reading_glance", ""), ("reading", "eye"), ("reading", "mirror")),
        *(("leniency", "anna"), ("relative", "chamber"), ("residue_unseen", ""), ("residue_partial", "")),
        ("residue_full", ""),  # of the element, which was looked at after the descale
    }  # the element's relative deposit is on record, and nobody is named at two looks
    assert told.values.shape == told.log_proposals.shape == (len(told.keys), 100)
    assert told.looks["capture", ""] == 3
    assert told.looks["reading_glance", ""] == told.looks["relative", "chamber"] == 1


def test_the_density_of_the_proposal_is_that_of_the_prior_it_was_drawn_from():
    ((_, told),) = drawn(history(look(60, 0, 4), days=90), seed=3, particles=200, most=800)
    row = told.keys.index(("floor", ""))
    values, prior = told.values[row], priors.FLOOR
    normal = -0.5 * ((values - prior.mean) / prior.sd) ** 2 - np.log(prior.sd * np.sqrt(2.0 * np.pi))
    assert told.log_proposals[row] == pytest.approx(normal)


def test_a_boiler_that_nobody_looked_at_teaches_nothing():
    assert not tells(history())
    assert not tells(history(look(60, 0, 4)))
    with pytest.raises(EvidenceError, match="nothing to learn"):
        scalemodel.pool([history()], "2026-01-01", workers=1)


def test_unknowns_that_growth_ties_together_are_weighed_together():
    rng = np.random.default_rng(2)
    values = rng.standard_normal((4, 400))
    told = of_boiler([CAPTURE, EYE, FLOOR, ANNA], values)
    assert sorted(blocks(told, set(told.keys))) == [[0, 2], [1], [3]]
    tied = of_boiler(told.keys, [values[0], values[1], values[2], values[1] + values[0]])
    assert blocks(tied, set(told.keys)) == [[0, 1, 2, 3]]
    many = of_boiler(told.keys, rng.standard_normal((4, 1000)))
    assert sorted(blocks(many, set(told.keys))) == [[0, 2, 3], [1]]


def test_what_one_boiler_alone_has_is_left_to_it():
    rng = np.random.default_rng(3)
    found = {name: of_boiler([CAPTURE, ANNA], rng.standard_normal((2, 50))) for name in ("one", "two")}
    draws = as_arrays(found, [CAPTURE])
    assert draws.values.shape == (2, 50)
    assert list(draws.boiler) == [0, 1]
    assert as_arrays(found, [CAPTURE, ANNA]).values.shape == (4, 50)


def test_a_boilers_own_priors_leave_out_what_only_it_has_shown():
    alone = known([[1, 1], [1, 0]])
    assert [one.name for one in alone.beliefs()] == ["capture", "leniency"]
    assert [one.name for one in alone.beliefs(without="one")] == ["capture"]
    single = Known(alone.traits, alone.mu, alone.tau, alone.said[:1], ("one",), alone.bears[:1])
    assert single.beliefs(without="one") == ()  # the house's answer, to the last digit
    own = Belief("activation", "", 40.0, None)
    assert single._replace(base=(own,)).beliefs(without="one") == (own,)
    assert "as before\n[activation]\nmean = 40\nscale" in priors_text(pooled(_known=alone._replace(base=(own,))))
    with pytest.raises(UnknownNameError):
        alone.beliefs(without="three")


def test_a_boilers_own_priors_take_back_what_it_said():
    """What says that mu is high is taken back: the others alone say less."""
    both = known([[1, 1], [1, 1]])
    said = np.stack([20.0 * (both.mu[:, 0] + 1.0), np.zeros(400)])
    (capture, *_), (others, *_) = both._replace(said=said).beliefs(), both._replace(said=said).beliefs(without="one")
    assert others.mean < capture.mean - 0.05


def test_the_file_says_what_the_beliefs_are():
    text = priors_text(pooled())
    told = parse_priors(text)
    for one, other in zip(told, pooled().beliefs(), strict=True):
        assert (one.name, one.subject) == (other.name, other.subject)
        assert (one.mean, one.sd) == pytest.approx((other.mean, other.sd), rel=1e-5)
    assert "# Learned on 2026-11-01 from 2 boilers and 8 looks, in 4 rounds." in text


def test_an_inspectors_leniency_is_said_with_its_interval_and_only_where_it_is_known():
    text = " ".join(sentences(pooled()))
    assert "keeps 27% of what could stay in it (the house says 50%)" in text
    assert "anna grades leniently: the same grade stands for 1.3 times the deposit (1.1 to 1.6;" in text
    unsure = pooled(inspectors=(learned("leniency", "anna", 0.1, 0.1, 0.0),), settled=False)
    text = " ".join(sentences(unsure))
    assert "anna grades as others do, as far as can be told" in text
    assert "did not settle" in text


def test_a_new_pool_sets_aside_what_was_learned_and_keeps_what_was_written():
    ours = parse_priors("density_g_cm3 = 1.5\n[capture]\nmean = -1.0")
    facts = replace(history(look(60, 1)), beliefs=ours)
    by_hand = replace(facts, adoptions=(Adopted(day(100), ours),))
    learned_before = replace(facts, adoptions=(Adopted(day(100), ours, Pooled(day(90), 9, 40)),))
    assert room.before_pooling(facts) is facts
    assert room.before_pooling(by_hand).beliefs == ours
    bare = room.before_pooling(learned_before)
    assert ([one.name for one in bare.beliefs], bare.adoptions) == (["density_g_cm3"], ())


def test_the_file_tells_each_of_its_boilers_apart_and_keeps_the_scale_of_looks():
    scale = parse_priors("cut_points_mg_cm2 = [0.4, 2, 7, 25]\ncontamination = 0.05")
    alone = known([[1, 1], [1, 0]])
    found = pooled(_known=alone._replace(base=scale))
    told = parse(priors_text(found))
    assert told.pooled == Pooled(date(2026, 11, 1), 2, 8)
    assert set(told.boilers) == {"one", "two"}
    for boiler in ("one", "two", None):
        held = told.of(boiler or "another")
        for one, other in zip(held, sorted(found.beliefs(without=boiler)), strict=True):
            assert one[:2] == other[:2]
            assert one.mean == pytest.approx(other.mean, rel=1e-5)
        assert scale == constants_in(held)
    assert [one.name for one in told.of("one") if one not in scale] == ["capture"]
    with scalemodel.Logbook.in_memory(lambda: date(2026, 11, 2)) as book:
        number = scalemodel.adopt(book, found, note="a try")
        record = book.entry(number).record
        assert (record.date, record.note, parse(record.priors)) == (date(2026, 11, 1), "a try", told)
        with pytest.raises(RecordClashError, match="adopted just these already"):
            scalemodel.adopt(book, found, note="a try")


@pytest.fixture
def brief(monkeypatch):
    monkeypatch.setattr(room, "QUICK", (1, 30, 30))
    monkeypatch.setattr(room, "THOROUGH", (2, 30, 30))
    monkeypatch.setattr(room, "MOST_ROUNDS", 1)


def test_a_logbook_is_pooled_by_a_command(tmp_path, brief):
    """Three small boilers; the file is read back."""
    run = CliRunner().invoke
    book = str(tmp_path / "book.sqlite3")
    made = run(
        cli, ["--logbook", book, "simulate", "--out", str(tmp_path / "in"), "--boilers", "3", "--looks", "3", "--json"]
    )
    assert made.exit_code == 0, made.output
    assert run(cli, ["--logbook", book, "import", str(tmp_path / "in")]).exit_code == 0
    out = str(tmp_path / "ours.toml")
    asked = ["--as-of", "2026-11-01", "--particles", "100"]
    told = run(cli, ["--logbook", book, "fleet", "pool", "--out", out, *asked, "--jobs", "1", "--json"])
    assert told.exit_code == 0, told.output
    found = json.loads(told.stdout)
    assert (found["boilers"], found["looks"], found["rounds"], found["left_out"]) == (3, 9, 1, [])
    assert {"capture", "floor"} <= {row["unknown"] for row in found["population"]}
    assert found["waters"][0]["water"] == "place 00000"
    shown = run(cli, ["priors", "show", "--priors", out, "--json"])
    file = {(row["unknown"], row["of"]): row["mean"] for row in json.loads(shown.stdout)}
    capture = next(row for row in found["population"] if row["unknown"] == "capture")
    assert file["capture", ""] == pytest.approx(capture["mean"], abs=0.4)


@pytest.mark.slow
def test_the_population_and_what_is_shared_are_found():
    """Twelve invented boilers: figures of the truth lie within 4 of their own errors, and a spread is found at all."""
    fleet = list(scalemodel.simulate(12, 5))
    found = scalemodel.pool([one.facts for one in fleet], seed=1)
    truth = {name: value for one in fleet for name, value in one.truth.unknowns.items()}
    for row in found.inspectors:
        own = OWN_SHARE * priors.LENIENCY.sd
        assert abs(row.mean - truth[f"leniency {row.subject}"]) < 4.0 * np.hypot(row.mean_error, own)
    drawn_capture = [one.truth.unknowns["capture"] for one in fleet]
    capture = next(row for row in found.population if row.unknown == "capture")
    assert abs(capture.mean - np.median(drawn_capture)) < 4.0 * capture.mean_error
    assert found.effective_share > 0.05


@pytest.mark.slow
def test_an_odd_boiler_is_not_pulled_in_nor_does_it_pull():
    """Bare metal for a year beside five boilers with crusts: the population's median hardly moves for it."""

    def boiler(name, *grades):
        looks = (look(60 * (k + 1), grade, inspector="anna") for k, grade in enumerate(grades))
        facts = history(*looks)
        return replace(facts, boiler=replace(facts.boiler, boiler=name))

    five = [boiler(f"urn {k}", 1, 2, 2, 3, 3, 3) for k in range(5)]
    odd = boiler("odd", 0, 0, 0, 0, 0, 0)
    without, both = (scalemodel.pool(fleet, "2026-01-01", seed=1) for fleet in (five, [*five, odd]))
    mean, other = (next(r for r in p.population if r.unknown == "capture") for p in (without, both))
    assert abs(mean.mean - other.mean) < 1.5 * max(mean.mean_error, other.mean_error)
