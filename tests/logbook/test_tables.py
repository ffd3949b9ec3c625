"""The logbook as pandas tables: there and back, and faults told as of files."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

import scalemodel
from scalemodel.errors import ImportRefusedError, UnknownNameError
from scalemodel.logbook.store import Logbook

DAY = date(2026, 11, 1)


@pytest.fixture
def book():
    with Logbook.in_memory(today=lambda: DAY) as made:
        scalemodel.import_folder(made, "data/demo")
        yield made


def test_there_and_back_is_the_same_logbook(book):
    frames = book.to_frames()
    assert str(frames["inspections"]["date"].dtype).startswith("datetime64")
    with Logbook.from_frames(frames, today=lambda: DAY) as again:
        for boiler in book.boilers():
            assert again.facts(boiler.boiler, DAY) == book.facts(boiler.boiler, DAY)
        for name, frame in again.to_frames().items():
            pd.testing.assert_frame_equal(frame, frames[name])


def test_tables_typed_in_a_notebook():
    frames = {
        "boilers": pd.DataFrame(
            {
                "boiler": ["a", "b"],
                "volume_l": [1, 0.8],
                "temperature_c": 93,
                "installed_on": pd.Timestamp("2026-01-10"),
            }
        ),
        "inspections": pd.DataFrame(
            {
                "boiler": ["a", "b"],
                "date": ["2026-04-01", "2026-05-01"],
                "site": "wall",
                "grade_low": [1.0, 2.0],
                "grade_high": [np.nan, 3.0],
                "after_descale": [False, None],
            }
        ),
    }
    with Logbook.from_frames(frames, today=lambda: DAY) as book:
        looks = [book.facts(name, "2026-11-01").inspections[0] for name in ("a", "b")]
        assert [(one.date, one.grade_low, one.grade_high) for one in looks] == [
            (date(2026, 4, 1), 1, 1),
            (date(2026, 5, 1), 2, 3),
        ]
        assert book.facts("a", pd.Timestamp("2026-11-01 12:00")) == book.facts("a", DAY)


def test_faults_are_told_by_file_and_row_and_nothing_is_entered(book):
    frames = book.to_frames()
    frames["inspections"].loc[2, "grade_low"] = 9
    with pytest.raises(ImportRefusedError) as refused:
        Logbook.from_frames(frames, today=lambda: DAY)
    assert any("inspections.csv row 4" in fault for fault in refused.value.faults)
    with pytest.raises(UnknownNameError, match="did you mean 'boilers'"):
        Logbook.from_frames({"boiler": frames["boilers"]})
