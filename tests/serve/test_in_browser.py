"""The pages at the machine in Chromium, as a phone of 390 x 844 with touch: pair, look, read the date, undo."""

import re
from datetime import date, timedelta

import pytest

from scalemodel.logbook.records import Inspection
from scalemodel.logbook.store import Logbook
from tests.logbook.pictures import photograph
from tests.report.browser import chromium, need_browser
from tests.serve.conftest import RECORDS, TODAY, entries
from tests.serve.running import Hand, running_site

PHONES = ((360, 740), (390, 844), (430, 932))
LEAST_TARGET = 48
PATHS = (
    "/",
    "/boiler?boiler=kitchen",
    "/boiler?boiler=dry",
    "/saved?entry=13",
    "/visit?boiler=kitchen&what=litres",
    "/visit?boiler=kitchen&what=drinks",
    "/visit?boiler=kitchen&what=meter",
    "/visit?boiler=kitchen&what=water-test",
    "/visit?boiler=kitchen&what=fill",
    "/visit?boiler=kitchen&what=absence",
    "/visit?boiler=kitchen&what=descale",
    "/plan?boiler=kitchen",
    "/guide?boiler=kitchen",
    "/history?boiler=kitchen",
    "/entry?entry=13",
    "/devices",
    "/nothing",
)


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A server on a free port over a logbook, and where that is."""
    folder = tmp_path_factory.mktemp("served")
    with Logbook.create(folder / "logbook.sqlite3") as book:
        for record in RECORDS:
            book.add(record, sure=True)
    with running_site(folder) as site:
        yield site.site, site.base, site.settings.logbook


@pytest.fixture(scope="module")
def phone(served, tmp_path_factory):
    need_browser()
    site, base, _ = served
    with chromium(tmp_path_factory.mktemp("profile")) as browser:
        hand = Hand(browser, base)
        hand.hold()
        hand.open(f"/pair/{site.pairing.offer()}")
        yield hand


def test_pair_look_with_a_photograph_read_the_date_and_undo(phone, served, tmp_path):
    _, base, logbook = served
    assert phone.driver.current_url == f"{base}/"
    phone.tap(".due a")
    phone.wait_for("/boiler")
    before = phone.until()
    phone.tap("summary")
    picture = tmp_path / "look.jpg"
    picture.write_bytes(photograph())
    phone.find("#f-photo").send_keys(str(picture))
    phone.tap('button[name="grade"][value="2"]')
    phone.wait_for("/saved")
    after = phone.until()
    look = entries(logbook)[-1]
    assert (look.record.grade_low, look.record.grade_high, look.record.date, look.photographs) == (2, 2, TODAY, 1)
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", after)
    assert before in phone.find("#was").text
    phone.tap("#undo")
    phone.wait_until_said("Struck")
    assert phone.until() == before
    assert entries(logbook)[-1].strike_reason


def test_a_second_tap_beside_the_first_makes_a_range(phone, served):
    _, _, logbook = served
    phone.open("/boiler?boiler=kitchen")
    phone.tap('button[name="grade"][value="1"]')
    phone.wait_for("/saved")
    first = phone.driver.current_url
    phone.tap('button[name="grade"][value="1-2"]')
    from selenium.webdriver.support.ui import WebDriverWait

    WebDriverWait(phone.driver, 30).until(lambda driver: driver.current_url != first)
    look = entries(logbook)[-1].record
    assert isinstance(look, Inspection)
    assert (look.grade_low, look.grade_high) == (1, 2)


def test_the_keyboard_alone_is_enough(phone, served):
    from selenium.webdriver.common.keys import Keys

    _, _, logbook = served
    count = len(entries(logbook))
    phone.open("/boiler?boiler=kitchen")
    for _ in range(20):
        phone.driver.switch_to.active_element.send_keys(Keys.TAB)
        if phone.browser.js("return document.activeElement.value") == "0":
            break
    outline = phone.browser.js("return getComputedStyle(document.activeElement).outlineStyle")
    assert outline != "none"
    phone.driver.switch_to.active_element.send_keys(Keys.ENTER)
    phone.wait_for("/saved")
    assert len(entries(logbook)) == count + 1


def test_ticks_of_the_plan_are_kept_on_the_device(phone):
    phone.open("/plan?boiler=kitchen")
    phone.tap("#step-2")
    phone.open("/plan?boiler=kitchen")
    ticked = phone.browser.js("return [...document.querySelectorAll('.ticks input')].map(one => one.checked)")
    assert ticked[:3] == [False, True, False]


def test_the_next_look_comes_by_itself(phone, served):
    _, _, logbook = served
    with Logbook.open(logbook, write=True) as book:
        book.add(Inspection("kitchen", TODAY - timedelta(days=3), "wall", 1, 1))
    phone.open("/boiler?boiler=kitchen")
    from selenium.webdriver.support.ui import WebDriverWait

    WebDriverWait(phone.driver, 60).until(
        lambda driver: phone.browser.js("const n = document.getElementById('next'); return n && !n.dataset.waiting")
    )
    assert "look" in phone.find("#next").text.lower()


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("path", [*PATHS, "/report?boiler=kitchen"])
def test_axe_finds_nothing(phone, path, dark):
    from axe_selenium_python import Axe

    phone.hold(dark=dark)
    phone.open(path)
    phone.browser.js("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    axe = Axe(phone.driver)
    axe.inject()
    tags = ["wcag2a", "wcag2aa", "best-practice"]
    found = axe.run(options={"runOnly": {"type": "tag", "values": tags}})["violations"]
    phone.hold()
    assert [(one["id"], [node["html"][:120] for node in one["nodes"]][:3]) for one in found] == []


def test_axe_would_find_something(phone):
    from axe_selenium_python import Axe

    phone.open("/")
    phone.browser.js("document.querySelector('label').remove(); document.documentElement.lang = ''")
    axe = Axe(phone.driver)
    axe.inject()
    assert {"label", "html-has-lang"} & {one["id"] for one in axe.run()["violations"]}


SMALL = """
const shown = (one) => one.getClientRects().length && getComputedStyle(one).visibility !== 'hidden';
document.querySelectorAll('details').forEach(one => { one.open = true; });
const every = 'a, button, select, textarea, summary, input:not([type=hidden])';
return [...document.querySelectorAll(every)].flatMap((one) => {
  if (one.classList.contains('skip') || !shown(one)) { return []; }
  const label = one.labels && one.labels.length && ['radio', 'checkbox'].includes(one.type) ? one.labels[0] : null;
  const box = (label || one).getBoundingClientRect();
  return box.height < arguments[0] - 0.5 || box.width < 24 ? [[one.outerHTML.slice(0, 90), box.width, box.height]] : [];
});
"""


@pytest.mark.parametrize("path", PATHS)
def test_every_target_is_as_high_as_a_thumb_and_nothing_is_wider_than_the_phone(phone, path):
    for width, height in PHONES:
        phone.hold(width, height)
        phone.open(path)
        wide = phone.browser.js("return document.documentElement.scrollWidth")
        small = phone.browser.js(SMALL, LEAST_TARGET)
        phone.hold()
        assert wide <= width, path
        assert small == []


def test_nothing_is_asked_of_elsewhere_and_nothing_goes_wrong(phone, served):
    _, base, _ = served
    phone.driver.get_log("browser")
    phone.driver.get_log("performance")
    for path in (*PATHS[:-1], "/report?boiler=kitchen"):
        phone.open(path)
    assert phone.browser.console() == []
    asked = phone.browser.requests()
    assert asked
    assert all(one.startswith((f"{base}/", "data:")) for one in asked), asked


def test_the_day_is_today(phone):
    phone.open("/boiler?boiler=kitchen")
    assert phone.find("[data-day]").text == str(TODAY) == str(date(2026, 11, 25))
