"""``scalemodel retire``, ``rename``, ``strike --import`` and ``import --sheet``: the books of a fleet."""

import json

import pytest

from tests.cli.runner import KITCHEN

BAR = ("new", "boiler", "bar", "--volume", "1.2", "--temperature", "93", "--installed", "2025-01-10")


@pytest.fixture
def fleet(busy_desk):
    """Two boilers; records 1 to 6."""
    busy_desk.do(*BAR)
    return busy_desk


def entries(desk, *words):
    return json.loads(desk.do("history", *words, "--json"))["entries"]


# ---- retire


def test_retire_says_what_it_did_and_how_to_take_it_back(fleet):
    said = fleet.do("retire", "kitchen", "--on", "2025-06-01", "--reason", "sold")
    assert said == (
        "retired kitchen on 2025-06-01 (record 7); its records stay, and `scalemodel retire kitchen --undo` takes it "
        "back\n"
    )
    assert [row["boiler"] for row in json.loads(fleet.do("due", "--json"))] == ["bar"]
    assert [row["boiler"] for row in json.loads(fleet.do("due", "--json", "--as-of", "2025-05-31"))] == [
        "bar",
        "kitchen",
    ]
    told = fleet.do("history", "kitchen")
    assert "retired on 2025-06-01 [amends 1" in told
    assert fleet.do("retire", "kitchen", "--undo") == "kitchen is in use again, and in every list (record 8)\n"
    assert len(json.loads(fleet.do("due", "--json"))) == 2
    body = json.loads(fleet.do("retire", "bar", "--json"))
    assert (body["boiler"], body["retired_on"]) == ("bar", "2026-11-25")


def test_retire_refuses_in_one_line(fleet):
    assert "was in use after 2025-04-01: record 5 is of 2025-04-12" in fleet.refuse(
        "retire", "kitchen", "--on", "2025-04-01"
    )
    assert "is not retired" in fleet.refuse("retire", "kitchen", "--undo")
    assert "--undo takes no date" in fleet.refuse("retire", "kitchen", "--undo", "--on", "2025-06-01")
    fleet.do("retire", "kitchen", "--on", "2025-06-01")
    said = fleet.refuse("add", "inspection", "kitchen", "2025-07-01", "2", "--site", "wall")
    assert "if it is in use again: scalemodel retire kitchen --undo" in said


# ---- rename


def test_rename_says_what_follows_and_the_old_name_what_it_is_called(fleet):
    said = fleet.do("rename", "boiler", "kitchen", "galley", "--reason", "moved")
    assert said == "the boiler 'kitchen' is called 'galley' from 2026-11-25 on; its records follow\n"
    body = json.loads(fleet.do("rename", "site", "galley", "gauge", "window", "--json"))
    assert body == {"kind": "site", "boiler": "galley", "old": "gauge", "new": "window", "since": "2026-11-25"}
    fleet.do("rename", "water", "tap", "mains")
    for words in (
        ("history", "kitchen"),
        ("defer", "kitchen"),
        ("add", "descale", "kitchen", "2025-05-01"),
        ("retire", "kitchen"),
        ("report", "kitchen"),
        ("rename", "boiler", "kitchen", "x"),
    ):
        assert fleet.refuse(*words) == "the boiler 'kitchen' is called 'galley' since 2026-11-25; say 'galley'", words
    fleet.do("add", "use", "galley", "2025-01-10", "2025-04-12", "--litres", "20")
    fleet.do("add", "water-test", "mains", "2025-01-11", "--tds", "310")
    assert fleet.refuse("defer", "galley", "--site", "gauge") == (
        "the site 'gauge' is called 'window' since 2026-11-25; say 'window'"
    )
    for words in (
        ("water", "analyse", "--water", "tap", "--boiler-temperature", "93"),
        ("defer", "galley", "--water", "tap"),
    ):
        assert "the water 'tap' is called 'mains' since 2026-11-25" in fleet.refuse(*words), words


def test_a_rename_stands_in_the_history(fleet):
    fleet.do("rename", "boiler", "kitchen", "galley", "--reason", "moved")
    fleet.do("rename", "water", "tap", "mains")
    told = fleet.do("history", "--kind", "rename").splitlines()
    assert [line[39:] for line in told[1:]] == [
        "rename: the boiler kitchen is called galley: moved",
        "rename: the water tap is called mains",
    ]
    body = json.loads(fleet.do("history", "galley", "--json"))
    assert [one["old"] for one in body["renames"]] == ["kitchen"]
    assert {entry["record"]["boiler"] for entry in body["entries"]} == {"galley"}


# ---- an import


def test_an_import_says_where_the_logbook_was_kept_and_is_struck_whole(fleet, tmp_path):
    (tmp_path / "waters.csv").write_text("water\nrain\nwell\n")
    said = fleet.do("import", tmp_path).splitlines()
    kept = f"{fleet.path}.before-import-1"
    assert said[1:] == [
        "this is import 1; `scalemodel strike --import 1` takes all of it back",
        f"as it was before, the logbook is kept in {kept}",
    ]
    assert sum(entry["imported"] == 1 for entry in entries(fleet)) == 2
    assert "water: rain [import 1]" in fleet.do("history")
    assert fleet.do("strike", "--import", "1", "--reason", "wrong") == (
        "struck 2 records of import 1; `scalemodel strike --import 1 --undo` enters them once more\n"
    )
    assert "taken back, 2 records struck" in fleet.do("history")
    assert fleet.do("strike", "--import", "1", "--undo").splitlines() == [
        "entered 2 records of import 1 once more, as import 2",
        f"as it was before, the logbook is kept in {fleet.path}.before-import-2",
    ]
    body = json.loads(fleet.do("strike", "--import", "2", "--reason", "wrong", "--json"))
    assert body == {"import": 2, "struck": 2}
    with_json = json.loads(fleet.do("import", tmp_path, "--json"))
    assert (with_json["import"], with_json["backup"]) == (3, f"{fleet.path}.before-import-3")


def test_a_strike_is_of_one_thing_and_has_a_reason(fleet):
    assert "give NUMBER, or --import N" in fleet.refuse("strike", "--reason", "x")
    assert "give NUMBER, or --import N" in fleet.refuse("strike", "3", "--import", "1", "--reason", "x")
    assert "Missing option '--reason'" in fleet.refuse("strike", "--import", "1")
    assert "--undo is of an import" in fleet.refuse("strike", "3", "--undo")
    assert "there is none yet" in fleet.refuse("strike", "--import", "1", "--reason", "x")


# ---- a history


def test_a_history_by_day_kind_and_place(fleet):
    fleet.do("amend", "6", "note=behind the counter, Quay")
    fleet.do("add", "inspection", "bar", "2025-03-01", "1")
    fleet.do("add", "descale", "kitchen", "2025-05-01")

    def numbers(*words):
        return [entry["number"] for entry in entries(fleet, *words)]

    assert numbers() == [1, 2, 3, 6, 7, 4, 8, 5, 9]  # names first, then the visits, whenever they were entered
    assert numbers("--from", "2025-03-01", "--to", "2025-04-30") == [8, 5]
    assert numbers("--kind", "look") == numbers("--kind", "inspections") == [8, 5]
    assert numbers("--kind", "descale", "--kind", "water") == [3, 9]
    assert numbers("--place", "WALL") == [8, 5]
    assert numbers("--place", "quay") == [6, 7, 8]
    assert numbers("bar", "--kind", "inspection", "--place", "gauge") == []
    assert "no record of what was asked for" in fleet.do("history", "--place", "nowhere")
    assert "no kind of record is called 'lok'" in fleet.refuse("history", "--kind", "lok")
    assert "2025-05-01, which --from says, or later" in fleet.refuse(
        "history", "--from", "2025-05-01", "--to", "2025-04-01"
    )


def test_a_stretch_of_use_counts_where_any_of_its_days_does(fleet):
    fleet.do("add", "use", "kitchen", "2025-01-10", "2025-06-10", "--litres", "42")
    assert [one["kind"] for one in entries(fleet, "--from", "2025-06-01", "--to", "2025-06-30")] == ["use"]
    assert entries(fleet, "--from", "2025-06-11") == []


# ---- an owner


def test_an_owner_is_a_field_of_a_boiler(desk):
    said = desk.do(*KITCHEN, "--owner", "Quay Cafe", "--owner-address", "1 Quay Street")
    assert "of Quay Cafe, 1 Quay Street" in said
    desk.do("amend", "1", "owner=Mill Cafe", "owner_address=")
    assert "of Mill Cafe" in desk.do("history")


# ---- a sheet


def test_a_sheet_is_read_by_its_map_and_taken_back(fleet, tmp_path):
    office = tmp_path / "office"
    assert fleet.do("import", "--template", office) == f"wrote {office / 'sheet.csv'} and {office / 'columns.toml'}\n"
    fleet.do("add", "fill", "bar", "2025-01-10", "tap")
    columns = office / "columns.toml"
    columns.write_text(columns.read_text().replace('# site = "wall"', 'site = "wall"'))
    asked = ("import", "--sheet", office / "sheet.csv", "--map", office / "columns.toml")
    said = fleet.do(*asked).splitlines()
    assert said[0].startswith("imported 8 records (water_tests.csv 2, use.csv 2, inspections.csv 4) from ")
    assert said[3].startswith("row 2: the first meter reading of kitchen, 1204.5 L on 2026-09-01")
    body = json.loads(fleet.do(*asked, "--only-new", "--json"))
    assert (body["left_out"], body["import"], body["backup"]) == (8, None, None)
    fleet.do("strike", "--import", "1", "--reason", "an example")
    assert len(json.loads(fleet.do("history", "--kind", "look", "--json"))["entries"]) == 5
    assert sum(one["state"] == "current" for one in entries(fleet, "--kind", "look")) == 1


def test_a_sheet_and_its_map_go_together(fleet, tmp_path):
    assert "give FOLDER, or --sheet FILE" in fleet.refuse("import")
    assert "give FOLDER, or --sheet FILE" in fleet.refuse("import", tmp_path, "--sheet", "a", "--map", "b")
    assert "give both --sheet FILE and --map" in fleet.refuse("import", "--sheet", "a.csv")
    assert "leave --sheet and --map out" in fleet.refuse("import", "--template", "--sheet", "a.csv")
    fleet.do("import", "--template", tmp_path)
    assert "a folder without sheet.csv" in fleet.refuse("import", "--template", tmp_path)


def test_a_refused_sheet_makes_no_logbook(desk, tmp_path):
    desk.do("import", "--template", tmp_path)
    result = desk.run("import", "--sheet", tmp_path / "sheet.csv", "--map", tmp_path / "columns.toml")
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 5
    assert not desk.path.exists()


def test_the_report_of_an_owner_names_no_other(fleet, tmp_path):
    fleet.do("amend", "1", "owner=Mill Cafe", "note=ground floor")
    fleet.do("amend", "6", "owner=Quay Hall", "note=upper floor")
    fleet.do("new", "water", "quay-water")
    fleet.do("add", "water-test", "tap", "2025-01-11", "--tds", "310")
    fleet.do("add", "water-test", "quay-water", "2025-01-11", "--tds", "90")
    fleet.do("add", "fill", "bar", "2025-01-10", "quay-water")
    fleet.do("add", "use", "kitchen", "2025-01-10", "2026-11-01", "--litres", "60")
    fleet.do("add", "use", "bar", "2025-01-10", "2026-11-01", "--litres", "60")
    said = fleet.do("report", "--owner", "mill cafe", "--out", tmp_path / "mill", "--particles", "100")
    assert said.splitlines() == [f"{tmp_path / 'mill' / 'index.html'}", "and beside it 1 page, one a boiler"]
    assert sorted(path.name for path in (tmp_path / "mill").iterdir()) == ["index.html", "kitchen.html"]
    for path in (tmp_path / "mill").iterdir():
        text = path.read_text()
        assert "kitchen" in text
        assert not [name for name in ("quay-water", "Quay Hall", "upper floor", ">bar<", "bar.html") if name in text]
    assert "Mill Cafe; ground floor" in (tmp_path / "mill" / "kitchen.html").read_text()
    assert "known: Mill Cafe, Quay Hall" in fleet.refuse("report", "--owner", "nobody")
    assert "give one boiler, --all or --owner" in fleet.refuse("report", "kitchen", "--owner", "Mill Cafe")


def test_a_retired_boiler_leaves_the_calendar_and_the_pages(fleet, tmp_path):
    for name in ("kitchen", "bar"):
        fleet.do("add", "use", name, "2025-01-10", "2026-11-01", "--litres", "60")
    fleet.do("add", "water-test", "tap", "2025-01-11", "--tds", "310")
    fleet.do("add", "fill", "bar", "2025-01-10", "tap")
    asked = ("calendar", "--out", tmp_path / "all.ics", "--particles", "100", "--json")
    assert {one["boiler"] for one in json.loads(fleet.do(*asked))["events"]} == {"kitchen", "bar"}
    fleet.do("retire", "bar")
    body = json.loads(fleet.do(*asked))
    assert {one["boiler"] for one in body["events"]} == {"kitchen"}
    assert body["cancelled"]
    fleet.do("report", "--all", "--out", tmp_path / "all", "--particles", "100")
    assert not (tmp_path / "all" / "bar.html").exists()
    result = fleet.run("risk", "bar", "--on", "2027-01-01", "--particles", "100")
    assert (result.exit_code, result.stderr) == (0, "note: bar was retired on 2026-11-25\n")
