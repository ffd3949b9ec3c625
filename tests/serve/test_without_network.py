"""No network at the machine: what is typed stays on the device, and reaches the logbook once."""

import json
import time
from datetime import date, timedelta
from urllib.parse import urlsplit

import pytest

from scalemodel.logbook.store import Logbook
from tests.logbook.pictures import photograph
from tests.report.browser import chromium, need_browser
from tests.serve.conftest import RECORDS, TODAY, entries
from tests.serve.running import Hand, running_site
from tests.serve.test_in_browser import LEAST_TARGET, SMALL


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A server over a logbook that is answered already, and what counts its requests and may swallow its replies."""
    folder = tmp_path_factory.mktemp("cellar")
    with Logbook.create(folder / "logbook.sqlite3") as book:
        for record in RECORDS:
            book.add(record, sure=True)
    with running_site(folder) as site:
        yield site, folder / "logbook.sqlite3"


@pytest.fixture(scope="module")
def hand(served, tmp_path_factory):
    need_browser()
    site, _ = served
    with chromium(tmp_path_factory.mktemp("profile")) as browser:
        hand = Hand(browser, site.base)
        hand.hold()
        hand.open(f"/pair/{site.site.pairing.offer()}")
        yield hand


@pytest.fixture
def phone(hand):
    """The phone with nothing kept on it, in the network."""
    hand.driver.get("about:blank")  # where nothing of an earlier test is on its way
    hand.browser.command("Storage.clearDataForOrigin", origin=hand.base, storageTypes="local_storage,indexeddb")
    hand.network(True)
    yield hand
    hand.network(True)


def kept(phone) -> list[dict]:
    held = phone.browser.js("return Object.entries(localStorage).filter(([name]) => name.startsWith('kept '))")
    return [json.loads(text) for _, text in held]


def panel(phone) -> str:
    return phone.browser.js("const one = document.getElementById('keeping'); return one ? one.textContent : ''")


def press(phone, words: str) -> None:
    """Press the first button in the drawer that says so."""
    buttons = "[...document.querySelectorAll('#keeping button')]"
    phone.browser.js(f"{buttons}.find(one => one.textContent.includes(arguments[0])).click()", words)


def test_a_look_without_network_is_kept_and_recorded_once_when_the_server_answers_again(phone, served):
    _, logbook = served
    phone.open("/boiler?boiler=kitchen")
    phone.tap("summary")
    phone.find("#f-note").send_keys("by torch")
    before = len(entries(logbook))
    phone.network(False)
    phone.tap('button[name="grade"][value="2"]')
    phone.wait(lambda: "not yet in the logbook" in panel(phone))
    said = panel(phone)
    assert f"Look at kitchen, {TODAY}" in said
    assert "a thin chalky coat" in said
    assert "by torch" in said
    assert "sent when the server answers" in said
    assert len(entries(logbook)) == before
    assert [one["state"] for one in kept(phone)] == ["waiting"]
    assert phone.find("#f-note").get_property("value") == ""
    phone.network(True)  # the page hears of it
    phone.wait(lambda: "Now in the logbook" in panel(phone))
    phone.open("/boiler?boiler=kitchen")
    time.sleep(1)
    assert kept(phone) == []
    added = entries(logbook)[before:]
    assert [(one.record.grade_low, one.record.note, one.record.date) for one in added] == [(2, "by torch", TODAY)]


def test_two_looks_on_one_open_page_are_two_records(phone, served):
    _, logbook = served
    phone.open("/boiler?boiler=kitchen")
    before = len(entries(logbook))
    phone.network(False)
    for grade, site in (("0", "wall"), ("3", "gauge")):
        phone.browser.js("document.querySelector(`input[name=site][value=${arguments[0]}]`).click()", site)
        phone.tap(f'button[name="grade"][value="{grade}"]')
        phone.wait(lambda grade=grade: any(["grade", grade] in one["fields"] for one in kept(phone)))
        phone.wait(lambda: phone.browser.js("return !document.querySelector('[aria-busy]')"))
    assert len({one["key"] for one in kept(phone)}) == 2
    phone.network(True)
    phone.wait(lambda: not [one for one in kept(phone) if one["state"] == "waiting"])
    added = [(one.record.site, one.record.grade_low) for one in entries(logbook)[before:]]
    asked = [one for one in kept(phone) if one["state"] == "asked"]
    assert len(added) + len(asked) == 2
    assert ("gauge", 3) in added or any(["grade", "3"] in one["fields"] for one in asked)


def test_the_answer_lost_and_the_page_closed_it_is_recorded_once(phone, served):
    site, logbook = served
    phone.open("/boiler?boiler=kitchen")
    phone.browser.js("document.querySelector('details').open = true")
    phone.find("#f-note").send_keys("answer lost")
    before = len(entries(logbook))
    site.swallow = True  # the server records, and its reply never comes
    phone.tap('button[name="grade"][value="1"]')
    phone.wait(lambda: len(entries(logbook)) == before + 1)
    assert len(kept(phone)) == 1
    phone.driver.get("about:blank")
    site.swallow = False
    for _ in range(2):
        phone.open("/boiler?boiler=kitchen")
        phone.wait(lambda: not kept(phone))
    assert len(entries(logbook)) == before + 1


def test_what_was_recorded_unheard_is_answered_with_the_same_page(phone, served):
    site, logbook = served
    phone.open("/boiler?boiler=kitchen")
    before = len(entries(logbook))
    site.swallow = True
    phone.browser.js("document.querySelector('input[name=site][value=gauge]').click()")
    phone.tap('button[name="grade"][value="0"]')
    phone.wait(lambda: len(entries(logbook)) == before + 1)
    site.swallow = False
    phone.open("/history?boiler=kitchen")
    phone.wait(lambda: "Now in the logbook" in panel(phone))
    where = urlsplit(phone.find("#keeping a").get_attribute("href"))
    assert f"entry={entries(logbook)[-1].number}" in where.query
    assert len(entries(logbook)) == before + 1


def test_a_photograph_is_kept_too_and_goes_with_its_look(phone, served, tmp_path):
    _, logbook = served
    picture = tmp_path / "look.jpg"
    picture.write_bytes(photograph())
    phone.open("/boiler?boiler=kitchen")
    phone.tap("summary")
    phone.find("#f-note").send_keys("with a picture")
    phone.find("#f-photo").send_keys(str(picture))
    phone.network(False)
    phone.tap('button[name="grade"][value="1"]')
    phone.wait(lambda: "1 photograph" in panel(phone))
    phone.driver.get("about:blank")
    phone.network(True)
    phone.open("/history?boiler=kitchen")
    phone.wait(lambda: not kept(phone))
    look = entries(logbook)[-1]
    assert (look.record.note, look.photographs) == ("with a picture", 1)


def test_a_photograph_that_could_not_be_kept_is_said(phone, served, tmp_path):
    picture = tmp_path / "look.jpg"
    picture.write_bytes(photograph())
    phone.open("/boiler?boiler=kitchen")
    phone.browser.js("Object.defineProperty(window, 'indexedDB', {get() { throw new Error('not here'); }})")
    phone.tap("summary")
    phone.find("#f-photo").send_keys(str(picture))
    phone.network(False)
    phone.tap('button[name="grade"][value="1"]')
    phone.wait(lambda: "photograph could not be kept" in panel(phone))


def test_a_question_of_the_server_is_shown_with_what_was_typed_and_answered_once(phone, served):
    _, logbook = served
    phone.open("/visit?boiler=kitchen&what=absence")
    last = TODAY + timedelta(days=900)
    phone.set_day("#f-to_date", last)
    before = len(entries(logbook))
    phone.network(False)
    phone.tap("main form button.main")
    phone.wait(lambda: "not yet in the logbook" in panel(phone))
    phone.network(True)
    phone.wait(lambda: "The server asks first" in panel(phone))
    assert len(entries(logbook)) == before
    phone.open("/")  # elsewhere it is said too
    phone.wait(lambda: "The server asks first" in panel(phone))
    press(phone, "Answer it")
    phone.wait(lambda: "Is that so?" in phone.browser.js("return document.body.innerText"))
    assert phone.find("#f-to_date").get_property("value") == str(last)
    assert panel(phone) == ""  # it is being answered
    phone.tap(".insist button")
    phone.wait_for("/saved")
    assert len(entries(logbook)) == before + 1
    assert entries(logbook)[-1].record.to_date == last
    assert kept(phone) == []


def test_what_will_not_do_is_mended_with_what_was_typed(phone, served):
    _, logbook = served
    phone.open("/visit?boiler=kitchen&what=descale")
    phone.set_day("#f-date", date(2026, 10, 1))  # two months from any other
    phone.tap("summary")
    phone.find("#f-acid_spent_g").send_keys("14")
    before = len(entries(logbook))
    phone.network(False)
    phone.tap("main form button.main")
    phone.wait(lambda: "acid spent by titration: 14" in panel(phone))
    phone.network(True)
    phone.wait(lambda: "did not take it. Not recorded. acid: '' will not do" in panel(phone))
    press(phone, "Mend it")
    phone.wait(lambda: phone.browser.js("return document.getElementById('trouble') !== null"))
    assert phone.find("#f-acid_spent_g").get_property("value") == "14"
    assert phone.find("#f-acid_spent_g").is_displayed()
    assert phone.find("#f-acid").value_of_css_property("border-top-width") == "2px"
    phone.find("#f-acid").send_keys("sulfamic")
    phone.tap("main form button.main")
    phone.wait_for("/saved")
    assert len(entries(logbook)) == before + 1
    phone.wait(lambda: kept(phone) == [])
    assert entries(logbook)[-1].record.scale_recovered_g == pytest.approx(7.215, abs=0.01)  # 14 g x 0.5154


def test_a_question_with_network_is_the_server_s_page_and_the_photograph_stays(phone, served, tmp_path):
    _, logbook = served
    picture = tmp_path / "look.jpg"
    picture.write_bytes(photograph())
    phone.open("/boiler?boiler=kitchen")
    phone.tap("summary")
    phone.set_day("#f-date", TODAY - timedelta(days=3000))
    phone.find("#f-photo").send_keys(str(picture))
    before = len(entries(logbook))
    phone.tap('button[name="grade"][value="2"]')
    phone.wait(lambda: phone.browser.js("return document.getElementById('trouble') !== null"))
    assert phone.browser.js("return document.getElementById('f-photo').files.length") == 1
    assert phone.browser.js("return document.activeElement.id") == "trouble"
    assert len(entries(logbook)) == before
    assert len(kept(phone)) == 1
    phone.open("/boiler?boiler=kitchen")
    phone.wait(lambda: "Look at kitchen" in panel(phone))
    press(phone, "away")
    press(phone, "away")
    phone.wait(lambda: not kept(phone))
    phone.wait(lambda: panel(phone) == "")


def test_what_is_typed_is_there_again_after_a_reload_and_gone_once_recorded(phone, served):
    _, logbook = served
    path = "/visit?boiler=kitchen&what=descale"
    phone.open(path)
    phone.find("#f-acid").send_keys("citric")
    phone.find("#f-acid_g").send_keys("31")
    phone.browser.js("document.querySelector('input[name=scope][value=partial]').click()")
    phone.open(path)
    assert "is back" in phone.find(".draft").text
    assert [phone.find(f"#f-{one}").get_property("value") for one in ("acid", "acid_g")] == ["citric", "31"]
    assert phone.browser.js("return document.querySelector('input[name=scope]:checked').value") == "partial"
    phone.tap("main form button.main")
    phone.wait_for("/saved")
    assert entries(logbook)[-1].record.acid == "citric"
    phone.open(path)
    assert phone.find("#f-acid").get_property("value") == ""
    phone.find("#f-acid").send_keys("x")
    phone.open(path)
    phone.tap(".draft button")
    phone.wait(lambda: not phone.driver.find_elements("css selector", ".draft"))
    phone.open(path)
    assert phone.find("#f-acid").get_property("value") == ""


def test_the_day_is_that_of_the_act_on_a_page_that_was_opened_the_day_before(phone, served):
    _, logbook = served
    phone.open("/boiler?boiler=kitchen")
    phone.network(False)
    phone.browser.js(
        "const Real = Date; window.Date = class extends Real {"
        "constructor(...given) { if (given.length) { super(...given); } else { super(Real.now() + 86400000); } } }"
    )
    before = len(entries(logbook))
    phone.tap('button[name="grade"][value="4"]')
    phone.wait(lambda: f"Look at kitchen, {TODAY + timedelta(days=1)}" in panel(phone))
    assert phone.find("[data-day]").text == str(TODAY + timedelta(days=1))
    assert len(entries(logbook)) == before


def test_a_look_that_is_sent_days_later_has_the_day_on_which_it_was_made(phone, served, monkeypatch):
    _, logbook = served
    phone.open("/boiler?boiler=kitchen")
    phone.browser.js("document.querySelector('input[name=site][value=gauge]').click()")
    phone.network(False)
    phone.tap('button[name="grade"][value="2"]')
    phone.wait(lambda: "not yet in the logbook" in panel(phone))
    monkeypatch.setenv("SCALEMODEL_TODAY", str(TODAY + timedelta(days=3)))
    phone.network(True)
    phone.wait(lambda: "Now in the logbook" in panel(phone))
    assert entries(logbook)[-1].record.date == TODAY


def test_what_is_thrown_away_while_it_is_on_its_way_does_not_come_back(phone, served):
    site, _ = served
    phone.open("/boiler?boiler=dry")
    phone.network(False)
    phone.tap('button[name="grade"][value="1"]')
    phone.wait(lambda: "not yet in the logbook" in panel(phone))
    phone.browser.js("document.getElementById('keeping').open = true")
    site.swallow, site.swallowed = True, False
    phone.network(True)
    phone.wait(lambda: site.swallowed)
    press(phone, "away")
    press(phone, "away")
    phone.wait(lambda: kept(phone) == [])
    site.foreign = "<h1>not of the server</h1>"
    site.let_go()
    time.sleep(1)
    site.foreign = ""
    assert kept(phone) == []


def test_a_link_without_network_leaves_the_page_open(phone):
    phone.open("/boiler?boiler=kitchen")
    phone.network(False)
    phone.tap("nav.rows a")
    phone.wait(lambda: "no other page can be opened" in panel(phone))
    assert phone.driver.current_url.endswith("/boiler?boiler=kitchen")
    phone.network(True)
    phone.tap("nav.rows a")
    phone.wait_for("/visit")


def test_who_cannot_tell_is_asked_without_the_server(phone, served):
    _, logbook = served
    before = len(entries(logbook))
    phone.open("/boiler?boiler=dry")
    phone.network(False)
    phone.tap("button.cannot")
    phone.tap('button[name="grade"][value="2+"]')
    phone.wait(lambda: "2 or worse" in panel(phone))
    assert len(entries(logbook)) == before
    assert ["grade", "2+"] in kept(phone)[0]["fields"]


def test_a_server_that_stops_and_starts_again_gets_what_was_kept(phone, served):
    site, logbook = served
    phone.open("/visit?boiler=kitchen&what=water-test")
    phone.find("#f-tds_mg_l").send_keys("150")
    before = len(entries(logbook))
    site.stop()
    phone.tap("main form button.main")
    phone.wait(lambda: "not yet in the logbook" in panel(phone))
    site.start()
    press(phone, "Send now")
    phone.wait(lambda: "Now in the logbook" in panel(phone) and not kept(phone))
    assert len(entries(logbook)) == before + 1


def test_what_another_answers_in_the_server_s_place_is_no_answer(phone, served):
    site, logbook = served
    phone.open("/visit?boiler=kitchen&what=water-test")
    phone.find("#f-tds_mg_l").send_keys("151")
    before = len(entries(logbook))
    site.foreign = "<!DOCTYPE html><h1>Welcome to our network, please log in</h1>"
    phone.tap("main form button.main")
    phone.wait(lambda: "not yet in the logbook" in panel(phone))
    assert "log in" not in phone.browser.js("return document.body.textContent")
    press(phone, "Send now")
    time.sleep(1)
    assert [one["state"] for one in kept(phone)] == ["waiting"]
    assert len(entries(logbook)) == before
    site.foreign = ""
    press(phone, "Send now")
    phone.wait(lambda: "Now in the logbook" in panel(phone) and not kept(phone))
    assert len(entries(logbook)) == before + 1


def test_a_device_that_is_unpaired_meanwhile_keeps_what_it_has_and_sends_it_when_it_is_paired_again(phone, served):
    site, logbook = served
    phone.open("/visit?boiler=kitchen&what=water-test")
    phone.find("#f-tds_mg_l").send_keys("152")
    before = len(entries(logbook))
    site.site.pairing.forget_others("")
    phone.tap("main form button.main")
    phone.wait(lambda: "not paired" in panel(phone))
    assert len(entries(logbook)) == before
    phone.open(f"/pair/{site.site.pairing.offer()}")
    phone.wait(lambda: "Now in the logbook" in panel(phone) and not kept(phone))
    assert len(entries(logbook)) == before + 1
    assert kept(phone) == []


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_what_is_kept_is_told_to_everybody_and_every_target_is_as_high_as_a_thumb(phone, dark):
    from axe_selenium_python import Axe

    phone.hold(dark=dark)
    phone.open("/boiler?boiler=kitchen")
    phone.browser.js("document.querySelector('details').open = true")
    phone.find("#f-note").send_keys("torch")
    phone.open("/boiler?boiler=kitchen")
    phone.network(False)
    phone.tap('.chips label[for="site-2"]')
    phone.tap('button[name="grade"][value="2"]')
    phone.wait(lambda: "not yet in the logbook" in panel(phone))
    axe = Axe(phone.driver)
    axe.inject()
    tags = ["wcag2a", "wcag2aa", "best-practice"]
    found = axe.run(options={"runOnly": {"type": "tag", "values": tags}})["violations"]
    wide = phone.browser.js("return document.documentElement.scrollWidth")
    small = phone.browser.js(SMALL, LEAST_TARGET)
    phone.hold()
    assert [(one["id"], [node["html"][:120] for node in one["nodes"]][:3]) for one in found] == []
    assert wide <= 390
    assert small == []
