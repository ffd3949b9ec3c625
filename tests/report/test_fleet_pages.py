"""The pages of a fleet: those of ``report``, drawn several at once, and not again where they stand."""

from dataclasses import replace

import pytest

import scalemodel
from scalemodel.logbook.records import Boiler
from scalemodel.logbook.store import Logbook
from scalemodel.report import fleet_pages as room
from scalemodel.report.contents import report_contents
from scalemodel.report.files import INDEX
from scalemodel.report.page import report_page
from tests.builders import START, day, history, look

DRAWN = {"particles": 100, "seed": 3}


@pytest.fixture
def book():
    with Logbook.in_memory(today=lambda: day(360)) as made:
        facts = history(look(90, 1), tds=60.0)
        for record in (*facts.waters, *facts.water_tests):
            made.add(record)
        for name in ("one", "two"):
            for record in (facts.boiler, *facts.sites, *facts.fills, *facts.uses, *facts.inspections):
                made.add(replace(record, boiler=name))
        made.add(Boiler("dry", 1.0, 93.0, START))
        yield made


def test_each_page_is_that_of_report_and_stands_until_its_facts_change(book, tmp_path, monkeypatch):
    asked = {"folder": tmp_path / "answers", **DRAWN}
    rows = scalemodel.assess(book, next_look=True, workers=1, **asked).rows()
    pages = scalemodel.fleet_pages(book, rows, tmp_path / "pages", workers=2, **asked)
    assert (pages.pages, pages.drawn, list(pages.missing)) == (2, 2, ["dry"])
    assert sorted(one.name for one in (tmp_path / "pages").iterdir()) == [INDEX, "one.html", "two.html"]
    case = scalemodel.prepare(book.facts("one", day(360)), **DRAWN)
    assert (tmp_path / "pages" / "one.html").read_text() == report_page(report_contents(case), INDEX)
    index = pages.index.read_text()
    assert 'href="one.html"' in index
    assert pages.missing["dry"][:20] in index

    (tmp_path / "pages" / "two.html").unlink()
    assert scalemodel.fleet_pages(book, rows, tmp_path / "pages", workers=1, **asked).drawn == 1
    monkeypatch.setattr(room, "page", None)
    assert scalemodel.fleet_pages(book, rows, tmp_path / "pages", workers=1, **asked).drawn == 0


def test_a_page_that_cannot_be_drawn_is_listed_with_its_reason(book, tmp_path, monkeypatch):
    def broken(*given):
        raise RuntimeError("no ink")
        yield

    rows = scalemodel.assess(book, next_look=True, workers=1, **DRAWN).rows()
    monkeypatch.setattr(room, "page", broken)
    pages = scalemodel.fleet_pages(book, rows, tmp_path, workers=1, **DRAWN)
    assert (pages.pages, pages.drawn) == (0, 0)
    assert "no ink" in pages.missing["one"]
    assert "no ink" in pages.index.read_text()
