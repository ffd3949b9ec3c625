"""The report in a real browser: nothing fetched, nothing wrong, usable by keyboard, by ear, on a phone, on paper."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from scalemodel import api
from scalemodel.answers.rows import Due
from scalemodel.decision.deferral import defer_until
from scalemodel.logbook.records import Descale, Fill, Prices, Site, Water, WaterTest
from scalemodel.report.contents import report_contents
from scalemodel.report.index import entry_of, index_page
from scalemodel.report.marks import METHOD_SHAPES
from scalemodel.report.page import report_page
from tests.builders import day, history, look
from tests.report.browser import Browser, chromium, need_browser
from tests.report.conftest import DEMO_DAY

NAMES = ("loft-brew", "mill-brew", "mill-steam", "hall-urn")
CONTROLS = {"slider", "combobox", "button", "link", "searchbox", "DisclosureTriangle", "disclosure triangle", "region"}
LONG = ("an-urn-whose-name-has-no-blank-at-all-" * 2, "one that is long and has blanks, as names often do, for a while")
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
DATED = re.compile(r"\d{4}-\d\d-\d\d")

CONTRASTS = """
const parse = (text) => { const v = text.match(/[\\d.]+/g).map(Number); return v.length > 3 && v[3] === 0 ? null : v; };
const light = (c) => { const f = (v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  return 0.2126 * f(c[0]) + 0.7152 * f(c[1]) + 0.0722 * f(c[2]); };
const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
const ground = (e) => { for (; e; e = e.parentElement) {
  const c = parse(getComputedStyle(e).backgroundColor); if (c) return c; } return [255, 255, 255]; };
const found = [];
for (const e of document.querySelectorAll("body *")) {
  const own = [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
  if (!own || !e.getClientRects().length || ["SCRIPT", "STYLE", "title", "desc"].includes(e.tagName)) continue;
  const style = getComputedStyle(e), svg = e instanceof SVGElement;
  const size = parseFloat(style.fontSize), large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
  const ink = parse(svg ? style.fill : style.color);
  found.push([e.textContent.trim().slice(0, 40), ratio(ink, ground(e)), large ? 3 : 4.5]);
}
return found;
"""


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    need_browser()
    with chromium(tmp_path_factory.mktemp("profile")) as one:
        yield one


def crowded():
    """A boiler of much to tell: a long name and note, sites, methods, waters, descales, a look to be made again."""
    name, sites, methods = (
        "an urn in the far corner of the hall",
        ("wall", "gauge", "lid", "element"),
        tuple(METHOD_SHAPES),
    )
    looks = [
        look(n + k, 1, site=site, method=methods[(n + k) % 4])
        for n in range(230, 340, 20)
        for k, site in enumerate(sites)
    ]
    facts = history(
        *looks,
        look(355, 4, site="lid"),
        descales=(Descale("urn", day(100)), Descale("urn", day(160), scope="partial")),
        boiler={"note": "a note on where it stands and who cares for it, and what was mended the year before last"},
        sites=tuple(Site("urn", site) for site in sites[1:]),
        waters=tuple(Water(f"water number {k}") for k in range(7)),
        water_tests=tuple(
            WaterTest(f"water number {k}", day(0), tds_mg_l=90.0 + k, ph=7.4 if k % 2 else None) for k in range(7)
        ),
        fills=tuple(Fill("urn", day(40 * k), f"water number {k}") for k in range(7)),
        prices=(Prices("urn", day(0), 3.0, 1.5, 12.0, strip_down=120.0),),
    )
    contents = report_contents(api.prepare(facts, particles=300))
    return replace(contents, answer=replace(contents.answer, boiler=name))


@pytest.fixture(scope="module")
def pages(tmp_path_factory, demo_contents):
    folder = tmp_path_factory.mktemp("pages")
    for name, contents in demo_contents.items():
        (folder / f"{name}.html").write_text(report_page(contents, home="index.html"), encoding="utf-8")
    beyond = report_contents(api.prepare(history(look(90, 0), days=100, tds=30.0), particles=100, horizon_days=60))
    (folder / "beyond.html").write_text(report_page(beyond), encoding="utf-8")
    (folder / "crowded.html").write_text(report_page(crowded()), encoding="utf-8")
    for days in (1, 250, 330):
        young = report_contents(api.prepare(history(days=days, tds=200.0), particles=100, threshold_grade=4))
        (folder / f"young-{days}.html").write_text(report_page(young), encoding="utf-8")
    entries = [*(entry_of(contents) for contents in demo_contents.values()), Due("empty", DEMO_DAY, reason="no water")]
    long = [replace(entry, boiler=name) for entry, name in zip(entries, LONG, strict=False)]
    names = {name: f"{name}.html" for name in LONG}
    (folder / "long.html").write_text(index_page(long, DEMO_DAY, names), encoding="utf-8")
    names = {name: f"{name}.html" for name in NAMES}
    (folder / "index.html").write_text(index_page(entries, DEMO_DAY, names), encoding="utf-8")
    return folder


def element(browser: Browser, name: str):
    return browser.driver.find_element("id", name)


def said(browser: Browser) -> str:
    return element(browser, "said").text


def press(browser: Browser, *keys: str) -> None:
    browser.driver.switch_to.active_element.send_keys(*keys)


def tab_to(browser: Browser, name: str) -> None:
    """Walk by the Tab key from the top of the page until something has the focus."""
    from selenium.webdriver.common.keys import Keys

    for _ in range(40):
        press(browser, Keys.TAB)
        if browser.js("return document.activeElement.id") == name:
            return
    pytest.fail(f"the Tab key does not come to {name}")


@pytest.mark.parametrize("name", [*NAMES, "index"])
def test_nothing_is_fetched_and_nothing_goes_wrong(browser, pages, name):
    path = pages / f"{name}.html"
    browser.open(path)
    assert browser.requests() == [path.as_uri()]
    assert browser.console() == []


def test_an_error_and_a_request_would_be_seen(browser, tmp_path):
    path = tmp_path / "bad.html"
    path.write_text("<!DOCTYPE html><img src='none.png'><script>nothing.here()</script>", encoding="utf-8")
    browser.open(path)
    assert len(browser.requests()) == 2
    assert any("nothing is not defined" in line for line in browser.console())


@pytest.mark.parametrize("name", NAMES)
def test_at_the_start_the_date_is_the_deferral(browser, pages, demo_questions, name):
    browser.open(pages / f"{name}.html")
    answer = defer_until(demo_questions[name])
    found = DATED.findall(said(browser))
    assert found == ([] if answer.defer_until is None else [str(answer.defer_until)])
    if answer.defer_until is not None:
        assert (str(answer.defer_until) if answer.sharp else " until about ") in browser.driver.find_element(
            "tag name", "h1"
        ).text
        assert browser.js('return document.querySelector("#risk-wide .answer-word").textContent').endswith(found[0])


@pytest.mark.parametrize("name", [*NAMES, "beyond"])
def test_the_script_first_draws_what_stands_there_already(browser, pages, name):
    """Places by Python and by the script, at one setting, are the same; and so are all words."""
    path = pages / f"{name}.html"
    text = path.read_text(encoding="utf-8")
    browser.open(path)
    for chart in ("risk-wide", "risk-narrow", "deposit-wide", "deposit-narrow"):
        drawn = ElementTree.fromstring(re.search(rf"<svg [^>]*id=\"{chart}\".*?</svg>", text, re.S)[0])
        shown = ElementTree.fromstring(
            browser.js(f"return new XMLSerializer().serializeToString(document.getElementById('{chart}'))").replace(
                ' xmlns="http://www.w3.org/2000/svg"', ""
            )
        )
        for ours, theirs in zip(drawn.iter(), shown.iter(), strict=True):
            assert (ours.tag, ours.text, set(ours.attrib)) == (theirs.tag, theirs.text, set(theirs.attrib))
            for key, value in ours.attrib.items():
                numbers = [[float(n) for n in NUMBER.findall(a)] for a in (value, theirs.attrib[key])]
                assert NUMBER.sub("#", value) == NUMBER.sub("#", theirs.attrib[key])
                assert numbers[0] == pytest.approx(numbers[1], abs=0.011)


def test_the_slider_moves_the_date_by_keyboard_never_back(browser, pages, demo_contents):
    from selenium.webdriver.common.keys import Keys

    risk = demo_contents["mill-brew"].risk
    browser.open(pages / "mill-brew.html")
    before, drawn = said(browser), browser.js('return document.querySelector("#risk-wide .limit").getAttribute("y1")')
    tab_to(browser, "tolerance")
    press(browser, Keys.HOME)
    dates = []
    for k in range(len(risk.tolerances)):
        assert element(browser, "tolerance").get_attribute("aria-valuetext") == element(browser, "accepted").text
        day = risk.until(risk.own, k)
        assert DATED.findall(said(browser)) == ([] if day is None else [str(day)])
        dates += [] if day is None else [str(day)]
        press(browser, Keys.ARROW_RIGHT)
    assert dates == sorted(dates)
    assert len(set(dates)) > 10
    assert said(browser) != before
    assert browser.js('return document.querySelector("#risk-wide .limit").getAttribute("y1")') != drawn
    tab_to(browser, "back")
    press(browser, Keys.ENTER)
    assert said(browser) == before
    assert browser.js('return document.querySelector("#risk-wide .limit").getAttribute("y1")') == drawn


def test_the_threshold_moves_date_and_lines_by_keyboard(browser, pages, demo_contents):
    from selenium.webdriver.common.keys import Keys

    risk = demo_contents["mill-brew"].risk
    lines = [
        'document.querySelector("#risk-wide .line").getAttribute("d")',
        'document.querySelector("#deposit-wide .limit").getAttribute("y1")',
    ]
    browser.open(pages / "mill-brew.html")
    tab_to(browser, "threshold")
    press(browser, Keys.HOME)
    seen = []
    for k, curve in enumerate(risk.curves):
        assert browser.js('return document.getElementById("threshold").value') == str(k)
        until = risk.until(curve, risk.tolerance)
        assert DATED.findall(said(browser)) == ([] if until is None else [str(until)])
        assert curve.threshold.words in browser.js('return document.querySelector("#risk-wide title").textContent')
        assert curve.threshold.words in element(browser, "lead").text
        seen.append(tuple(browser.js(f"return {line}") for line in lines))
        press(browser, Keys.ARROW_DOWN)
    assert len(set(seen)) == len(risk.curves)


@pytest.mark.parametrize(("kind", "says"), [("risk", "risk"), ("deposit", "mg/cm2")])
def test_pointing_at_a_picture_gives_values(browser, pages, kind, says):
    browser.open(pages / "loft-brew.html")
    box = browser.js(
        f'const c = document.querySelector("#{kind}-wide"); c.scrollIntoView({{behavior: "instant"}}); '
        "const b = c.getBoundingClientRect(); return [b.left, b.top, b.width, b.height]"
    )
    found = set()
    for share in (0.3, 0.6):
        x, y = box[0] + share * box[2], box[1] + 0.5 * box[3]
        browser.command("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)
        found.add(browser.js(f"return document.querySelector('[data-readout=\"{kind}\"]').textContent"))
    assert len(found) == 2
    assert all(DATED.match(line) and says in line for line in found)


def test_what_a_finger_tapped_stays_to_be_read(browser, pages):
    browser.open(pages / "loft-brew.html", width=380, height=800)
    browser.command("Emulation.setTouchEmulationEnabled", enabled=True)
    try:
        x, y = browser.js(
            'const c = document.querySelector("#risk-narrow"); c.scrollIntoView({behavior: "instant"}); '
            "const b = c.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]"
        )
        browser.command("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
        browser.command("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
        assert DATED.match(browser.js("return document.querySelector('[data-readout=\"risk\"]').textContent"))
    finally:
        browser.command("Emulation.setTouchEmulationEnabled", enabled=False)


@pytest.mark.parametrize("name", [*NAMES, "index"])
@pytest.mark.parametrize("width", [320, 380, 700])
def test_no_sideways_scroll(browser, pages, name, width):
    browser.open(pages / f"{name}.html", width=width, height=800)
    browser.js("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert browser.js("return document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("name", ["index", "long"])
def test_the_list_fits_a_phone(browser, pages, name):
    browser.open(pages / f"{name}.html", width=380, height=800)
    assert browser.js("const s = document.querySelector('.scroll'); return s.scrollWidth - s.clientWidth") <= 0


def test_a_short_name_stands_on_one_line_of_the_list(browser, pages):
    browser.open(pages / "index.html")
    heights = browser.js(
        "return [...document.querySelectorAll('#boilers tbody tr')].map((r) => [...r.cells].map((c) => c.offsetHeight))"
    )
    line = min(min(row) for row in heights)
    assert all(cells[0] < 1.5 * line for cells in heights[:-1])


@pytest.mark.parametrize("name", ["young-1", "young-250", "young-330", "loft-brew", "beyond"])
@pytest.mark.parametrize("width", [380, 1100])
def test_words_above_the_deposit_stand_apart(browser, pages, name, width):
    browser.open(pages / f"{name}.html", width=width)
    boxes = browser.js(
        "const chart = [...document.querySelectorAll('[data-chart=deposit]')].find((c) => c.getClientRects().length);"
        "const top = Math.min(...[...chart.querySelectorAll('.grade')].map((g) => g.getBoundingClientRect().top));"
        "return [...chart.querySelectorAll('text')].map((t) => t.getBoundingClientRect())"
        ".filter((b) => b.bottom <= top + 2).map((b) => [b.left, b.right]).sort((a, b) => a[0] - b[0]);"
    )
    assert len(boxes) == 2
    assert boxes[0][1] < boxes[1][0]
    assert boxes[0][0] >= 0
    assert boxes[1][1] <= width


@pytest.mark.parametrize("name", ["loft-brew", "mill-steam", "index"])
@pytest.mark.parametrize("width", [380, 1100])
def test_pictures_and_controls_have_names(browser, pages, name, width):
    browser.open(pages / f"{name}.html", width=width)
    tree = browser.accessible()
    named = [(role, words) for role, words in tree if role in CONTROLS or role in ("image", "img", "figure")]
    assert all(words for _, words in named), [role for role, words in named if not words]
    roles = [role for role, _ in named]
    if name == "index":
        assert {"searchbox", "link"} <= set(roles)
    else:
        assert sum(role in ("image", "img") for role in roles) == 2  # one size of each picture
        assert {"slider", "combobox", "link"} <= set(roles)
    landmarks = {"banner", "main", "contentinfo"}
    assert landmarks <= {role for role, _ in tree}


@pytest.mark.parametrize("name", [*NAMES, "crowded"])
def test_it_prints_on_two_sheets(browser, pages, name):
    browser.open(pages / f"{name}.html")
    assert browser.pages() <= 2
    browser.js("const s = document.getElementById('tolerance'); s.value = 0; s.dispatchEvent(new Event('input'))")
    assert browser.pages() <= 2


@pytest.mark.parametrize("name", ["loft-brew", "mill-steam", "index"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_contrast(browser, pages, name, scheme):
    browser.open(pages / f"{name}.html", prefers_color_scheme=scheme)
    browser.js("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    found = browser.js(CONTRASTS)
    assert len(found) > 20
    assert [one for one in found if one[1] < one[2]] == []
    ground = browser.js("return getComputedStyle(document.documentElement).backgroundColor")
    dark = sum(map(int, re.findall(r"\d+", ground)[:3])) < 200
    assert dark is (scheme == "dark")


def test_motion_only_where_it_is_welcome(browser, pages):
    speed = 'return getComputedStyle(document.querySelector("#risk-wide .answer")).transitionDuration'
    browser.open(pages / "loft-brew.html", prefers_reduced_motion="reduce")
    assert browser.js(speed) == "0s"
    assert browser.js("return getComputedStyle(document.documentElement).scrollBehavior") == "auto"
    browser.open(pages / "loft-brew.html", prefers_reduced_motion="no-preference")
    assert browser.js(speed) != "0s"


def test_the_focus_is_seen(browser, pages):
    browser.open(pages / "loft-brew.html")
    for name in ("tolerance", "threshold"):
        tab_to(browser, name)
        outline = browser.js(
            "const s = getComputedStyle(document.activeElement); return [s.outlineStyle, s.outlineWidth]"
        )
        assert outline[0] == "solid"
        assert float(outline[1].removesuffix("px")) >= 2


def test_without_scripts_the_page_shows_everything_but_the_controls(browser, pages):
    browser.command("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.open(pages / "loft-brew.html")
        tree = browser.accessible()
    finally:
        browser.command("Emulation.setScriptExecutionDisabled", value=False)
    roles = [role for role, _ in tree]
    assert "slider" not in roles
    assert "combobox" not in roles
    assert roles.count("image") + roles.count("img") == 2
    headings = [words for role, words in tree if role == "heading"]
    assert any("can wait until" in words for words in headings)
    assert len(headings) > 8


def test_the_list_finds_a_boiler(browser, pages):
    browser.open(pages / "index.html")
    rows = (
        "return [...document.querySelectorAll('#boilers tbody tr')]"
        ".filter((row) => !row.hidden).map((row) => row.cells[0].textContent)"
    )
    assert browser.js(rows) == ["mill-steam", "hall-urn", "mill-brew", "loft-brew", "empty"]
    element(browser, "find").send_keys("MILL")
    assert browser.js(rows) == ["mill-steam", "mill-brew"]
    assert element(browser, "count").text == "2 of 5"
    browser.driver.find_element("link text", "mill-brew").click()
    assert browser.driver.find_element("tag name", "h1").text.startswith("mill-brew:")
    browser.driver.find_element("link text", "All boilers").click()
    assert browser.driver.find_element("tag name", "h1").text == "5 boilers: 2 should not be deferred."
