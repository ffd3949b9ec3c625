"""``scalemodel add``."""

import os
import subprocess
import sys
from datetime import date

import pytest

from scalemodel.logbook.records import Absence, Descale, Fill, Inspection, Prices, Use, WaterTest
from scalemodel.logbook.store import Logbook
from tests.cli.runner import KITCHEN


def last(desk, kind):
    with Logbook.open(desk.path) as book:
        return book.current(kind)[-1].record


DAY = date(2025, 5, 1)


@pytest.mark.parametrize(
    ("grade", "low", "high", "said"),
    [
        ("2", 2, 2, "grade 2"),
        ("1-2", 1, 2, "grade 1 to 2"),
        ("3+", 3, 4, "grade 3 to 4"),
        ("1-", 0, 1, "grade 0 to 1"),
    ],
)
def test_a_look(busy_desk, grade, low, high, said):
    assert busy_desk.do("add", "inspection", "kitchen", DAY, grade) == (
        f"recorded inspection 6: kitchen, 2025-05-01, wall, {said}, by eye\n"
    )
    assert last(busy_desk, "inspection") == Inspection("kitchen", DAY, "wall", low, high)


def test_a_look_with_everything(busy_desk):
    busy_desk.do("add", "descale", "kitchen", DAY)
    said = busy_desk.do(
        "add", "inspection", "kitchen", DAY, "2", "--site", "gauge", "--method", "camera", "--inspector",
        "night shift", "--thickness-um", "120", "--after-descale", "--note", "left side",
    )  # fmt: skip
    assert said == (
        "recorded inspection 7: kitchen, 2025-05-01, gauge, grade 2, by camera, seen by night shift, "
        "after the descale, 120 um thick, note: left side\n"
    )
    expected = Inspection("kitchen", DAY, "gauge", 2, 2, "camera", "night shift", True, 120.0, "left side")
    assert last(busy_desk, "inspection") == expected


def test_a_look_is_at_the_only_site_looked_at_so_far_whatever_the_reference_is(busy_desk):
    busy_desk.do("new", "site", "kitchen", "lid", "--reference")
    assert "wall, grade 2" in busy_desk.do("add", "inspection", "kitchen", DAY, "2")
    assert "lid, grade 2" in busy_desk.do("add", "inspection", "kitchen", DAY, "2", "--site", "lid")
    said = busy_desk.refuse("add", "inspection", "kitchen", DAY, "1")
    assert said == (
        "'kitchen' can be looked at in more than one place; say where it was: --site wall or --site gauge or --site lid"
    )


def test_the_first_look_of_a_boiler_with_sites_names_one(busy_desk):
    busy_desk.do("strike", "5", "--reason", "to begin with none")
    assert "--site wall or --site gauge" in busy_desk.refuse("add", "inspection", "kitchen", DAY, "1")
    busy_desk.do("add", "inspection", "kitchen", DAY, "1", "--site", "gauge")
    assert "gauge, grade 0" in busy_desk.do("add", "inspection", "kitchen", "2025-06-01", "0")


def test_a_boiler_without_sites_is_looked_at_at_its_wall(desk):
    desk.do(*KITCHEN)
    assert "wall, grade 1" in desk.do("add", "inspection", "kitchen", DAY, "1")


def test_a_water_test(busy_desk):
    said = busy_desk.do("add", "water-test", "tap", DAY, "--hardness", "9 °dH", "--alkalinity", "100", "--kit", "drops")
    assert said == (
        "recorded water test 6: tap, 2025-05-01, hardness 9 dH, alkalinity 100 mg/L as CaCO3, by drops\n"
        "  understood as: hardness about 161 mg/L as CaCO3, 9 dH; alkalinity about 100 mg/L as CaCO3\n"
    )
    quantities = {"hardness": 9.0, "hardness_unit": "dH", "alkalinity": 100.0, "alkalinity_unit": "mg/L"}
    assert last(busy_desk, "water_test") == WaterTest("tap", DAY, **quantities, kit="drops")


def test_a_water_test_with_the_rest(busy_desk):
    said = busy_desk.do(
        "add", "water-test", "tap", DAY, "--tds", "310", "--tds-factor", "0.5", "--conductivity", "620",
        "--calcium", "2.1 mmol/l", "--ph", "7.6", "--temperature", "59 F", "--kit", "Meter",
    )  # fmt: skip
    assert said == (
        "recorded water test 6: tap, 2025-05-01, TDS 310 mg/L (factor 0.5), conductivity 620 uS/cm, "
        "calcium 2.1 mmol/L, pH 7.6, at 15 C, by meter\n"
        "  understood as: hardness about 280 mg/L as CaCO3, 15.7 dH; alkalinity about 205 mg/L as CaCO3\n"
    )
    test = last(busy_desk, "water_test")
    assert (test.temperature_c, test.kit, test.calcium_unit) == (15.0, "meter", "mmol/L")


def test_a_fill(busy_desk):
    busy_desk.do("new", "water", "rain")
    assert busy_desk.do("add", "fill", "kitchen", DAY, "rain") == (
        "recorded fill 7: kitchen draws rain from 2025-05-01\n"
    )
    assert last(busy_desk, "fill") == Fill("kitchen", DAY, "rain")


@pytest.mark.parametrize(
    ("words", "said", "more"),
    [
        (("--litres", "42"), "42 L", {"litres": 42.0}),
        (
            ("--drinks", "30"),
            "30 drinks, 6 L if a drink is 0.2 L\n  nobody has said how much a drink from kitchen is: taken as 0.2 L; "
            "otherwise scalemodel amend 1 litres_per_drink=...",
            {"drinks": 30.0},
        ),
        (
            ("--drinks", "30", "--litres-per-drink", "0.3"),
            "30 drinks of 0.3 L, 9 L",
            {"drinks": 30.0, "litres_per_drink": 0.3},
        ),
        (
            ("--meter", "1200.5", "1250.5"),
            "meter 1200.5 to 1250.5 L, 50 L",
            {"meter_from_l": 1200.5, "meter_to_l": 1250.5},
        ),
    ],
)
def test_use_in_three_ways(busy_desk, words, said, more):
    assert busy_desk.do("add", "use", "kitchen", "2025-04-01", DAY, *words) == (
        f"recorded use 6: kitchen, 2025-04-01 to 2025-05-01, {said}\n"
    )
    assert last(busy_desk, "use") == Use("kitchen", date(2025, 4, 1), DAY, **more)


def test_a_descale(busy_desk):
    assert busy_desk.do("add", "descale", "kitchen", DAY) == "recorded descale 6: kitchen, 2025-05-01, full\n"
    said = busy_desk.do(
        "add", "descale", "kitchen", "2025-06-01", "--scope", "partial", "--acid", "citric", "--acid-g", "30",
        "--scale-recovered-g", "4.2", "--note", "twice",
    )  # fmt: skip
    assert said == (
        "recorded descale 7: kitchen, 2025-06-01, partial, 30 g of citric, 4.2 g of scale recovered, note: twice\n"
    )
    assert last(busy_desk, "descale") == Descale("kitchen", date(2025, 6, 1), "partial", "citric", 30.0, 4.2, "twice")


def test_prices(busy_desk):
    said = busy_desk.do(
        "add", "prices", "kitchen", DAY, "--descale-materials", "4", "--descale-hours", "1.5", "--hour-cost", "20",
        "--descale-wear", "5", "--strip-down", "150", "--cartridge-cost", "14", "--cartridge-litres", "60",
    )  # fmt: skip
    assert said == (
        "recorded prices 6: kitchen from 2025-05-01, materials for a descale 4, 1.5 h of work on one, an hour 20, "
        "wear by a descale 5, a strip-down 150, a cartridge 14, 60 L from a cartridge\n"
    )
    assert last(busy_desk, "prices") == Prices("kitchen", DAY, 4.0, 1.5, 20.0, 5.0, 150.0, 14.0, 60.0)
    assert "a strip-down 90" in busy_desk.do("amend", "6", "strip_down=90", "hour_cost=")
    assert last(busy_desk, "prices").hour_cost is None
    assert "hold no price" in busy_desk.refuse("add", "prices", "kitchen", "2025-06-01")
    assert "--strip-down: '-1' will not do" in busy_desk.refuse("add", "prices", "kitchen", DAY, "--strip-down", "-1")


def test_an_absence(busy_desk):
    said = busy_desk.do("add", "absence", "kitchen", "2027-08-01", "2027-08-22", "--note", "holidays")
    assert said == (
        "recorded absence 6: kitchen, nothing drawn from 2027-08-01 until 2027-08-22 (21 days), note: holidays\n"
    )
    assert last(busy_desk, "absence") == Absence("kitchen", date(2027, 8, 1), date(2027, 8, 22), "holidays")
    assert "overlaps record 6" in busy_desk.refuse("add", "absence", "kitchen", "2027-08-21", "2027-09-01")
    assert "a day after" in busy_desk.refuse("add", "absence", "kitchen", "2027-09-01", "2027-09-01")
    assert "struck absence 6" in busy_desk.do("strike", "6", "--reason", "stayed at home")
    assert "2027-08-01" in busy_desk.do("history", "kitchen")


@pytest.mark.parametrize("command", ["inspection", "water-test", "fill", "use", "descale", "prices", "absence", None])
def test_every_help_has_an_example(desk, command):
    assert desk.do("add", *([command] if command else []), "--help").count("Example:\n  ") == 1


def test_recording_loads_neither_numpy_nor_anything_on_top_of_it(desk):
    code = (
        "import sys\n"
        "from scalemodel.cli import add, history, import_export, main, new\n"
        "heavy = {'numpy', 'scipy', 'pandas', 'matplotlib', 'pymc', 'arviz'} & set(sys.modules)\n"
        "print(*sorted(heavy), 'end')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "end\n"


# ---- the same twice, and other second thoughts


def test_a_record_just_like_one_that_is_there_is_refused_unless_insisted_on(busy_desk):
    for words in (
        ("add", "inspection", "kitchen", DAY, "2"),
        ("add", "water-test", "tap", DAY, "--tds", "240"),
        ("add", "descale", "kitchen", DAY),
    ):
        number = busy_desk.do(*words).split(":")[0].split()[-1]
        said = busy_desk.refuse(*words)
        assert said.startswith(f"record {number} says just this already (")
        assert said.endswith("; `--again` enters it once more")
        assert busy_desk.do(*words, "--again").startswith("recorded ")
        busy_desk.refuse(*words)


def test_a_record_that_differs_in_a_note_is_another(busy_desk):
    busy_desk.do("add", "inspection", "kitchen", DAY, "2")
    busy_desk.do("add", "inspection", "kitchen", DAY, "2", "--note", "the second lamp")


def test_a_struck_record_may_be_entered_again(busy_desk):
    busy_desk.do("strike", "5", "--reason", "a slip")
    assert "recorded inspection 6" in busy_desk.do(
        "add", "inspection", "kitchen", "2025-04-12", "1-2", "--site", "wall"
    )


@pytest.mark.parametrize(("answer", "code", "held"), [("y\n", 0, 2), ("n\n", 2, 1), ("\n", 2, 1)])
def test_on_a_terminal_it_is_asked(busy_desk, answer, code, held):
    """A real terminal: the question names the record, and only a yes enters it once more."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    words = ["add", "inspection", "kitchen", "2025-04-12", "1-2"]
    with subprocess.Popen(
        [sys.executable, "-m", "scalemodel.cli", "--logbook", str(busy_desk.path), *words],
        stdin=theirs, stdout=subprocess.PIPE, stderr=theirs,
    ) as asked:  # fmt: skip
        os.close(theirs)
        seen = b""
        while b"once more? [y/N]:" not in seen:
            seen += os.read(ours, 1000)
        os.write(ours, answer.encode())
        asked.communicate()
    os.close(ours)
    assert asked.returncode == code
    assert b"record 5 says just this already (kitchen, 2025-04-12, wall, grade 1 to 2, by eye)" in seen
    with Logbook.open(busy_desk.path) as book:
        assert len(book.records("inspection")) == held


def test_a_meter_runs_on_from_stretch_to_stretch(busy_desk):
    busy_desk.do("add", "use", "kitchen", "2025-02-01", "2025-03-01", "--meter", "100", "160")
    said = busy_desk.refuse("add", "use", "kitchen", "2025-03-01", "2025-04-01", "--meter", "150", "190")
    assert said == (
        "meter_from_l: '150' will not do; expected 160 L or more, read on 2025-03-01 (record 6); if the meter was "
        "changed or set back, give this stretch as litres and go on with the new meter in the next"
    )
    assert "expected at most 100 L, read on 2025-02-01 (record 6)" in busy_desk.refuse(
        "add", "use", "kitchen", "2025-01-10", "2025-02-01", "--meter", "60", "101"
    )
    busy_desk.do("add", "use", "kitchen", "2025-01-10", "2025-02-01", "--meter", "60", "100")


def test_a_new_meter_begins_after_a_stretch_in_litres(busy_desk):
    busy_desk.do("add", "use", "kitchen", "2025-02-01", "2025-03-01", "--meter", "100", "160")
    busy_desk.do("add", "use", "kitchen", "2025-03-01", "2025-03-10", "--litres", "12")
    busy_desk.do("add", "use", "kitchen", "2025-03-10", "2025-04-01", "--meter", "3", "40")
    said = busy_desk.refuse("strike", "7", "--reason", "x")
    assert said == (
        "without it the meter would run back from 160 L (record 6) to 3 L (record 8); first give record 8 as litres: "
        "`scalemodel amend 8 litres=37 meter_from_l= meter_to_l=`"
    )
    assert "without it the meter would run back" in busy_desk.refuse(
        "amend", "7", "from_date=2025-05-01", "to_date=2025-05-02"
    )
    busy_desk.do("amend", "8", "litres=37", "meter_from_l=", "meter_to_l=")
    busy_desk.do("strike", "7", "--reason", "x")
    assert "no fault found" in busy_desk.do("logbook", "verify")


def test_a_look_after_a_descale_that_is_not_there_is_remarked_on(busy_desk):
    result = busy_desk.run("add", "inspection", "kitchen", DAY, "0", "--after-descale")
    assert (result.exit_code, result.stdout[:21]) == (0, "recorded inspection 6")
    assert result.stderr == (
        "note: the look is said to be after a descale, but none of 'kitchen' is recorded on 2025-05-01; record it, or "
        "`scalemodel amend 6 after_descale=no`\n"
    )
    assert "remark on record 6" in busy_desk.do("logbook", "verify")
    busy_desk.do("add", "descale", "kitchen", DAY)
    assert "remark" not in busy_desk.do("logbook", "verify")
