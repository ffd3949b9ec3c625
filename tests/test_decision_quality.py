"""The benchmark of decisions keeps working, tiny: same luck for all, honest counts, curves read rightly."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from scalemodel.model.inverse_gaussian import survival
from scalemodel.model.supply import find_supply


@pytest.fixture(scope="module")
def bench():
    path = Path(__file__).parents[1] / "benchmarks" / "decision_quality.py"
    spec = importlib.util.spec_from_file_location("decision_quality", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["decision_quality"] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules["decision_quality"]


@pytest.fixture(scope="module")
def truths(bench):
    found = {}
    for water in bench.WATERS:
        supply = find_supply(bench.empty_facts(water), water)
        found[water] = [bench.invent(water, number, 3, supply) for number in range(60)]
    return found


def test_invented_boilers_grow_as_the_law_says(bench, truths):
    """Harder water grows more, and the share past the threshold in two years is far from none and from all."""
    totals = {water: np.array([t.growth.sum() for t in each]) for water, each in truths.items()}
    medians = [np.median(totals[w]) for w in ("soft", "middling", "hard")]
    assert medians == sorted(medians)
    assert 0.05 < np.mean(totals["soft"] > 6.0) < 0.9
    assert all(np.all(t.growth >= 0.0) for each in truths.values() for t in each)
    assert survival(6.0, 0.0, 0.3) == 0.0


def test_a_boiler_is_the_same_whoever_asks_and_looks_scatter_by_week(bench, truths):
    again = bench.invent("hard", 7, 3, truths["hard"][7].supply)
    np.testing.assert_array_equal(again.growth, truths["hard"][7].growth)
    np.testing.assert_array_equal(again.residue, truths["hard"][7].residue)
    assert [again.grade(w, 1.5) for w in range(40)] == [truths["hard"][7].grade(w, 1.5) for w in range(40)]
    assert len({again.grade(w, 1.5) for w in range(40)}) > 1


def test_a_calendar_counts_its_descales_and_is_safer_when_shorter(bench, truths):
    outcomes = np.array([[bench.by_calendar(t, 6.0, m) for t in truths["hard"]] for m in (1, 3, 12, 24)]).mean(axis=1)
    assert outcomes[:, 0] == pytest.approx([11.5, 3.5, 0.5, 0.0])
    assert list(outcomes[:, 1]) == sorted(outcomes[:, 1])
    assert np.all(outcomes[:, 2] == 0.0)


def test_litres_adapt_to_the_water(bench, truths):
    rates = [np.mean([bench.by_litres(t, 6.0, 15_000.0)[0] for t in truths[w]]) for w in ("soft", "hard")]
    assert rates[0] < rates[1]


def test_a_curve_is_read_between_its_settings(bench):
    rates, shares = np.array([12.0, 4.0, 5.0, 1.0]), np.array([0.0, 0.1, 0.1, 0.4])
    assert bench.descales_needed(rates, shares, 0.1) == 4.0
    assert bench.descales_needed(rates, shares, 0.05) == pytest.approx(8.0)
    assert bench.descales_needed(rates, shares, 0.9) == 1.0


@pytest.mark.parametrize("way", ["quarterly", "confirmed", "placed"])
def test_a_way_of_deciding_keeps_its_rules(bench, truths, way, monkeypatch):
    monkeypatch.setattr(bench, "WEEKS", 40)
    asker = bench.Asker(bench.find_threshold(bench.empty_facts("hard")), 0.1, 50)
    truth = max(truths["hard"][:10], key=lambda t: t.growth.sum())
    life = bench.Life(truth, 6.0)
    bench.WAYS[way](asker, life)
    assert life.week == bench.WEEKS
    assert len(life.descales) >= 1
    dates = [look.date for look in life.looks]
    assert dates == sorted(dates)
    if way == "quarterly":
        assert life.counted_looks == 3
    if way == "placed":
        assert life.counted_looks <= bench.LOOKS_AT_MOST
    idle = np.mean(truth.growth[: bench.WEEKS].cumsum() >= 6.0)
    assert life.outcome()[1] < idle


def test_a_small_run_holds_every_outcome(bench, monkeypatch):
    monkeypatch.setattr(bench, "WEEKS", 27)
    asker = bench.Asker(bench.find_threshold(bench.empty_facts("soft")), 0.1, 50)
    made = bench.run(1, asker, seed=2, weigh=True)
    assert set(made) == {*bench.WAYS, "calendar", "litres"}
    for way in bench.WAYS:
        assert made[way].shape == (3, 1, 3)
        assert np.all((made[way][..., 1] >= 0.0) & (made[way][..., 1] <= 1.0))
    assert made["calendar"].shape == (24, 3, 1, 3)


def test_what_is_recovered_scatters_about_what_was_dissolved(bench, truths):
    truth = truths["hard"][0]
    each = np.array([truth.recovered(w, 5.0) / ((1.0 - truth.residue[w]) * 5.0 * 0.5) for w in range(bench.WEEKS)])
    assert np.median(each) == pytest.approx(1.0, abs=0.15)
    assert np.log(each).std() == pytest.approx(0.3, abs=0.1)


def test_the_report_names_every_way_and_rival(bench):
    settings = (len(bench.MONTHS), len(bench.CONSTANTS))
    rng = np.random.default_rng(4)

    def outcomes(*shape):
        return rng.uniform(0.1, 1.0, (*shape, 3, 5, 3))

    made = {way: outcomes() for way in bench.WAYS}
    text = bench.report({**made, "calendar": outcomes(settings[0]), "litres": outcomes(settings[1])})
    for words in (*bench.WAYS, "calendar 24 months", "one calendar for all", "calendar by water", "litres x hardness"):
        assert words in text
