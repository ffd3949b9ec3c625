"""Dates, numbers and grades in the usual forms: each means one thing, or what it may mean is told."""

from datetime import date

import pytest

from scalemodel.errors import BadValueError
from scalemodel.logbook.usual_forms import (
    DAY_FIRST,
    MONTH_FIRST,
    YEAR_FIRST,
    decimal_marks,
    read_dates,
    read_grades,
    read_numbers,
)

TODAY = date(2026, 11, 25)
THIRD = date(2026, 11, 3)


@pytest.mark.parametrize(
    "text",
    [
        "2026-11-03", "2026/11/3", "2026.11.03", "20261103", "3.11.2026", "03.11.26", "3. 11. 2026", "3 Nov 2026",
        "03-Nov-26", "3. November 2026", "Nov 3, 2026", "November 3 2026", "3rd Nov. 2026", "Tue 3 Nov 2026",
        "Tuesday, 3 November 2026", "3nov2026", "3/Nov/2026", "2026-11-03 08:30", "2026-11-03T08:30:00Z",
        "3.11.2026 8:30 pm", "46329", "46329.5", "3\u00a0Nov\u202f2026", "3 Nov '26",
    ],
)  # fmt: skip
def test_a_date_that_means_one_day(text):
    assert read_dates(text, TODAY) == {"": THIRD}


@pytest.mark.parametrize("text", ["03/11/26", "3/11/26", "03-11-26", "3 11 26"])
def test_a_date_that_may_mean_several_days(text):
    assert read_dates(text, TODAY) == {
        DAY_FIRST: THIRD,
        MONTH_FIRST: date(2026, 3, 11),
        **({YEAR_FIRST: date(2003, 11, 26)} if text.startswith("03") else {}),
    }


@pytest.mark.parametrize(
    "text",
    [
        "", "soon", "31.2.2026", "2026-13-01", "3 Foo 2026", "3.11.", "Nov 2026", "1/2/3/4", "0/0/00", "2026", "=NOW()",
        "99999999", "3 Nov", "1899-12-31", "٣.١١.٢٠٢٦", "3.11.20266", "-3.11.2026",
    ],
)  # fmt: skip
def test_what_is_no_date(text):
    assert read_dates(text, TODAY) == {}


def test_a_year_of_two_digits_has_begun():
    assert read_dates("3.11.27", TODAY) == {"": date(1927, 11, 3)}
    assert read_dates("3 Nov 99", TODAY) == {"": date(1999, 11, 3)}


def test_months_may_have_more_names():
    months = ("jan", "fev", "mar", "avr", "mai", "juin", "juil", "aou", "sep", "oct", "nov", "dec")
    assert read_dates("3 avril 2026", TODAY, months) == {"": date(2026, 4, 3)}
    assert read_dates("3 juil. 2026", TODAY, months) == {"": date(2026, 7, 3)}
    assert read_dates("3 avril 2026", TODAY) == {}


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("310", 310), ("310.5", 310.5), ("310,5", 310.5), ("1.204,5", 1204.5), ("1,204.5", 1204.5), ("1 204,5", 1204.5),
        ("1\u00a0204.5", 1204.5), ("1\u202f204", 1204), ("1'204.5", 1204.5), ("1.204.000", 1204000), ("0,125", 0.125),
        ("1204.500", 1204.5), ("1,204,000.25", 1204000.25), ("-3,5", -3.5), ("+7", 7), ("1e3", 1000), (".5", 0.5),
    ],
)  # fmt: skip
def test_a_number_that_means_one(text, number):
    assert read_numbers(text) == ({"": number}, "")


@pytest.mark.parametrize("text", ["", "x", "1.2.3", "12 04", "1,20,4", "1.204,5.6", "--1", "1'20", "1 2", "٣١٠"])
def test_what_is_no_number(text):
    assert read_numbers(text)[0] == {}


def test_a_number_in_doubt_and_units():
    assert read_numbers("1.204 m3") == ({".": 1.204, ",": 1204.0}, "m3")
    assert read_numbers("1,204") == ({".": 1204.0, ",": 1.204}, "")
    assert read_numbers("318 ppm") == ({"": 318.0}, "ppm")
    assert decimal_marks("310 mg/L") == set()


GRADES = {
    "2": (2, 2), "2-3": (2, 3), "2–3": (2, 3), "2 - 3": (2, 3), "2 to 3": (2, 3), "2 or 3": (2, 3), "2/3": (2, 3),
    "3+": (3, 4), ">=3": (3, 4), "≥ 3": (3, 4), "at least 3": (3, 4), "1-": (0, 1), "<= 1": (0, 1), "2.0": (2, 2),
    "Grade 2": (2, 2),
}  # fmt: skip


@pytest.mark.parametrize(("text", "grades"), GRADES.items())
def test_grades(text, grades):
    assert read_grades(text, "grade") == grades


def test_a_grade_of_which_a_spreadsheet_made_a_date_is_told():
    for text in ("02-Mar", "2026-03-02", "3. Feb"):
        with pytest.raises(BadValueError, match="make the column text"):
            read_grades(text, "grade")
    for text in ("5", "2.5", "=1+1", "heavy", ""):
        with pytest.raises(BadValueError, match="a grade 0 to 4"):
            read_grades(text, "grade")
