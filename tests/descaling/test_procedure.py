"""The plan: its scale from the posterior, its words with their arithmetic, its steps in order."""

import re
from dataclasses import replace

import numpy as np
import pytest

from scalemodel import api
from scalemodel.descaling import procedure
from scalemodel.descaling.acid import CITRATE_LIMIT_G_L, caco3_per_g
from scalemodel.descaling.procedure import ScaleMass, check_wishes, plan_descale, summary
from scalemodel.errors import BadValueError, UnknownNameError
from scalemodel.logbook.records import Site
from scalemodel.wording import figure
from tests.builders import history, look

QUICK = {"particles": 200}


@pytest.fixture(scope="module")
def forecast():
    return api.prepare(history(look(90, 1), look(180, 1, 2), look(330, 2)), **QUICK).forecast


def test_scale_is_the_deposit_times_the_area(forecast):
    plan = plan_descale(forecast)
    grams = forecast.deposit_draws(0) * 500.0 / 1000.0
    assert plan.scale_g.mean == pytest.approx(grams.mean())
    assert (plan.scale_g.p10, plan.scale_g.p90) == pytest.approx(np.quantile(grams, (0.1, 0.9)))
    assert plan.scale_g.p10 < plan.scale_g.mean < plan.scale_g.p90
    assert plan.takes.scale_g == plan.scale_g.p90
    assert plan.takes.acid_needed_g == pytest.approx(2.0 * plan.scale_g.p90 / caco3_per_g(plan.acid, plan.acid.usable))


def planned(forecast, *wishes, **more):
    return plan_descale(forecast, check_wishes(forecast.posterior.facts, *wishes, **more))


def test_one_function_for_people_who_program(forecast):
    facts = forecast.posterior.facts
    assert api.descale_plan(facts, **QUICK) == plan_descale(forecast) == planned(forecast)
    assert api.descale_plan(facts, "sulfamic", 8.0, "hand", 0.5, **QUICK) == planned(
        forecast, "sulfamic", 8.0, "hand", 0.5
    )
    for wrong in ({"strength_percent": float("nan")}, {"filled_by": "hand", "fill_l": 9.0}):
        with pytest.raises(BadValueError):
            api.descale_plan(facts, **wrong)
    for wrong in ({"acid": "vinegar"}, {"filled_by": "mains"}):
        with pytest.raises(UnknownNameError):
            api.descale_plan(facts, **wrong)


def test_another_site_is_refused(forecast):
    other = api.prepare(forecast.posterior.facts, site="element", **QUICK).forecast
    with pytest.raises(BadValueError, match="reference surface, wall"):
        plan_descale(other)


def texts(plan):
    return [step.text for step in plan.steps]


def made(monkeypatch, volume_l, p90_g, *wishes, **more):
    """The plan of a boiler of that volume with that much scale at the upper end."""
    facts = history(look(90, 1), look(330, 2), boiler={"volume_l": volume_l, "area_cm2": None})
    monkeypatch.setattr(procedure, "scale_mass", lambda _: ScaleMass(0.6 * p90_g, 0.3 * p90_g, p90_g))
    return planned(api.prepare(facts, **QUICK).forecast, *wishes, **more)


def test_the_steps_by_hand(monkeypatch):
    said = texts(made(monkeypatch, 0.8, 2.0, None, None, "hand"))
    for number, words in (
        (2, "leave it off the mains until all is done"), (3, "before any acid"),
        (5, "50 C, acid into water: weigh 9 g of"),
        (5, "make it up to 0.72 L"), (5, "Never above 70 C"), (6, "Still unplugged"), (6, "plain water to 0.8 L"),
        (7, "through every outlet"), (7, "45 minutes"), (8, "drain it now, through every outlet"),
        (10, "Rinse 3 times"), (10, "2.4 L of fresh water in all"), (10, "At most 0.08 L may stay behind"),
        (11, "baking soda"), (12, "taste the cool water"), (14, "open bucket"), (15, "fill the boiler"),
    ):  # fmt: skip
        assert words in said[number - 1], number
    assert not any("pump" in text for text in said)


def test_the_steps_by_a_pump(monkeypatch):
    said = texts(made(monkeypatch, 0.75, 1.5))
    for number, words in (
        (5, "35 C, acid into water: weigh 24 g"), (5, "1.5 L, for 2 fillings"), (5, "Never above 70 C"),
        (6, "fill it with plain water. Only now put power back, for the pump alone"),
        (6, "If the heater cannot be kept off, pump no acid"), (7, "pump in 0.75 L"), (8, "through every outlet"),
        (8, "25 minutes, heater off"), (9, "must still fizz"), (10, "steps 7 to 9 for each of the 2 fillings"),
        (11, "pump 4.5 L of fresh water through, 0.75 L at a time"), (12, "baking soda"), (13, "taste the cool water"),
    ):  # fmt: skip
        assert words in said[number - 1], number
    assert "Then drain it" not in " ".join(said)  # a heater never meets an empty boiler


CASES = [(0.75, 1.5), (0.75, 15.0), (3.0, 2.5), (3.0, 60.0), (20.0, 2.0), (20.0, 300.0)]


@pytest.mark.parametrize(("volume", "scale"), CASES)
@pytest.mark.parametrize("filled_by", [None, "pump", "hand"])
def test_one_amount_wherever_one_is_said(monkeypatch, volume, scale, filled_by):
    plan = made(monkeypatch, volume, scale, None, None, filled_by)
    takes = plan.takes
    commands = [" ".join(words) for step in plan.steps for words in step.commands]
    assert summary(plan)[1].startswith(f"Acid: {figure(takes.acid_g)} g of citric acid monohydrate in ")
    assert commands[-1].endswith(f"--acid-g {figure(takes.acid_g)}")
    weighed = [float(g) for text in texts(plan) for g in re.findall(r"weigh ([0-9.]+) g", text)]
    batches = takes.passes if takes.filling.kind == "hand" else 1
    assert weighed == [pytest.approx(takes.acid_g / batches, rel=0.01)]
    assert f"{figure(takes.rinse_l)} L of fresh water" in " ".join(texts(plan))
    assert f"{figure(takes.rinse_l)} L" in summary(plan)[-1]
    for said in (*texts(plan), *summary(plan)):
        assert "1000 g of citric" not in said


def test_the_arithmetic_is_shown(monkeypatch):
    urn = " ".join(summary(made(monkeypatch, 20.0, 2.0)))
    for words in (
        "2 g x 2.1 g/g (bicarbonate stops it after 2 of its 3 protons) x 2 for safety = 8.4 g",
        "20 L x 10 g/L = 200 g",
        "Acid: 200 g of citric acid monohydrate in 20 L, 1 % w/v, one filling",
        "even spent water holds 0.5",
        "Rinse: 3 fillings of 20 L, 60 L, each drained",
        "10 g/L x 0.1^3 = 0.01 g/L, within the limit of 0.05 g/L",
    ):
        assert words in urn
    pumped = " ".join(summary(made(monkeypatch, 0.75, 15.0)))
    for words in (
        "about 63% stays (1 - 1/e, stirred): 63 g / 0.63 = 99.6 g",
        "A filling of 0.75 L at 5 % w/v holds 37.5 g, so it takes 3",
        "44.4 g/L x exp(-7) = 0.0405 g/L",
    ):
        assert words in pumped
    assert "as strong as you asked for, 8 % w/v" in " ".join(summary(made(monkeypatch, 20.0, 2.0, None, 8.0)))


def test_who_says_how_it_is_filled(monkeypatch):
    for wish, words in (
        (
            None,
            "taken from its 0.8 L; if that is wrong, ask again with --filled-by hand or amend the boiler",
        ),
        ("pump", "Filled by its pump."),
        ("hand", "Filled by hand, to the line where water stands in use: scale grows as high as that"),
    ):
        assert words in " ".join(summary(made(monkeypatch, 0.8, 2.0, None, None, wish)))
    on_record = replace(history(look(330, 2)), boiler=replace(history().boiler, filled_by="hand"))
    assert check_wishes(on_record).filling.kind == "hand"
    assert not check_wishes(on_record).filling_assumed
    assert check_wishes(on_record, filled_by="pump").filling.kind == "pump"
    low = " ".join(summary(made(monkeypatch, 20.0, 2.0, None, None, "hand", 8.0)))
    assert "to 8 of 20 L: only where no scale sits higher and the maker allows it" in low


@pytest.mark.parametrize(("volume", "scale"), CASES)
def test_whether_calcium_citrate_can_come_out_is_checked(monkeypatch, volume, scale):
    plan = made(monkeypatch, volume, scale)
    over = plan.takes.load_g_l > CITRATE_LIMIT_G_L
    said = " ".join(summary(plan))
    assert ("so that it leaves sour" in said) == over
    assert ("even spent water holds" in said) != over
    assert any(c.startswith("Calcium citrate") for c in plan.cautions) == over
    assert "Calcium citrate" not in " ".join(summary(made(monkeypatch, volume, scale, "sulfamic")))


def test_many_fillings_are_said_to_be_many(monkeypatch):
    plan = made(monkeypatch, 0.8, 60.0, None, 1.0, "hand")
    assert plan.takes.passes > 4
    assert f"for each of the {plan.takes.passes} fillings" in texts(plan)[8]
    assert "a higher --strength needs fewer" in texts(plan)[8]


def test_the_surface_that_tells_of_the_scale_is_named():
    marked = (Site("urn", "left side", reference=True), Site("urn", "element"))
    facts = history(look(90, 1, site="left side"), look(330, 2, site="left side"), sites=marked)
    plan = api.descale_plan(facts, **QUICK)
    assert plan.site == "left side"
    assert "the deposit on left side, taken as the same all over the 500 cm2" in summary(plan)[0]
    looks = [" ".join(w) for step in plan.steps for w in step.commands if "inspection" in w[0]]
    assert [("--site 'left side'" in line) for line in looks] == [True, True]
    assert all("left side" in step.text for step in plan.steps if step.commands and "inspection" in step.commands[0][0])


def test_a_bare_boiler_is_given_no_acid():
    plan = api.descale_plan(history(look(90, 0), look(350, 0), tds=10.0), **QUICK)
    assert plan.takes.nothing_to_do
    t = plan.takes
    assert (t.acid_g, t.solution_l, t.passes, t.rinse_l, t.residual_acid_g_l) == (0, 0, 0, 0, 0)
    assert any("Nothing to descale" in said for said in summary(plan))
    assert "Use no acid" in plan.steps[0].text
    assert not any("weigh" in text or "--acid" in text for text in (*texts(plan), *summary(plan)))
    assert any("Never heat an empty" in said for said in plan.cautions)


def test_from_which_scale_on_acid_is_given(monkeypatch):
    """0.3 mg/cm2 begins the haze; a boiler of 20 L wets 4082 cm2."""
    assert made(monkeypatch, 20.0, 1.2).takes.nothing_to_do
    assert not made(monkeypatch, 20.0, 1.3).takes.nothing_to_do


def test_tasting_only_what_is_food_grade(forecast):
    citric, sulfamic = (" ".join(texts(planned(forecast, kind))) for kind in ("citric-anhydrous", "sulfamic"))
    assert "taste the cool water" in citric
    assert "taste the cool water" not in sulfamic
    assert "Never taste the water" in sulfamic


def test_what_to_record_afterwards(forecast):
    plan = plan_descale(forecast)
    commands = [" ".join(words) for step in plan.steps for words in step.commands]
    assert commands == [
        "scalemodel add inspection urn DATE GRADE --site wall",
        "scalemodel add inspection urn DATE GRADE --site wall --after-descale",
        f"scalemodel add descale urn DATE --acid citric-monohydrate --acid-g {plan.takes.acid_g}",
    ]
    assert "--scale-recovered-g X" in texts(plan)[-1]
    assert "--acid-spent-g X" in texts(plan)[-1]
