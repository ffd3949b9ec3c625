"""Mixing: what is conserved, what is not, and what a cartridge makes."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalemodel.errors import BadValueError
from scalemodel.logbook.records import WaterTest
from scalemodel.water.analysis import analyse_tests
from scalemodel.water.carbonate import from_ph
from scalemodel.water.mixing import cartridge_use, mix, tap_share_for
from scalemodel.water.potential import closed_system_potential

DAY = date(2026, 1, 5)


def meter(tds: float, ph: float = 7.4):
    return analyse_tests([WaterTest("w", DAY, tds_mg_l=tds, ph=ph)])


TAP, PURE = meter(400.0), meter(0.0)


def carbon(analysis) -> float:
    return float(from_ph(analysis.ions(), analysis.ph, analysis.temperature_c).carbon)


@pytest.mark.parametrize("share", [0.05, 0.3, 0.75])
def test_conserved_quantities_mix_by_litres(share):
    other = meter(30.0, ph=6.8)
    mixed = mix(TAP, other, share)
    for name in (
        "hardness",
        "calcium",
        "magnesium",
        "alkalinity",
        "chloride",
        "tds_mg_l",
        "conductivity_us_cm",
    ):
        linear = share * getattr(TAP, name) + (1.0 - share) * getattr(other, name)
        assert getattr(mixed, name) == pytest.approx(linear)
    assert carbon(mixed) == pytest.approx(share * carbon(TAP) + (1.0 - share) * carbon(other), rel=1e-6)
    assert mixed.log_sd == pytest.approx(0.25)


def test_ends_are_the_waters_themselves():
    assert mix(TAP, PURE, 1.0) is TAP
    assert mix(TAP, PURE, 0.0) is PURE
    nearly = mix(TAP, PURE, 1.0 - 1e-9)
    assert nearly.ph == pytest.approx(TAP.ph, abs=1e-6)


def test_two_of_a_kind_stay_as_they_are():
    mixed = mix(TAP, TAP, 0.37)
    assert mixed.ph == pytest.approx(TAP.ph, abs=1e-6)
    assert mixed.hardness == pytest.approx(TAP.hardness)


def test_potential_falls_faster_than_the_share():
    whole = float(closed_system_potential(TAP, 93.0))
    shares = [0.2, 0.4, 0.6, 0.8]
    left = [float(closed_system_potential(mix(TAP, PURE, share), 93.0)) for share in shares]
    assert left == sorted(left)
    for share, potential in zip(shares, left, strict=True):
        assert potential < share * whole - 1.0


def test_log_sd_of_a_mix():
    sure = replace(TAP, log_sd=0.05)
    assert mix(sure, PURE, 0.3).log_sd == pytest.approx(0.05)
    assert mix(sure, TAP, 0.5).log_sd == pytest.approx(0.15)
    assert mix(PURE, PURE, 0.5).log_sd == pytest.approx(0.25)


@given(st.floats(50.0, 800.0), st.floats(0.0, 40.0), st.floats(0.0, 1.0))
def test_share_finds_its_target_again(tap, treated, share):
    target = share * tap + (1.0 - share) * treated
    target = min(max(target, treated), tap)
    assert tap_share_for(tap, treated, target) == pytest.approx(share, abs=1e-9)


def test_share_may_thin_a_softer_tap():
    assert tap_share_for(50.0, 150.0, 100.0) == pytest.approx(0.5)
    assert tap_share_for(50.0, 50.0, 50.0) == 1.0


@pytest.mark.parametrize(("tap", "treated", "target"), [(310, 0, 311), (310, 20, 19), (0, 0, 20), (50, 50, 60)])
def test_targets_out_of_reach(tap, treated, target):
    with pytest.raises(BadValueError, match="target TDS"):
        tap_share_for(tap, treated, target)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_bad_numbers_refused(bad):
    with pytest.raises(BadValueError):
        tap_share_for(bad, 0.0, 10.0)
    with pytest.raises(BadValueError):
        tap_share_for(100.0, 0.0, bad)
    with pytest.raises(BadValueError):
        mix(TAP, PURE, bad)
    with pytest.raises(BadValueError):
        cartridge_use(0.5, bad)
    with pytest.raises(BadValueError):
        cartridge_use(0.5, 60.0, bad)
    with pytest.raises(BadValueError):
        cartridge_use(bad, 60.0)


def test_cartridge():
    use = cartridge_use(0.4, 60.0, 14.0, tap_cost_per_litre=0.01)
    assert use.mix_litres == pytest.approx(100.0)
    assert use.mix_litres * use.cost_per_litre == pytest.approx(14.0 + 40.0 * 0.01)
    assert cartridge_use(1.0, 60.0, 14.0).mix_litres is None
    assert cartridge_use(1.0, 60.0, 14.0).cost_per_litre == 0.0
    assert cartridge_use(0.0, 60.0).mix_litres == 60.0
    with pytest.raises(BadValueError, match="cartridge litres"):
        cartridge_use(0.5, 0.0)
