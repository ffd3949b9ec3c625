"""The ledger: what is kept, what is current, and what was known on a day."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from scalemodel.errors import BadValueError, EvidenceError, LogbookError, UnknownNameError
from scalemodel.logbook import clock, store
from scalemodel.logbook.belief import Belief
from scalemodel.logbook.kinds import KINDS, kind_of
from scalemodel.logbook.records import Absence, Boiler, Descale, Inspection, Site, Use, Water, WaterTest
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import ABSENCE, BOILER, DESCALE, INSTALLED, LOOK, RECORDS, TODAY, dump, filled, today

pytestmark = pytest.mark.calendar


def grades(facts) -> list[int]:
    return [look.grade_low for look in facts.inspections]


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: kind_of(record).name)
def test_a_record_comes_back_as_it_went_in(book, record):
    assert book.records(kind_of(record).name) == (record,)


def test_numbers_count_up_and_are_not_used_again(book):
    assert [entry.number for entry in book.history()] == list(range(1, len(RECORDS) + 1))
    with pytest.raises(BadValueError):
        book.add(Descale("kitchen", TODAY, scope="half"))
    assert book.add(Descale("kitchen", TODAY)) == len(RECORDS) + 1


def test_a_record_made_by_a_program_is_checked_too(book):
    before = dump(book)
    for bad in (float("nan"), float("inf"), -1.0, 0.0, 1e9, "1"):
        with pytest.raises(BadValueError, match="volume_l"):
            book.add(Boiler("bar", bad, 93.0, INSTALLED))
    assert dump(book) == before


def test_names_are_found_however_they_were_typed(book):
    book.add(Boiler("Ku\u0308che", 1.0, 93.0, INSTALLED))
    assert book.boiler(" K\u00fcche ").boiler == "K\u00fcche"
    with pytest.raises(UnknownNameError, match="did you mean 'kitchen'"):
        book.boiler("kitchn")


def test_boilers_sites_and_waters(book):
    book.add(Boiler("annex", 1.0, 93.0, date(2020, 1, 1)))
    book.add(Water("soft"))
    assert [boiler.boiler for boiler in book.boilers()] == ["kitchen", "annex"]
    assert [water.water for water in book.waters()] == ["tap", "soft"]
    assert book.sites("kitchen") == (Site("kitchen", "gauge", look_cost=2.0),)
    assert book.sites("annex") == ()
    assert book.site_names("annex") == ("wall",)
    assert book.reference_site("annex") == "wall"
    for ask in (book.sites, book.site_names, book.reference_site, book.history):
        with pytest.raises(UnknownNameError):
            ask("attic")


def test_water_tests_by_water_and_day(book):
    later = WaterTest("tap", date(2026, 3, 1), tds_mg_l=240.0)
    book.add(later)
    assert book.water_tests("tap") == (RECORDS[3], later)
    assert book.water_tests("tap", date(2026, 2, 28)) == (RECORDS[3],)
    with pytest.raises(UnknownNameError):
        book.water_tests("rain")


def test_records_come_by_date_and_then_by_entry(book):
    for day, grade in ((15, 4), (1, 0), (12, 2), (12, 3)):
        book.add(Inspection("kitchen", date(2026, 4, day), "wall", grade, grade))
    assert grades(book.facts("kitchen", TODAY)) == [0, 1, 2, 3, 4]


def test_an_amended_record_keeps_its_place_among_those_of_its_day(book):
    book.add(Inspection("kitchen", date(2026, 4, 12), "wall", 3, 3))
    second = book.amend(LOOK, {"grade": "2"})
    book.amend(second, {"grade": "0"})
    assert grades(book.facts("kitchen", TODAY)) == [0, 3]


def test_an_amended_boiler_keeps_its_place(book):
    book.add(Boiler("annex", 1.0, 93.0, INSTALLED))
    book.amend(BOILER, {"tolerance": "0.2"})
    assert [boiler.boiler for boiler in book.boilers()] == ["kitchen", "annex"]
    assert book.boiler("kitchen").tolerance == 0.2


# ---- facts as of a day


def test_facts_hold_everything_of_one_boiler(book):
    book.add(Boiler("annex", 1.0, 93.0, INSTALLED))
    book.add(Inspection("annex", TODAY, "wall", 4, 4))
    facts = book.facts("kitchen", TODAY)
    assert facts.boiler == RECORDS[0]
    assert facts.as_of == TODAY
    held = (
        facts.sites,
        facts.waters,
        facts.water_tests,
        facts.fills,
        facts.uses,
        facts.inspections,
        facts.descales,
        facts.prices,
        facts.absences,
    )
    assert held == tuple((record,) for record in RECORDS[1:-1])
    assert facts.beliefs == (Belief("capture", "", -0.5, 0.6),) == facts.adoptions[0].beliefs
    assert facts.adoptions[0].date == RECORDS[-1].date


def test_each_record_counts_from_its_day(book):
    for name, index in (
        ("water_tests", 3),
        ("fills", 4),
        ("uses", 5),
        ("inspections", 6),
        ("descales", 7),
        ("prices", 8),
    ):
        record = RECORDS[index]
        day = getattr(record, kind_of(record).known_on)
        assert getattr(book.facts("kitchen", day), name) == (record,)
        if day > INSTALLED:
            assert getattr(book.facts("kitchen", day - timedelta(days=1)), name) == ()


def test_use_counts_from_the_day_it_was_complete(book):
    assert book.facts("kitchen", date(2026, 2, 9)).uses == ()
    assert len(book.facts("kitchen", date(2026, 2, 10)).uses) == 1


def test_a_day_before_the_installation_has_no_facts(book):
    with pytest.raises(EvidenceError, match="installed on 2026-01-10"):
        book.facts("kitchen", date(2026, 1, 9))
    assert book.facts("kitchen", INSTALLED).inspections == ()


def test_a_planned_absence_counts_from_the_day_of_its_entry(monkeypatch):
    monkeypatch.setattr(store.clock, "stamp", lambda: "2026-05-20T12:00:00+00:00")
    with filled() as book:
        absence = RECORDS[ABSENCE - 1]
        assert book.facts("kitchen", date(2026, 5, 18)).absences == ()
        assert book.facts("kitchen", date(2026, 5, 21)).absences == (absence,)
        monkeypatch.setattr(store.clock, "stamp", lambda: "2026-05-25T12:00:00+00:00")
        book.amend(ABSENCE, {"to_date": "2026-08-01"})
        assert book.facts("kitchen", date(2026, 5, 21)).absences == ()
        assert book.facts("kitchen", TODAY).absences == (replace(absence, to_date=date(2026, 8, 1)),)


def test_what_was_written_down_later_tells_of_no_day_to_come(book):
    """An absence entered after it began: a question as of a day within it knows only the days gone by."""
    book.add(Absence("kitchen", date(2026, 3, 1), date(2026, 5, 1)))
    assert book.facts("kitchen", date(2026, 3, 1)).absences == ()
    known = book.facts("kitchen", date(2026, 4, 1)).absences
    assert known == (Absence("kitchen", date(2026, 3, 1), date(2026, 4, 1)),)
    assert len(book.facts("kitchen", TODAY).absences) == 2


def test_a_late_entry_counts_on_its_own_day(book):
    """What was seen in March but entered in June is known to questions as of April."""
    book.add(Inspection("kitchen", date(2026, 3, 1), "wall", 0, 0))
    assert grades(book.facts("kitchen", date(2026, 4, 1))) == [0]


def test_struck_and_replaced_records_are_no_facts(book):
    number = book.amend(LOOK, {"grade": "3", "date": "2026-04-20"})
    assert grades(book.facts("kitchen", TODAY)) == [3]
    assert grades(book.facts("kitchen", date(2026, 4, 15))) == []
    book.strike(number, "steam")
    book.strike(DESCALE, "it was the bar's")
    facts = book.facts("kitchen", TODAY)
    assert (facts.inspections, facts.descales) == ((), ())


# ---- history


def test_history_says_what_became_of_each_entry(book):
    second = book.amend(LOOK, {"grade": "2"}, reason="misread")
    book.strike(second, "another boiler")
    entries = {entry.number: entry for entry in book.history("kitchen")}
    assert entries[LOOK].state == f"amended by {second}"
    assert entries[LOOK].record == RECORDS[LOOK - 1]
    assert entries[second].state == "struck: another boiler"
    assert (entries[second].replaces, entries[second].reason) == (LOOK, "misread")
    assert entries[second].record == replace(RECORDS[LOOK - 1], grade_low=2)
    assert entries[BOILER].state == "current"
    assert entries[BOILER].day == INSTALLED
    assert list(entries) == sorted(entries)
    assert all(entry.entered_at.endswith("+00:00") for entry in entries.values())


def test_history_of_one_boiler_leaves_out_the_others(book):
    book.add(Boiler("annex", 1.0, 93.0, INSTALLED))
    assert {entry.kind for entry in book.history("kitchen")} == set(KINDS) - {"water", "water_test", "adoption"}
    assert len(book.history("annex")) == 1
    assert len(book.history()) == len(RECORDS) + 1


def test_a_struck_boiler_keeps_its_history():
    with Logbook.in_memory(today) as book:
        book.strike(book.add(RECORDS[0]), "sold")
        assert [entry.state for entry in book.history("kitchen")] == ["struck: sold"]


# ---- transactions


def test_a_transaction_is_all_or_nothing(book):
    before = dump(book)

    def add_two():
        with book.transaction():
            book.add(Boiler("annex", 1.0, 93.0, INSTALLED))
            book.add(Descale("attic", TODAY))

    with pytest.raises(UnknownNameError):
        add_two()
    assert dump(book) == before


def test_a_refusal_inside_a_transaction_can_be_survived(book):
    with book.transaction():
        book.add(Boiler("annex", 1.0, 93.0, INSTALLED))
        with pytest.raises(UnknownNameError):
            book.add(Descale("attic", TODAY))
        book.add(Descale("annex", TODAY))
    assert len(book.history("annex")) == 2


def test_files_keep_what_was_written(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    with filled(path) as book:
        facts, kept = book.facts("kitchen", TODAY), dump(book)
    with Logbook.open(path, today=today) as again:
        assert again.facts("kitchen", TODAY) == facts
        assert dump(again) == kept


def test_create_makes_only_a_new_file(tmp_path):
    path = tmp_path / "deep" / "logbook.sqlite3"
    Logbook.create(path).close()
    with pytest.raises(LogbookError, match="there is a file"):
        Logbook.create(path)


def test_a_logbook_open_for_reading_refuses_to_write(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    filled(path).close()
    with Logbook.open(path) as book:
        before = dump(book)
        for write in (
            lambda: book.add(Descale("kitchen", TODAY)),
            lambda: book.amend(LOOK, {"grade": "2"}),
            lambda: book.strike(LOOK, "x"),
        ):
            with pytest.raises(LogbookError, match="may only be read"):
                write()
        assert dump(book) == before


def test_the_clock_is_the_calendar_unless_another_is_given(monkeypatch):
    monkeypatch.delenv(clock.VARIABLE)
    before = date.today()  # midnight may come at any line below
    with Logbook.in_memory() as book:
        assert before <= book.today() <= date.today()
        book.add(Boiler("kitchen", 1.0, 93.0, before))
        with pytest.raises(BadValueError, match="or earlier"):
            book.add(Use("kitchen", before, before + timedelta(days=2), litres=1.0))
