"""Simulated fleets: reproducible, boiler by boiler, shared where they should be, and true to the law."""

import csv
from datetime import date

import numpy as np
import pytest
from scipy.stats import kstest

import scalemodel
from scalemodel.errors import BadValueError
from scalemodel.logbook.csv_folder import import_folder
from scalemodel.logbook.store import Logbook
from scalemodel.model import priors
from scalemodel.validation.fleet_files import write_fleet
from scalemodel.validation.fleets import A_PLACE, simulate_fleet


def test_a_boiler_follows_from_its_number_and_the_seed_alone():
    few, many = list(simulate_fleet(3, 5)), list(simulate_fleet(6, 5))
    assert many[:3] == few
    assert next(simulate_fleet(1, 6)) != few[0]


def test_boilers_of_a_place_share_its_water_and_its_people():
    fleet = list(simulate_fleet(A_PLACE + 1, 2))
    first, other, elsewhere = fleet[0], fleet[1], fleet[A_PLACE]
    assert first.facts.water_tests == other.facts.water_tests
    assert first.facts.waters != elsewhere.facts.waters
    shared = {name for name in first.truth.unknowns if name.startswith(("strength", "leniency"))}
    assert len(shared & set(other.truth.unknowns)) >= 2
    for name in first.truth.unknowns.keys() & other.truth.unknowns.keys():
        same = first.truth.unknowns[name] == other.truth.unknowns[name]
        assert same is (name in shared), name


def test_truths_are_drawn_from_the_priors():
    """Kolmogorov and Smirnov's test; a right law fails it once in ten thousand seeds."""
    fleet = list(simulate_fleet(150, 4, looks=1))
    rng = np.random.default_rng(1)
    for name, prior in (("capture", priors.CAPTURE), ("irregularity", priors.IRREGULARITY)):
        drawn = prior.value(rng.standard_normal(100_000))
        assert kstest([one.truth.unknowns[name] for one in fleet], drawn).pvalue > 1e-4
        assert kstest([one.truth.unknowns[name] + 0.6 * prior.sd for one in fleet], drawn).pvalue < 1e-4


def test_worse_looks_go_with_more_scale():
    fleet = [one for one in simulate_fleet(80, 7) if one.facts.inspections[-1].site == "wall"]
    grades = np.array([one.facts.inspections[-1].grade_low for one in fleet])
    deposits = np.array([one.truth.deposit_mg_cm2 for one in fleet])
    assert np.median(deposits[grades >= 2]) > 5.0 * np.median(deposits[grades == 0])
    passed = [one.truth for one in fleet if one.truth.passes_on is not None]
    assert all((one.passes_on == date(2026, 11, 1)) == (one.deposit_mg_cm2 >= 6.0) for one in passed)


def test_files_are_imported_as_they_were_drawn_without_a_question(tmp_path):
    fleet = list(simulate_fleet(25, 9, looks=4))
    counts = write_fleet(fleet, tmp_path / "fleet", tmp_path / "truth.csv")
    with Logbook.in_memory(today=lambda: date(2026, 11, 25)) as book:
        imported = import_folder(book, tmp_path / "fleet")
        assert {kind: count for kind, count in imported.items() if count} == counts
        for one in fleet:
            facts = book.facts(one.facts.boiler.boiler, one.facts.as_of)
            assert (facts.boiler, facts.inspections, facts.uses, facts.descales, facts.fills) == (
                one.facts.boiler,
                one.facts.inspections,
                one.facts.uses,
                one.facts.descales,
                one.facts.fills,
            )
    with (tmp_path / "truth.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert {row["boiler"] for row in rows} == {one.truth.boiler for one in fleet}
    (deposit,) = (r for r in rows if r["boiler"] == fleet[3].truth.boiler and r["unknown"] == "deposit_mg_cm2")
    assert float(deposit["value"]) == pytest.approx(fleet[3].truth.deposit_mg_cm2, rel=1e-5)


def test_a_place_that_will_not_do_is_refused_and_nothing_is_left(tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    with pytest.raises(BadValueError, match="empty"):
        write_fleet(simulate_fleet(1, 1), tmp_path / "full")

    def broken():
        yield next(simulate_fleet(1, 1))
        raise RuntimeError("stopped")

    with pytest.raises(RuntimeError):
        write_fleet(broken(), tmp_path / "new", tmp_path / "truth.csv")
    assert [one.name for one in tmp_path.iterdir()] == ["full"]


@pytest.mark.parametrize("asked", [{"boilers": 0}, {"boilers": 1.5}, {"boilers": 1, "looks": -1}])
def test_what_cannot_be_drawn_is_refused_at_once(asked):
    with pytest.raises(BadValueError):
        scalemodel.simulate(**asked)
