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
    assert lines[1].startswith("By that age the next is due around 202")
    assert lines[1].endswith("the last full one was on 2026-08-15.")
    table = lines[lines.index("") + 1 :]
    table = table[: table.index("")]
    assert table[0].split("  ")[0] == "every"
    assert table[-1].startswith("(waiting)")
    place = table[0].index("eight in ten")
    assert all(row[place - 2 : place] == "  " for row in table)


def test_json_and_text_say_the_same(workshop):
    body = json.loads(workshop.do("cost", "mill-brew", *AS_OF, "--json"))
    assert f"every {body['best_age_days']:.0f} days" in workshop.do("cost", "mill-brew", *AS_OF)
    assert body["nearly_best_days"][0] < body["best_age_days"] < body["nearly_best_days"][1]
    assert body["curve"][-1]["age_days"] is None
    assert body["descale"] == 45.0
    quick = json.loads(workshop.do("defer", "mill-brew", *AS_OF, "--json"))["cost"]
    assert quick == {key: body[key] for key in quick}
    assert set(quick) == {"best_age_days", "best_date", "cost_a_year", "nearly_best_days"}


def test_a_past_age_is_due_now(workshop):
    accepting = workshop.do("cost", "hall-urn", *AS_OF, "--tolerance", "0.9")
    assert "By that age the next is due now: the last full one was on 2026-03-27." in accepting


def test_a_descale_that_must_not_wait_comes_first_and_has_no_later_date(workshop):
    first, second, third = workshop.do("cost", "hall-urn", *AS_OF).splitlines()[:3]
    assert first == "hall-urn: do not defer: the risk is more than you accept."
    assert second.startswith("Descaling every ")
    assert third.startswith("That age is for descales to come; this one is not to be deferred")
    body = json.loads(workshop.do("cost", "hall-urn", *AS_OF, "--json"))
    assert (body["status"], body["alarms"], body["best_date"]) == ("past", [], "2026-11-01")


def test_the_best_date_is_never_later_than_the_last_safe_one(workshop):
    strict = ("mill-brew", *AS_OF, "--tolerance", "0.03")
    body, answer = (json.loads(workshop.do(name, *strict, "--json")) for name in ("cost", "defer"))
    assert body["best_date"] == body["defer_until"] == answer["defer_until"] == answer["cost"]["best_date"]
    said = f"The next is due by {body['best_date']}, when the risk comes to what you accept"
    assert said in workshop.do("cost", *strict)


def test_defer_says_it_in_a_line(workshop):
    said = workshop.do("defer", "mill-brew", *AS_OF)
    assert sum("costs least" in line for line in said.splitlines()) == 1


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
    assert "costs least" not in poor.do("defer", *KITCHEN)
    assert json.loads(poor.do("defer", *KITCHEN, "--json"))["cost"] is None
    poor.do(*command)
    assert "descaling every" in poor.do("cost", *KITCHEN)
    assert "costs least" in poor.do("defer", *KITCHEN)


def test_where_no_age_pays_it_is_said(poor):
    poor.do("add", "prices", "kitchen", "2025-01-10", "--descale-materials", "5")
    said = poor.do("cost", *KITCHEN)
    assert said.startswith("kitchen: no fixed age pays; waiting until scale reaches grade 3")
    assert "price of a strip-down" in said
    assert "no fixed age pays" in poor.do("defer", *KITCHEN)
    assert json.loads(poor.do("cost", *KITCHEN, "--json"))["best_age_days"] is None


def test_an_unknown_boiler_is_one_line(workshop):
    assert "did you mean 'mill-brew'?" in workshop.refuse("cost", "mill-bru")
