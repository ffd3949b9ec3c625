"""A sheet as somebody keeps it: whatever is understood is taken, each bad row is one line, nothing is half-written."""

from datetime import date

import pytest

from scalemodel.errors import BadValueError, ImportRefusedError
from scalemodel.logbook import sheet_rows
from scalemodel.logbook.records import Boiler, Fill, Inspection, Site, Use, Water, WaterTest
from scalemodel.logbook.sheet import import_sheet
from scalemodel.logbook.sheet_map import FIELDS, read_map
from scalemodel.logbook.sheet_template import write_template
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import dump

INSTALLED = date(2026, 1, 10)
MAP = """
[columns]
date = "Date"
boiler = "Machine"
grade = "Grade"
meter = "Meter reading"
tds = "TDS"
inspector = "Initials"
"""
HEAD = "Date,Machine,Grade,Meter reading,TDS,Initials\n"


def today() -> date:
    return date(2026, 11, 25)


@pytest.fixture
def book():
    with Logbook.in_memory(today) as one:
        for record in (
            Boiler("kitchen", 0.75, 93.0, INSTALLED),
            Boiler("Bar", 1.2, 93.0, INSTALLED),
            Water("tap"),
            Fill("kitchen", INSTALLED, "tap"),
            Fill("Bar", INSTALLED, "tap"),
        ):
            one.add(record)
        yield one


@pytest.fixture
def read(book, tmp_path):
    """Read a sheet, given as text or bytes, by a map."""

    def reading(sheet, columns=MAP, **more):
        path = tmp_path / "sheet.csv"
        path.write_bytes(sheet if isinstance(sheet, bytes) else sheet.encode())
        (tmp_path / "columns.toml").write_text(columns)
        return import_sheet(book, path, tmp_path / "columns.toml", **more)

    return reading


@pytest.fixture
def refuse(book, read):
    """Read a sheet that has to be refused, with nothing changed; gives the line and the faults."""

    def refusing(sheet, columns=MAP, **more):
        before = dump(book)
        with pytest.raises(ImportRefusedError) as caught:
            read(sheet, columns, **more)
        assert dump(book) == before
        assert "\n" not in str(caught.value)
        return str(caught.value), caught.value.faults

    return refusing


def days(book):
    return [one.date for one in book.records("inspection")]


# ---- what a row says


def test_a_row_is_a_look_a_test_and_the_end_of_a_stretch(book, read):
    counts = read(HEAD + "2026-11-03,kitchen,2-3,1204.5,310,AB\n2026-11-20,kitchen,3,1230,318,CD\n")
    assert dict(counts) == {"water_test": 2, "use": 1, "inspection": 2}
    assert book.records("inspection")[0] == Inspection("kitchen", date(2026, 11, 3), "wall", 2, 3, inspector="AB")
    assert book.records("water_test")[1] == WaterTest("tap", date(2026, 11, 20), tds_mg_l=318.0, kit="meter")
    stretch = Use("kitchen", date(2026, 11, 3), date(2026, 11, 20), meter_from_l=1204.5, meter_to_l=1230.0)
    assert book.records("use") == (stretch,)
    assert counts.notes == [
        "row 2: the first meter reading of kitchen, 1204.5 L on 2026-11-03, is where its use begins to be counted"
    ]
    assert counts.act.records == 5


def test_columns_stand_in_any_order_under_any_heading_below_a_title(book, read):
    sheet = "Round of autumn;;;;\n;;;;\nWER ; unread;Stufe ;  Gerät ;Tag\nAB;x;2;KITCHEN;3.11.2026\n"
    columns = '[columns]\ndate = "tag"\nboiler = "gerät"\ngrade = "Stufe"\ninspector = "Wer"\n'
    read(sheet, columns)
    assert book.records("inspection") == (Inspection("kitchen", date(2026, 11, 3), "wall", 2, 2, inspector="AB"),)


@pytest.mark.parametrize("text", ["2026-11-03", "3.11.2026", "03.11.26", "3 Nov 2026", "13/11/26", "11/13/26"])
def test_usual_dates_are_taken(book, read, text):
    read(f"{HEAD}{text},kitchen,1,,,\n")
    assert days(book) == [date(2026, 11, 13 if "13" in text else 3)]


def test_the_other_rows_decide_the_order_of_a_date(book, read):
    read(f"{HEAD}03/11/26,kitchen,1,,,\n25/10/26,kitchen,1,,,\n")
    assert days(book) == [date(2026, 10, 25), date(2026, 11, 3)]


def test_a_day_to_come_decides_it_too(book, read):
    read(f"{HEAD}03/12/26,kitchen,1,,,\n")
    assert days(book) == [date(2026, 3, 12)]


def test_an_order_in_doubt_is_one_line_and_the_map_says_it(book, read, refuse):
    sheet = f"{HEAD}2.2.26,kitchen,1,,,\n03/11/26,kitchen,1,,,\n04/10/26,kitchen,1,,,\n"
    said, faults = refuse(sheet)
    assert "'03/11/26' (row 3) may be 2026-11-03 (day first) or 2026-03-11 (month first)" in said
    assert 'say in the map, under [reading]: dates = "day first" or "month first"' in said
    assert faults == []
    read(sheet, MAP + '[reading]\ndates = "month first"\n')
    assert days(book) == [date(2026, 2, 2), date(2026, 3, 11), date(2026, 4, 10)]


def test_dates_that_are_the_same_either_way_are_not_asked_about(book, read):
    read(f"{HEAD}03/03/26,kitchen,1,,,\n")
    assert days(book) == [date(2026, 3, 3)]


def test_numbers_with_decimal_commas_and_thousands(book, read):
    sheet = HEAD.replace(",", ";") + "3.11.2026;kitchen;;1.204,5;310,5;\n20.11.2026;kitchen;;1.230;1 0,5;\n"
    with pytest.raises(ImportRefusedError) as caught:
        read(sheet)
    assert caught.value.faults[0].startswith("sheet.csv row 3, TDS: '1 0,5' will not do")
    read(sheet.replace("1 0,5", "311"))
    assert book.records("use")[0].meter_to_l == 1230.0
    assert [one.tds_mg_l for one in book.records("water_test")] == [310.5, 311.0]


def test_a_number_in_doubt_is_one_line_and_the_map_says_it(book, read, refuse):
    sheet = f"{HEAD}2026-11-03,kitchen,,1.204,,\n2026-11-20,kitchen,,1.210,,\n"
    said, _ = refuse(sheet)
    assert "'1.204' (row 2) may be 1.204 or 1204" in said
    assert 'decimal = "." or ","' in said
    read(sheet, MAP + '[reading]\ndecimal = "."\n[units]\nmeter = "m3"\n')
    assert book.records("use")[0].meter_from_l == 1204.0


def test_cells_may_name_their_unit_and_blank_ones_say_nothing(book, read):
    read(f"{HEAD}2026-11-03,kitchen,-,n/a,0.31 g/L,\n2026-11-04,kitchen,1,-,–,\n".replace("0.31 g/L", "310 ppm"))
    assert len(book.records("inspection")) == len(book.records("water_test")) == 1
    assert not book.records("use")


def test_rows_that_say_no_more_than_a_day_are_counted(read):
    assert read(f"{HEAD}2026-11-03,kitchen,,,,AB\n,,,,,\n2026-11-03,Bar,1,,,\n").notes == [
        "rows that say no more than a day and a machine: 1"
    ]


def test_two_machines_on_one_tap_are_one_test(book, read):
    read(f"{HEAD}2026-11-03,kitchen,1,,310,\n2026-11-03,Bar,1,,310,\n")
    assert len(book.records("water_test")) == 1


def test_machines_are_called_by_place_or_as_the_map_has_them(book, read, refuse):
    book.add(Boiler("Mill Street 1", 1.0, 93.0, INSTALLED))
    book.add(Boiler("Quay 1", 1.0, 93.0, INSTALLED))
    columns = '[columns]\ndate="D"\nboiler="M"\nplace="P"\ngrade="G"\ninspector="I"\n[boilers]\n"No. 7"="kitchen"\n'
    columns += '[inspectors]\nab = "Ada B."\n'
    read("D,P,M,G,I\n2026-11-03,Mill Street,1,1,AB\n2026-11-03,Quay,1,2,CD\n2026-11-03,Quay,no. 7,3,ab\n", columns)
    assert [(one.boiler, one.inspector) for one in book.records("inspection")] == [
        ("Mill Street 1", "Ada B."),
        ("Quay 1", "CD"),
        ("kitchen", "Ada B."),
    ]
    book.add(Boiler("Quay kitchen", 1.0, 93.0, INSTALLED))
    _, faults = refuse("D,P,M,G,I\n2026-11-04,Quay,kitchen,1,\n", columns)
    assert "may be 'kitchen' or 'Quay kitchen'; say which in the map, under [boilers]" in faults[0]


def test_a_place_inside_is_read_or_always_the_same_or_asked_for(book, read, refuse):
    book.add(Site("kitchen", "gauge"))
    sheet = f"{HEAD}2026-11-03,kitchen,1,,,\n"
    _, faults = refuse(sheet)
    assert faults[0].startswith("sheet.csv row 2: 'kitchen' can be looked at in more than one place (wall, gauge)")
    read(sheet, MAP + '[always]\nsite = "Gauge"\n')
    assert book.records("inspection")[0].site == "gauge"


def test_a_former_name_is_told(book, refuse):
    book.rename("boiler", "Bar", "counter")
    _, faults = refuse(f"{HEAD}2026-11-03,bar,1,,,\n")
    assert faults == ["sheet.csv row 2: the boiler 'bar' is called 'counter' since 2026-11-25; say 'counter'"]


def test_a_water_is_the_one_drawn_on_the_day(book, read, refuse):
    book.add(Water("soft"))
    book.add(Fill("kitchen", date(2026, 6, 1), "soft"))
    read(f"{HEAD}2026-05-31,kitchen,,,310,\n2026-06-01,kitchen,,,80,\n", sure=True)
    assert [one.water for one in book.records("water_test")] == ["tap", "soft"]
    book.add(Boiler("urn", 5.0, 93.0, INSTALLED))
    _, faults = refuse(f"{HEAD}2026-06-01,urn,,,80,\n")
    assert "no water is on record that 'urn' drew on 2026-06-01" in faults[0]


# ---- a meter runs on


def test_a_stretch_begins_at_the_last_reading_in_the_logbook(book, read):
    book.add(Use("kitchen", INSTALLED, date(2026, 2, 10), meter_from_l=0.0, meter_to_l=40.0))
    assert not read(f"{HEAD}2026-03-10,kitchen,,75,,\n2026-04-10,kitchen,,100,,\n").notes
    assert [(one.from_date.month, one.meter_from_l, one.meter_to_l) for one in book.records("use")] == [
        (1, 0.0, 40.0),
        (2, 40.0, 75.0),
        (3, 75.0, 100.0),
    ]


def test_a_sheet_that_has_grown_is_read_again(book, read):
    sheet = f"{HEAD}2026-03-10,kitchen,1,75,310,AB\n2026-04-10,kitchen,1,100,311,AB\n"
    read(sheet)
    grown = sheet + "2026-05-10,kitchen,2,130,312,CD\n"
    counts = read(grown, only_new=True)
    assert (dict(counts), counts.left_out) == ({"water_test": 1, "use": 1, "inspection": 1}, 5)
    assert [one.litres_drawn for one in book.records("use")] == [25.0, 30.0]
    assert dict(read(grown, only_new=True)) == {"water_test": 0, "use": 0, "inspection": 0}


def test_rows_may_stand_in_any_order(book, read):
    read(f"{HEAD}2026-04-10,kitchen,,100,,\n2026-03-10,kitchen,,75,,\n")
    assert book.records("use")[0].litres_drawn == 25.0


def test_a_meter_that_runs_back_is_a_fault_of_its_row(refuse):
    _, faults = refuse(f"{HEAD}2026-03-10,kitchen,,75,,\n2026-04-10,kitchen,,70,,\n")
    assert len(faults) == 1
    assert faults[0].startswith("sheet.csv row 3, meter_to_l: '70' will not do")


# ---- what is refused


def test_each_bad_row_is_one_line_with_its_number(refuse):
    said, faults = refuse(
        f"{HEAD}soon,kitchen,9,x,310,AB\n2026-11-03,nowhere,1,,,\n2026-11-03,kitchen,1,,,\n2027-01-01,kitchen,1,,,\n"
        ",kitchen,1,,,\n2025-01-01,kitchen,1,,,\n"
    )
    assert said.startswith("nothing was imported from ")
    assert "5 faults" in said
    assert [line.split(",")[0].split(":")[0] for line in faults] == [f"sheet.csv row {k}" for k in (2, 3, 5, 6, 7)]
    assert all(word in faults[0] for word in ("Date: 'soon'", "Grade: '9'", "Meter reading: 'x'"))


def test_what_is_doubled_or_hard_to_believe_is_asked_by_the_same_rules(book, read, refuse):
    row = "2026-11-03,kitchen,1,,310,AB\n"
    _, faults = refuse(HEAD + row + row)
    assert len(faults) == 1
    assert faults[0].endswith("row 3: sheet.csv row 2 says just this already")
    read(HEAD + row)
    said, faults = refuse(HEAD + row)
    assert "--only-new leaves out" in said
    assert "says just this already" in faults[0]
    said, faults = refuse(f"{HEAD}2026-11-10,kitchen,,1000,,\n2026-11-20,kitchen,,3000,,\n")
    assert "--sure enters it as it is" in said
    assert faults[0].startswith("sheet.csv row 3, ")
    read(f"{HEAD}2026-11-10,kitchen,,1000,,\n2026-11-20,kitchen,,3000,,\n", sure=True)
    assert book.records("use")[0].litres_drawn == 2000.0


HOSTILE = ("=1+1", "'=1+1", '=HYPERLINK("http://x")', "@SUM(A1)", "\x1b[31mkitchen", "x" * 5000)


@pytest.mark.parametrize("cell", HOSTILE)
def test_a_hostile_machine_is_an_unknown_one(refuse, cell):
    doubled = cell.replace('"', '""')
    _, faults = refuse(f'{HEAD}2026-11-03,"{doubled}",1,,,\n')
    assert len(faults) == 1
    assert faults[0].isprintable()
    assert len(faults[0]) < 200


def test_a_formula_in_initials_is_kept_as_text(book, read):
    read(f"{HEAD}2026-11-03,kitchen,1,,,'=A1\n")
    assert book.records("inspection")[0].inspector == "=A1"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_encodings_separators_and_line_ends(book, read, encoding, separator, end):
    sheet = f"{HEAD}2026-11-03,kitchen,1,,,Zoë\n".replace(",", separator).replace("\n", end)
    read(sheet.encode(encoding))
    assert book.records("inspection")[0].inspector == "Zoë"


def test_another_encoding_is_said_and_the_map_says_it(book, read, refuse):
    sheet = f"{HEAD}2026-11-03,kitchen,1,,,Zoë\n".encode("cp1252")
    said, _ = refuse(sheet)
    assert "is at line 2: not UTF-8" in said or "line 2: not UTF-8" in said
    assert 'encoding = "cp1252"' in said
    read(sheet, MAP + '[reading]\nencoding = "cp1252"\n')
    assert book.records("inspection")[0].inspector == "Zoë"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (HEAD.encode("utf-16"), "UTF-16"),
        (b"PK\x03\x04" + b"x" * 100, "is a workbook; save its sheet as 'CSV UTF-8'"),
        (b"", "has no column 'Date', which the map names for the date; its first row: nothing"),
        (b"a,b\n1,2\n", "its first row: a, b"),
        (HEAD.encode() + b"2026-11-03,kitchen,1,\0,,\n", "holds NUL characters"),
        (HEAD.encode() + b'2026-11-03,"kitchen,1,,,\n', "is not to be read as CSV"),
        (HEAD.encode() + b'2026-11-03,"' + b"x" * 200_000 + b'",1,,,\n', "is not to be read as CSV"),
        (b"Date,Machine,Grade,Meter reading,TDS\n", "has no column 'Initials', which the map names for inspector"),
        (b"Date,Machine,Grade,Meter reading,TDS,Initials,date\n", "has more than one column 'Date'"),
    ],
    ids=range(9),
)
def test_a_file_that_is_no_such_sheet_is_one_line(refuse, data, said):
    told, faults = refuse(data)
    assert said in told
    assert faults == []


def test_a_huge_file_is_not_read_to_its_end(refuse, monkeypatch):
    monkeypatch.setattr(sheet_rows, "MOST_BYTES", 1_000_000)
    assert "is larger than 1 MB" in refuse(HEAD.encode() + b"x" * 2_000_000)[0]


def test_a_sheet_without_end_is_refused_and_of_many_faults_the_first_are_told(refuse, monkeypatch):
    sheet = HEAD + "2026-11-03,nowhere,1,,,\n" * 300
    said, faults = refuse(sheet)
    assert "300 faults" in said
    assert (len(faults), faults[-1]) == (51, "... and 250 more")
    monkeypatch.setattr(sheet_rows, "MOST_ROWS", 300)
    assert "has more than 300 rows; split it" in refuse(sheet)[0]


def test_no_file_no_map(book, tmp_path):
    with pytest.raises(ImportRefusedError, match=r"the map .* cannot be read"):
        import_sheet(book, tmp_path / "none.csv", tmp_path / "none.toml")
    (tmp_path / "columns.toml").write_text(MAP)
    with pytest.raises(ImportRefusedError, match=r"the sheet .* cannot be read"):
        import_sheet(book, tmp_path / "none.csv", tmp_path / "columns.toml")


# ---- the map


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[columns", "is no TOML"),
        ("", "names no column for date and boiler"),
        ('[columns]\ndate = "D"\n', "names no column for boiler"),
        ('[colums]\ndate = "D"\n', "did you mean 'columns'?"),
        (MAP + 'tsd = "x"\n', "did you mean 'tds'?"),
        (MAP + '[reading]\ndates = "backwards"\n', 'dates = "day first" or "month first" or "year first"'),
        (MAP + "[reading]\ndecimal = 3\n", 'decimal = "." or ","'),
        (MAP + '[reading]\nmonths = ["jan"]\n', "a list of 12 texts"),
        (MAP + '[reading]\nencoding = "no such"\n', 'one such as "utf-8"'),
        (MAP + "[reading]\nencoding = 7\n", 'one such as "utf-8"'),
        (MAP + "[always]\nsite = true\n", "a text in quotation marks"),
        (MAP + '[always]\ndate = "2026-11-03"\n', "in [always] 'date'"),
        ('date = "x"\n' + MAP, "'date'"),
        (MAP + "[units]\nmeter = []\n", "a text in quotation marks"),
    ],
)
def test_a_map_that_says_what_is_not_known_is_one_line(refuse, text, said):
    told, faults = refuse(f"{HEAD}2026-11-03,kitchen,1,,,\n", text)
    assert said in told
    assert faults == []


def test_the_example_is_read_by_its_map(book, tmp_path):
    sheet, columns = write_template(tmp_path / "office")
    with Logbook.in_memory(today) as other, pytest.raises(ImportRefusedError):
        import_sheet(other, sheet, columns)  # invented rows are entered nowhere by accident
    assert dict(import_sheet(book, sheet, columns)) == {"water_test": 2, "use": 2, "inspection": 4}
    told = columns.read_text()
    assert all(f"{name} = " in told for name in FIELDS)
    assert read_map(columns).columns["grade"] == "Grade"
    with pytest.raises(BadValueError, match="a folder without sheet"):
        write_template(tmp_path / "office")
