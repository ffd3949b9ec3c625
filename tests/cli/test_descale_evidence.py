"""The evidence of a descale: acid spent by titration, and what history says was left."""

import json
from datetime import date, timedelta

import pytest

from scalemodel.logbook import clock
from scalemodel.logbook.records import Descale
from scalemodel.logbook.store import Logbook

pytestmark = pytest.mark.calendar

DAY = date(2025, 5, 1)
DESCALE = ("add", "descale", "kitchen", DAY)


def last_descale(desk) -> Descale:
    with Logbook.open(desk.path) as book:
        return book.current("descale")[-1].record


def test_scale_from_the_acid_spent(busy_desk):
    said = busy_desk.do(*DESCALE, "--acid", "citric-monohydrate", "--acid-g", "37.5", "--acid-spent-g", "14")
    assert "10 g of scale recovered, note: scale recovered reckoned as CaCO3 from 14 g" in said
    record = last_descale(busy_desk)
    assert record.scale_recovered_g == 10.0  # 14 g x 0.7144 (three protons, two a CaCO3)
    assert (record.acid, record.acid_g) == ("citric-monohydrate", 37.5)
    assert record.note.endswith("spent by titration (0.7144 g/g)")


def test_the_note_is_kept_beside_it(busy_desk):
    busy_desk.do(*DESCALE, "--acid", "Sulfamic", "--acid-spent-g", "20", "--note", "twice")
    record = last_descale(busy_desk)
    assert record.note.startswith("twice; scale recovered reckoned")
    assert (record.acid, record.scale_recovered_g) == ("sulfamic", 10.31)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--acid-spent-g", "5"), "--acid: '' will not do; expected with --acid-spent-g one of citric-monohydrate"),
        (("--acid-spent-g", "5", "--acid", "citric"), "no acid is called 'citric'"),
        (("--acid-spent-g", "5", "--acid", "vinegar"), "no acid is called 'vinegar'; known:"),
        (("--acid-spent-g", "0", "--acid", "sulfamic"), "--acid-spent-g: '0' will not do"),
        (("--acid-spent-g", "nan", "--acid", "sulfamic"), "--acid-spent-g: 'nan' will not do"),
        (("--acid-spent-g", "6", "--acid", "sulfamic", "--acid-g", "5"), "at most the 5 g that went in"),
        (("--acid-spent-g", "6", "--acid", "sulfamic", "--scale-recovered-g", "5"), "not both"),
    ],
)
def test_senseless_titrations(busy_desk, words, said):
    assert said in busy_desk.refuse(*DESCALE, *words)


@pytest.fixture
def descaled(busy_desk):
    busy_desk.do("add", "water-test", "tap", "2025-01-10", "--tds", "240")
    busy_desk.do("add", "use", "kitchen", "2025-01-10", "2025-05-01", "--litres", "120")
    busy_desk.do("add", "inspection", "kitchen", "2025-04-30", "3")
    busy_desk.do(*DESCALE)
    return busy_desk


def test_history_says_what_a_descale_left(descaled):
    head, tail = descaled.do("history", "kitchen").split("\n\nWhat the descales left:\n")
    assert "descale" in head
    assert tail.startswith("  - the full descale on 2025-05-01 left about ")
    assert "mg/cm2" in tail
    assert "this is what is usual" in tail
    body = json.loads(descaled.do("history", "kitchen", "--json"))
    (left,) = body["residue"]
    assert body["residue_reason"] is None
    assert 0.0 < left["share"]["p10"] < left["share"]["p50"] < left["share"]["p90"] < 1.0
    assert left["left_mg_cm2"]["p50"] > 0.0
    for inspector, grade in (("early", "3"), ("early", "3+"), ("late", "3")):
        descaled.do("add", "inspection", "kitchen", DAY, grade, "--after-descale", "--note", inspector)
    assert "it left more than it should" in descaled.do("history", "kitchen")


def test_history_and_defer_say_the_same(descaled):
    left = json.loads(descaled.do("history", "kitchen", "--json"))["residue"]
    assert json.loads(descaled.do("defer", "kitchen", "--json", "--as-of", clock.today()))["residue"] == left
    assert "the full descale on 2025-05-01 left about" in descaled.do("defer", "kitchen")
    for days in (30, 60):
        descaled.do("add", "descale", "kitchen", DAY + timedelta(days=days))
    said = descaled.do("defer", "kitchen")
    assert said.count("full descale on") == 2
    assert "what earlier descales left: scalemodel history kitchen" in said
    assert descaled.do("history", "kitchen").count("the full descale on") == 3


def test_history_says_why_it_cannot_tell(busy_desk):
    busy_desk.do(*DESCALE)
    said = busy_desk.do("history", "kitchen")
    assert "What the descales left cannot be told yet: no use of kitchen is on record" in said
    body = json.loads(busy_desk.do("history", "kitchen", "--json"))
    assert body["residue"] is None
    assert body["residue_reason"].startswith("no use of kitchen")


def test_history_without_descales_or_of_all_says_nothing(descaled, busy_desk):
    assert "descales left" not in descaled.do("history")
    number = len(descaled.do("history").splitlines()) - 1
    descaled.do("strike", str(number), "--reason", "never happened")
    assert "descales left" not in descaled.do("history", "kitchen")
    assert json.loads(descaled.do("history", "kitchen", "--json"))["residue"] == []
