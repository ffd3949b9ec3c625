"""CSV folders in and out: what is read, what is refused and where, and that out and in is the identity."""

import contextlib
import csv
import os
import tempfile
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from unittest import mock

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scalemodel import atomic
from scalemodel.errors import BadValueError, ImportRefusedError, LogbookError, RecordClashError
from scalemodel.logbook.csv_folder import export_folder, import_folder
from scalemodel.logbook.faults import FAULTS_LISTED, OUR_FILES
from scalemodel.logbook.field_types import Name, Number
from scalemodel.logbook.fields import clean, rule
from scalemodel.logbook.kinds import KINDS, kind_of
from scalemodel.logbook.records import (
    FILLED_BY,
    HARDNESS_UNITS,
    KITS,
    METHODS,
    SCOPES,
    STARTS,
    WALL,
    Absence,
    Boiler,
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
from tests.logbook.samples import BOILER, LOOK, TODAY, dump, today

BOILERS = "boiler,volume_l,temperature_c,installed_on\nkitchen,0.75,93,2026-01-10\n"


def write(folder: Path, **contents: str | bytes) -> Path:
    for name, text in contents.items():
        data = text if isinstance(text, bytes) else text.encode()
        (folder / f"{name}.csv").write_bytes(data)
    return folder


def refusal(folder: Path) -> ImportRefusedError:
    with Logbook.in_memory(today) as book:
        before = dump(book)
        with pytest.raises(ImportRefusedError) as caught:
            import_folder(book, folder)
        assert dump(book) == before
    return caught.value


def imported(folder: Path) -> dict:
    with Logbook.in_memory(today) as book:
        import_folder(book, folder)
        return {name: book.records(name) for name in KINDS}


# ---- reading


def test_the_files_in_every_form_that_a_spreadsheet_gives(tmp_path):
    write(
        tmp_path,
        boilers="\ufeffBoiler ; volume_l;temperature_c;installed_on;note;;\r\n"
        '"küche";0.75;93;2026-01-10;" a\nb ";;\r\n\r\n',
        sites="boiler,reference,site\nküche,yes,gauge\n",
        waters="water\ntap\n",
        fills="",
        inspections="boiler,date,site,grade_low,grade_high,after_descale\n"
        "küche,2026-02-01,gauge,1,,\nküche,2026-02-02,wall,1.0,2,TRUE\nküche,2026-02-03,wall,2\n",
    )
    found = imported(tmp_path)
    assert found["boiler"] == (Boiler("küche", 0.75, 93.0, date(2026, 1, 10), note="a\nb"),)
    assert found["site"] == (Site("küche", "gauge", reference=True),)
    assert found["inspection"] == (
        Inspection("küche", date(2026, 2, 1), "gauge", 1, 1),
        Inspection("küche", date(2026, 2, 2), "wall", 1, 2, after_descale=True),
        Inspection("küche", date(2026, 2, 3), "wall", 2, 2),
    )


def test_blank_cells_take_the_records_own_defaults(tmp_path):
    head = ",".join(KINDS["boiler"].columns)
    write(tmp_path, boilers=f"{head}\nkitchen,0.75,93,2026-01-10,,,,,,\n")
    assert imported(tmp_path)["boiler"] == (Boiler("kitchen", 0.75, 93.0, date(2026, 1, 10)),)


def test_a_bad_cell_is_named_with_file_row_and_column(tmp_path):
    looks = "boiler,date,site,grade_low\n" + "".join(f"kitchen,2026-02-0{k},wall,{k}\n" for k in (1, 2, 3, 4, 7))
    write(tmp_path, boilers=BOILERS, inspections=looks)
    error = refusal(tmp_path)
    assert error.faults == ["inspections.csv row 6, grade_low: '7' will not do; expected a whole number 0 to 4"]
    assert "nothing was imported" in str(error)
    assert "1 fault;" in str(error)


def test_every_bad_cell_is_listed_at_once(tmp_path):
    write(
        tmp_path,
        boilers='boiler,volume_l,temperature_c,installed_on\n,"1,200",nan,10.01.2026\nbar,1,120,2026-01-10\n',
        use="boiler,from_date,to_date,litres\nbar,2026-02-30,,x\n",
    )
    faults = refusal(tmp_path).faults
    assert [fault.split(": ")[0] for fault in faults] == [
        "boilers.csv row 2, boiler",
        "boilers.csv row 2, volume_l",
        "boilers.csv row 2, temperature_c",
        "boilers.csv row 2, installed_on",
        "use.csv row 2, from_date",
        "use.csv row 2, to_date",
        "use.csv row 2, litres",
    ]
    assert "write 1200, or 1.2" in faults[1]
    assert "such as 2026-01-10" in faults[3]


def test_a_header_with_anything_in_it_is_one_short_line(tmp_path):
    write(tmp_path, waters=f'water,"a\nb",{"9" * 5000}\ntap,1,2\n')
    faults = refusal(tmp_path).faults
    assert faults[0].startswith(r"waters.csv row 1, 'a\nb': no such column; known: water")
    assert faults[1].startswith(f"waters.csv row 1, {'9' * 57}...: no such column")


def test_of_many_faults_fifty_are_listed(tmp_path):
    write(tmp_path, waters="water\n" + "..\n" * 73)
    faults = refusal(tmp_path).faults
    assert len(faults) == FAULTS_LISTED + 1
    assert faults[-1] == "... and 23 more"


def test_records_that_clash_are_listed_by_row(tmp_path):
    write(
        tmp_path,
        boilers=BOILERS + "Kitchen,1,93,2026-01-10\n",
        use="boiler,from_date,to_date,litres\nkitchen,2026-02-01,2026-03-01,9\nkitchen,2026-02-15,2026-03-15,9\n",
        inspections="boiler,date,site,grade_low\nkitchen,2026-02-01,lid,1\nkitchen,2027-02-01,wall,1\n",
    )
    faults = refusal(tmp_path).faults
    assert len(faults) == 4
    assert faults[0].startswith("boilers.csv row 3: there is already a boiler called 'kitchen', boilers.csv row 2")
    assert faults[1] == (
        "use.csv row 3: use of 'kitchen' from 2026-02-15 to 2026-03-15 overlaps use.csv row 2, from 2026-02-01 to "
        "2026-03-01; begin on 2026-03-01 or later, end by 2026-02-01, or mend use.csv row 2"
    )
    assert faults[2].startswith("inspections.csv row 2: no site of 'kitchen' is called 'lid'")
    assert faults[3].startswith("inspections.csv row 3, date: '2027-02-01' will not do; expected today")


def test_a_reference_that_clashes_is_called_by_its_row(tmp_path):
    write(
        tmp_path,
        boilers=BOILERS,
        sites="boiler,site,reference\nkitchen,lid,yes\nkitchen,base,yes\n",
        inspections="boiler,date,site,grade_low\nkitchen,2026-02-01,base,1\n",
    )
    assert refusal(tmp_path).faults == [
        "sites.csv row 3: 'kitchen' has a reference site already: 'lid', sites.csv row 2; first mend sites.csv row 2"
    ]


def test_a_name_that_reads_like_a_record_stays_as_it_is(tmp_path):
    write(
        tmp_path,
        boilers=BOILERS.replace("kitchen", "record 1"),
        sites="boiler,site,reference\nrecord 1,amend record 2,yes\nrecord 1,base,yes\n",
    )
    assert refusal(tmp_path).faults == [
        "sites.csv row 3: 'record 1' has a reference site already: 'amend record 2', sites.csv row 2; "
        "first mend sites.csv row 2"
    ]


def test_a_meter_that_clashes_names_the_row_that_it_is_read_against(tmp_path):
    write(
        tmp_path,
        boilers=BOILERS,
        use="boiler,from_date,to_date,meter_from_l,meter_to_l\n"
        "kitchen,2026-02-01,2026-03-01,100,150\nkitchen,2026-03-01,2026-04-01,140,190\n",
    )
    (fault,) = refusal(tmp_path).faults
    assert fault.startswith(
        "use.csv row 3, meter_from_l: '140' will not do; expected 150 L or more, read on 2026-03-01 "
    )
    assert "2026-03-01 (use.csv row 2); if the meter was changed" in fault


def test_bad_cells_and_clashes_are_listed_together_in_the_order_of_the_rows(tmp_path):
    write(
        tmp_path,
        boilers=BOILERS + "bar,x,93,2026-01-10\n",
        waters="water\ntap\nTap\n",
        use="boiler,from_date,to_date,litres\nkitchen,2026-02-01,2026-03-01,9\n"
        'kitchen,2026-02-15,2026-03-15,9\nkitchen,2026-04-01,2026-05-01,"1,200"\nbar,2026-02-01,2026-03-01,9\n',
    )
    assert [fault.split(": ")[0] for fault in refusal(tmp_path).faults] == [
        "boilers.csv row 3, volume_l",
        "waters.csv row 3",
        "use.csv row 3",
        "use.csv row 4, litres",
    ]


@pytest.mark.parametrize(
    "boilers",
    [
        "boiler,volume\nkitchen,1\n",
        BOILERS + '"open\n',
        BOILERS.encode("utf-16"),
        BOILERS.replace("kitchen", "kitchen,x"),
    ],
)
def test_what_a_lost_row_would_have_registered_is_not_missed_elsewhere(tmp_path, boilers):
    write(tmp_path, boilers=boilers, descales="boiler,date\nkitchen,2026-02-01\nbar,2026-02-01\n")
    assert all(fault.startswith("boilers.csv") for fault in refusal(tmp_path).faults)


def test_a_name_that_nothing_explains_is_missed_beside_other_faults(tmp_path):
    write(
        tmp_path,
        boilers=BOILERS + "bar,x,93,2026-01-10\n",
        descales="boiler,date\nBAR,2026-02-01\nbarn,2026-02-01\n",
    )
    faults = refusal(tmp_path).faults
    assert len(faults) == 2
    assert faults[1].startswith("descales.csv row 3: no boiler is called 'barn'")


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize(
    ("mark", "said"), [(",", ""), (";", ""), ("\t", ""), (";", "sep=;"), ("\t", '"sep=\t"'), (",", "SEP=,")]
)
def test_separators_and_line_ends_of_spreadsheets(tmp_path, mark, said, newline):
    rows = [*([said] if said else []), *BOILERS.replace(",", mark).splitlines(), mark * 3, '"a b"' + mark + mark]
    write(tmp_path, boilers="\ufeff" + newline.join(rows[:-1]) + newline)
    assert imported(tmp_path)["boiler"] == (Boiler("kitchen", 0.75, 93.0, date(2026, 1, 10)),)
    write(tmp_path, boilers="\ufeff" + newline.join(rows) + newline)
    assert refusal(tmp_path).faults[0].startswith("boilers.csv row 4, volume_l: ''")


@pytest.mark.parametrize(
    ("contents", "fault"),
    [
        (
            "boiler,volume,temperature_c,installed_on\n",
            "row 1, volume: no such column; did you mean 'volume_l'?",
        ),
        (BOILERS.replace("\n", ",zzz\n", 1), "row 1, zzz: no such column; known: boiler, volume_l"),
        ("boiler,volume_l\n", "row 1, temperature_c: the column is missing; it is required"),
        (BOILERS.replace("\n", ",boiler\n", 1), "row 1, boiler: the column stands twice; keep one"),
        (BOILERS + "bar,1,93,2026-01-10,9\n", "row 3: has 5 cells, the header has 4; a decimal comma must be"),
        (BOILERS + '"bar,1,93,2026-01-10\n', "row 3: not to be read as CSV"),
        (BOILERS + '"ba"r,1,93,2026-01-10\n', "row 3: not to be read as CSV"),
        (BOILERS.encode() + b"k\xfcche,1,93,2026-01-10\n", " line 3: not UTF-8; save the file as 'CSV UTF-8'"),
        (BOILERS.encode("utf-16"), "boilers.csv: is UTF-16; save it as 'CSV UTF-8'"),
        (BOILERS.replace(",", ";").replace("0.75", "1.200,5"), "row 2, volume_l: '1.200,5' will not do"),
        (BOILERS + "k\0,1,93,2026-01-10\n", "row 3, boiler: 'k\\x00' will not do"),
        (BOILERS + "bar\n", "row 3, volume_l: '' will not do; expected a number 0.05 to 1000 L"),
    ],
)
def test_files_that_are_out_of_order(tmp_path, contents, fault):
    faults = refusal(write(tmp_path, boilers=contents)).faults
    assert any(fault in one for one in faults), faults
    assert all(one.startswith("boilers.csv") for one in faults)


def test_a_file_whose_name_is_nearly_right_is_not_passed_over(tmp_path):
    write(tmp_path, boilers=BOILERS, inspection="boiler\n", shopping="bread\n")
    assert refusal(tmp_path).faults == ["inspection.csv: not a file of a logbook; did you mean inspections.csv?"]


def test_a_folder_without_any_of_the_files_is_refused(tmp_path):
    write(tmp_path, shopping="bread\n")
    assert "holds none of the files of a logbook" in str(refusal(tmp_path))
    assert "boilers.csv" in refusal(tmp_path).remedy


def test_a_folder_that_is_none_is_refused(tmp_path):
    assert "cannot be read" in str(refusal(tmp_path / "missing"))
    (tmp_path / "file").touch()
    assert "cannot be read" in str(refusal(tmp_path / "file"))


def test_a_folder_where_a_file_should_be_is_a_fault(tmp_path):
    (tmp_path / "boilers.csv").mkdir()
    assert refusal(tmp_path).faults[0].startswith("boilers.csv: cannot be read")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a system without named pipes")
def test_a_pipe_where_a_file_should_be_is_a_fault(tmp_path):
    os.mkfifo(tmp_path / "use.csv")
    assert refusal(tmp_path).faults == ["use.csv: cannot be read: it is a pipe or a device"]


def test_a_second_folder_joins_what_is_there(tmp_path, book):
    write(tmp_path, inspections="boiler,date,site,grade_low\nkitchen,2026-02-01,gauge,1\n")
    assert import_folder(book, tmp_path)["inspection"] == 1
    assert len(book.records("inspection")) == 2


def test_a_clash_with_what_is_there_leaves_it_as_it_was(tmp_path, book):
    write(tmp_path, waters="water\nsoft\ntap\n")
    before = dump(book)
    with pytest.raises(ImportRefusedError) as caught:
        import_folder(book, tmp_path)
    assert caught.value.faults[0].startswith("waters.csv row 3: there is already a water called 'tap', record 3")
    assert dump(book) == before


def test_a_lost_file_is_not_taken_for_a_bad_row(tmp_path, book, monkeypatch):
    write(tmp_path, waters="water\nsoft\n")

    def fail(record, again, sure, photos):
        raise LogbookError("the disk is full")

    monkeypatch.setattr(book, "add", fail)
    with pytest.raises(LogbookError, match="disk is full"):
        import_folder(book, tmp_path)


# ---- writing


def test_only_what_is_current_is_written(tmp_path, book):
    book.amend(LOOK, {"grade": "3"})
    book.strike(8, "x")
    counts = export_folder(book, tmp_path / "out")
    assert counts["descale"] == 0
    assert (tmp_path / "out" / "descales.csv").read_text() == ",".join(KINDS["descale"].columns) + "\n"
    rows = (tmp_path / "out" / "inspections.csv").read_text().splitlines()
    assert rows[1:] == ["kitchen,2026-04-12,gauge,3,3,eye,,no,,"]
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(OUR_FILES)
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_texts_that_a_spreadsheet_would_run_are_guarded(tmp_path, book):
    for k, sign in enumerate("=+-@'＝"):
        book.add(Water(f"{sign}{k}"))
    book.add(Water("'=x", note="\t\r\n=1+1\t"))  # blanks around a text are not kept, so none can hide its sign
    book.add(Water("plain", note="-2.5"))
    export_folder(book, tmp_path / "out")
    rows = (tmp_path / "out" / "waters.csv").read_text().splitlines()
    assert [row.split(",")[0] for row in rows[2:]] == ["'=0", "'+1", "'-2", "'@3", "'4", "'＝5", "''=x", "plain"]
    assert [row.split(",")[2] for row in rows[-2:]] == ["'=1+1", "'-2.5"]
    assert imported(tmp_path / "out")["water"] == book.waters()


def test_an_export_is_written_over_but_nothing_else_is(tmp_path, book):
    out = tmp_path / "out"
    export_folder(book, out)
    book.amend(BOILER, {"tolerance": "0.2"})
    export_folder(book, out)
    assert imported(out)["boiler"] == book.boilers()
    (out / "shopping.txt").write_text("bread")
    kept = {p.name: p.read_bytes() for p in out.iterdir()}
    with pytest.raises(LogbookError, match=r"holds 'shopping.txt', which is no file of a logbook"):
        export_folder(book, out)
    assert {p.name: p.read_bytes() for p in out.iterdir()} == kept


@pytest.mark.parametrize("content", ["name;price\nbread;2\n", "\x00\xff", "water,shade\n"])
def test_another_programs_file_of_our_name_is_not_written_over(tmp_path, book, content):
    (tmp_path / "waters.csv").write_text(content, encoding="latin-1")
    with pytest.raises(LogbookError, match=r"waters.csv"):
        export_folder(book, tmp_path)
    assert (tmp_path / "waters.csv").read_text(encoding="latin-1") == content


def test_an_empty_folder_is_used_and_a_file_is_not(tmp_path, book):
    (tmp_path / "empty").mkdir()
    export_folder(book, tmp_path / "empty")
    assert imported(tmp_path / "empty")["boiler"] == book.boilers()
    (tmp_path / "file").write_text("x")
    with pytest.raises(LogbookError, match="is a file"):
        export_folder(book, tmp_path / "file")
    with pytest.raises(LogbookError, match="cannot write"):
        export_folder(book, tmp_path / "file" / "out")


def test_an_export_that_fails_midway_leaves_the_old_one(tmp_path, book, monkeypatch):
    out = tmp_path / "out"
    export_folder(book, out)
    kept = {p.name: p.read_bytes() for p in out.iterdir()}
    book.amend(BOILER, {"tolerance": "0.2"})
    real = Path.write_bytes

    def full(path, content):
        if path.name == "use.csv":
            raise OSError(28, "No space left on device")
        return real(path, content)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(LogbookError, match="No space left"):
        export_folder(book, out)
    assert {p.name: p.read_bytes() for p in out.iterdir()} == kept
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


# ---- out and in again is the identity


def is_name(text: str) -> bool:
    try:
        return Name().clean(text, "x") == text
    except BadValueError:
        return False


def numbers(kind: str, field: str):
    meaning = rule(KINDS[kind], field)
    assert isinstance(meaning, Number)
    return st.floats(meaning.low, meaning.high)


NAMES = st.text(
    st.one_of(st.sampled_from("=+-@＝';,\"abÄ 台\u200d\u0301"), st.characters(codec="utf-8")), min_size=1, max_size=8
)
NAMES = NAMES.filter(is_name)
SHORT = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), max_size=8)
NOTES = st.one_of(
    st.just(""),
    SHORT,
    st.sampled_from(
        ["=1+1", "'=x", "''@", 'a\nb;c,"d"', "a\tb", "-", "-2.5", "a =1", "e\u0301 \u00a0x\n\n'", "x" * 2000]
    ),
)
MAYBE = st.booleans()


def unique_names(least: int, most: int):
    return st.lists(NAMES, min_size=least, max_size=most, unique_by=str.casefold)


def maybe(values):
    return st.one_of(st.none(), values)


@st.composite
def boilers_of(draw, name: str, waters: list[str]) -> list:
    """One boiler with its sites, fills, uses, looks, descales, prices and absences."""
    installed = TODAY - timedelta(days=draw(st.integers(0, 900)))
    days = st.integers(0, (TODAY - installed).days).map(lambda n: installed + timedelta(days=n))
    number = {field: numbers("boiler", field) for field in ("volume_l", "temperature_c", "area_cm2", "steam_share")}
    records: list = [
        Boiler(
            name,
            draw(number["volume_l"]),
            draw(number["temperature_c"]),
            installed,
            draw(maybe(number["area_cm2"])),
            draw(number["steam_share"]),
            draw(st.sampled_from(STARTS)),
            draw(st.integers(1, 4)),
            draw(numbers("boiler", "tolerance")),
            draw(NOTES),
            draw(maybe(numbers("boiler", "litres_per_drink"))),
            draw(maybe(st.sampled_from(FILLED_BY))),
        )
    ]
    sites = [s for s in draw(unique_names(0, 2)) if s.casefold() != WALL]
    reference = draw(st.sampled_from([None, *sites]))
    for site in sites:
        records.append(
            Site(
                name,
                site,
                site == reference,
                draw(maybe(numbers("site", "relative_deposit"))),
                draw(maybe(numbers("site", "relative_log_sd"))),
                draw(maybe(numbers("site", "look_cost"))),
                draw(NOTES),
            )
        )
    if waters:
        for day in draw(st.lists(days, max_size=3, unique=True)):
            records.append(Fill(name, day, draw(st.sampled_from(waters))))
    cuts, meter = sorted(draw(st.lists(days, max_size=5, unique=True))), 0.0
    for begin, end in pairwise(cuts):
        way = draw(st.sampled_from(["litres", "drinks", "meter"]))
        amount = draw(numbers("use", way) if way != "meter" else st.floats(meter, meter + 5000.0))
        each = draw(maybe(numbers("use", "litres_per_drink"))) if way == "drinks" else None
        told = {way: amount} if way != "meter" else {"meter_from_l": meter, "meter_to_l": amount}
        use = Use(name, begin, end, litres_per_drink=each, **told)
        if use.sized_by(records[0]).litres_drawn <= MOST_FILLINGS_A_DAY * records[0].volume_l * (end - begin).days:
            records.append(use)
            meter = meter if use.meter_to_l is None else use.meter_to_l
    for day in draw(st.lists(days, max_size=4)):
        low, high = sorted(draw(st.tuples(st.integers(0, 4), st.integers(0, 4))))
        records.append(
            Inspection(
                name,
                day,
                draw(st.sampled_from([WALL, *sites])),
                low,
                high,
                draw(st.sampled_from(METHODS)),
                draw(SHORT),
                draw(MAYBE),
                draw(maybe(numbers("inspection", "thickness_um"))),
                draw(NOTES),
            )
        )
    for day in draw(st.lists(days, max_size=2)):
        fits = st.floats(0.001, min(100_000.0, SCALE_G_PER_LITRE * records[0].volume_l))
        recovered = draw(maybe(fits))
        acid = (draw(SHORT), draw(maybe(numbers("descale", "acid_g"))))
        records.append(Descale(name, day, draw(st.sampled_from(SCOPES)), *acid, recovered, draw(NOTES)))
    for day in draw(st.lists(days, max_size=2, unique=True)):
        priced = {field: draw(maybe(numbers("prices", field))) for field in KINDS["prices"].columns[2:]}
        records.append(Prices(name, day, **{**priced, "strip_down": draw(numbers("prices", "strip_down"))}))
    cuts = sorted(draw(st.lists(st.integers(0, 1200), max_size=4, unique=True)))
    for begin, end in pairwise(cuts):
        records.append(Absence(name, installed + timedelta(days=begin), installed + timedelta(days=end), draw(NOTES)))
    return records


@st.composite
def logbooks(draw) -> list:
    """Records that can stand together, in an order in which they can be entered."""
    waters = draw(unique_names(0, 3))
    records: list = [Water(w, draw(maybe(numbers("water", "cost_per_litre"))), draw(NOTES)) for w in waters]
    if waters:
        for _ in range(draw(st.integers(0, 3))):
            quantities = {}
            for field in ("hardness", "calcium", "alkalinity"):
                if draw(MAYBE):
                    quantities[field] = draw(st.floats(0, 49))
                    quantities[f"{field}_unit"] = draw(st.sampled_from(HARDNESS_UNITS))
            if draw(MAYBE):
                quantities |= {"tds_mg_l": draw(numbers("water_test", "tds_mg_l"))}
                quantities |= {"tds_factor": draw(maybe(numbers("water_test", "tds_factor")))}
            records.append(
                WaterTest(
                    draw(st.sampled_from(waters)),
                    TODAY - timedelta(days=draw(st.integers(0, 900))),
                    conductivity_us_cm=draw(maybe(numbers("water_test", "conductivity_us_cm"))),
                    ph=draw(numbers("water_test", "ph")),
                    temperature_c=draw(maybe(numbers("water_test", "temperature_c"))),
                    kit=draw(maybe(st.sampled_from(KITS))),
                    **quantities,
                )
            )
    for name in draw(unique_names(0, 2)):
        records += draw(boilers_of(name, waters))
    return records


def correct(book: Logbook, data) -> None:
    """Amend the notes of some records and strike some, wherever that may be done."""
    for number in [entry.number for entry in book.history()]:
        if "note" in KINDS[book.entry(number).kind].columns and data.draw(MAYBE):
            with contextlib.suppress(RecordClashError):
                number = book.amend(number, {"note": data.draw(NOTES)}, again=True, sure=True)
        if data.draw(st.integers(0, 5)) == 0:
            with contextlib.suppress(RecordClashError):
                book.strike(number, "drawn by lot")


@mock.patch.object(atomic.os, "fsync", new=int)  # only slow here
@settings(max_examples=80, deadline=None, derandomize=True)
@given(logbooks(), st.data())
def test_export_then_import_is_the_identity_on_what_is_current(records, data):
    with (
        tempfile.TemporaryDirectory() as place,
        Logbook.in_memory(today) as book,
        Logbook.in_memory(today) as copy,
    ):
        for record in records:
            book.add(record, again=True, sure=True)
        correct(book, data)
        first, second = Path(place) / "first", Path(place) / "second"
        counts = export_folder(book, first)
        assert import_folder(copy, first, again=True, sure=True) == counts
        assert sum(counts.values()) == sum(entry.state == "current" for entry in book.history())
        for kind in KINDS:
            assert copy.records(kind) == book.records(kind)
        export_folder(copy, second)
        for name in OUR_FILES:
            assert (second / name).read_bytes() == (first / name).read_bytes()


@settings(max_examples=60, deadline=None, derandomize=True)
@given(logbooks())
def test_a_record_that_was_entered_is_the_record_that_was_given(records):
    with Logbook.in_memory(today) as book:
        for record in records:
            assert book.entry(book.add(record, again=True, sure=True)).record == clean(record)
            assert kind_of(record).name in KINDS


def test_the_samples_are_one_file_each(tmp_path, book):
    export_folder(book, tmp_path / "out")
    assert {kind.file for kind in KINDS.values()} == {one.name for one in (tmp_path / "out").iterdir()}
    for one in (tmp_path / "out").iterdir():
        with one.open(newline="") as file:
            assert len(list(csv.reader(file))) == 2
