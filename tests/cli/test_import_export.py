"""``scalemodel import`` and ``export``."""

import json

import pytest

from scalemodel.logbook.csv_folder import OUR_FILES
from tests.cli.runner import Desk


def test_out_of_one_logbook_into_another(busy_desk, tmp_path):
    out = tmp_path / "out"
    said = "5 records (boilers.csv 1, sites.csv 1, waters.csv 1, fills.csv 1, inspections.csv 1)"
    assert busy_desk.do("export", out) == f"exported {said} to {out}\n"
    assert {path.name for path in out.iterdir()} == set(OUR_FILES)
    other = Desk(tmp_path / "other.sqlite3")
    assert other.do("import", out).splitlines()[0] == f"imported {said} from {out}"
    records = [
        [entry["record"] for entry in json.loads(one.do("history", "--json"))["entries"]] for one in (busy_desk, other)
    ]
    assert records[0] == records[1]


def test_an_export_says_what_stays_in_the_logbook(busy_desk, tmp_path):
    busy_desk.do("amend", "5", "grade=2")
    assert busy_desk.do("export", tmp_path / "a").endswith("; 1 amended or struck stays in the logbook alone\n")
    busy_desk.do("strike", "6", "--reason", "another boiler's")
    said = json.loads(busy_desk.do("export", tmp_path / "b", "--json"))
    assert said["left_out"] == 2
    assert said["records"]["inspection"] == 0


def test_import_for_scripts(desk, tmp_path):
    (tmp_path / "waters.csv").write_text("water\ntap\n")
    assert json.loads(desk.do("import", tmp_path, "--json"))["records"]["water"] == 1
    (tmp_path / "waters.csv").write_text("water\nrain\n..\n")
    body = json.loads(desk.run("import", tmp_path, "--json").stdout)
    assert body["faults"] == ["waters.csv row 3, water: '..' will not do; " + body["faults"][0].partition("; ")[2]]


def test_one_record_is_one(desk, tmp_path):
    (tmp_path / "waters.csv").write_text("water\ntap\n")
    said = desk.do("import", tmp_path).splitlines()
    assert said == [
        f"imported 1 record (waters.csv 1) from {tmp_path}",
        "this is import 1; `scalemodel strike --import 1` takes all of it back",
    ]


def bad_folder(tmp_path):
    (tmp_path / "waters.csv").write_text("water,cost_per_litre\ntap,cheap\nrain,-1\n")
    return tmp_path


def test_a_refused_import_lists_its_faults_and_leaves_no_file(desk, tmp_path):
    folder = bad_folder(tmp_path)
    result = desk.run("import", folder)
    assert result.exit_code == 2
    assert result.stderr.splitlines() == [
        f"error: nothing was imported from {str(folder)!r}: 2 faults; mend what is listed and import again",
        "  waters.csv row 2, cost_per_litre: 'cheap' will not do; expected a number 0 to 1000000",
        "  waters.csv row 3, cost_per_litre: '-1' will not do; expected a number 0 to 1000000",
    ]
    assert result.stdout == ""
    assert not desk.path.exists()


def test_a_refused_import_changes_nothing(busy_desk, tmp_path):
    (tmp_path / "waters.csv").write_text("water\nrain\nTAP\n")
    before = busy_desk.dump()
    result = busy_desk.run("import", tmp_path)
    assert result.exit_code == 2
    assert "waters.csv row 3: there is already a water called 'tap', record 3" in result.stderr
    assert busy_desk.dump() == before


def test_a_second_import_joins_the_first(busy_desk, tmp_path):
    (tmp_path / "use.csv").write_text("boiler,from_date,to_date,litres\nkitchen,2025-02-01,2025-03-01,30\n")
    assert busy_desk.do("import", tmp_path).startswith("imported 1 record (use.csv 1)")
    (tmp_path / "use.csv").write_text("boiler,from_date,to_date,litres\nkitchen,2025-02-01,2025-03-01,31\n")
    assert "overlaps record 6" in busy_desk.run("import", tmp_path).stderr


def test_export_does_not_touch_a_folder_of_other_things(busy_desk, tmp_path):
    (tmp_path / "shopping.txt").write_text("bread")
    said = busy_desk.refuse("export", tmp_path)
    assert "no file of a logbook; name an empty or a new folder" in said
    assert (tmp_path / "shopping.txt").read_text() == "bread"


def test_export_without_a_logbook(desk, tmp_path):
    assert "scalemodel import FOLDER" in desk.refuse("export", tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("command", ["import", "export"])
def test_every_help_has_an_example(desk, command):
    assert desk.do(command, "--help").count("Example:\n  ") == 1


def test_the_same_folder_twice_does_not_double_the_logbook(busy_desk, tmp_path):
    out = tmp_path / "out"
    busy_desk.do("export", out)
    before = busy_desk.dump()
    result = busy_desk.run("import", out)
    assert result.exit_code == 2
    first, *faults = result.stderr.splitlines()
    assert "5 faults" in first
    assert "--only-new leaves out what the logbook holds" in first
    assert faults[0] == "  boilers.csv row 2: record 1 says just this already"
    assert faults[-1] == "  inspections.csv row 2: record 5 says just this already"
    assert busy_desk.do("import", out, "--only-new") == (
        f"imported 0 records from {out}; 5 rows left out, which the logbook had\n"
    )
    assert busy_desk.dump() == before


def test_a_folder_that_has_grown_adds_what_is_new(busy_desk, tmp_path):
    busy_desk.do("export", tmp_path / "out")
    busy_desk.do("amend", "5", "grade=3")
    with (tmp_path / "out" / "inspections.csv").open("a") as file:
        file.write("kitchen,2025-05-01,wall,2\n")
    body = json.loads(busy_desk.do("import", tmp_path / "out", "--only-new", "--json"))
    assert (body["left_out"], body["records"]["inspection"], sum(body["records"].values())) == (5, 1, 1)
    assert "2 of them" not in busy_desk.do("logbook", "verify")


def test_two_rows_that_say_the_same_are_noticed(busy_desk, tmp_path):
    row = "kitchen,2025-05-01,wall,2\n"
    (tmp_path / "inspections.csv").write_text("boiler,date,site,grade_low\n" + row + row)
    for more in ((), ("--only-new",)):
        result = busy_desk.run("import", tmp_path, *more)
        assert result.exit_code == 2
        assert "  inspections.csv row 3: inspections.csv row 2 says just this already" in result.stderr
    assert busy_desk.do("import", tmp_path, "--again").startswith("imported 2 records (inspections.csv 2)")
    assert "record 7: it says just what record 6 says" in busy_desk.do("logbook", "verify")
