"""The photographs on a boiler's page: each site's series in order, small, escaped; and shown by a real browser."""

import re
from base64 import b64decode
from dataclasses import replace
from datetime import date
from html import unescape
from io import BytesIO

import pytest
from PIL import Image

from scalemodel import api
from scalemodel.logbook.records import Boiler, Fill, Inspection, Site, Use, Water, WaterTest
from scalemodel.logbook.series import photograph_series
from scalemodel.logbook.store import Logbook
from scalemodel.report.contents import report_contents
from scalemodel.report.page import report_page
from scalemodel.report.photographs import MOST_SHOWN, SIDE, photographs_for_page
from tests.logbook.pictures import SECRET, file_of, noise, photograph
from tests.report.browser import chromium, need_browser
from tests.report.checked_html import Page

BEGUN, AS_OF = date(2026, 1, 10), date(2026, 6, 1)
HOSTILE = "</script><img src=x onerror=alert(2)>\"'{{7*7}}"


@pytest.fixture(scope="module")
def book():
    """A boiler with two sites, three looks with photographs, one of them struck, one without and one to come."""
    with Logbook.in_memory(lambda: date(2026, 8, 1)) as held:
        for record in (
            Boiler("kitchen", 0.75, 93.0, BEGUN),
            Site("kitchen", "gauge"),
            Water("tap"),
            WaterTest("tap", BEGUN, hardness=9.0, hardness_unit="dH", kit="drops"),
            Fill("kitchen", BEGUN, "tap"),
            Use("kitchen", BEGUN, AS_OF, litres=90.0),
        ):
            held.add(record)
        held.add(Inspection("kitchen", date(2026, 5, 3), "gauge", 1, 2, inspector=HOSTILE), photos=[photograph(2)])
        held.add(Inspection("kitchen", date(2026, 3, 1), "gauge", 1, 1, method="mirror"), photos=[photograph(1)])
        held.add(Inspection("kitchen", date(2026, 3, 2), "wall", 1, 1), photos=[file_of(noise(1700, 900), "PNG")])
        held.add(Inspection("kitchen", date(2026, 3, 3), "wall", 1, 1))
        held.strike(held.add(Inspection("kitchen", date(2026, 3, 4), "wall", 4, 4), photos=[photograph(5)]), "not here")
        held.add(Inspection("kitchen", date(2026, 7, 1), "wall", 2, 2), photos=[photograph(6)])
        yield held


@pytest.fixture(scope="module")
def contents(book):
    return report_contents(api.prepare(book.facts("kitchen", AS_OF), particles=100))


@pytest.fixture(scope="module")
def text(book, contents):
    return report_page(contents, photographs=photographs_for_page(book, "kitchen", AS_OF))


def shown(text: str) -> list[Image.Image]:
    """The pictures on a page, as its readers get them."""
    sources = re.findall(r'<img src="data:image/jpeg;base64,([^"]+)"', text)
    return [Image.open(BytesIO(b64decode(unescape(one), validate=True))) for one in sources]


def test_each_sites_series_stands_in_order_with_what_was_graded(text):
    page = Page(text)
    page.check()
    haze = "a haze, metal colour shows"
    assert [one["alt"] for one in page.all("img")] == [
        f"wall on 2026-03-02: by eye: grade 1 ({haze})",
        f"gauge on 2026-03-01: by mirror: grade 1 ({haze})",
        "gauge on 2026-05-03: by eye: grade 1 to 2",
    ]
    assert "photographs" in [section["id"] for section in page.all("section")]
    assert " ".join(HOSTILE.split()) in page.text
    assert "<img src=x" not in text


def test_photographs_on_a_page_are_small_and_tell_nothing(text):
    pictures = shown(text)
    assert [picture.size for picture in pictures] == [(SIDE, 254), (60, 40), (60, 40)]
    assert all(not dict(picture.getexif()) for picture in pictures)
    assert SECRET.decode() not in text
    assert len(text) < 400_000


def test_the_policy_lets_pictures_in_only_where_there_are_some(text, contents):
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]*)"', text)
    assert "; img-src data:" in policy
    assert "unsafe" not in policy
    bare = report_page(contents)
    assert "img-src" not in bare
    assert 'id="photographs"' not in bare
    assert len(bare) < len(text)


def test_of_many_photographs_a_page_shows_the_last(book, contents):
    with Logbook.in_memory(lambda: date(2026, 8, 1)) as many:
        many.add(Boiler("kitchen", 0.75, 93.0, BEGUN))
        for day in range(1, MOST_SHOWN + 4):
            many.add(Inspection("kitchen", date(2026, 4, day), "wall", 1, 1), photos=[photograph(day)])
        page = Page(report_page(contents, photographs=photographs_for_page(many, "kitchen", AS_OF)))
        (whole,) = photograph_series(many, "kitchen")
    assert len(page.all("img")) == MOST_SHOWN
    assert page.all("img")[0]["alt"].startswith("wall on 2026-04-04")
    assert "3 earlier photographs in the logbook." in page.text
    assert (len(whole.shown), whole.earlier) == (MOST_SHOWN + 3, 0)


def test_the_public_function_takes_them_too(book, contents, text):
    series = photograph_series(book, "kitchen", AS_OF, MOST_SHOWN)
    assert api.report_page(book.facts("kitchen", AS_OF), series, particles=100) == text


def test_a_page_of_the_same_photographs_is_the_same(book, contents, text):
    again = replace(contents)
    assert report_page(again, photographs=photographs_for_page(book, "kitchen", AS_OF)) == text


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    need_browser()
    with chromium(tmp_path_factory.mktemp("profile")) as one:
        yield one


def test_a_browser_shows_every_photograph_and_fetches_nothing(browser, text, tmp_path):
    path = tmp_path / "kitchen.html"
    path.write_text(text, encoding="utf-8")
    browser.open(path)
    sizes = browser.js(
        "return [...document.images].map((one) => [one.complete, one.naturalWidth, one.clientWidth > 40])"
    )
    assert sizes == [[True, SIDE, True], [True, 60, True], [True, 60, True]]
    assert browser.console() == []
    assert [one for one in browser.requests() if not one.startswith("data:image/jpeg")] == [path.as_uri()]
    assert browser.js("return document.documentElement.scrollWidth <= window.innerWidth")
