"""A boiler, a site or a water is called otherwise: its records follow, its old name leads to the new one."""

from dataclasses import replace

import pytest

from scalemodel.errors import BadValueError, FormerNameError, RecordClashError, UnknownNameError
from scalemodel.logbook.csv_folder import export_folder, import_folder
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.records import Boiler, Inspection, Site, Water
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import INSTALLED, LOOK, RECORDS, TODAY, dump, filled, today


@pytest.fixture
def book():
    with filled() as one:
        one.add(Boiler("bar", 1.0, 93.0, INSTALLED))
        yield one


def called(record, names):
    """A record under other names, by field."""
    return replace(record, **{f: names.get((f, v), v) for f in KINDS for v in [getattr(record, f, None)] if v})


NAMES = {("boiler", "kitchen"): "galley", ("site", "gauge"): "window", ("water", "tap"): "mains"}


def rename_all(book):
    book.rename("boiler", "kitchen", "galley", reason="moved")
    book.rename("site", "gauge", "window", "galley")
    book.rename("water", "tap", "mains")


def test_every_record_follows_and_nothing_else_changes(book):
    before, rows = book.facts("kitchen", TODAY), {k: book.records(k) for k in KINDS}
    tables = [line for line in dump(book).splitlines() if "naming" not in line and "sqlite_sequence" not in line]
    rename_all(book)
    for kind, records in rows.items():
        assert book.records(kind) == tuple(called(one, NAMES) for one in records)
    after = book.facts("galley", TODAY)
    for name in ("inspections", "descales", "uses", "fills", "sites", "water_tests", "prices", "absences"):
        assert getattr(after, name) == tuple(called(one, NAMES) for one in getattr(before, name))
    kept = [line for line in dump(book).splitlines() if "naming" not in line and "sqlite_sequence" not in line]
    assert kept == tables  # not one record is written anew
    assert not book.verify().faults


@pytest.mark.parametrize("again", [False, True])
def test_the_old_name_leads_to_the_new_one(book, again):
    rename_all(book)
    name = "galley"
    if again:
        book.rename("boiler", "galley", name := "mess")
    for ask in (
        lambda: book.boiler("kitchen"),
        lambda: book.boiler("KITCHEN"),
        lambda: book.history("kitchen"),
        lambda: book.facts("kitchen", TODAY),
        lambda: book.add(Inspection("kitchen", TODAY, "wall", 1, 1)),
        lambda: book.rename("boiler", "kitchen", "other"),
    ):
        with pytest.raises(FormerNameError) as caught:
            ask()
        assert f"is called '{name}' since {TODAY}; say '{name}'" in str(caught.value)
    with pytest.raises(FormerNameError, match="the site 'gauge' is called 'window' since 2026-06-01"):
        book.add(Inspection(name, TODAY, "gauge", 1, 1))
    with pytest.raises(FormerNameError, match="the water 'tap' is called 'mains' since 2026-06-01"):
        book.water_tests("tap")
    assert book.names().former("boiler", name) == (("kitchen", "galley") if again else ("kitchen",))


def test_new_records_join_the_old_ones(book):
    rename_all(book)
    number = book.add(Inspection("galley", TODAY, "window", 2, 2))
    assert book.entry(number).record == Inspection("galley", TODAY, "window", 2, 2)
    assert [one.site for one in book.records("inspection", "galley")] == ["window", "window"]
    amended = book.amend(LOOK, {"grade": "2"})
    assert book.entry(amended).record.boiler == "galley"
    assert book.same_as(Inspection("galley", TODAY, "window", 2, 2)) == [number]
    book.add(Site("galley", "lid"))
    with pytest.raises(RecordClashError):
        book.add(Site("galley", "Window"))
    assert not book.verify().faults


def test_a_name_may_be_given_back_and_only_to_whom_it_was(book):
    book.rename("boiler", "kitchen", "galley")
    with pytest.raises(RecordClashError, match="is what the boiler 'galley' was called until 2026-06-01"):
        book.rename("boiler", "bar", "Kitchen")
    with pytest.raises(RecordClashError, match="is what the boiler 'galley' was called until"):
        book.add(Boiler("kitchen", 1.0, 93.0, INSTALLED))
    book.rename("boiler", "galley", "kitchen")
    assert book.boiler("kitchen") == RECORDS[0]
    with pytest.raises(FormerNameError, match="is called 'kitchen'"):
        book.boiler("galley")
    assert [(one.old, one.new) for one in book.names().changes()] == [("kitchen", "galley"), ("galley", "kitchen")]


@pytest.mark.parametrize(
    ("kind", "old", "new", "boiler", "error", "words"),
    [
        ("boiler", "kitchen", "bar", "", RecordClashError, "there is already a boiler called 'bar'"),
        ("boiler", "kitchen", "BAR", "", RecordClashError, "there is already a boiler called 'bar'"),
        ("boiler", "kitchen", "kitchen", "", RecordClashError, "is called so already"),
        ("boiler", "kitchen", "a/b", "", BadValueError, "a name of 1 to 80 characters"),
        ("boiler", "kitchen", "", "", BadValueError, "a name of 1 to 80 characters"),
        ("boiler", "kitchn", "x", "", UnknownNameError, "did you mean 'kitchen'?"),
        ("water", "rain", "x", "", UnknownNameError, "no water is called 'rain'"),
        ("site", "wall", "x", "kitchen", RecordClashError, "which keeps its name"),
        ("site", "gauge", "Wall", "kitchen", RecordClashError, "every boiler has a site 'wall' already"),
        ("site", "lid", "x", "kitchen", UnknownNameError, "no site of 'kitchen' is called 'lid'"),
        ("site", "gauge", "x", "nowhere", UnknownNameError, "no boiler is called 'nowhere'"),
        ("use", "a", "b", "", BadValueError, "boiler, site or water"),
    ],
)
def test_what_cannot_be_renamed_is_refused_and_nothing_written(book, kind, old, new, boiler, error, words):
    before = dump(book)
    with pytest.raises(error) as caught:
        book.rename(kind, old, new, boiler)
    assert words in str(caught.value)
    assert dump(book) == before


def test_only_the_case_of_a_name_may_change(book):
    book.rename("water", "tap", "Tap")
    assert book.waters()[0].water == "Tap"
    assert len(book.water_tests("Tap")) == 1


def test_a_name_that_was_struck_is_not_taken_over(book):
    number = book.add(Water("rain"))
    book.strike(number, "none there")
    with pytest.raises(RecordClashError, match="whose record was struck"):
        book.rename("water", "tap", "rain")


def test_two_boilers_may_exchange_names_only_by_new_ones(book):
    book.rename("boiler", "kitchen", "a")
    book.rename("boiler", "bar", "b")
    assert {one.boiler for one in book.boilers()} == {"a", "b"}
    with pytest.raises(RecordClashError):
        book.rename("boiler", "a", "bar")


def test_an_export_holds_the_present_names(book, tmp_path):
    rename_all(book)
    export_folder(book, tmp_path / "out")
    with Logbook.in_memory(today) as other:
        import_folder(other, tmp_path / "out", sure=True)
        assert [other.records(kind) for kind in KINDS] == [book.records(kind) for kind in KINDS]


def test_the_sites_of_two_boilers_are_not_mixed_up(book):
    book.add(Site("bar", "gauge"))
    book.rename("site", "gauge", "dial", "bar")
    assert book.site_names("kitchen") == ("wall", "gauge")
    assert book.site_names("bar") == ("wall", "dial")
    book.rename("boiler", "bar", "counter")
    with pytest.raises(FormerNameError, match="is called 'dial'"):
        book.add(Inspection("counter", TODAY, "gauge", 1, 1))
    book.rename("site", "dial", "gauge", "counter")
    assert book.site_names("counter") == ("wall", "gauge")
