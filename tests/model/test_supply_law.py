"""What a litre can drop, and what of it stays."""

import numpy as np
import pytest

from scalemodel.logbook.records import Boiler
from scalemodel.model.supply_law import blend_potential, capture_fraction, growth_per_litre
from scalemodel.water.potential import SupplyTable
from tests.builders import START


def test_capture_rises_with_temperature():
    t = [capture_fraction(0.0, 30.0, c) for c in (20.0, 60.0, 93.0, 125.0)]
    assert t == sorted(t)


def test_a_blend_lies_between_its_potentials():
    assert blend_potential(40.0, 110.0, 140.0, 0.0, 0.0) == 40.0
    assert blend_potential(40.0, 110.0, 140.0, 1.0, 0.0) == 110.0
    assert blend_potential(40.0, 110.0, 140.0, 0.3, 1.0) == 140.0


def test_a_litre_leaves_its_captured_share_on_the_wetted_area():
    boiler, knots = Boiler("urn", 0.8, 93.0, START, area_cm2=500.0), np.linspace(-3.0, 3.0, 49)
    table = SupplyTable(knots, *(np.full(49, mg) for mg in (40.0, 110.0, 140.0)), 0.3)
    grown = growth_per_litre(boiler, table, np.zeros(2), np.array([0.5, 0.25]), 0.3, 2.0)
    assert grown == pytest.approx([0.5 * 63.0 / 500.0, 0.25 * 63.0 / 500.0])
