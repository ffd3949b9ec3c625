"""What a report says of the water."""

import pytest

from scalemodel import api
from scalemodel.decision.water_sheet import water_sheet
from scalemodel.words.tables import water_sheet_rows
from tests.builders import history, look


@pytest.mark.parametrize(("tds", "shown"), [(0.0, "none"), (240.0, "+")])
def test_a_water_without_minerals_has_no_saturation_index(tds, shown):
    sheet = water_sheet(api.prepare(history(look(180, 1), tds=tds), particles=50).forecast)
    assert (sheet.saturation_index is None) == (tds == 0.0)
    (row,) = [row for row in water_sheet_rows(sheet) if row[0].startswith("saturation")]
    assert row[1].startswith(shown)
