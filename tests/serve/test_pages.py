"""The pages at the machine, as a paired device without a script sees them."""

import re
from datetime import date
from io import BytesIO

import pytest

from scalemodel.logbook.retiring import retire
from scalemodel.logbook.store import Logbook
from tests.logbook.pictures import photograph
from tests.report.checked_html import Page
from tests.serve.conftest import ORIGIN, STRANGE, TODAY, Phone, entries, words


def until(reply) -> str | None:
    found = re.search(r'<time id="until" datetime="([\d-]+)">', reply.text)
    return found and found[1]


def rows(reply) -> list[str]:
    return re.findall(r'<span class="who"><bdi>(.*?)</bdi>', reply.text)


@pytest.fixture
def warm(site, phone):
    """Every boiler is answered already."""
    with site.shop.reading() as book:
        facts = [book.facts(one.boiler, book.today()) for one in book.boilers()]
    for one in facts:
        site.shop.desk.ask(one).look(120)
    return phone


def test_the_list_is_what_due_says(warm, logbook):
    import scalemodel

    with Logbook.open(logbook) as book:
        expected = scalemodel.due(book, workers=1)
    reply = warm.get("/")
    assert len(rows(reply)) == len(expected) == 3
    assert rows(reply)[0] == "kitchen"
    for row in expected:
        if row.defer_until:
            assert f'<time datetime="{row.defer_until}">' in reply.text
    assert "no answer: " in reply.text
    assert "second floor" in words(reply)
    assert "water tap" in words(reply)


def test_the_list_is_searched_over_all_that_it_shows(warm):
    assert rows(warm.get("/", q="SECOND kitch")) == ["kitchen"]
    assert rows(warm.get("/", q="soft"))[0].startswith("&lt;script&gt;")
    assert rows(warm.get("/", q="2026-06-01")) == ["kitchen"]
    assert rows(warm.get("/", q="no such word")) == []
    assert len(rows(warm.get("/", within="7"))) < 3
    assert len(rows(warm.get("/", within="soon"))) == 3


def test_a_boiler_that_is_being_reckoned_is_said_to_be(phone, site, monkeypatch):
    monkeypatch.setattr(site.shop.desk._crew, "give", lambda *job: None)
    reply = phone.get("/")
    assert rows(reply) == []
    assert 'id="waiting" data-count="3"' in reply.text
    assert phone.get("/ready").json == {"waiting": 3}


def test_a_grade_is_one_tap_and_the_new_date_is_told(phone, logbook):
    page = phone.get("/boiler", boiler="kitchen")
    assert re.findall(r'<button name="grade" value="(\d)"', page.text) == ["0", "1", "2", "3", "4"]
    assert "a thin chalky coat" in page.text
    before = until(page)
    reply = phone.post("/look", boiler="kitchen", grade="1", site="wall")
    assert reply.status_code == 200
    (look,) = [one.record for one in entries(logbook, "inspection")][-1:]
    assert (look.boiler, look.date, look.site, look.grade_low, look.grade_high) == ("kitchen", TODAY, "wall", 1, 1)
    assert until(reply) is not None
    assert f'Before it: wait until <time datetime="{before}">' in reply.text
    assert "the scale" in words(reply) or "scale is likely" in words(reply)
    assert until(phone.get("/boiler", boiler="kitchen")) == until(reply)


def test_an_undo_is_a_strike_with_its_trail_and_the_date_is_as_before(phone, logbook):
    before = until(phone.get("/boiler", boiler="kitchen"))
    phone.post("/look", boiler="kitchen", grade="3", site="wall")
    number = entries(logbook)[-1].number
    reply = phone.post("/strike", entry=number, reason="undone at the boiler, just after it was recorded")
    assert "Struck" in words(reply)
    assert until(reply) == before
    assert entries(logbook)[-1].strike_reason.startswith("undone")
    assert "struck: undone" in words(phone.get("/history", boiler="kitchen"))


def test_a_neighbouring_tap_makes_a_range(phone, logbook):
    saved = phone.post("/look", boiler="kitchen", grade="1", site="wall")
    assert re.findall(r'name="grade" value="([^"]+)"', saved.text) == ["0-1", "1-2"]
    phone.post("/widen", entry=entries(logbook)[-1].number, grade="1-2")
    last = entries(logbook)[-1]
    assert (last.record.grade_low, last.record.grade_high, last.reason) == (1, 2, "a neighbouring grade too")


def test_who_cannot_tell_is_asked_for_what_can_be_said_and_nothing_is_recorded(phone, logbook):
    count = len(entries(logbook))
    reply = phone.post("/look", boiler="kitchen", grade="cannot-tell", site="wall")
    assert 'name="grade" value="3+"' in reply.text
    assert len(entries(logbook)) == count
    phone.post("/look", boiler="kitchen", grade="3+", site="wall")
    assert (entries(logbook)[-1].record.grade_low, entries(logbook)[-1].record.grade_high) == (3, 4)


def test_a_look_s_details_are_kept_and_who_looks_is_remembered_on_the_device(phone, site, logbook):
    phone.post(
        "/look",
        boiler="kitchen",
        grade="2",
        site="gauge",
        inspector="Ada Miller é",
        method="mirror",
        thickness_um="12",
        note="damp",
    )
    look = entries(logbook)[-1].record
    assert (look.site, look.inspector, look.method, look.thickness_um, look.note) == (
        "gauge",
        "Ada Miller é",
        "mirror",
        12.0,
        "damp",
    )
    page = phone.get("/boiler", boiler="kitchen").text
    assert 'value="Ada Miller é"' in page
    assert re.search(r'name="site" value="gauge" checked', page)
    assert re.search(r'name="method" value="eye" checked', page)
    assert "Ada Miller" not in Phone(site).get("/boiler", boiler="kitchen").text


def test_a_photograph_goes_with_the_look_and_is_shown_beside_the_next(phone, logbook):
    file = (BytesIO(photograph()), "look.jpg")
    saved = phone.post("/look", boiler="kitchen", grade="2", site="wall", photo=file)
    assert saved.status_code == 200
    assert entries(logbook)[-1].photographs == 1
    (sha256,) = re.findall(r"/photo\?sha256=([0-9a-f]{64})", phone.get("/boiler", boiler="kitchen").text)
    shown = phone.get("/photo", sha256=sha256)
    assert shown.content_type == "image/jpeg"
    assert shown.data[:2] == b"\xff\xd8"


def test_a_form_that_is_sent_twice_records_once(phone, logbook):
    key = re.search(r'name="key" value="([^"]+)"', phone.get("/boiler", boiler="kitchen").text)[1]
    for _ in range(2):
        assert phone.post("/look", boiler="kitchen", grade="2", site="wall", key=key).status_code == 200
    assert len(entries(logbook, "inspection")) == 2
    for _ in range(2):
        phone.post("/visit", boiler="kitchen", what="litres", litres="20", key=key + "x")
    assert len(entries(logbook, "use")) == 3


# ---- what is questioned


def test_what_is_just_like_another_is_questioned_and_insisted_on(phone, logbook):
    phone.post("/look", boiler="kitchen", grade="2", site="wall")
    count = len(entries(logbook))
    asked = phone.post("/look", boiler="kitchen", grade="2", site="wall")
    assert asked.status_code == 409
    assert "says just this already" in words(asked)
    assert 'name="again" value="yes">Enter it once more</button>' in asked.text
    assert '<input type="hidden" name="grade" value="2">' in asked.text
    assert len(entries(logbook)) == count
    phone.post("/look", boiler="kitchen", grade="2", site="wall", again="yes")
    assert len(entries(logbook)) == count + 1


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"what": "litres", "litres": "600"}, "L a day"),
        ({"what": "water-test", "water": "tap", "tds_mg_l": "4000"}, "tap"),
        ({"what": "descale", "acid_g": "900"}, "g of dry acid"),
        ({"what": "absence", "from_date": "2026-11-25", "to_date": "2029-01-01"}, "more than"),
    ],
)
def test_what_is_hard_to_believe_is_questioned_by_the_command_line_s_rules(phone, logbook, form, said):
    count = len(entries(logbook))
    asked = phone.post("/visit", boiler="kitchen", **form)
    assert asked.status_code == 409
    assert said in words(asked)
    assert 'name="sure" value="yes"' in asked.text
    assert len(entries(logbook)) == count
    assert phone.post("/visit", boiler="kitchen", **form, sure="yes").status_code == 200
    assert len(entries(logbook)) > count


def test_a_site_that_was_not_named_is_asked_for(phone, logbook):
    phone.post("/look", boiler="kitchen", grade="1", site="gauge")
    count = len(entries(logbook))
    asked = phone.post("/look", boiler="kitchen", grade="2")
    assert asked.status_code == 409
    assert "where it was: wall or gauge" in words(asked)
    assert len(entries(logbook)) == count


@pytest.mark.parametrize("grade", ["5", "", "2-1", "two", "0x1", "1-2-3"])
def test_a_grade_that_is_none_is_refused_in_a_line(phone, logbook, grade):
    count = len(entries(logbook))
    reply = phone.post("/look", boiler="kitchen", grade=grade, site="wall")
    assert reply.status_code == 409
    assert "grade" in words(reply)
    assert len(entries(logbook)) == count


# ---- the rest of a visit


def test_water_drawn_since_the_last_record_needs_no_dates(phone, logbook):
    page = words(phone.get("/visit", boiler="kitchen", what="litres"))
    assert "On record until 2026-10-01; the meter read 110 L" in page
    phone.post("/visit", boiler="kitchen", what="litres", litres="24")
    use = entries(logbook)[-1].record
    assert (use.from_date, use.to_date, use.litres) == (date(2026, 10, 1), TODAY, 24.0)


def test_the_meter_goes_on_from_its_last_reading(phone, logbook):
    assert 'name="meter_from_l" value="110"' in phone.get("/visit", boiler="kitchen", what="meter").text
    phone.post("/visit", boiler="kitchen", what="meter", meter_to_l="131.5")
    use = entries(logbook)[-1].record
    assert (use.meter_from_l, use.meter_to_l) == (110.0, 131.5)
    refused = phone.post("/visit", boiler="kitchen", what="meter", meter_to_l="1")
    assert refused.status_code == 409


def test_drinks_ask_once_how_much_one_is(phone, logbook):
    assert 'name="litres_per_drink" value="0.2"' in phone.get("/visit", boiler="kitchen", what="drinks").text
    phone.post("/visit", boiler="kitchen", what="drinks", drinks="90", litres_per_drink="0.25")
    with Logbook.open(logbook) as book:
        assert book.boiler("kitchen").litres_per_drink == 0.25
    details = phone.get("/visit", boiler="kitchen", what="drinks").text.split("<details")[1]
    assert 'name="litres_per_drink"' in details


def test_a_water_test_says_what_it_was_understood_to_mean(phone, logbook):
    form = {"hardness": "9", "hardness_unit": "dH", "alkalinity": "6", "alkalinity_unit": "dH", "water": "tap"}
    reply = phone.post("/visit", boiler="kitchen", what="water-test", **form, sure="yes")
    assert "Understood as: hardness about 161 mg/L as CaCO3, 9 dH" in words(reply)
    assert entries(logbook)[-1].record.hardness_unit == "dH"
    assert until(reply) is not None


def test_a_change_of_water_an_absence_and_a_descale(phone, logbook):
    assert "It draws tap now" in words(phone.get("/visit", boiler="kitchen", what="fill"))
    for form, kind in (
        ({"what": "fill", "water": "soft"}, "fill"),
        ({"what": "absence", "from_date": "2026-12-20", "to_date": "2027-01-05"}, "absence"),
        ({"what": "descale", "scope": "partial", "acid": "citric", "acid_g": "40"}, "descale"),
    ):
        assert phone.post("/visit", boiler="kitchen", **form).status_code == 200
        assert entries(logbook)[-1].kind == kind
    assert entries(logbook)[-1].record.scope == "partial"


@pytest.mark.parametrize("what", ["litres", "drinks", "meter", "water-test", "descale", "absence", "fill"])
def test_a_form_with_nothing_in_it_records_nothing(phone, logbook, what):
    count = len(entries(logbook))
    blank = {"water": "", "from_date": "", "to_date": "", "date": "", "scope": ""}
    reply = phone.post("/visit", boiler="kitchen", what=what, **blank)
    assert reply.status_code == 409
    assert "Not recorded." in words(reply)
    assert len(entries(logbook)) == count


# ---- plan, guide, report, history


def test_the_plan_has_its_cautions_first_and_steps_to_tick(phone):
    reply = phone.get("/plan", boiler="kitchen", acid="sulfamic")
    assert reply.text.index("Cautions first") < reply.text.index("What it takes") < reply.text.index("The steps")
    assert reply.text.count('type="checkbox"') > 5
    assert "sulfamic" in reply.text.split("The steps")[0]


def test_the_guide_and_the_report(phone):
    assert "0: bare metal" in words(phone.get("/guide", boiler="kitchen"))
    reply = phone.get("/report", boiler="kitchen")
    assert 'id="risk-heading"' in reply.text
    assert '<a href="/">' in reply.text
    policy = reply.headers["Content-Security-Policy"]
    assert "'sha256-" in policy
    assert "frame-ancestors 'none'" in policy


def test_a_report_that_cannot_be_drawn_says_why(phone):
    reply = phone.get("/report", boiler="dry")
    assert reply.status_code == 409
    assert "no answer" in words(reply).lower()


def test_a_record_is_amended_and_struck_with_reasons(phone, logbook):
    (look,) = (one for one in entries(logbook, "inspection"))
    page = phone.get("/entry", entry=look.number)
    form = {
        name: value.replace("&lt;", "<").replace("&gt;", ">")
        for name, value in re.findall(r'<input (?:type="date" )?id="f-\w+" name="(\w+)" value="([^"]*)"', page.text)
    }
    form |= {"site": "wall", "method": "eye", "note": "<b>dull</b>", "after_descale_shown": "yes"}
    unchanged = phone.post("/amend", entry=look.number, **form)
    assert unchanged.status_code == 409
    assert "says so already" in words(unchanged)
    phone.post("/amend", entry=look.number, **{**form, "grade_low": "0", "grade_high": "1"}, reason="misread")
    last = entries(logbook)[-1]
    assert (last.replaces, last.reason, last.record.grade_low, last.record.grade_high) == (look.number, "misread", 0, 1)
    assert last.record.note == "<b>dull</b>"
    assert phone.post("/strike", entry=last.number, reason=" ").status_code == 409
    phone.post("/strike", entry=last.number, reason="another boiler's look")
    told = words(phone.get("/history", boiler="kitchen"))
    assert "struck: another boiler&#39;s look" in told
    assert f"amended by {last.number}: misread" in told


def test_a_water_test_is_amended_with_its_unit(phone, logbook):
    test = entries(logbook, "water_test")[0]
    phone.post("/amend", entry=test.number, hardness="5", hardness_unit="dH", sure="yes")
    last = entries(logbook)[-1].record
    assert (last.hardness, last.hardness_unit, last.tds_mg_l) == (5.0, "dH", 150.0)


def test_every_page_is_sound_html_and_keeps_names_text(warm, logbook):
    for boiler in ("kitchen", STRANGE, "dry"):
        numbers = [one.number for one in entries(logbook) if getattr(one.record, "boiler", "") == boiler]
        paths = [("/boiler", {}), ("/guide", {}), ("/history", {}), ("/visit", {"what": "litres"})]
        replies = [warm.get(path, boiler=boiler, **more) for path, more in paths]
        replies += [warm.get("/entry", entry=numbers[0]), warm.get("/saved", entry=numbers[-1]), warm.get("/")]
        for reply in replies:
            assert reply.status_code == 200
            assert "<script>alert" not in reply.text
            assert "<b>dull" not in reply.text
            Page(reply.text).check(served=True)


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/nothing", 404),
        ("/boiler", 400),
        ("/boiler?boiler=nobody", 404),
        ("/entry?entry=99999", 400),
        ("/entry?entry=-1", 400),
        ("/entry?entry=1e3", 400),
        ("/visit?boiler=kitchen&what=party", 404),
        ("/photo?sha256=../../etc/passwd", 400),
        ("/history?boiler=kitchen&before=x", 400),
    ],
)
def test_an_address_that_leads_nowhere_is_a_page_with_a_line(phone, path, status):
    reply = phone.get(path)
    assert reply.status_code == status
    assert "Traceback" not in reply.text
    Page(reply.text).check(served=True)


def test_a_former_name_is_found_and_leads_on(warm, logbook):
    with Logbook.open(logbook, write=True) as book:
        book.rename("boiler", "dry", "parched")
        book.rename("boiler", "parched", "damp")
    for query in ("dry", "PARCHED", "damp"):
        assert "boiler=damp" in warm.get("/", q=query).text  # in the list, or among those being reckoned
    assert "boiler=damp" not in warm.get("/", q="kitchen").text
    reply = warm.get("/boiler", boiler="dry")
    assert (reply.status_code, reply.headers["Location"]) == (303, "/boiler?boiler=damp")
    assert "is called &#39;damp&#39;" in warm.post("/look", boiler="dry", grade="1").text


def test_a_retired_boiler_is_out_of_the_list_and_says_so_on_its_page(warm, logbook):
    with Logbook.open(logbook, write=True) as book:
        retire(book, "dry")
    assert "dry" not in rows(warm.get("/"))
    assert "Retired on 2026-11-25." in warm.get("/boiler", boiler="dry").text


# ---- what the script of a form asks for


def key_of(reply) -> str:
    return re.search(r'name="key" value="([^"]+)"', reply.text)[1]


def test_the_script_is_told_where_a_record_stands_the_same_each_time_it_is_sent(phone, logbook):
    count = len(entries(logbook))
    sent = {"boiler": "kitchen", "grade": "2", "site": "wall", "date": str(TODAY), "key": "one-and-the-same"}
    script = {**ORIGIN, "Accept": "application/json"}
    told = [phone.post("/look", headers=script, **sent) for _ in range(3)]
    assert [one.status_code for one in told] == [200] * 3
    number = entries(logbook)[-1].number
    assert [one.json for one in told] == [{"recorded": f"/saved?entry={number}"}] * 3
    assert phone.post("/look", follow=False, **sent).headers["Location"] == f"/saved?entry={number}"
    assert len(entries(logbook)) == count + 1


def test_the_script_gets_a_question_as_the_page_that_people_see(phone):
    reply = phone.post("/visit", headers={**ORIGIN, "Accept": "application/json"}, **FAR)
    assert reply.status_code == 409
    assert "Is that so?" in words(reply)


FAR = {
    "boiler": "kitchen",
    "what": "absence",
    "from_date": str(TODAY),
    "to_date": "2030-01-01",
    "key": "an-absence-of-years",
}
"""A form that is asked about before it is taken."""


def test_a_form_keeps_its_key_through_a_question_and_an_error_but_not_when_the_key_is_another_s(phone, logbook):
    assert key_of(phone.post("/visit", **FAR)) == FAR["key"]
    assert key_of(phone.post("/visit", **{**FAR, "to_date": "soon"})) == FAR["key"]
    phone.post("/visit", sure="yes", **FAR)
    clash = phone.post("/visit", **{**FAR, "to_date": "2026-12-01"})
    assert clash.status_code == 409
    assert key_of(clash) != FAR["key"]
    assert len([one for one in entries(logbook) if one.kind == "absence"]) == 1


def test_an_amendment_that_is_sent_twice_is_one(phone, logbook):
    number = next(one.number for one in entries(logbook, "inspection"))
    count = len(entries(logbook))
    form = {"entry": number, "note": "torch", "reason": "once", "key": "an-amendment"}
    for _ in range(2):
        assert phone.post("/amend", **form).status_code == 200
    assert len(entries(logbook)) == count + 1


def test_a_grade_that_is_tapped_at_a_question_counts_before_the_one_asked_about(phone, logbook):
    first = {"boiler": "kitchen", "grade": "1", "site": "wall", "date": "2026-06-01", "note": "<b>dull</b>"}
    asked = phone.post("/look", **first)
    assert asked.status_code == 409
    pad, hidden = asked.text.index('name="grade" value="2"'), asked.text.index('type="hidden" name="grade"')
    assert pad < hidden  # a form is read from its start


def test_the_server_says_that_it_is_there_to_paired_devices_alone(site, phone):
    assert phone.get("/alive").json == {"form_token": phone.token()}
    assert Phone(site, paired=False).get("/alive").status_code == 401


def test_without_a_script_every_form_is_sent_as_any_form_is(phone):
    for path in ("/boiler?boiler=kitchen", "/visit?boiler=kitchen&what=descale", "/entry?entry=13"):
        page = phone.get(path).text
        for form in re.findall(r"<form[^>]* data-keep=[^>]*>", page):
            assert 'method="post"' in form
            assert re.search(r'action="/\w', form)


# ---- a descale whose spent acid was titrated

DESCALE = {"boiler": "kitchen", "what": "descale", "date": str(TODAY), "scope": "full"}


def test_the_scale_is_reckoned_from_the_acid_spent_as_the_command_line_does(phone, logbook):
    sent = {"acid": "citric-monohydrate", "acid_g": "37.5", "acid_spent_g": "14", "note": "two baths"}
    reply = phone.post("/visit", **DESCALE, **sent)
    assert reply.status_code == 200
    descale = entries(logbook)[-1].record
    assert descale.scale_recovered_g == 10.0  # 14 g x 0.7144 (three protons, two a CaCO3), as tests/cli has it
    assert (descale.acid, descale.acid_g) == ("citric-monohydrate", 37.5)
    assert descale.note.startswith("two baths; scale recovered reckoned as CaCO3 from 14 g of citric acid monohydrate")


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({}, "acid: '' will not do; expected for the acid spent by titration one of citric-monohydrate"),
        ({"acid": "vinegar"}, "no acid is called 'vinegar'; known:"),
        ({"acid": "sulfamic", "acid_spent_g": "0"}, "acid spent by titration: '0' will not do"),
        ({"acid": "sulfamic", "acid_spent_g": "nan"}, "acid spent by titration: 'nan' will not do"),
        ({"acid": "sulfamic", "acid_g": "5"}, "acid spent by titration: '6' will not do; expected at most the 5 g"),
        ({"acid": "sulfamic", "scale_recovered_g": "5"}, "expected either it or the dry scale that came out, not both"),
    ],
)
def test_a_senseless_titration_is_refused_with_what_was_typed(phone, logbook, form, said):
    count = len(entries(logbook))
    reply = phone.post("/visit", **{**DESCALE, "acid_spent_g": "6", **form})
    assert reply.status_code == 409
    assert said in words(reply).replace("&#39;", "'")
    assert f'name="acid_spent_g" value="{form.get("acid_spent_g", "6")}"' in reply.text
    assert len(entries(logbook)) == count


def test_scale_beyond_belief_is_questioned_and_insisted_on(phone, logbook):
    count = len(entries(logbook))
    form = {**DESCALE, "acid": "citric-monohydrate", "acid_spent_g": "900"}
    asked = phone.post("/visit", **form)
    assert asked.status_code == 409
    assert "half a millimetre thick" in words(asked)
    assert 'name="acid_spent_g" value="900"' in asked.text
    assert len(entries(logbook)) == count
    assert phone.post("/visit", sure="yes", **form).status_code == 200
    assert entries(logbook)[-1].record.scale_recovered_g == 643.0  # 900 g x 0.7144, four digits
