"""The report's pages without a browser: what stands on them, that it is right, and that nothing breaks out."""

import hashlib
import json
import re
import subprocess
import sys
from base64 import b64encode
from dataclasses import replace
from html import unescape
from importlib.resources import files
from pathlib import Path

import pytest
from jinja2 import UndefinedError

from scalemodel import api
from scalemodel.answers.rows import Due
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.sequential import FEWEST
from scalemodel.logbook.records import Descale, Prices
from scalemodel.report.contents import report_contents
from scalemodel.report.index import entry_of, index_page
from scalemodel.report.marks import METHOD_SHAPES, SHAPES
from scalemodel.report.page import page_values, report_page
from scalemodel.report.rendering import asset, environment, stylesheet
from scalemodel.report.sections import EVERY
from scalemodel.validation.other_worlds import SOUND, draw_luck, live
from scalemodel.wording import figure, percent
from scalemodel.words.advice import without_words
from tests.builders import day, history, look
from tests.report.checked_html import Page
from tests.report.conftest import DEMO_DAY

HOSTILE = "</script><script>alert(1)</script>\"'><img src=x onerror=alert(2)>&amp;]]>-->\u2028{{7*7}}"
KEPT = Path(__file__).parents[2] / "reports" / "loft-brew.html"


@pytest.fixture(scope="module")
def pages(demo_contents):
    return {name: report_page(contents) for name, contents in demo_contents.items()}


@pytest.fixture(scope="module")
def listed(demo_contents):
    return index_page([entry_of(c) for c in demo_contents.values()], DEMO_DAY, {n: f"{n}.html" for n in demo_contents})


def data_of(page: str) -> dict:
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)[1])


@pytest.fixture(scope="module")
def hostile():
    """A boiler, sites, waters, inspectors and notes whose names are markup."""
    facts = history(look(90, 1), look(180, 2, 3, site="chamber", thickness_um=12.0), days=310)
    name, water = f"b{HOSTILE}", f"w{HOSTILE}"
    facts = replace(
        facts,
        boiler=replace(facts.boiler, boiler=name, note=HOSTILE),
        sites=tuple(
            replace(s, boiler=name, site=f"{s.site}{HOSTILE}", note=HOSTILE, reference=k == 0)
            for k, s in enumerate(facts.sites)
        ),
        waters=(replace(facts.waters[0], water=water, note=HOSTILE),),
        water_tests=(replace(facts.water_tests[0], water=water),),
        fills=(replace(facts.fills[0], water=water),),
        inspections=tuple(
            replace(i, site=f"{i.site}{HOSTILE}" if i.site == "chamber" else i.site, inspector=HOSTILE, note=HOSTILE)
            for i in facts.inspections
        ),
        descales=(Descale(name, day(200), note=HOSTILE),),
        prices=(Prices(name, day(0), 4.0, 1.0, 20.0, strip_down=150.0),),
    )
    return report_contents(api.prepare(facts, particles=100))


def test_pages_hold_to_the_rules(pages):
    for text in pages.values():
        page = Page(text)
        page.check()
        sections = ["risk", "deposit", "look", "seen", "water", "cost", "plan", "cautions", "assumptions", "method"]
        assert [a["id"] for a in page.all("section")] == sections


def test_the_reader_of_pages_sees_what_is_wrong(pages):
    good = pages["loft-brew"]
    for bad in (
        good.replace("</section>", "", 1),
        good.replace("<h2", "<h4", 1).replace("</h2>", "</h4>", 1),
        good.replace('id="deposit"', 'id="risk"', 1),
        good.replace('for="threshold"', 'for="nowhere"', 1),
        good.replace("<main>", '<main><p onclick="x()">.</p>', 1),
        good.replace("<main>", '<main><img src="https://example.org/x.png">', 1),
    ):
        with pytest.raises(AssertionError):
            Page(bad).check()


def test_the_page_asks_nothing_of_the_network(pages):
    for text in pages.values():
        assert not re.search(r"@import|url\(|https?://|\bfetch\(|XMLHttpRequest|WebSocket|sendBeacon|import\(", text)
        policy = unescape(re.search(r'Content-Security-Policy" content="([^"]+)"', text)[1])
        assert policy.startswith("default-src 'none'")
        assert "unsafe" not in policy


def test_names_and_notes_stay_text(hostile):
    text = report_page(hostile, home="index.html")
    page = Page(text)
    page.check()
    assert len(page.all("script")) == 2
    assert "<img" not in text
    assert text.count("</script>") == 2
    shown = " ".join(HOSTILE.split())
    assert page.text.count(shown) > 10
    site = data_of(text)["site"]
    assert site.endswith(HOSTILE)


def test_the_list_keeps_names_text_and_links_in_its_folder(hostile, demo_contents):
    names = {hostile.answer.boiler: '../../b " x?#%.html'}
    text = index_page([entry_of(hostile), Due(HOSTILE, DEMO_DAY, reason=HOSTILE)], DEMO_DAY, names)
    page = Page(text)
    page.check()
    assert [a["href"] for a in page.all("a")] == ["../../b%20%22%20x%3F%23%25.html"]
    assert len(page.all("script")) == 1
    assert page.text.count(" ".join(HOSTILE.split())) == 3


def test_data_cannot_end_its_block():
    block = environment().from_string("{{ data | tojson }}")
    text = block.render(data={"note": HOSTILE})
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == {"note": HOSTILE}
    with pytest.raises(ValueError, match="JSON"):
        block.render(data={"risk": float("nan")})


def test_a_template_escapes_what_it_is_given_and_misses_what_it_is_not():
    env = environment()
    for text in (
        env.from_string("{{ x }}").render(x=HOSTILE),
        env.from_string("{{ x | dated }}").render(x=HOSTILE),
        env.from_string("{% import 'parts.html' as parts %}{{ parts.bullets([x]) }}").render(x=HOSTILE),
    ):
        assert "<script" not in text
        assert "<img" not in text
        assert unescape(re.sub("<.*?>", "", text)).strip() == HOSTILE
    with pytest.raises(UndefinedError, match="'x' is undefined"):
        env.from_string("{{ x }}").render()


def test_another_page_can_stand_on_that_of_a_boiler(demo_contents):
    text = environment().from_string(
        """{% extends "boiler.html" %}
        {% block policy %}{% endblock %}
        {% block style %}<link rel="stylesheet" href="page.css">{% endblock %}
        {% block main %}<p id="pad">grade: {{ pad }}</p>{{ self.deposit() }}{{ self.cautions() }}{% endblock %}"""
    )
    page = Page(text.render(home=None, pad="<0>", **page_values(demo_contents["loft-brew"])))
    page.check()
    assert [a["id"] for a in page.all("section")] == ["deposit", "cautions"]
    assert "grade: <0>" in page.text
    assert not page.all("style")
    assert not [a for a in page.all("meta") if "http-equiv" in a]


def test_html_stands_in_templates_alone():
    package = files("scalemodel")
    closing = re.compile(r"</(?!(g|text|time)>)\w+>")  # one example of a picture, and the mark of a date
    holding = {path for path in Path(str(package)).rglob("*.py") if closing.search(path.read_text(encoding="utf-8"))}
    assert holding == set()


def test_no_template_calls_anything_safe():
    for name in environment().list_templates():
        source = (files("scalemodel.report") / "templates" / name).read_text(encoding="utf-8")
        assert not re.search(r"\|\s*safe\b|autoescape|Markup", source), name


def test_only_the_style_and_script_of_the_package_may_run(pages, listed):
    for text, script in ((pages["loft-brew"], "page.js"), (listed, "index.js")):
        assert stylesheet() in text
        assert asset(script) in text
        (policy,) = re.findall(r'Content-Security-Policy" content="([^"]*)"', text)
        rules = dict(rule.strip().split(" ", 1) for rule in unescape(policy).split(";"))
        for tag, rule in (("style", "style-src"), ("script", "script-src")):
            every = re.findall(rf"<{tag}([^>]*)>(.*?)</{tag}>", text, re.S)
            inside = [body for mark, body in every if "json" not in mark]
            prints = [b64encode(hashlib.sha256(body.encode()).digest()).decode() for body in inside]
            assert rules.pop(rule).split() == [f"'sha256-{one}'" for one in prints]
        assert rules == dict.fromkeys(("default-src", "base-uri", "form-action"), "'none'")


def test_the_curves_are_the_forecasts(pages, demo_questions):
    for name, question in demo_questions.items():
        tolerance = question.tolerance
        data = data_of(pages[name])
        own = data["thresholds"][data["threshold"]]
        for curve_day, risk in zip(data["days"], own["risks"], strict=True):
            assert risk == pytest.approx(question.risk(curve_day), abs=1e-12)
        answer = defer_until(question)
        said = own["until"][data["tolerance"]]
        assert data["tolerances"][data["tolerance"]]["share"] == tolerance
        if answer.defer_until is None:
            assert said == answer.status
        else:
            assert said == str(answer.defer_until)


def test_the_tables_are_the_curves(pages, demo_contents):
    for name, contents in demo_contents.items():
        tables, data = Page(pages[name]).tables, data_of(pages[name])
        risks = data["thresholds"][data["threshold"]]["risks"]
        kept = [k for k in range(len(data["days"])) if k % EVERY == 0 or k == len(data["days"]) - 1]
        rows = tables["risk-table"][1:]
        assert rows == [[str(day_after(contents, data["days"][k])), percent(risks[k])] for k in kept]
        bands = [(contents.past, "so far"), (contents.future, "ahead")]
        drawn = {(str(d), kind, figure(float(b.p50[k]), 2)) for b, kind in bands for k, d in enumerate(b.dates)}
        assert {(date, kind, middle) for date, kind, _, middle, _ in tables["deposit-table"][1:]} <= drawn
        assert len(tables["looks-table"]) - 1 == len(contents.facts.inspections)
        assert len(tables["tried-table"]) - 1 == len(data["thresholds"])
        assert figure(float(contents.past.p50[-1]), 2) in [row[3] for row in tables["deposit-table"][1:]]


def day_after(contents, days):
    return contents.risk.as_of.fromordinal(contents.risk.as_of.toordinal() + days)


def test_the_pictures_are_whole_without_a_script(pages, demo_contents):
    for name, contents in demo_contents.items():
        page = Page(pages[name])
        pictures = [a for a in page.all("svg") if a.get("role") == "img"]
        assert [a["id"] for a in pictures] == ["risk-wide", "risk-narrow", "deposit-wide", "deposit-narrow"]
        looks = [a for a in page.all("g") if a.get("class", "") in ("look here", "look there")]
        shown = [i for i in contents.facts.inspections if i.date >= contents.past.dates[0]]
        in_key = len({(i.method, i.site == contents.answer.site) for i in contents.facts.inspections})
        assert len(looks) == 2 * len(shown) + in_key
        assert all(word in page.text for word in ("you accept", "threshold", "last safe date"))


def test_no_date_within_the_horizon_and_no_prices():
    facts = history(look(90, 0), look(180, 0), days=200, tds=20.0, sites=(), litres_per_day=0.1)
    contents = report_contents(api.prepare(facts, particles=100, horizon_days=60))
    page = Page(report_page(contents))
    page.check()
    assert "no descale is due within 60 days" in page.text
    assert "Reason: beyond the horizon" in page.text
    assert "scalemodel add prices urn" in page.text
    assert "scalemodel new site urn chamber --look-cost 2" in page.text


@pytest.fixture(scope="module")
def alarmed():
    """Six looks at hazy metal, and then one at thick flakes, at a price."""
    seen = [look(n, 0, 1) for n in (60, 110, 160, 210, 260, 310)]
    prices = (Prices("urn", day(0), 4.0, 1.0, 20.0, strip_down=150.0),)
    return report_contents(api.prepare(history(*seen, look(330, 4), days=340, tds=90.0, prices=prices), particles=400))


def test_an_alarm_is_the_headline_of_the_page_and_no_date_is_on_it(alarmed, demo_contents):
    text = report_page(alarmed)
    page = Page(text)
    page.check()
    (head,) = re.findall(r"<h1.*?</h1>", text, re.S)
    assert "look again now, do not defer: grade 4 (thick, flaking or bridging) was seen at the wall on" in head
    assert str(day(330)) in head
    assert "can wait until" not in page.text
    assert "probably reach it" not in page.text
    assert "is due around" not in page.text
    assert "Next look: the wall, by eye, today." in page.text
    data = data_of(text)
    own = data["thresholds"][data["threshold"]]
    assert set(own["until"]) == {"look_again"}
    assert set(own["waits"]) == {None}
    assert data["instead"]["look_again"][0] == "Look again now, do not defer."
    assert '<h1 class="alarm"' not in report_page(demo_contents["loft-brew"])


def test_every_threshold_that_the_page_offers_has_its_own_alarm():
    """A look at grade 3 is none for a threshold of grade 4, and one for those below."""
    facts = history(*(look(n, 2) for n in (60, 110, 160, 210)), look(330, 3), days=340, tds=320.0)
    contents = report_contents(api.prepare(facts, particles=200))
    untils = [one["until"] for one in data_of(report_page(contents))["thresholds"]]
    assert ["look_again" in until for until in untils] == [True, True, True, False]


def test_an_alarm_is_told_in_the_list_and_stands_first(alarmed, demo_contents):
    entries = [*(entry_of(c) for c in demo_contents.values()), entry_of(alarmed)]
    text = index_page(entries, DEMO_DAY, {e.boiler: f"{e.boiler}.html" for e in entries})
    page = Page(text)
    page.check()
    row = page.tables["boilers"][1]
    assert row[:2] == ["urn", f"look again now: grade 4 at the wall on {day(330)}"]
    assert row[-1] == str(alarmed.answer.as_of)
    assert "look again at 1 now, 2 should not be deferred" in re.search(r"<h1>(.*?)</h1>", text)[1]
    assert "look again" not in index_page(entries[:-1], DEMO_DAY, {e.boiler: f"{e.boiler}.html" for e in entries})


def test_what_is_assumed_of_the_water_is_said_once(alarmed):
    said = report_page(alarmed).split('<section aria-labelledby="water-heading"')[1].split("</section>")[0]
    assert said.count("no pH measured: 7.5 taken") == 1


def test_the_days_of_a_look_say_by_what_they_go(demo_contents, pages):
    assert demo_contents["loft-brew"].looks.descale_on is not None
    for name, contents in demo_contents.items():
        assert without_words(contents.looks) in Page(pages[name]).text


def test_another_site_has_the_plan_of_the_whole_boiler():
    facts = history(look(90, 1), look(180, 2, site="chamber"))
    asked = report_contents(api.prepare(facts, particles=100, site="chamber"))
    usual = report_contents(api.prepare(facts, particles=100))
    assert asked.plan == usual.plan
    page = Page(report_page(asked))
    page.check()
    assert "scale at the chamber has reached" in page.text


def test_the_page_says_the_amount_of_the_plan(demo_contents, pages):
    for name, contents in demo_contents.items():
        takes, text = contents.plan.takes, " ".join(Page(pages[name]).text.split())
        if takes.nothing_to_do:
            assert "Nothing to descale" in text
            assert "--acid-g" not in text
        else:
            assert f"Acid: {figure(takes.acid_g)} g of citric acid monohydrate in {figure(takes.solution_l)} L" in text
            assert f"--acid-g {figure(takes.acid_g)}" in text
            assert text.count(" g of citric acid") == 2  # the sum, and what is weighed
        assert f"the deposit on {contents.plan.site}" in text


def test_lines_and_marks_differ_without_colour():
    style = stylesheet()
    rules = dict(re.findall(r"^(?:\.|path\.)([\w .-]+) \{([^}]*)\}", style, re.M))
    dashes = {name: re.search(r"stroke-dasharray: ([\d. ]+)", rule) for name, rule in rules.items()}
    told = [dashes[name] and dashes[name][1] for name in ("line", "limit", "answer", "descale", "middle.ahead")]
    assert len(set(told)) == len(told)
    assert len(set(METHOD_SHAPES.values())) == len(METHOD_SHAPES)
    for kind in ("path", "sign"):
        assert len({getattr(shape, kind) for shape in SHAPES.values()}) == len(SHAPES)


def luminance(colour: str) -> float:
    shares = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", [0, 1, 2], ids=["light", "dark", "print"])
def test_every_ink_is_read_on_every_ground(theme):
    blocks = [dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6})", b)) for b in re.findall(r":root \{([^}]*)\}", stylesheet())]
    colours = {name: c if len(c) == 7 else "#" + "".join(2 * x for x in c[1:]) for name, c in blocks[theme].items()}
    grades = [f"g{k}" for k in range(5)]
    for ink in ("ink", "soft", "line", "limit"):
        for ground in ("paper", "tint", "within", *grades):
            assert contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)
    for stroke, ground in (("line", "past"), ("line", "ahead"), ("limit", "ahead"), ("ink", "past"), ("ink", "ahead")):
        assert contrast(colours[stroke], colours[ground]) >= 3.0, (stroke, ground)
    assert contrast(colours["past"], colours["ahead"]) > 1.3


def test_the_same_question_gives_the_same_page_without_a_clock(demo_questions, demo_contents, pages):
    question = demo_questions["loft-brew"]
    assert report_page(report_contents(question)) == pages["loft-brew"]
    forecast = question.forecast
    slower = type(forecast)(replace(forecast.posterior, seconds=12345.678), forecast.plan)
    assert "12345" not in report_page(report_contents(question.under(slower)))


def test_a_page_needs_no_matplotlib():
    code = (
        "import sys\nfrom datetime import date\nimport scalemodel\nbook = scalemodel.Logbook.in_memory()\n"
        "scalemodel.import_folder(book, 'data/demo')\n"
        "page = scalemodel.report_page(book.facts('hall-urn', date(2026, 11, 1)), particles=100)\n"
        "assert page.startswith('<!DOCTYPE html>')\n"
        "print(*({'matplotlib', 'pandas', 'scipy.stats'} & set(sys.modules)))"
    )
    root = Path(__file__).parents[2]
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert done.stdout.strip() == ""


def test_the_kept_page_is_of_these_styles_and_small():
    text = KEPT.read_text(encoding="utf-8")
    Page(text).check()
    assert len(text.encode()) < 300_000
    assert stylesheet() in text
    assert asset("page.js") in text
    assert "loft-brew: descale report as of 2026-11-01" in text


@pytest.mark.parametrize(("looks", "said"), [(3, "3 looks: too few to tell"), (12, "looks were as foretold")])
def test_the_page_says_whether_the_looks_were_as_foretold(looks, said):
    facts = live(draw_luck(1, 4), SOUND).facts
    case = api.prepare(replace(facts, inspections=facts.inspections[:looks]), particles=100)
    page = report_page(report_contents(case))
    assert said in page
    assert ("Look by look" in page) == (looks >= FEWEST)
