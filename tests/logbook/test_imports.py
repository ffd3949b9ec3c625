"""An import as a whole: the logbook as it was is kept, all of it can be struck, or nothing, and entered once more."""

import pytest

from scalemodel.errors import BadValueError, ImportRefusedError, RecordClashError
from scalemodel.logbook import database
from scalemodel.logbook.csv_folder import import_folder
from scalemodel.logbook.imports import repeat_import, strike_import
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.records import Inspection
from scalemodel.logbook.store import Logbook
from tests.logbook.pictures import photograph
from tests.logbook.samples import TODAY, dump, filled, today

BAR = {
    "boilers.csv": "boiler,volume_l,temperature_c,installed_on\nbar,1.2,93,2026-01-10\n",
    "sites.csv": "boiler,site\nbar,lid\n",
    "inspections.csv": "boiler,date,site,grade_low,photos\nbar,2026-03-01,lid,1,lid.jpg\nbar,2026-04-01,wall,2,\n",
    "use.csv": "boiler,from_date,to_date,meter_from_l,meter_to_l\nbar,2026-01-10,2026-02-10,0,50\n"
    "bar,2026-02-10,2026-03-10,50,95\n",
}


@pytest.fixture
def folder(tmp_path):
    place = tmp_path / "bar"
    (place / "photos").mkdir(parents=True)
    for name, text in BAR.items():
        (place / name).write_text(text)
    (place / "photos" / "lid.jpg").write_bytes(photograph(1))
    return place


@pytest.fixture
def book(tmp_path):
    with filled(tmp_path / "logbook.sqlite3") as one:
        yield one


def records(book):
    return {kind: book.records(kind) for kind in KINDS}


def test_an_import_keeps_the_logbook_as_it_was_and_says_where(book, folder, tmp_path):
    before = records(book)
    act = import_folder(book, folder).act
    assert (act.number, act.records, act.source) == (1, 6, str(folder))
    assert act.backup == str(tmp_path / "logbook.sqlite3.before-import-1")
    with Logbook.open(act.backup, today=today) as kept:
        assert records(kept) == before
    assert {entry.number for entry in book.history() if entry.imported == 1} == set(range(12, 18))


def test_a_refused_import_leaves_no_copy(book, folder, tmp_path):
    (folder / "use.csv").write_text("boiler,from_date,to_date,litres\nnowhere,2026-01-10,2026-02-10,9\n")
    before = dump(book)
    with pytest.raises(ImportRefusedError):
        import_folder(book, folder)
    assert dump(book) == before
    assert not list(tmp_path.glob("*.before-import*"))


def test_an_empty_logbook_is_not_copied(folder, tmp_path):
    with Logbook.create(tmp_path / "new.sqlite3", today) as new:
        assert import_folder(new, folder).act.backup == ""


def test_a_copy_that_cannot_be_made_stops_the_import(book, folder, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(database.backup, "copy_whole", full)
    before = dump(book)
    with pytest.raises(Exception, match="the disk is full"):
        import_folder(book, folder)
    assert dump(book) == before


def test_all_of_an_import_is_struck_also_what_amends_it_and_comes_back_as_it_stood(book, folder):
    before = records(book)
    import_folder(book, folder)
    book.amend(16, {"grade": "3"}, "misread")
    book.strike(15, "another boiler's")
    after = records(book)
    assert strike_import(book, 1, "the wrong folder") == 5
    assert records(book) == before
    assert not book.verify().faults
    act = repeat_import(book, 1)
    assert (act.number, act.repeats, act.records) == (2, 1, 5)
    assert records(book) == after  # what had been struck by itself stays struck
    assert not book.verify().faults
    strike_import(book, 2, "once more")
    assert records(book) == before


def test_photographs_come_back(book, folder):
    import_folder(book, folder)
    pictured = [hashes for look, hashes in book.pictured("bar") if hashes]
    strike_import(book, 1, "wrong")
    repeat_import(book, 1)
    assert [hashes for look, hashes in book.pictured("bar") if hashes] == pictured != []


def test_it_is_struck_whole_or_not_at_all(book, folder):
    import_folder(book, folder)
    number = book.add(Inspection("bar", TODAY, "lid", 1, 1))
    before = dump(book)
    with pytest.raises(RecordClashError, match=rf"1 record needs it \({number}\)"):
        strike_import(book, 1, "wrong")
    assert dump(book) == before


def test_what_cannot_be_taken_back_is_said(book, folder):
    import_folder(book, folder)
    with pytest.raises(BadValueError, match="the number of an import: 1"):
        strike_import(book, 7, "wrong")
    with pytest.raises(BadValueError, match="why it is struck"):
        strike_import(book, 1, " ")
    with pytest.raises(RecordClashError, match="was not struck as a whole"):
        repeat_import(book, 1)
    strike_import(book, 1, "wrong")
    with pytest.raises(RecordClashError, match="nothing of import 1 stands any more"):
        strike_import(book, 1, "wrong")
    repeat_import(book, 1)
    with pytest.raises(RecordClashError, match="was entered once more, as import 2"):
        repeat_import(book, 1)


def test_what_no_longer_fits_is_not_entered_once_more(book, folder):
    import_folder(book, folder)
    strike_import(book, 1, "wrong")
    import_folder(book, folder)
    before = dump(book)
    with pytest.raises(RecordClashError, match="there is already a boiler called 'bar'"):
        repeat_import(book, 1)
    assert dump(book) == before


def test_what_is_noted_of_an_import_cannot_be_changed(book, folder):
    import_folder(book, folder)
    for statement in ("DELETE FROM imported", "UPDATE import SET source = 'x'", "DELETE FROM import"):
        with pytest.raises(Exception, match="records are kept as they are"):
            book._connection.execute(statement)
