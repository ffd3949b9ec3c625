"""A test that tells of another water is asked about at once, and one that repeats the last is not."""

from datetime import date, timedelta

import pytest

from scalemodel.errors import ImplausibleError
from scalemodel.logbook.records import Water, WaterTest
from scalemodel.logbook.store import Logbook

FIRST = date(2026, 1, 10)


def doubts(first: dict, second: dict, days: int) -> list[str]:
    """What is asked of a second test so many days after the first."""
    with Logbook.in_memory(today=lambda: date(2028, 1, 1)) as book:
        book.add(Water("tap"))
        book.add(WaterTest("tap", FIRST, **first))
        return [str(one) for one in book.doubts(WaterTest("tap", FIRST + timedelta(days=days), **second))]


@pytest.mark.parametrize(
    ("first", "second", "days", "asked"),
    [
        ({"tds_mg_l": 150.0}, {"tds_mg_l": 300.0}, 90, True),  # a softener that failed
        ({"tds_mg_l": 300.0}, {"tds_mg_l": 150.0}, 90, True),
        ({"tds_mg_l": 150.0}, {"tds_mg_l": 170.0}, 5, False),  # a reading taken again
        ({"tds_mg_l": 150.0}, {"tds_mg_l": 190.0}, 5, True),
        ({"tds_mg_l": 150.0}, {"tds_mg_l": 190.0}, 365, False),  # a year's wandering
        ({"tds_mg_l": 150.0}, {"conductivity_us_cm": 600.0}, 30, True),  # the same quantity, by another name
        ({"hardness": 9.0, "hardness_unit": "dH"}, {"hardness": 10.0, "hardness_unit": "dH"}, 30, False),
        ({"hardness": 3.0, "hardness_unit": "dH"}, {"hardness": 4.0, "hardness_unit": "dH"}, 30, False),  # a drop
        ({"hardness": 9.0, "hardness_unit": "dH"}, {"hardness": 13.0, "hardness_unit": "dH"}, 30, True),
        ({"hardness": 160.0, "kit": "laboratory"}, {"hardness": 200.0, "kit": "laboratory"}, 30, True),
        ({"tds_mg_l": 310.0}, {"hardness": 9.0, "hardness_unit": "dH"}, 30, False),  # tells something else
        ({"tds_mg_l": 4.0}, {"tds_mg_l": 1.0}, 30, False),  # next to nothing, both times
    ],
)
def test_a_test_off_by_more_than_two_errors_asks_whether_the_water_changed(first, second, days, asked):
    said = [one for one in doubts(first, second, days) if "is it another water since then?" in one]
    assert bool(said) == asked


def test_it_says_since_when_and_what_to_do_and_goes_in_if_insisted_on():
    with Logbook.in_memory(today=lambda: date(2028, 1, 1)) as book:
        book.add(Water("tap"))
        book.add(WaterTest("tap", FIRST, tds_mg_l=150.0))
        book.add(WaterTest("tap", FIRST + timedelta(days=100), tds_mg_l=155.0))
        changed = WaterTest("tap", FIRST + timedelta(days=200), tds_mg_l=310.0)
        with pytest.raises(ImplausibleError) as caught:
            book.add(changed)
        said = str(caught.value)
        assert "tds_mg_l: 310 mg/L? On 2026-04-20 'tap' had 155 mg/L: it is stronger now" in said
        assert "a name of its own, with this test and a fill from the day of the change" in said
        book.add(changed, sure=True)
        again = WaterTest("tap", FIRST + timedelta(days=230), tds_mg_l=305.0)
        assert book.doubts(again) == ()  # judged by the last test, not by the first


def test_a_slip_of_the_pen_is_asked_about_once():
    assert len(doubts({"tds_mg_l": 150.0}, {"tds_mg_l": 1500.0}, 90)) == 1
