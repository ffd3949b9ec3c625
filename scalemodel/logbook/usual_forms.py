"""Dates, numbers and grades as people write them in a sheet: each form that can be read, and which are in doubt.

A form in doubt (03/11/26, 1.204) is read as the rest of its sheet, or whoever reads it, says.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, timedelta

from scalemodel.errors import BadValueError
from scalemodel.logbook.days import EARLIEST, SPREADSHEET_EPOCH
from scalemodel.logbook.fields import parse_grade

DAY_FIRST, MONTH_FIRST, YEAR_FIRST = ORDERS = ("day first", "month first", "year first")
"""What a date of three short numbers may be."""

POINT, COMMA = MARKS = (".", ",")
"""What may stand before the decimals."""

MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

DATE_ALLOWED = "a date, such as 2026-11-03, 3.11.2026, 3 Nov 2026 or 03/11/26"
NUMBER_ALLOWED = "a number, such as 1204.5, 1204,5 or 1 204,5"

_TIME = re.compile(r"[T ,]+\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?\s*([AaPp]\.?[Mm]\.?)?\s*(Z|[+-]\d{2}:?\d{2})?", re.ASCII)
_YEAR_FIRST = re.compile(r"(\d{4})([-/. ])(\d{1,2})\2(\d{1,2})", re.ASCII)
_EIGHT = re.compile(r"((?:19|20)\d{2})(\d{2})(\d{2})", re.ASCII)
_SERIAL = re.compile(r"([2-6]\d{4})([.,]\d+)?", re.ASCII)
_THREE = re.compile(r"(\d{1,2})\s*([-/. ])\s*(\d{1,2})\s*\2\s*(\d{4}|\d{2})\.?", re.ASCII)
_DAY_NAMED = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[\s.\-/]*([^\W\d_]+)[\s.,\-/]*'?(\d{4}|\d{2})")
_NAMED_DAY = re.compile(r"([^\W\d_]+)[\s.\-/]*(\d{1,2})(?:st|nd|rd|th)?[\s.,\-/]+'?(\d{4}|\d{2})")
_WORD = re.compile(r"([^\W\d_]+)[.,]?\s+(.*)")

_FIGURE = re.compile(r"([+-]?(?:\d(?:[\d .,'’]*\d)?[.,]?|[.,]\d+)(?:[eE][+-]?\d+)?)(?![\d])\s*(.*)", re.ASCII)
_BLANKS = dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u202f"), " ")

Dates = dict[str, date]
"""What a text may mean, by the order in which it would have to be read; by a blank where it means one day alone."""

Numbers = dict[str, float]
"""What a figure may mean, by its decimal mark; by a blank where it means one number alone."""


def read_dates(text: str, latest: date, months: Sequence[str] = ()) -> Dates:
    """The days that a text may mean; none for what is no date, or a day that does not exist.

    A year of two digits is the last such year that has begun by ``latest``; ``months`` are twelve more names of months.

    >>> read_dates("3 Nov 2026", date(2026, 11, 25))
    {'': datetime.date(2026, 11, 3)}
    >>> [list(read_dates(one, date(2026, 11, 25))) for one in ("03/11/26", "25/11/26")]
    [['day first', 'month first', 'year first'], ['day first', 'year first']]
    """
    given = _without_time(" ".join(text.translate(_BLANKS).split()))
    for form, groups in ((_YEAR_FIRST, (1, 3, 4)), (_EIGHT, (1, 2, 3))):
        if match := form.fullmatch(given):
            return _only(_day(*(match[k] for k in groups), latest))
    if match := _SERIAL.fullmatch(given):
        return _only(SPREADSHEET_EPOCH + timedelta(int(match[1])))
    if match := _THREE.fullmatch(given):
        return _of_three(match, latest)
    return _only(_named(given, latest, months))


def _without_time(given: str) -> str:
    for match in _TIME.finditer(given):
        if match.end() == len(given) and match.start():
            return given[: match.start()]
    return given


def _only(day: date | None) -> Dates:
    return {} if day is None or day < EARLIEST else {"": day}


def _of_three(match: re.Match, latest: date) -> Dates:
    first, mark, middle, last = match.groups()
    if mark == ".":  # day first everywhere (common practice, no source)
        return _only(_day(last, middle, first, latest))
    readings = {
        DAY_FIRST: _day(last, middle, first, latest),
        MONTH_FIRST: _day(last, first, middle, latest),
        YEAR_FIRST: _day(first, middle, last, latest) if len(last) == len(first) == 2 else None,
    }
    return {order: day for order, day in readings.items() if day is not None and day >= EARLIEST}


def _day(year: str, month: str | int, day: str, latest: date) -> date | None:
    """The day of three numbers; None where there is none."""
    whole = int(year)
    if len(year) == 2:
        whole += 2000 if 2000 + whole <= latest.year else 1900
    try:
        return date(whole, int(month), int(day))
    except ValueError:
        return None


def _named(given: str, latest: date, months: Sequence[str]) -> date | None:
    """A day whose month is named, behind the name of a weekday or not."""
    for form, (day, month, year) in ((_DAY_NAMED, (1, 2, 3)), (_NAMED_DAY, (2, 1, 3))):
        match = form.fullmatch(given)
        number = match and _month(match[month], months)
        if number:
            return _day(match[year], number, match[day], latest)
    word = _WORD.fullmatch(given)
    if word and len(word[1]) > 1 and any(name.startswith(word[1].lower()) for name in WEEKDAYS):
        rest = read_dates(word[2], latest, months)
        return rest.get("")
    return None


def _month(word: str, months: Sequence[str]) -> int | None:
    """The number of a month by its name, or the first three letters or more of it."""
    said = word.casefold()
    for k, name in enumerate(map(str.casefold, months), 1):
        if said.startswith(name) or (len(said) > 2 and name.startswith(said)):
            return k
    found = [k for k, name in enumerate(MONTHS, 1) if len(said) > 2 and name.startswith(said)]
    return found[0] if found else 9 if said == "sept" else None


def read_numbers(text: str) -> tuple[Numbers, str]:
    """The numbers that a figure may mean, and the unit behind it; none for what is no number.

    >>> read_numbers("1.204,5 L"), read_numbers("310")
    (({'': 1204.5}, 'L'), ({'': 310.0}, ''))
    >>> read_numbers("1.204")
    ({'.': 1.204, ',': 1204.0}, '')
    >>> [read_numbers(one)[0] for one in ("1 204", "1'204.5", "0,125", "12 04", "1.20.4")]
    [{'': 1204.0}, {'': 1204.5}, {'': 0.125}, {}, {}]
    """
    match = _FIGURE.fullmatch(" ".join(text.translate(_BLANKS).split()))
    if match is None:
        return {}, ""
    return _figure(match[1].strip()), match[2].strip()


def _figure(figure: str) -> Numbers:
    whole, power, exponent = figure.partition("e" if "e" in figure else "E")
    sign, digits = ("-", whole[1:]) if whole.startswith("-") else ("", whole.lstrip("+"))
    tail = f"{power}{exponent}"
    grouped = bool(re.search(r"[ '’]", digits))
    if grouped:
        if not re.fullmatch(r"\d{1,3}([ '’])\d{3}(\1\d{3})*([.,]\d+)?", digits):
            return {}
        digits = re.sub(r"[ '’]", "", digits)
    marks = [sign_ for sign_ in digits if sign_ in MARKS]
    if not marks:
        return {"": float(f"{sign}{digits}{tail}")}
    if len(set(marks)) == 2:
        decimal = marks[-1]
        thousands = COMMA if decimal == POINT else POINT
        if not re.fullmatch(rf"\d{{1,3}}(\{thousands}\d{{3}})+\{decimal}\d+", digits):
            return {}
        return {"": _value(sign, digits, decimal, tail)}
    mark = marks[0]
    as_thousands = bool(re.fullmatch(rf"[1-9]\d{{0,2}}(\{mark}\d{{3}})+", digits)) and not grouped
    if len(marks) > 1:
        return {"": _value(sign, digits, COMMA if mark == POINT else POINT, tail)} if as_thousands else {}
    plain = _value(sign, digits, mark, tail)
    if not as_thousands or tail:
        return {"": plain}
    other = COMMA if mark == POINT else POINT
    return dict(sorted({mark: plain, other: _value(sign, digits, other, tail)}.items(), reverse=True))


def _value(sign: str, digits: str, decimal: str, tail: str) -> float:
    """The number that digits with marks mean, one of which stands before the decimals and the other for thousands."""
    plain = digits.replace(COMMA if decimal == POINT else POINT, "").replace(decimal, ".")
    return float(f"{sign}{plain}{tail}")


def decimal_marks(text: str) -> set[str]:
    """The decimal marks that a figure shows beyond doubt; none where it has none, or is in doubt.

    >>> decimal_marks("310,5"), decimal_marks("1.204.000"), decimal_marks("1.204"), decimal_marks("310")
    ({','}, {','}, set(), set())
    """
    found, _ = read_numbers(text)
    if list(found) != [""]:
        return set()
    marks = [one for one in text if one in MARKS]
    if not marks:
        return set()
    if len(marks) > 1 and len(set(marks)) == 1:
        return {COMMA if marks[0] == POINT else POINT}
    return {marks[-1]}


def read_grades(text: str, field: str) -> tuple[int, int]:
    """The lowest and highest grade that a cell allows, in words or signs too; BadValueError for anything else.

    >>> [read_grades(one, "grade") for one in ("2-3", "2 to 3", "grade 1", ">=3", "2,0")]
    [(2, 3), (2, 3), (1, 1), (3, 4), (2, 2)]
    """
    said = " ".join(text.translate(_BLANKS).split()).casefold()
    said = re.sub(r"^(grade|g)\.?\s*(?=\d)", "", said)
    said = re.sub(r"^([0-4])[.,]0+$", r"\1", said)
    said = re.sub(r"^([0-4])\s*(?:to|or|\.\.|/)\s*([0-4])$", r"\1-\2", said)
    said = re.sub(r"^(?:>=|≥|at least )\s*([0-4])$", r"\1+", said)
    said = re.sub(r"^(?:<=|≤|at most )\s*([0-4])$", r"\1-", said)
    try:
        return parse_grade(said, field)
    except BadValueError as error:
        if not read_dates(text, date.max) and not re.fullmatch(r"\d{1,2}[-. ]\s*[^\W\d_]{3,9}\.?", said):
            raise BadValueError(field, text, error.allowed) from None
        made = "a spreadsheet may have made a date of a range such as 2-3: make the column text"
        raise BadValueError(field, text, f"{error.allowed}; {made}") from None
