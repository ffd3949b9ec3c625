"""What is said of soft and aggressive waters, and kept silent of others."""

from datetime import date

from scalemodel.logbook.records import WaterTest
from scalemodel.water.analysis import analyse_tests
from scalemodel.water.cautions import cautions


def said(tds: float, temperature: float = 93.0, **more) -> str:
    test = WaterTest("w", date(2026, 1, 5), tds_mg_l=tds, **more)
    return "\n".join(cautions(analyse_tests([test]), temperature))


def test_an_ordinary_tap_needs_no_caution():
    assert said(240.0) == ""


def test_pure_water_needs_them_all():
    text = said(0.0)
    for word in (
        "flat taste: TDS",
        "flat taste: calcium",
        "corrosion",
        "far below 0",
        "alkalinity",
        "level probes",
    ):
        assert word in text


def test_each_limit_by_itself():
    assert "TDS 70 is below 75" in said(70.0, hardness=100.0, alkalinity=80.0)
    assert "TDS" not in said(76.0, hardness=100.0, alkalinity=80.0)
    assert "below 17" in said(200.0, hardness=16.0, alkalinity=80.0)
    assert "below 50" in said(200.0, hardness=50.0, alkalinity=80.0)
    assert "calcium" not in said(200.0, hardness=68.0, alkalinity=80.0)
    assert "alkalinity 39 is below 40" in said(200.0, hardness=100.0, alkalinity=39.0)
    assert "level probes" in said(49.0)
    assert "level probes" not in said(51.0)


def test_a_cold_boiler_is_more_often_aggressive():
    assert "short of lime" in said(150.0, temperature=20.0)
    assert "short of lime" not in said(150.0, temperature=120.0)
