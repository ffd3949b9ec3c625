"""Extreme but legal logbooks: every question gives finite numbers, or says what is wrong and what would be right.

The records are entered into a logbook, so that whatever it refuses is not among the facts. A warning is an error here.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalemodel import api
from scalemodel.cli import ask, cost, descale_plan, next_inspection, water_plan
from scalemodel.decision.cost import descaling_cost
from scalemodel.decision.curves import tabulate
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.deposit_by_date import first_shown, future_band, past_band, risk_by_day, span_ahead
from scalemodel.decision.horizon import FARTHEST_DAYS
from scalemodel.decision.inspection_value import value_looks
from scalemodel.decision.residue import residues_of
from scalemodel.decision.risk import risk_on
from scalemodel.decision.trial import plan_trial
from scalemodel.decision.water_plan import compare_waters, supplies_for
from scalemodel.descaling.procedure import plan_descale
from scalemodel.errors import ScalemodelError
from scalemodel.logbook.records import (
    KITS,
    METHODS,
    SCOPES,
    STARTS,
    Absence,
    Boiler,
    BoilerFacts,
    Descale,
    Fill,
    Inspection,
    Prices,
    Site,
    Use,
    Water,
    WaterTest,
)
from scalemodel.logbook.rules import MOST_FILLINGS_A_DAY, SCALE_G_PER_LITRE
from scalemodel.logbook.store import Logbook
from scalemodel.report.contents import report_contents
from scalemodel.report.page import report_page
from scalemodel.words.answer import reason_of
from tests.fuzz.depth import fuzzed

TODAY = date(2026, 11, 25)
CHANCES = {"probability", "risk_now", "risk_at_end", "passed", "risk"}
"""Fields that hold probabilities."""

MOST_LOOKS = 60


def one_of(*values) -> st.SearchStrategy:
    return st.sampled_from(values)


@dataclass(frozen=True)
class Span:
    """The days of a boiler so far."""

    first: date
    age: int

    def day(self, share: float) -> date:
        return self.first + timedelta(days=round(self.age * share))


@st.composite
def boilers(draw, span: Span) -> Boiler:
    return Boiler(
        "urn",
        draw(one_of(0.75, 0.05, 5.0, 1000.0)),
        draw(one_of(93.0, 20.0, 60.0, 100.0, 121.0, 130.0)),
        span.first,
        draw(one_of(None, 5.0, 500.0, 500_000.0)),
        draw(one_of(0.0, 0.3, 0.999, 1.0)),
        draw(one_of(*STARTS)),
        draw(st.integers(1, 4)),
        draw(one_of(0.1, 0.001, 0.9)),
    )


@st.composite
def waters(draw, span: Span) -> list:
    """Up to three waters, from distilled to the hardest, and one that nobody tested."""
    found: list = [Water("untested")]
    for name in ("tap", "soft", "odd")[: draw(one_of(2, 1, 3))]:
        found.append(Water(name, draw(one_of(None, 0.0, 1e6, 0.004))))
        for _ in range(draw(one_of(1, 2, 0, 5))):
            hard, alkaline = draw(one_of(160.0, 0.0, 2000.0, 5000.0)), draw(one_of(110.0, 0.0, 2000.0, 5000.0))
            told = draw(
                one_of(
                    {"tds_mg_l": 240.0},
                    {"tds_mg_l": 0.0},
                    {"tds_mg_l": 5000.0, "tds_factor": 0.3},
                    {"conductivity_us_cm": 20_000.0},
                    {"conductivity_us_cm": 0.0},
                    {"hardness": hard, "hardness_unit": "mg/L"},
                    {"alkalinity": alkaline, "alkalinity_unit": "mg/L"},
                    {"hardness": hard, "hardness_unit": "mg/L", "alkalinity": alkaline, "alkalinity_unit": "mg/L"},
                    {"calcium": 2000.0, "calcium_unit": "mg/L", "alkalinity": alkaline, "alkalinity_unit": "mg/L"},
                    {"ph": 7.0},
                )
            )
            extra = {"ph": draw(one_of(None, 3.0, 12.0)), "temperature_c": draw(one_of(None, 0.0, 100.0))}
            day, kit = span.day(draw(one_of(0.0, 0.5, 1.0))), draw(one_of(None, *KITS))
            found.append(WaterTest(name, day, **{**extra, **told}, kit=kit))
    return found


@st.composite
def drawn_water(draw, span: Span, boiler: Boiler) -> list:
    """Fills and stretches of use: none, zero, next to nothing, or all that a logbook lets pass."""
    found: list = [
        Fill("urn", span.day(k / 7), draw(one_of("tap", "soft", "odd"))) for k in range(draw(one_of(1, 0, 2, 7)))
    ]
    count, most = draw(one_of(4, 0, 1, 60)), MOST_FILLINGS_A_DAY * boiler.volume_l
    rate, until = draw(one_of(0.5, 0.0, 1e-6, 30.0, most)), draw(one_of(1.0, 0.5))
    for k in range(count):
        start, end = span.day(until * k / count), span.day(until * (k + 1) / count)
        each = rate * draw(one_of(1.0, 1.0, 0.0, 0.5))
        found.append(Use("urn", start, end, litres=min(1e6, each * max(1, (end - start).days))))
    return found


@st.composite
def looks(draw, span: Span, sites: list[str]) -> list[Inspection]:
    """No look, some that agree, some that flatly contradict each other (also on one day), up to `MOST_LOOKS`."""
    count = draw(one_of(3, 0, 1, 8, MOST_LOOKS))
    grades = draw(one_of((0,), (4,), (1, 1, 2, 2), (0, 4), (4, 0, 0), (4, 3, 2, 1, 0)))
    same_day, span_high = draw(st.booleans()), draw(one_of(0, 0, 1, 4))
    thick, methods = draw(one_of(None, None, 0.1, 5000.0, 40.0)), draw(one_of(METHODS[:1], METHODS))
    people = draw(one_of(1, 30))
    return [
        Inspection(
            "urn",
            span.day(1.0 if same_day else (k + 1) / count),
            sites[k % len(sites)],
            grades[k % len(grades)],
            min(4, grades[k % len(grades)] + span_high),
            methods[k % len(methods)],
            f"person {k % people}",
            after_descale=k % 5 == 4,
            thickness_um=thick if k % 3 == 0 else None,
        )
        for k in range(count)
    ]


@st.composite
def the_rest(draw, span: Span, boiler: Boiler) -> list:
    """Descales (also two on a day), prices, and absences that may cover everything."""
    full, found = SCALE_G_PER_LITRE * boiler.volume_l, []
    count = draw(one_of(0, 1, 2, 20))
    for k in range(count):
        mass = draw(one_of(None, 0.001, 1.0, min(1e5, full)))
        day = span.day(draw(one_of((k + 1) / count, 0.5, 1.0, 0.0)))
        found.append(Descale("urn", day, draw(one_of(*SCOPES)), "citric", draw(one_of(None, 0.1, 1e5)), mass))
    if draw(st.booleans()):
        money = [draw(one_of(10.0, 0.0, None, 1e6, 1e-9)) for _ in range(6)]
        found.append(Prices("urn", span.first, *money, draw(one_of(60.0, None, 0.1))))
    away = draw(one_of(None, (0.0, 1.0), (0.2, 0.8), (0.9, 3.0), (1.0, 1.5)))
    if away is not None:
        start, end = (span.day(part) for part in away)
        found.append(Absence("urn", start, max(end, start + timedelta(days=1))))
    if draw(one_of(False, False, True)):
        found.append(Absence("urn", TODAY + timedelta(days=2), TODAY + timedelta(days=40_000)))
    return found


@st.composite
def logbooks(draw) -> BoilerFacts:
    """The facts of one boiler, from a logbook that took its records."""
    age = draw(one_of(400, 0, 1, 30, 7305))
    span = Span(TODAY - timedelta(days=age), age)
    boiler = draw(boilers(span))
    names = ["wall", "port", "lid", "element", "base"][: draw(one_of(1, 2, 5))]
    sites = []
    for name in names[1:]:
        relative, sd = draw(one_of(None, 0.01, 1.0, 100.0)), draw(one_of(None, 0.01, 3.0))
        sites.append(Site("urn", name, draw(one_of(False, False, True)), relative, sd, draw(one_of(None, 0.0, 1e6))))
    parts = (waters(span), drawn_water(span, boiler), looks(span, names), the_rest(span, boiler))
    with Logbook.in_memory(today=lambda: TODAY) as book:
        for record in (boiler, *sites, *(one for part in parts for one in draw(part))):
            with suppress(ScalemodelError):
                book.add(record, again=True, sure=True)
        return book.facts("urn", TODAY)


@st.composite
def questions(draw, facts: BoilerFacts) -> dict:
    """What may be asked, mostly as it stands; some of it is refused."""
    asked: dict = {"particles": 50, "seed": draw(st.integers(0, 5))}
    asked |= draw(
        one_of(
            {}, {}, {"threshold_grade": 1}, {"threshold_um": 1e-9}, {"threshold_um": 9999.0}, {"threshold_mg_cm2": 1e-6}
        )
    )
    asked["tolerance"] = draw(one_of(None, None, 0.001, 0.9, 1e-6, 0.999999, float("nan")))
    asked["litres_per_day"] = draw(one_of(None, None, 0.0, 1.0, 1e4, float("inf")))
    asked["water"] = draw(one_of(None, None, "tap", "soft", "untested"))
    asked["site"] = draw(one_of(None, None, *(site.site for site in facts.sites)))
    asked["horizon_days"] = draw(one_of(None, 1, 36500))
    return asked


def check_numbers(found, path: str = "answer") -> None:
    """Every number below an answer is finite, and every probability is one."""
    if is_dataclass(found):
        for field in fields(found):
            check_numbers(getattr(found, field.name), f"{path}.{field.name}")
    elif isinstance(found, dict):
        for key, value in found.items():
            check_numbers(value, f"{path}.{key}")
    elif isinstance(found, tuple | list):
        for k, value in enumerate(found):
            check_numbers(value, f"{path}[{k}]")
    elif isinstance(found, np.ndarray | float | np.floating):
        assert np.isfinite(found).all(), (path, found)
        if path.rpartition(".")[2].partition("[")[0] in CHANCES:
            assert ((np.asarray(found) >= 0.0) & (np.asarray(found) <= 1.0)).all(), (path, found)


def answers(facts: BoilerFacts, asked: dict):
    """Each question by name, as the public functions ask it of one posterior, with the words said about it."""
    case = api.prepare(facts, **asked)
    forecast = case.forecast
    days = [TODAY, TODAY + timedelta(days=1), TODAY + timedelta(days=FARTHEST_DAYS)]
    yield "risk", lambda: risk_on(case, days), None
    yield "defer", lambda: defer_until(case), ask.deferral_text
    yield "look", lambda: value_looks(case), next_inspection.inspection_text
    yield "cost", lambda: descaling_cost(case), cost.cost_text
    yield "plan", lambda: plan_descale(forecast), descale_plan.plan_text
    names = [water.water for water in facts.waters if any(test.water == water.water for test in facts.water_tests)]
    mixes = [f"{names[0]}:0.5,{names[1]}:0.5"] if len(names) > 1 else []

    def waters():
        return compare_waters(case, supplies_for(facts, names, mixes))

    def trial(days: int):
        return plan_trial(case, supplies_for(facts, (), mixes)[0], days)

    yield "waters", waters, water_plan.compare_text
    if mixes:
        yield "trial", lambda: trial(60), water_plan.trial_text
        yield "long trial", lambda: trial(3650), water_plan.trial_text
    yield "residue", lambda: residues_of(forecast.posterior), None
    yield "table", lambda: tabulate(case), None
    ahead = span_ahead(case)
    yield "band", lambda: (past_band(forecast, first_shown(facts, ahead)), future_band(forecast, ahead)), None
    yield "curve", lambda: {"risk": risk_by_day(case, ahead)[1]}, None
    yield "report", lambda: report_contents(case), report_page


def check_answers(facts: BoilerFacts, asked: dict) -> int:
    """Ask everything; gives how many answers there were."""
    given = 0
    try:
        for name, question, words in answers(facts, asked):
            try:
                answer = question()
            except ScalemodelError as error:
                check_error(error)
                continue
            check_numbers(answer, name)
            if name == "defer":
                assert isinstance(answer.defer_until, date) or reason_of(answer)
            if words is not None:
                said = words(answer)
                assert "nan" not in " ".join(said if isinstance(said, list) else [said]).lower().split()
            given += 1
    except ScalemodelError as error:
        check_error(error)
    return given


def check_error(error: ScalemodelError) -> None:
    assert error.problem
    assert error.remedy
    assert "\n" not in str(error)


@fuzzed(15)
@given(st.data())
def test_every_question_is_answered_or_refused_with_a_remedy(data):
    facts = data.draw(logbooks())
    check_answers(facts, data.draw(questions(facts)))


def sound(count: int, **more) -> BoilerFacts:
    """A boiler of some years that was looked at so often, with grades that rise and fall with its descales."""
    age = 7300
    span = Span(TODAY - timedelta(days=age), age)
    years = [Use("urn", span.day(k / 80), span.day((k + 1) / 80), litres=60.0 + 10.0 * (k % 4)) for k in range(80)]
    found = [
        Inspection("urn", span.day((k + 1) / count), "wall", (k * 40 // count) % 4, (k * 40 // count) % 4)
        for k in range(count)
    ]
    descales = [Descale("urn", span.day((k + 1) / 10)) for k in range(10)]
    boiler = Boiler("urn", 0.75, 93.0, span.first)
    return BoilerFacts(
        boiler,
        TODAY,
        waters=(Water("tap"),),
        water_tests=(WaterTest("tap", span.first, tds_mg_l=240.0),),
        fills=(Fill("urn", span.first, "tap"),),
        uses=tuple(years),
        inspections=tuple(found),
        descales=tuple(descales),
        prices=(Prices("urn", span.first, 4.0, 1.0, 20.0, 0.0, 120.0),),
    )


def test_a_sound_logbook_answers_everything():
    assert check_answers(sound(10), {"particles": 50}) >= 10


@pytest.mark.slow
def test_two_hundred_looks():
    assert check_answers(sound(200), {"particles": 50}) >= 10
