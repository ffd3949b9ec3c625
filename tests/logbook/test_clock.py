"""What counts as today, and as now."""

import time
from datetime import UTC, date, datetime

import pytest

from scalemodel.errors import BadValueError
from scalemodel.logbook import clock
from scalemodel.logbook.absences import local_day
from scalemodel.logbook.records import Water, WaterTest
from scalemodel.logbook.store import Logbook

pytestmark = pytest.mark.calendar


def test_today_is_the_clocks_day_unless_another_is_named(monkeypatch):
    monkeypatch.delenv(clock.VARIABLE)
    before = date.today()
    assert before <= clock.today() <= date.today()
    assert (datetime.now(UTC) - clock.now()).total_seconds() < 60
    monkeypatch.setenv(clock.VARIABLE, "2023-03-04")
    assert clock.today() == date(2023, 3, 4)
    monkeypatch.setenv(clock.VARIABLE, "")
    assert clock.today() >= before


@pytest.fixture(params=["UTC", "Pacific/Kiritimati", "Pacific/Pago_Pago"])
def zone(request):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", request.param)
        time.tzset()
        yield
    time.tzset()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="no time zones to be set here")
def test_a_record_is_entered_on_the_day_that_is_today(monkeypatch, zone):
    monkeypatch.setenv(clock.VARIABLE, "2023-03-04")
    with Logbook.in_memory() as book:
        book.add(Water("tap"))
        assert local_day(book.entry(1).entered_at) == date(2023, 3, 4)
        book.add(WaterTest("tap", date(2023, 3, 4), tds_mg_l=265.0))
        with pytest.raises(BadValueError, match="today \\(2023-03-04\\) or earlier"):
            book.add(WaterTest("tap", date(2023, 3, 5), tds_mg_l=265.0))


def test_a_day_that_is_none_is_refused(monkeypatch):
    monkeypatch.setenv(clock.VARIABLE, "tomorrow")
    with pytest.raises(BadValueError, match="SCALEMODEL_TODAY: 'tomorrow'"):
        clock.today()


@pytest.mark.parametrize("day", ["3000-01-01", "9999-12-31"])
def test_a_day_too_late_to_look_ahead_from_is_refused(monkeypatch, day):
    monkeypatch.setenv(clock.VARIABLE, day)
    with pytest.raises(BadValueError, match="a date up to 2999-12-31"):
        clock.today()


def test_a_day_that_is_none_is_no_fault_of_a_record(monkeypatch):
    with Logbook.in_memory() as book:
        book.add(Water("tap"))
        book.add(WaterTest("tap", date(2023, 3, 4), tds_mg_l=265.0))
        monkeypatch.setenv(clock.VARIABLE, "tomorrow")
        with pytest.raises(BadValueError, match="SCALEMODEL_TODAY: 'tomorrow'"):
            book.verify()
