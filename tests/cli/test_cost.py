"""``scalemodel cost``, and the line that ``defer`` says of it."""

import json

import pytest

AS_OF = ("--as-of", "2026-11-01", "--particles", "100")


@pytest.fixture(scope="module")
def workshop(tmp_path_factory):
    from tests.cli.runner import Desk

    desk = Desk(tmp_path_factory.mktemp("cost") / "logbook.sqlite3")
    desk.do("import", "data/demo")
    return desk


def test_the_sentence_comes_first_and_the_table_is_aligned(workshop):
    lines = workshop.do("cost", "mill-brew", *AS_OF).splitlines()
    assert lines[0].startswith("mill-brew: descaling every ")
    assert "days costs least in the long run, about " in lines[0]
    assert lines[2].startswith("This boiler, as it stands: the descale can wait until 202")
    table = lines[lines.index("") + 1 :]
    table = table[: table.index("")]
    assert table[0].split("  ")[0] == "every"
    place = table[0].index("eight in ten")
    assert all(row[place - 2 : place] == "  " for row in table)


def test_json_and_text_say_the_same(workshop):
    body = json.loads(workshop.do("cost", "mill-brew", *AS_OF, "--json"))
    assert f"every {body['best_age_days']:.0f} days" in workshop.do("cost", "mill-brew", *AS_OF)
    assert body["nearly_best_days"][0] < body["best_age_days"] <= body["nearly_best_days"][1]
    assert body["longest_age_days"] in [point["age_days"] for point in body["curve"]]
    assert body["descale"] == 45.0
    answer = json.loads(workshop.do("defer", "mill-brew", *AS_OF, "--json"))
    looks = json.loads(workshop.do("next-inspection", "mill-brew", *AS_OF, "--json"))
    assert body["cheapest_on"] == answer["cheapest_on"] == looks["descale_on"]
    assert body["defer_until"] == answer["defer_until"] == looks["defer_until"]
    assert body["waiting_costs"] == answer["waiting_costs"]


def test_a_descale_that_must_not_wait_comes_first_and_has_no_later_date(workshop):
    first, second, third, fourth = workshop.do("cost", "hall-urn", *AS_OF).splitlines()[:4]
    assert first == "hall-urn: do not defer: the risk is more than you accept."
    assert second.startswith("Descaling every ")
    assert third.startswith("Every ")
    assert fourth == "That age is for descales to come."
    body = json.loads(workshop.do("cost", "hall-urn", *AS_OF, "--json"))
    assert (body["status"], body["alarms"], body["cheapest_on"]) == ("past", [], "2026-11-01")


def test_the_cheapest_day_is_never_later_than_the_last_safe_one(workshop):
    strict = ("mill-brew", *AS_OF, "--tolerance", "0.05")
    body, answer = (json.loads(workshop.do(name, *strict, "--json")) for name in ("cost", "defer"))
    assert body["cheapest_on"] == body["defer_until"] == answer["defer_until"] == answer["cheapest_on"]
    assert "and that is its cheapest day too" in workshop.do("cost", *strict)
    assert "that is the cheapest day too" in workshop.do("defer", *strict)


def test_defer_says_what_waiting_costs(workshop):
    said = workshop.do("defer", "mill-brew", *AS_OF, "--tolerance", "0.2")
    assert "By the prices on record the cheapest day to descale is 202" in said
    assert "costs about " in said


def test_bad_questions_are_one_line(workshop):
    assert "--threshold-grade: '9'" in workshop.refuse("cost", "loft-brew", *AS_OF, "--threshold-grade", "9")
    assert "no water is called" in workshop.refuse("cost", "loft-brew", *AS_OF, "--water", "wine")


@pytest.fixture
def poor(busy_desk):
    busy_desk.do("add", "use", "kitchen", "2025-01-10", "2025-04-10", "--litres", "60")
    busy_desk.do("add", "water-test", "tap", "2025-01-11", "--tds", "240")
    return busy_desk


KITCHEN = ("kitchen", "--as-of", "2025-05-01", "--particles", "100", "--tolerance", "0.9")


def test_without_prices_the_command_that_mends_it_is_said(poor):
    line = poor.refuse("cost", *KITCHEN)
    assert line.startswith("no prices of kitchen are on record by 2025-05-01; add them: scalemodel add prices kitchen ")
    command = line.split("scalemodel ")[1].split()
    assert "By the prices" not in poor.do("defer", *KITCHEN)
    assert json.loads(poor.do("defer", *KITCHEN, "--json"))["cheapest_on"] is None
    poor.do(*command)
    assert "descaling every" in poor.do("cost", *KITCHEN)
    assert "By the prices" in poor.do("defer", *KITCHEN)


def test_without_the_price_of_a_strip_down_the_longest_age_costs_least(poor):
    poor.do("add", "prices", "kitchen", "2025-01-10", "--descale-materials", "5")
    said = poor.do("cost", *KITCHEN)
    assert "the longest within what you accept, costs least" in said
    assert "price of a strip-down" in said
    body = json.loads(poor.do("cost", *KITCHEN, "--json"))
    assert body["best_age_days"] == pytest.approx(body["longest_age_days"])


def test_an_unknown_boiler_is_one_line(workshop):
    assert "did you mean 'mill-brew'?" in workshop.refuse("cost", "mill-bru")
