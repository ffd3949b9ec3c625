"""What may stand beside what: each rule refuses what breaks it, says what clashes, and writes nothing."""

import random
from dataclasses import replace
from datetime import date, timedelta

import pytest

from scalemodel.errors import BadValueError, RecordClashError, UnknownNameError
from scalemodel.logbook.records import Absence, Boiler, Descale, Fill, Inspection, Prices, Site, Use, Water, WaterTest
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import (
    ABSENCE,
    BOILER,
    FILL,
    INSTALLED,
    LOOK,
    PRICES,
    RECORDS,
    SITE,
    TODAY,
    USE,
    WATER,
    dump,
    today,
)

pytestmark = pytest.mark.calendar

DAY = date(2026, 3, 1)
BEFORE = date(2026, 1, 9)
TOMORROW = date(2026, 6, 2)
LATER_USE = Use("kitchen", date(2026, 2, 10), DAY, litres=19.0)


def refuse_add(book, record, error, words):
    before = dump(book)
    with pytest.raises(error) as caught:
        book.add(record)
    assert words in str(caught.value)
    assert dump(book) == before


def refuse_amend(book, number, changes, error, words):
    before = dump(book)
    with pytest.raises(error) as caught:
        book.amend(number, changes)
    assert words in str(caught.value)
    assert dump(book) == before


def refuse_strike(book, number, words):
    before = dump(book)
    with pytest.raises(RecordClashError) as caught:
        book.strike(number, "no longer there")
    assert words in str(caught.value)
    assert dump(book) == before


# ---- dates


@pytest.mark.parametrize(
    "record",
    [
        Boiler("new", 1.0, 93.0, TOMORROW),
        WaterTest("tap", TOMORROW, tds_mg_l=200.0),
        Use("kitchen", date(2026, 5, 1), TOMORROW, litres=1.0),
        Use("kitchen", date.max, date.max, litres=1.0),
        Inspection("kitchen", TOMORROW, "wall", 1, 1),
        Descale("kitchen", TOMORROW),
        Prices("kitchen", TOMORROW, strip_down=1.0),
    ],
    ids=lambda record: type(record).__name__,
)
def test_nothing_is_dated_in_the_future(book, record):
    refuse_add(book, record, BadValueError, "today (2026-06-01) or earlier")


def test_today_is_not_the_future(book):
    book.add(Inspection("kitchen", TODAY, "wall", 1, 1))
    book.add(Use("kitchen", date(2026, 5, 1), TODAY, litres=31.0))


@pytest.mark.parametrize(
    "record",
    [
        Fill("kitchen", BEFORE, "tap"),
        Use("kitchen", BEFORE, INSTALLED, litres=1.0),
        Inspection("kitchen", BEFORE, "wall", 1, 1),
        Descale("kitchen", BEFORE),
        Prices("kitchen", BEFORE, strip_down=1.0),
        Absence("kitchen", BEFORE, TODAY),
    ],
    ids=lambda record: type(record).__name__,
)
def test_nothing_is_older_than_the_boiler(book, record):
    refuse_add(book, record, BadValueError, "2026-01-10, when 'kitchen' was installed")


def test_a_water_may_be_tested_before_any_boiler_was_there(book):
    book.add(WaterTest("tap", date(2020, 1, 1), tds_mg_l=200.0))


def test_a_boiler_is_not_installed_after_its_first_record(book):
    words = "records older than 2026-02-01 (3), the first fill 5 of 2026-01-10"
    refuse_amend(book, BOILER, {"installed_on": "2026-02-01"}, RecordClashError, words)
    book.amend(BOILER, {"installed_on": "2026-01-01"})
    assert book.boiler("kitchen").installed_on == date(2026, 1, 1)


# ---- names


@pytest.mark.parametrize("record", [r for r in RECORDS if hasattr(r, "boiler") and not isinstance(r, Boiler)])
def test_an_unknown_boiler_is_refused_with_the_nearest(book, record):
    refuse_add(book, replace(record, boiler="kitchn"), UnknownNameError, "did you mean 'kitchen'?")


@pytest.mark.parametrize("record", [Fill("kitchen", DAY, "rain"), WaterTest("rain", DAY, tds_mg_l=1.0)])
def test_an_unknown_water_is_refused_with_those_known(book, record):
    refuse_add(book, record, UnknownNameError, "no water is called 'rain'; known: tap")


def test_an_unknown_site_is_refused_with_those_known(book):
    words = "no site of 'kitchen' is called 'lid'; known: gauge, wall"
    refuse_add(book, Inspection("kitchen", DAY, "lid", 1, 1), UnknownNameError, words)


def test_a_site_of_another_boiler_is_unknown(book):
    book.add(Boiler("bar", 1.0, 120.0, INSTALLED))
    refuse_add(book, Inspection("bar", DAY, "gauge", 1, 1), UnknownNameError, "known: wall")


def test_without_any_boiler_the_way_to_one_is_said():
    with Logbook.in_memory(today) as book:
        refuse_add(book, Descale("kitchen", DAY), UnknownNameError, "record a boiler first")
        refuse_add(book, WaterTest("tap", DAY, ph=7.0), UnknownNameError, "record a water first")


def test_the_wall_needs_no_registration(book):
    book.add(Inspection("kitchen", DAY, "wall", 1, 1))


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (Boiler("kitchen", 1.0, 93.0, INSTALLED), "already a boiler called 'kitchen', record 1"),
        (Boiler("Kitchen", 1.0, 93.0, INSTALLED), "already a boiler called 'kitchen', record 1"),
        (Site("kitchen", "gauge"), "already a site called 'gauge', record 2"),
        (Site("kitchen", "Wall"), "every boiler has a site 'wall' already"),
        (Water("TAP"), "already a water called 'tap', record 3"),
    ],
)
def test_names_are_given_once(book, record, words):
    refuse_add(book, record, RecordClashError, words)


def test_two_boilers_may_have_sites_of_one_name(book):
    book.add(Boiler("bar", 1.0, 120.0, INSTALLED))
    book.add(Site("bar", "gauge"))
    book.add(Site("bar", "wall", look_cost=9.0))


@pytest.mark.parametrize(
    ("number", "change"),
    [(BOILER, {"boiler": "bar"}), (SITE, {"site": "lid"}), (SITE, {"boiler": "bar"}), (WATER, {"water": "rain"})],
)
def test_a_name_is_not_amended(book, number, change):
    refuse_amend(book, number, change, RecordClashError, "rename it: all its records follow")


def test_a_record_may_be_moved_to_another_name(book):
    book.add(Water("rain"))
    book.amend(FILL, {"water": "rain"})
    book.amend(LOOK, {"site": "wall"})
    assert book.records("fill")[0].water == "rain"
    assert book.records("inspection")[0].site == "wall"


def test_at_most_one_reference_site(book):
    first = book.add(Site("kitchen", "lid", reference=True))
    words = f"reference site already: 'lid', record {first}"
    refuse_add(book, Site("kitchen", "base", reference=True), RecordClashError, words)
    refuse_amend(book, SITE, {"reference": "yes"}, RecordClashError, words)
    book.amend(first, {"reference": "no"})
    book.amend(SITE, {"reference": "yes"})
    assert book.reference_site("kitchen") == "gauge"


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (BOILER, "boiler 'kitchen' cannot be struck: 7 records need it (2, 5, 6, 7, 8, ...)"),
        (SITE, "site 'gauge' cannot be struck: 1 record needs it (7)"),
        (WATER, "water 'tap' cannot be struck: 2 records need it (4, 5)"),
    ],
)
def test_what_records_need_is_not_struck(book, number, words):
    refuse_strike(book, number, words)


def test_what_nothing_needs_any_more_is_struck(book):
    for number in (LOOK, SITE, 8, USE, FILL, PRICES, ABSENCE, BOILER):
        book.strike(number, "gone")
    assert book.boilers() == ()
    book.add(Boiler("kitchen", 2.0, 93.0, INSTALLED))
    refuse_add(book, Inspection("kitchen", DAY, "gauge", 1, 1), UnknownNameError, "known: wall")


def test_a_registered_wall_can_be_struck_though_it_was_looked_at(book):
    number = book.add(Site("kitchen", "wall", look_cost=9.0))
    book.add(Inspection("kitchen", DAY, "wall", 1, 1))
    book.strike(number, "free after all")
    assert book.site_names("kitchen") == ("wall", "gauge")


# ---- fills and use


def test_two_fills_on_one_day_are_refused(book):
    book.add(Water("rain"))
    words = "record 5 already has 'kitchen' draw 'tap' from 2026-01-10"
    refuse_add(book, Fill("kitchen", INSTALLED, "rain"), RecordClashError, words)


@pytest.mark.parametrize(
    ("use", "error", "words"),
    [
        (replace(LATER_USE, to_date=date(2026, 2, 9)), BadValueError, "2026-02-10, the from_date, or later"),
        (replace(LATER_USE, litres=None), RecordClashError, "given no amount"),
        (replace(LATER_USE, drinks=3.0), RecordClashError, "given as litres and as drinks"),
        (
            replace(LATER_USE, meter_from_l=1.0, meter_to_l=2.0),
            RecordClashError,
            "given as litres and as meter readings",
        ),
        (replace(LATER_USE, litres=None, meter_from_l=1.0), BadValueError, "meter_to_l"),
        (replace(LATER_USE, litres=None, meter_to_l=1.0), BadValueError, "meter_from_l"),
        (replace(LATER_USE, litres=None, meter_from_l=9.0, meter_to_l=8.5), BadValueError, "9 L, the first"),
        (replace(LATER_USE, litres_per_drink=0.3), BadValueError, "a number of drinks beside it"),
    ],
)
def test_use_tells_its_litres_once_and_forward(book, use, error, words):
    refuse_add(book, use, error, words)


@pytest.mark.parametrize(
    "use",
    [
        replace(LATER_USE, litres=None, drinks=100.0, litres_per_drink=0.3),
        replace(LATER_USE, litres=None, drinks=100.0),
        replace(LATER_USE, litres=None, meter_from_l=9.0, meter_to_l=9.0),
        replace(LATER_USE, litres=0.0),
    ],
)
def test_use_in_each_way(book, use):
    book.add(use)
    assert book.records("use", "kitchen")[-1] == use


@pytest.mark.parametrize(
    ("begin", "end"),
    [
        ("2026-02-09", "2026-03-01"),
        ("2026-01-20", "2026-01-25"),
        ("2026-01-10", "2026-01-10"),
        ("2026-02-09", "2026-02-09"),
        ("2026-01-10", "2026-02-10"),
        ("2026-01-10", "2026-05-10"),
    ],
)
def test_overlapping_use_is_refused(book, begin, end):
    use = Use("kitchen", date.fromisoformat(begin), date.fromisoformat(end), litres=1.0)
    refuse_add(book, use, RecordClashError, "overlaps record 6, from 2026-01-10 to 2026-02-10")


def test_stretches_that_touch_do_not_overlap(book):
    one_day = book.add(Use("kitchen", date(2026, 2, 10), date(2026, 2, 10), litres=1.0))
    refuse_add(book, LATER_USE, RecordClashError, f"overlaps record {one_day}")
    book.add(replace(LATER_USE, from_date=date(2026, 2, 11)))
    book.add(Boiler("bar", 1.0, 120.0, INSTALLED))
    book.add(replace(LATER_USE, boiler="bar"))


def test_a_stretch_does_not_overlap_the_one_that_it_replaces(book):
    number = book.amend(USE, {"to_date": "2026-02-20"})
    refuse_add(book, LATER_USE, RecordClashError, f"overlaps record {number}")
    book.strike(number, "counted twice")
    book.add(LATER_USE)


def test_a_stretch_is_refused_if_and_only_if_it_shares_a_day_with_one_that_is_there(book):
    book.strike(USE, "to begin with none")
    chance, kept, refused = random.Random(7), [], 0
    for _ in range(150):
        begin = INSTALLED + timedelta(chance.randrange(90))
        use = Use("kitchen", begin, begin + timedelta(chance.choice([0, 0, 1, 2, 9])), litres=5.0)
        shared = any(one.from_date < use.end and use.from_date < one.end for one in kept)
        try:
            book.add(use)
        except RecordClashError:
            refused += 1
            assert shared, use
        else:
            assert not shared, use
            kept.append(use)
    assert min(len(kept), refused) > 20


# ---- looks and tests


def test_a_range_of_grades_from_high_to_low_is_refused(book):
    refuse_add(book, Inspection("kitchen", DAY, "wall", 3, 1), BadValueError, "3, the grade_low, or more")
    refuse_amend(book, LOOK, {"grade_low": "3"}, BadValueError, "3, the grade_low, or more")


@pytest.mark.parametrize("thickness", [0.0, -1.0, float("nan"), float("inf")])
def test_a_thickness_is_positive(book, thickness):
    look = Inspection("kitchen", DAY, "wall", 3, 3, thickness_um=thickness)
    refuse_add(book, look, BadValueError, "a number 0.1 to 5000 um")


def test_use_within_reason(book):
    volume = book.boiler("kitchen").volume_l
    most = 500 * volume * 10
    refuse_add(book, Use("kitchen", DAY, DAY + timedelta(days=10), litres=most + 1), RecordClashError, "500 times")
    book.add(Use("kitchen", DAY, DAY + timedelta(days=10), litres=most), sure=True)


def test_no_more_scale_than_the_boiler_holds(book):
    most = 2700 * book.boiler("kitchen").volume_l
    refuse_add(book, Descale("kitchen", DAY, scale_recovered_g=most + 1), BadValueError, "grams, not milligrams")
    book.add(Descale("kitchen", DAY, scale_recovered_g=most), sure=True)


@pytest.mark.parametrize("more", [{}, {"temperature_c": 12.0}, {"kit": "drops"}])
def test_a_water_test_without_a_reading_is_refused(book, more):
    refuse_add(book, WaterTest("tap", DAY, **more), RecordClashError, "holds no reading")


@pytest.mark.parametrize("field", ["hardness", "calcium", "alkalinity"])
def test_a_unit_stands_beside_its_number(book, field):
    test = WaterTest("tap", DAY, ph=7.0, **{f"{field}_unit": "dH"})
    refuse_add(book, test, BadValueError, f"{field} beside it")


def test_a_meter_factor_stands_beside_a_meter_reading(book):
    test = WaterTest("tap", DAY, conductivity_us_cm=600.0, tds_factor=0.5)
    refuse_add(book, test, BadValueError, "tds_mg_l beside it")


@pytest.mark.parametrize("reading", ["tds_mg_l", "conductivity_us_cm", "hardness", "calcium", "alkalinity", "ph"])
def test_one_reading_makes_a_water_test(book, reading):
    book.add(WaterTest("tap", DAY, **{reading: 7.0 if reading == "ph" else 120.0}), sure=True)


# ---- amending and striking


@pytest.mark.parametrize(
    ("changes", "error", "words"),
    [
        ({"grad": "2"}, UnknownNameError, "did you mean 'grade_low'?"),
        ({"grade_low": "7"}, BadValueError, "a whole number 0 to 4"),
        ({"grade": "2-1"}, BadValueError, "the lower grade first: 1-2"),
        ({"date": ""}, BadValueError, "a date as YYYY-MM-DD"),
        ({"date": "2027-01-01"}, BadValueError, "today (2026-06-01) or earlier"),
        ({"grade_high": " "}, BadValueError, "a whole number 0 to 4"),
        ({"grade": "1-2"}, RecordClashError, "says so already"),
        ({}, RecordClashError, "says so already"),
    ],
)
def test_amendments_that_will_not_do(book, changes, error, words):
    refuse_amend(book, LOOK, changes, error, words)


def test_blank_means_not_recorded(book):
    number = book.amend(SITE, {"look_cost": "", "note": "x"})
    assert book.entry(number).record == Site("kitchen", "gauge", note="x")
    assert book.entry(book.amend(number, {"note": ""})).record == Site("kitchen", "gauge")


def test_only_what_is_current_is_amended_or_struck(book):
    second = book.amend(LOOK, {"grade": "2"})
    refuse_amend(book, LOOK, {"grade": "3"}, RecordClashError, f"amend {second} instead")
    refuse_strike(book, LOOK, f"strike {second} instead")
    book.strike(second, "another boiler")
    refuse_amend(book, second, {"grade": "3"}, RecordClashError, "was struck: another boiler")
    refuse_strike(book, second, "was struck: another boiler")


@pytest.mark.parametrize("number", [0, -1, 99, 2**63, 2**70])
def test_numbers_that_no_record_has(book, number):
    refuse_amend(book, number, {"grade": "3"}, BadValueError, "the number of an entry of the history")


@pytest.mark.parametrize("reason", ["", "  ", "a\nb", "x" * 501])
def test_a_strike_has_a_reason_of_one_line(book, reason):
    before = dump(book)
    with pytest.raises(BadValueError, match="reason"):
        book.strike(LOOK, reason)
    assert dump(book) == before


# ---- prices and absences


def test_prices_without_a_price_are_refused(book):
    refuse_add(book, Prices("kitchen", DAY), RecordClashError, "hold no price; give one of descale_materials")


def test_prices_begin_once_a_day(book):
    refuse_add(book, Prices("kitchen", INSTALLED, strip_down=1.0), RecordClashError, "record 9 already holds prices")
    book.add(Prices("kitchen", DAY, strip_down=1.0))
    book.amend(PRICES, {"strip_down": "90"})


def test_an_absence_ends_after_it_begins(book):
    for end in (DAY, BEFORE):
        refuse_add(book, Absence("kitchen", DAY, end), BadValueError, "a day after 2026-03-01")


@pytest.mark.parametrize(
    ("begin", "end"),
    [
        (date(2026, 6, 20), date(2026, 7, 2)),
        (date(2026, 7, 5), date(2026, 7, 6)),
        (date(2026, 7, 14), date(2027, 1, 1)),
    ],
)
def test_absences_do_not_overlap(book, begin, end):
    refuse_add(book, Absence("kitchen", begin, end), RecordClashError, "overlaps record 10")


def test_absences_may_touch_and_be_amended_and_be_anothers(book):
    book.add(Absence("kitchen", date(2026, 7, 15), date(2026, 7, 20)))
    book.amend(ABSENCE, {"from_date": "2026-06-28"})
    book.add(Boiler("attic", 1.0, 93.0, INSTALLED))
    book.add(Absence("attic", date(2026, 7, 1), date(2026, 7, 15)))
