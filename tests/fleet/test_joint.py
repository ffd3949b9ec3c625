"""Pooling by rounds against one PyMC model of the whole fleet, drawn by NUTS."""

from dataclasses import replace

import numpy as np
import pytest

from scalemodel.answers.assessment import Means
from scalemodel.fleet.calibration import Population, draw_population, findings
from scalemodel.fleet.joint import build_joint, draw_joint
from scalemodel.fleet.pool import pool
from scalemodel.logbook.records import BoilerFacts, Descale
from tests.builders import day, history, look

pytest.importorskip("pymc", reason="the audit extra is not installed")

TRUTH = {"capture": (-0.8, 0.4), "degassing": (-0.6, 0.3), "irregularity": (-1.2, 0.3), "residue_full": (-2.6, 0.4)}
"""Middle and scale of what the boilers are drawn from; of the others those of one draw."""


def fleet(rng: np.random.Generator, boilers: int) -> list[BoilerFacts]:
    """Boilers of one water and one inspector, each with four looks and one descale in half a year."""

    def history_of(number: int) -> BoilerFacts:
        seen = [look(n + 3 * number, 0, inspector="anna") for n in (50, 100, 150)]
        side = look(125, 0, site="chamber", inspector="anna")
        facts = history(
            *seen, side, descales=(Descale("urn", day(135)),), days=180, tds=200.0,
            litres_per_day=0.5 + 0.1 * number, boiler={"temperature_c": 90.0 + number},
        )  # fmt: skip
        return replace(facts, boiler=replace(facts.boiler, boiler=f"urn {number}"))

    histories = [history_of(number) for number in range(boilers)]
    drawn = draw_population(histories, rng)
    known = [TRUTH.get(one.name, pair) for one, *pair in zip(*drawn, strict=True)]
    mu, tau = np.array(known).T
    return findings(histories, Population(drawn.traits, mu, tau), rng)


@pytest.mark.slow
def test_pooling_finds_what_one_joint_model_does():
    """Means within 0.1 of the population's sd, spreads within a quarter; what is shared within 0.15 of the house's sd.

    Of two pools the mean: the random error of one is 0.03 to 0.05 of these units, that of NUTS 0.02 to 0.05.
    """
    boilers = fleet(np.random.default_rng(31), 6)
    joint = build_joint(boilers)
    nuts = draw_joint(joint, seed=1)
    assert nuts.r_hat < 1.03
    assert nuts.divergences < 0.01 * nuts.mean[..., 0].size
    pools = [pool(boilers, boilers[0].as_of, Means(workers=1), seed=seed) for seed in (1, 2)]
    assert all(one.settled for one in pools)
    rows = [{(r.unknown, r.subject): r for r in (*p.population, *p.waters, *p.inspectors)} for p in pools]
    assert all(len(one) == len(joint.traits) for one in rows)
    for k, trait in enumerate(joint.traits):
        mean, sd = np.mean([(one[trait[:2]].mean, one[trait[:2]].sd) for one in rows], axis=0)
        unit = 1.5 * trait.house.sd if trait.shared else nuts.sd[..., k].mean()
        assert mean == pytest.approx(nuts.mean[..., k].mean(), abs=0.1 * unit), trait
        assert sd == pytest.approx(nuts.sd[..., k].mean(), rel=0.25), trait
