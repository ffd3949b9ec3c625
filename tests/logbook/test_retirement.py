"""A boiler that was retired: out of the lists, its records and its name kept, reversible."""

from datetime import date

import pytest

from scalemodel.answers.rows import facts_of_all
from scalemodel.errors import BadValueError, RecordClashError, UnknownNameError
from scalemodel.logbook.records import Boiler, Descale, Inspection, Use
from scalemodel.logbook.retiring import retire, unretire
from tests.logbook.samples import INSTALLED, TODAY, dump, filled

DAY = date(2026, 5, 10)


@pytest.fixture
def book():
    with filled() as one:
        one.add(Boiler("bar", 1.0, 93.0, INSTALLED))
        yield one


def listed(book, day):
    return [facts.boiler.boiler for facts in facts_of_all(book, day)]


def test_it_leaves_the_lists_from_its_day_on_and_comes_back(book):
    looks = book.records("inspection", "kitchen")
    retire(book, "kitchen", DAY, "sold")
    assert listed(book, date(2026, 5, 9)) == ["kitchen", "bar"]
    assert listed(book, DAY) == listed(book, TODAY) == ["bar"]
    assert [one.boiler for one in book.boilers()] == ["kitchen", "bar"]
    assert book.records("inspection", "kitchen") == looks
    assert book.facts("kitchen", TODAY).inspections == looks
    unretire(book, "kitchen", "not sold after all")
    assert listed(book, TODAY) == ["kitchen", "bar"]
    told = [(entry.record.retired_on, entry.reason) for entry in book.history("kitchen") if entry.kind == "boiler"]
    assert told == [(None, ""), (DAY, "sold"), (None, "not sold after all")]
    assert not book.verify().faults


def test_its_record_stands_at_the_day_on_which_it_was_retired(book):
    assert book.entry(retire(book, "kitchen", DAY)).day == DAY


@pytest.mark.parametrize(
    ("day", "error", "words"),
    [
        (date(2026, 4, 30), RecordClashError, "was in use after 2026-04-30: record 8 is of 2026-05-01"),
        (date(2026, 1, 1), BadValueError, "a date from 2026-01-10 to today (2026-06-01)"),
        (date(2026, 6, 2), BadValueError, "a date from 2026-01-10 to today (2026-06-01)"),
    ],
)
def test_a_day_that_cannot_be_is_refused(book, day, error, words):
    before = dump(book)
    with pytest.raises(error) as caught:
        retire(book, "kitchen", day)
    assert words in str(caught.value)
    assert dump(book) == before


def test_twice_and_undone_twice_are_refused(book):
    with pytest.raises(RecordClashError, match="is not retired"):
        unretire(book, "kitchen")
    retire(book, "kitchen")
    with pytest.raises(RecordClashError, match="was retired on 2026-06-01 already"):
        retire(book, "kitchen")
    with pytest.raises(UnknownNameError):
        retire(book, "nowhere")


@pytest.mark.parametrize(
    "record",
    [
        Inspection("kitchen", TODAY, "wall", 1, 1),
        Descale("kitchen", TODAY),
        Use("kitchen", date(2026, 5, 5), date(2026, 5, 20), litres=5.0),
    ],
)
def test_nothing_happens_in_it_afterwards(book, record):
    retire(book, "kitchen", DAY)
    with pytest.raises(BadValueError, match="2026-05-10, when 'kitchen' was retired, or earlier"):
        book.add(record)


def test_a_late_record_of_before_is_taken(book):
    retire(book, "kitchen", DAY)
    book.add(Inspection("kitchen", DAY, "wall", 1, 1))
    assert not book.verify().faults
