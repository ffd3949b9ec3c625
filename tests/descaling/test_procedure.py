"""The plan: its amounts by arithmetic, its scale from the posterior, its steps in order."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalemodel import api
from scalemodel.descaling.acid import ACIDS, LEAST_STRENGTH, MOST_STRENGTH, caco3_per_g, strength_of
from scalemodel.descaling.procedure import DWELL_MINUTES, PUMP_PASSES, amounts, plan_descale, summary
from scalemodel.errors import BadValueError, UnknownNameError
from tests.builders import history, look

ACID = st.sampled_from(list(ACIDS.values()))
SCALE = st.floats(0.0, 2000.0)
LITRES = st.floats(0.05, 100.0)
STRENGTH = st.floats(LEAST_STRENGTH, MOST_STRENGTH)
QUICK = {"particles": 200}


@given(SCALE, SCALE, LITRES, ACID, STRENGTH)
def test_more_scale_never_asks_for_less(one, other, volume, acid, strength):
    low, high = (amounts(g, volume, acid, strength) for g in sorted((one, other)))
    assert low.acid_needed_g <= high.acid_needed_g
    assert low.acid_g <= high.acid_g
    assert low.passes <= high.passes
    assert low.solution_l <= high.solution_l


@given(SCALE, LITRES, ACID, STRENGTH, STRENGTH)
def test_a_higher_strength_never_takes_more_litres(scale, volume, acid, one, other):
    weak, strong = (amounts(scale, volume, acid, s) for s in sorted((one, other)))
    assert strong.solution_l <= weak.solution_l
    assert strong.passes <= weak.passes
    assert strong.rinse_l >= weak.rinse_l


@given(SCALE, LITRES, ACID, STRENGTH)
def test_amounts_agree_with_each_other(scale, volume, acid, strength):
    takes = amounts(scale, volume, acid, strength)
    assert takes.acid_g >= 2.0 * scale / caco3_per_g(acid) * (1 - 1e-9)
    assert takes.acid_g >= 10.0 * strength * volume * (1 - 1e-9)  # one filling at the full strength
    assert takes.solution_l == pytest.approx(takes.passes * volume)
    assert strength_of(takes.acid_g, takes.solution_l) == pytest.approx(strength)
    assert takes.passes == 1 or (takes.passes - 1) * 10.0 * strength * volume < takes.acid_needed_g * (1 + 1e-9)
    assert takes.load_g_l * takes.solution_l == pytest.approx(scale)
    assert takes.residual_acid_g_l <= acid.residue_limit_g_l * (1 + 1e-9)


@pytest.fixture(scope="module")
def forecast():
    return api.prepare(history(look(90, 1), look(180, 1, 2), look(330, 2)), **QUICK)[0]


def test_scale_is_the_deposit_times_the_area(forecast):
    plan = plan_descale(forecast)
    grams = forecast.deposit_draws(0) * 500.0 / 1000.0
    assert plan.scale_g.mean == pytest.approx(grams.mean())
    assert (plan.scale_g.p10, plan.scale_g.p90) == pytest.approx(np.quantile(grams, (0.1, 0.9)))
    assert plan.scale_g.p10 < plan.scale_g.mean < plan.scale_g.p90
    assert plan.acid_needed_g == pytest.approx(2.0 * plan.scale_g.p90 / caco3_per_g(plan.acid, plan.acid.usable))


def test_one_function_for_people_who_program(forecast):
    facts = forecast.posterior.facts
    assert api.descale_plan(facts, **QUICK) == plan_descale(forecast)
    assert api.descale_plan(facts, "sulfamic", 8.0, **QUICK) == plan_descale(forecast, "sulfamic", 8.0)
    with pytest.raises(BadValueError, match="strength"):
        api.descale_plan(facts, strength_percent=float("nan"))
    with pytest.raises(UnknownNameError, match="acid"):
        api.descale_plan(facts, "vinegar")


def test_another_site_is_refused(forecast):
    other = api.prepare(forecast.posterior.facts, site="element", **QUICK)[0]
    with pytest.raises(BadValueError, match="reference surface, wall"):
        plan_descale(other)


def texts(plan):
    return [step.text for step in plan.steps]


def test_the_steps_and_their_numbers(forecast):
    said = texts(plan_descale(forecast))
    for number, words in (
        (2, "isolate from the mains"), (3, "before any acid"), (5, "50 C, acid into water: weigh 40 g"),
        (5, "Never above 70 C"), (6, "fill the boiler with 0.8 L"), (7, "vibration pump"), (8, "through every outlet"),
        (8, "20 minutes"), (9, "drain it now, through every outlet"), (10, "do steps 6 to 9 once more"),
        (11, "at least 5.6 L of fresh water, through every outlet"), (11, "c = c0 exp(-V/V0)"),
        (12, "baking soda"), (13, "taste the cool water"), (15, "open bucket"), (16, "fill the boiler"),
    ):  # fmt: skip
        assert words in said[number - 1], number


def test_common_practice_for_a_vibration_pump(forecast):
    """Four passes with 20 minutes' rest; 150 g of citric acid in 3 L for a boiler of 0.75 L (common practice)."""
    assert (PUMP_PASSES, DWELL_MINUTES) == (4, 20)
    facts = history(look(90, 1), look(180, 1), boiler={"volume_l": 0.75})
    pump = texts(api.descale_plan(facts, **QUICK))[6]
    assert "3 L with 150 g" in pump
    assert "in 4 passes of 0.75 L, with 20 minutes' rest" in pump


def test_one_pass_or_more_is_said(forecast):
    one = plan_descale(forecast)
    assert one.one_pass_suffices
    assert any(s.startswith("One pass suffices") for s in summary(one))
    several = plan_descale(forecast, strength_percent=0.5)
    assert several.passes > 1
    assert not several.one_pass_suffices
    assert any(s.startswith("One pass does not suffice") for s in summary(several))
    assert f"once for each of the {several.passes} passes" in texts(several)[4]
    assert f"steps 6 to 9 in all {several.passes} times, with fresh solution" in texts(several)[9]


def test_a_clean_boiler_has_nothing_to_gain():
    clean = " ".join(summary(api.descale_plan(history(look(90, 0), tds=10.0, litres_per_day=0.001), **QUICK)))
    assert "Scale now, taken as calcium carbonate: none to speak of" in clean
    assert "0 g of scale" not in clean
    assert "filled whole at the full strength" in clean


def test_tasting_only_what_is_food_grade(forecast):
    citric, sulfamic = (" ".join(texts(plan_descale(forecast, kind))) for kind in ("citric-anhydrous", "sulfamic"))
    assert "taste the cool water" in citric
    assert "taste the cool water" not in sulfamic
    assert "Never taste the water" in sulfamic


def test_how_the_factor_combines_is_said(forecast):
    why = {kind: " ".join(summary(plan_descale(forecast, kind))) for kind in ACIDS}
    assert "after 2 of its 3 protons" in why["citric-monohydrate"]
    assert "3 times the need on paper" in why["citric-monohydrate"]
    assert "2 times the need on paper" in why["sulfamic"]
    assert "protons" not in why["sulfamic"]


def test_what_to_record_afterwards(forecast):
    plan = plan_descale(forecast)
    commands = [" ".join(words) for step in plan.steps for words in step.commands]
    assert commands == [
        "scalemodel add inspection urn DATE GRADE",
        "scalemodel add inspection urn DATE GRADE --after-descale",
        "scalemodel add descale urn DATE --acid citric-monohydrate --acid-g 40",
    ]
    assert "--scale-recovered-g X" in texts(plan)[-1]
    assert "--acid-spent-g X" in texts(plan)[-1]
