"""All that the law takes of the unknowns, at once: against each of them alone."""

import numpy as np
import pytest
from scipy.special import expit

from scalemodel.logbook.records import WaterTest
from scalemodel.model import unknowns
from scalemodel.model.priors import Prior
from scalemodel.model.quantiles import NORMAL, Transforms, mixture_of_normals, student_t
from scalemodel.model.readout import Readout, each
from scalemodel.model.supply_law import SupplyTables, blend_potential, read_table
from scalemodel.water.analysis import analyse_tests
from scalemodel.water.potential import supply_table
from tests.builders import day

A, B, C = unknowns.CAPTURE, unknowns.FLOOR, unknowns.DISPERSION
PRIORS = {
    A: Prior(0.3, 0.7, "logit", "bent", mixture_of_normals((0.9, 0.0, 1.0), (0.1, -3.0, 1.0))),
    B: Prior(-1.0, 0.5, "ln", "plain"),
    C: Prior(2.0, 1.5, "sd", "with tails", student_t(3.0)),
}


@pytest.fixture
def readout():
    exponential = {"both": [{A: 2.0, C: -0.5}], "none": []}
    return Readout(PRIORS, exponential, {"share": each([B, A])}, {"as it is": each([C], -1.0)})


def test_each_quantity_is_its_function_of_the_unknowns(readout):
    u = np.random.default_rng(1).standard_normal((3, 200))
    a, b, c = (prior.value(row) for prior, row in zip(PRIORS.values(), u, strict=True))
    found = readout.read(u)
    np.testing.assert_allclose(found.of("both"), [np.exp(2.0 * a - 0.5 * c)], rtol=1e-12)
    np.testing.assert_allclose(found.of("share"), [expit(b), expit(a)], rtol=1e-12)
    np.testing.assert_allclose(found.of("as it is"), [-c], rtol=1e-12)
    assert found.of("none").shape == (0, 200)
    np.testing.assert_array_equal(readout.read(np.vstack([u, u])).values, found.values)  # particles that begin with u


def test_slopes_go_back_to_the_standard_normals(readout):
    """Against central differences, off the knots at which a table bends."""
    u = np.random.default_rng(2).integers(-150, 150, (3, 40)) * 0.01 + 0.005
    by = np.random.default_rng(3).standard_normal((4, 40))
    slopes = readout.read(u).no_slopes
    slopes.values[:] = by
    found, step = readout.back(u, readout.read(u), slopes), 1e-6
    for row in range(3):
        ends = [readout.read(u + sign * step * (np.arange(3) == row)[:, None]).values for sign in (1, -1)]
        np.testing.assert_allclose(
            found[row], (by * (ends[0] - ends[1])).sum(axis=0) / (2 * step), rtol=1e-6, atol=1e-8
        )


def test_transforms_of_many_rows_are_those_of_each():
    shapes = [NORMAL, student_t(3.0), NORMAL, mixture_of_normals((0.5, -1.0, 1.0), (0.5, 1.0, 2.0))]
    u = np.append(6.0 * np.random.default_rng(4).standard_normal((4, 50)), np.full((4, 1), 12.0), axis=1)
    together = Transforms(shapes)
    for row, shape in enumerate(shapes):
        np.testing.assert_allclose(together.value(u)[row], shape.value(u[row]), rtol=1e-12)
        np.testing.assert_allclose(together.slope(u)[row], shape.slope(u[row]), rtol=1e-9)
    plain = Transforms([NORMAL, NORMAL])
    np.testing.assert_array_equal(plain.value(u[:2]), u[:2])
    assert np.isnan(together.value(np.full((4, 1), np.nan))).all()


@pytest.mark.parametrize("steam_share", [0.0, 0.4])
def test_tables_of_many_waters_are_those_of_each(steam_share):
    hard, soft = (supply_table(analyse_tests([WaterTest("tap", day(0), tds_mg_l=tds)]), 93.0) for tds in (300.0, 60.0))
    tables, degassing = (hard, soft, hard), 0.3
    log_factor = np.random.default_rng(5).uniform(-4.0, 4.0, (3, 60))  # beyond the outer knots the outer values hold
    base, gain = SupplyTables(tables, steam_share).potentials(log_factor)
    for row, table in enumerate(tables):
        expected = blend_potential(*read_table(table, log_factor[row]), degassing, steam_share)
        np.testing.assert_allclose(base[row] + degassing * gain[row], expected, rtol=1e-12, atol=1e-12)
