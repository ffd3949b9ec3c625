"""Every result as a table: no field lost, dates as Timestamps, the same columns whatever the answer was."""

from dataclasses import dataclass, fields
from datetime import date

import pandas as pd
import pytest

import scalemodel
from scalemodel.decision.change import Change
from scalemodel.decision.inspection_value import LookReason
from scalemodel.decision.sequential import Direction
from scalemodel.frames import each_of, flat

DAY = date(2026, 11, 1)


@pytest.fixture(scope="module")
def book():
    with scalemodel.Logbook.in_memory(today=lambda: DAY) as made:
        scalemodel.import_folder(made, "data/demo")
        yield made


@pytest.fixture(scope="module")
def case(book):
    return scalemodel.prepare(book.facts("mill-brew", DAY), seed=1, particles=100)


@pytest.fixture(scope="module")
def results(case):
    return {
        "looks": scalemodel.next_inspection(case),
        "cost": scalemodel.cost(case),
        "waters": scalemodel.compare_waters(case, ["town"], ["town:0.4,demin:0.6"]),
        "trial": scalemodel.trial(case, "town", 20),
        "plan": scalemodel.descale_plan(case),
    }


def test_no_field_is_lost(results):
    for name, rows in (("looks", "options"), ("cost", "curve"), ("waters", "options"), ("trial", ""), ("plan", "")):
        result = results[name]
        columns = list(result.to_frame().columns)
        assert len(columns) == len(set(columns))
        told = {f.name for f in fields(result)} - {rows, "trying", "staying"}
        if rows:
            told |= {f.name for f in fields(getattr(result, rows)[0])}
        for field in told:
            assert any(c == field or c.startswith(f"{field}_") for c in columns), (name, field)


def test_a_row_an_option_and_what_was_asked_beside_it(results, case):
    looks, frame = results["looks"], results["looks"].to_frame()
    assert list(frame["value"]) == [one.value for one in looks.options]
    assert list(frame["look_site"]) == [one.site for one in looks.options]
    assert set(frame["site"]) == {case.forecast.site}
    assert set(frame["tolerance"]) == {case.tolerance}
    assert frame["date"][0] == pd.Timestamp(looks.options[0].date)
    cost, ages = results["cost"], results["cost"].to_frame()
    assert list(ages["age_cost_a_year"]) == [point.cost_a_year for point in cost.curve]
    assert set(ages["cost_a_year"]) == {cost.cost_a_year}
    waters = results["waters"].to_frame()
    assert list(waters["interval_draws_days_p50"]) == [w.interval_draws_days.p50 for w in results["waters"].options]
    trial, arms = results["trial"], results["trial"].to_frame()
    assert list(arms["arm"]) == ["trying", "staying"]
    assert list(arms["risk_mc_error"]) == [trial.trying.risk_mc_error, trial.staying.risk_mc_error]
    assert arms["shown_3_probability"][0] == next(s.probability for s in trial.trying.shown if s.grade == 3)
    plan = results["plan"].to_frame().loc[0]
    assert plan["acid_kind"] == results["plan"].acid.kind
    assert all(step.whole in plan["steps"] for step in results["plan"].steps)


def test_a_repr_is_a_line(results, case, book):
    facts = book.facts("mill-brew", DAY)
    shown = [case, case.forecast, case.forecast.posterior, *results.values(), scalemodel.defer(case)]
    shown += [scalemodel.risk(case, ["2026-12-01"]), next(scalemodel.simulate(1, seed=1, looks=1))]
    for one in shown:
        assert repr(one).startswith(f"<{type(one).__name__}")
        assert len(repr(one)) < 140
        assert "array" not in repr(one)
        assert "\n" not in repr(one)
    assert repr(facts).startswith("BoilerFacts(boiler=Boiler(")  # a key is made of it: all of it has to be there
    told = repr(scalemodel.defer(case))
    assert told.startswith(
        "<Deferral of 'mill-brew' as of 2026-11-01, 6 mg/cm2 at the wall, tolerance 0.1: within until 202"
    )


def test_facts_or_a_case_come_first(case):
    asks = (scalemodel.defer, scalemodel.next_inspection, scalemodel.compare_waters, scalemodel.descale_plan)
    for wrong in (["2026-12-01"], "mill-brew", None, case.forecast):
        for ask in (*asks, scalemodel.posterior, scalemodel.prepare, scalemodel.hindsight):
            with pytest.raises(TypeError, match="the facts of a boiler come first"):
                ask(wrong)
    one, same = scalemodel.risk(case, "2026-12-01"), scalemodel.risk(case, [pd.Timestamp("2026-12-01")])
    assert one == same == scalemodel.risk(case, date(2026, 12, 1))


def test_hindsight_a_look_and_a_boiler_a_row(book):
    facts = book.facts("hall-urn", DAY)
    few = scalemodel.fleet_hindsight([facts], seed=1, particles=60)
    (seen,) = few.boilers
    assert repr(seen).startswith("<Hindsight of 'hall-urn' as of 2026-11-01: ")
    assert repr(few) == "<FleetHindsight of 1 boilers, 0 changed; 0 not asked>"
    frame = seen.to_frame()
    assert list(frame["p4"]) == [one.probabilities[4] for one in seen.looks]
    assert list(frame["evidence"]) == list(seen.evidence)
    assert list(frame["inspector"]) == [one.inspector for one in seen.looks]
    assert set(frame["score_model"]) == {seen.score.model}
    row = few.to_frame().loc[0]
    assert (row["boiler"], row["looks"], row["score_model"]) == ("hall-urn", len(seen.looks), seen.score.model)
    assert row["rank_band"] == seen.pit.band
    none = flat([type(few)((), (), (), (), {})])
    assert len(none) == 1


def test_what_is_due_is_a_list_and_a_table(book):
    rows = scalemodel.due(book, DAY, workers=1, particles=60)
    frame = rows.to_frame()
    assert list(frame["boiler"]) == [row.boiler for row in rows]
    assert list(frame.columns) == [*(f.name for f in fields(rows[0])), "days"]
    assert str(frame["defer_until"].dtype).startswith("datetime64")
    none = scalemodel.due(book, "2020-01-01", workers=1)
    assert none == []
    assert list(none.to_frame().columns) == list(frame.columns)


def test_columns_do_not_depend_on_the_answer(results):
    nothing = type(results["looks"])(**{**vars(results["looks"]), "best": None, "findings": (), "look_reason": None})
    best = type(results["looks"])(**{**vars(nothing), "best": nothing.options[0], "look_reason": LookReason.PAYS})
    one, two = nothing.to_frame(), best.to_frame()
    assert list(one.columns) == list(two.columns)
    assert str(one["best_value"].dtype) == "float64"
    assert one["best_date"].isna().all()
    assert set(two["best_date"]) == {pd.Timestamp(nothing.options[0].date)}
    empty = type(nothing)(**{**vars(nothing), "options": ()}).to_frame()
    assert list(empty.columns) == list(one.columns)
    assert empty.empty


def test_a_change_is_a_row():
    frame = Change(DAY, 120.0, Direction.WORSE, DAY, 3).to_frame()
    assert frame.loc[0].to_dict() == {
        "since": pd.Timestamp(DAY), "evidence": 120.0, "direction": str(Direction.WORSE),
        "told_on": pd.Timestamp(DAY), "looks": 3,
    }  # fmt: skip


@dataclass(frozen=True)
class _Inner:
    day: date
    cost: float


@dataclass(frozen=True)
class _Whole:
    cost: float
    when: date | None
    held: _Inner | None
    inner: tuple[_Inner, ...]


def test_names_that_two_would_have_are_told_apart():
    whole = _Whole(3.0, None, None, (_Inner(DAY, 1.0),))
    frame = each_of(whole, whole.inner, _Inner, "part", ("inner",), [{"more": 5}])
    assert list(frame.columns) == ["day", "part_cost", "more", "cost", "when", "held_day", "held_cost"]
    assert str(frame["when"].dtype).startswith("datetime64")
    assert str(frame["held_day"].dtype).startswith("datetime64")
