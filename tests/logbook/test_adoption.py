"""Adopted priors: what a text may say, from when it counts, of which boiler, under which names; and the ledger anew."""

import sqlite3
from dataclasses import replace
from datetime import date, timedelta

import pytest

from scalemodel.errors import BadValueError, ImportRefusedError, LogbookError
from scalemodel.logbook import database
from scalemodel.logbook.adoption import Adoption
from scalemodel.logbook.belief import Belief, Pooled
from scalemodel.logbook.csv_folder import export_folder, import_folder
from scalemodel.logbook.describe import describe
from scalemodel.logbook.priors_text import LARGEST, parse
from scalemodel.logbook.records import Boiler, Inspection, Site
from scalemodel.logbook.store import Logbook
from tests.logbook.pictures import photograph
from tests.logbook.samples import ADOPTION, INSTALLED, LOOK, RECORDS, TODAY, filled, today

POOLED = """
[pooled]
on = 2026-05-25
boilers = 24
looks = 96

[capture]
mean = -1.0
[strength.tap]
mean = 0.5
[relative.gauge]
mean = -0.7

[boilers.kitchen]
capture.mean = -0.9
relative."gauge" = {mean = -0.2, sd = 0.1}
[boilers.alone]
"""
DAY = date(2026, 5, 28)


@pytest.fixture
def book():
    with filled() as book:
        book.add(Boiler("annex", 1.0, 93.0, INSTALLED))
        book.add(Boiler("alone", 1.0, 93.0, INSTALLED))
        yield book


def test_a_boiler_has_its_own_and_every_other_the_rest():
    told = parse(POOLED)
    assert told.pooled == Pooled(date(2026, 5, 25), 24, 96)
    assert told.of("kitchen") == (Belief("capture", "", -0.9, None), Belief("relative", "gauge", -0.2, 0.1))
    assert told.of("alone") == ()
    assert [one.name for one in told.of("annex")] == ["capture", "relative", "strength"]
    assert describe(Adoption(DAY, POOLED)) == "2026-05-28, priors pooled from 24 boilers and 96 looks"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("boilers = 1", r"a table a boiler, \[boilers.NAME\]"),
        ("[boilers]\nkitchen = 1", r"boilers, kitchen: '1' .*a table, \[boilers.NAME\]"),
        ("[boilers.kitchen.capture]\nmean = 99", "boilers, kitchen, capture, mean: '99' .*from -10 to 10"),
        ("[boilers.kitchen.pooled]\non = 1", "priors: 'pooled' .*another unknown; known: "),
        ("pooled = 3", "a table with on, boilers, looks"),
        ("[pooled]\non = 2026-05-25", "pooled: 'on' .*a table with on, boilers, looks"),
        ("[pooled]\non = 2026-05-25T08:00:00\nboilers = 1\nlooks = 1", "without quotes"),
        ("[pooled]\non = '2026-05-25'\nboilers = 1\nlooks = 1", "without quotes"),
        ("[pooled]\non = 2026-05-25\nboilers = 0\nlooks = 1", "a whole number from 1 on"),
        ("[pooled]\non = 2026-05-25\nboilers = true\nlooks = 1", "a whole number from 1 on"),
        ("x" * (LARGEST + 1), f"at most {LARGEST} characters"),
    ],
)
def test_what_will_not_do_is_a_line_and_is_not_entered(book, text, said):
    before = book.history()
    with pytest.raises(BadValueError, match=said) as caught:
        book.add(Adoption(DAY, text))
    assert "\n" not in str(caught.value)
    with pytest.raises(BadValueError, match=said):
        book.amend(ADOPTION, {"priors": text})
    assert book.history() == before


def test_the_last_up_to_a_day_counts_and_a_struck_one_does_not(book):
    first, second = RECORDS[-1].date, DAY
    number = book.add(Adoption(second, POOLED))

    def capture(day, boiler="annex"):
        facts = book.facts(boiler, day)
        return [one.mean for one in facts.beliefs if one.name == "capture"], len(facts.adoptions)

    before = first - timedelta(days=1)
    assert capture(before) == ([], 0)
    assert capture(first) == ([-0.5], 1)
    assert capture(second - timedelta(days=1)) == ([-0.5], 1)
    assert capture(second) == ([-1.0], 2)
    assert capture(second, "kitchen") == ([-0.9], 2)
    assert capture(TODAY, "alone") == ([], 2)
    book.strike(number, "too few boilers")
    assert capture(TODAY) == ([-0.5], 1)
    assert book.entry(number).state == "struck: too few boilers"
    same_day = book.add(Adoption(first, "[capture]\nmean = 0.25"))
    assert capture(TODAY) == ([0.25], 2)  # of one day the one that was entered last
    book.amend(same_day, {"date": before.isoformat()})
    assert capture(TODAY) == ([-0.5], 2)
    assert not book.verify().faults


def test_what_a_reader_brings_along_stands_in_their_place(book):
    book.priors = parse("[capture]\nmean = 2.0\n[boilers.kitchen]\ncapture.mean = 1.5")
    told = {name: book.facts(name, TODAY) for name in ("kitchen", "annex")}
    assert [facts.beliefs[0].mean for facts in told.values()] == [1.5, 2.0]
    assert all(facts.adoptions == () for facts in told.values())
    book.priors = parse("")
    assert book.facts("annex", TODAY).beliefs == book.facts("annex", TODAY).adoptions == ()


def test_names_that_changed_since_are_followed(book):
    book.add(Adoption(DAY, POOLED))
    book.rename("boiler", "kitchen", "galley")
    book.rename("water", "tap", "town")
    book.rename("site", "gauge", "chamber", "galley")
    galley, annex = book.facts("galley", TODAY).beliefs, book.facts("annex", TODAY).beliefs
    assert galley == (Belief("capture", "", -0.9, None), Belief("relative", "chamber", -0.2, 0.1))
    assert Belief("strength", "town", 0.5, None) in annex
    assert Belief("relative", "gauge", -0.7, None) in annex  # a gauge of another boiler is called so still


def test_none_is_adopted_before_it_was_learned_or_ahead(book):
    for day, said in ((date(2026, 5, 24), "2026-05-25, as known on which"), (TODAY + timedelta(days=1), "or earlier")):
        with pytest.raises(BadValueError, match=said):
            book.add(Adoption(day, POOLED))


def test_out_and_in_is_the_identity_however_long(book, tmp_path):
    many = "".join(f'[boilers."urn {k}"]\ncapture.mean = -0.5\n' for k in range(8_000))
    assert len(many) > 250_000
    book.add(Adoption(DAY, POOLED + many, note="=SUM(1)"))
    export_folder(book, tmp_path / "out")
    with Logbook.in_memory(today) as other:
        import_folder(other, tmp_path / "out")
        assert other.records("adoption") == book.records("adoption")
        assert other.facts("kitchen", TODAY) == replace(book.facts("kitchen", TODAY), look_numbers=())
    (tmp_path / "out" / "adoptions.csv").write_text('date,priors\n2026-05-20,"[capture]\nmean = 99"\n')
    with Logbook.in_memory(today) as other, pytest.raises(ImportRefusedError) as caught:
        import_folder(other, tmp_path / "out")
    assert caught.value.faults[0].startswith("adoptions.csv row 2, priors, capture, mean: '99' will not do")


def test_verify_finds_a_text_that_was_changed_by_another_hand(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    filled(path).close()
    connection = sqlite3.connect(path)
    connection.execute("DROP TRIGGER adoption_no_update")
    connection.execute("UPDATE adoption SET priors = '[captur]'")
    connection.commit()
    connection.close()
    with Logbook.open(path, today=today) as book:
        faults = [str(one) for one in book.verify().faults]
        assert any(f"record {ADOPTION}" in one and "priors: 'captur' will not do" in one for one in faults), faults
        with pytest.raises(LogbookError, match="an entry of 'adoption'"):
            book.facts("kitchen", TODAY)


def test_the_ledger_is_laid_anew_line_for_line(tmp_path, monkeypatch):
    """A logbook of version 4 with all that refers to entries: amended, struck, imported, pictured, keyed, renamed."""
    path = tmp_path / "old.sqlite3"
    with monkeypatch.context() as earlier:
        earlier.setattr(database, "MIGRATIONS", database.MIGRATIONS[:4])
        book = Logbook.open(path, write=True, today=today)
        for record in RECORDS[:-1]:
            book.add(record)
        book.amend(LOOK, {"grade": "3"}, "misread")
        look = book.add(Inspection("kitchen", TODAY, "wall", 1, 1), photos=[photograph(1)], key="a-key-of-its-own")
        gone = book.add(Site("kitchen", "lid"))
        book.strike(gone, "none")
        book.rename("boiler", "kitchen", "galley")
        (tmp_path / "in").mkdir()
        (tmp_path / "in" / "waters.csv").write_text("water\nrain\n")
        import_folder(book, tmp_path / "in")
        ask = "SELECT number, kind, entered_at, replaces, reason, key FROM entry ORDER BY number"
        lines = book._connection.execute(ask).fetchall()
        history = book.history()
        book.close()
    with Logbook.open(path, write=True, today=today) as book:
        assert book._connection.execute(ask).fetchall() == lines
        assert book.history() == history
        assert not book.verify().faults
        assert len(book.photographs(look)) == 1
        assert book.add(RECORDS[-1]) == len(lines) + 1
        assert book._connection.execute("PRAGMA foreign_key_check").fetchall() == []
        with pytest.raises(sqlite3.IntegrityError, match="kept as they are"):
            book._connection.execute("UPDATE entry SET reason = 'x'")
