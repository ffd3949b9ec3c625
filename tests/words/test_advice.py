"""Words of the decisions that stand on every page."""

from dataclasses import replace

from scalemodel import api
from scalemodel.decision.status import urgency
from scalemodel.decision.water_sheet import water_sheet
from scalemodel.logbook.records import Site
from scalemodel.words.advice import unpriced_sites, verdict, water_sentences
from scalemodel.words.tables import SHORT_WATER_TITLES, WATER_TITLES, water_table
from tests.builders import day, history, look


def test_what_to_record_of_sites_is_said_until_it_is_recorded():
    bare = history(sites=())
    assert "scalemodel new site urn chamber --look-cost 2" in unpriced_sites(bare)
    assert "'my urn'" in unpriced_sites(history(sites=(), boiler={"boiler": "my urn"}))
    some = history(sites=(Site("urn", "chamber"), Site("urn", "lid", look_cost=2.0)))
    assert "a look at the chamber costs is not on record" in unpriced_sites(some)
    assert "lid" not in unpriced_sites(some)
    assert unpriced_sites(history(sites=(Site("urn", "lid", look_cost=0.0),))) is None


def test_urgency_goes_alarms_then_past_then_dated_then_beyond():
    facts = history(look(90, 1), look(300, 1), days=310)
    alarmed = api.defer(history(look(90, 1), look(300, 4, inspector="Ada"), days=310), particles=100, tolerance=0.9)
    dated = api.defer(facts, particles=100)
    past = api.defer(facts, particles=100, tolerance=0.001)
    beyond = api.defer(facts, particles=100, horizon_days=1, tolerance=0.9)
    assert [a.defer_until is None for a in (past, dated, beyond)] == [True, False, True]
    assert sorted((beyond, dated, past, alarmed), key=urgency) == [alarmed, past, dated, beyond]
    assert verdict(alarmed) == f"look again now: grade 4 at the wall on {day(300)} by Ada"
    assert verdict(past) == "do not defer"
    assert verdict(beyond) == "beyond 1 day"
    assert verdict(dated).startswith(str(dated.defer_until))


def test_the_water_sheet_tells_of_the_plan_s_water():
    facts = history(look(90, 1), look(300, 2), days=310)
    now, soft = (water_sheet(api.prepare(facts, particles=200, water=w).forecast) for w in (None, "soft"))
    assert (now.water, soft.water) == ("tap", "soft")
    assert soft.hardness < now.hardness
    assert soft.growth_mg_cm2.p50 < now.growth_mg_cm2.p50
    assert now.growth_mg_cm2.p10 < now.growth_mg_cm2.p50 < now.growth_mg_cm2.p90
    assert now.potential_closed_mg_l < now.potential_open_mg_l < now.alkalinity + 1.0
    assert "In this boiler 100 L of it probably leave" in water_sentences(now)[1]


def test_fewer_columns_are_the_same_cells():
    facts = replace(history(look(90, 1), days=100), prices=())
    options = api.compare_waters(facts, ["soft"], particles=100).options
    titles, rows = water_table(options)
    assert "cost a year" not in titles
    short, cells = water_table(options, SHORT_WATER_TITLES)
    assert short == ("water", "days between", "eight in ten")
    assert cells == [tuple(row[titles.index(title)] for title in short) for row in rows]
    assert set(titles) <= set(WATER_TITLES)
    assert facts.as_of == day(100)
