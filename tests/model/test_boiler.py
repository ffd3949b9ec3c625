"""The target: its log-likelihood against a slow twin that follows the equations one particle at a time."""

import math
from functools import partial

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import t as t_law

from scalemodel.logbook.records import Descale, Fill, Use, WaterTest
from scalemodel.model.boiler import sum_logs
from scalemodel.model.inverse_gaussian import find_signed_root
from scalemodel.model.supply import find_supply
from scalemodel.model.target import build_model
from scalemodel.model.timeline import build_timeline
from scalemodel.model.unknowns import DEGASSING, relative, residue
from tests.builders import START, day, history, look


def make(facts):
    tables = {w: find_supply(facts, w).table for w in ("tap", "soft")}
    return build_model(facts, build_timeline(facts), tables.__getitem__), tables


def rich():
    """Every kind of evidence at once."""
    return history(
        look(40, 0, 1, method="glance"),
        look(90, 1, site="chamber", inspector="kim"),
        look(150, 2, 4, site="element", method="camera", thickness_um=18.0),
        look(200, 3),
        look(200, 0, 1, after_descale=True),
        look(300, 1, 2, thickness_um=6.0),
        look(320, 0, 1, site="chamber", thickness_um=1.0),
        descales=(Descale("urn", day(200), scale_recovered_g=1.4), Descale("urn", day(310), "partial")),
        boiler={"start": "unknown", "steam_share": 0.1},
        fills=(Fill("urn", START, "tap"), Fill("urn", day(120), "soft")),
        water_tests=(
            WaterTest("tap", day(20), tds_mg_l=240.0),
            WaterTest("tap", day(200), tds_mg_l=310.0),
            WaterTest("tap", day(300), tds_mg_l=280.0),
            WaterTest("soft", START, tds_mg_l=100.0),
        ),
        uses=(Use("urn", day(0), day(150), litres=70.0), Use("urn", day(200), day(330), litres=55.0)),
    )


def normal_cdf(x):
    return 0.5 * math.erfc(-x / math.sqrt(2))


def normal_density(x):
    return math.exp(-0.5 * x * x) / math.sqrt(2 * math.pi)


def tails(k1, k2):
    return 1 / (normal_cdf(k2) - normal_cdf(-k1) + normal_density(k1) / k1 + normal_density(k2) / k2)


def error_cdf(x, k1=0.8, k2=1.7174):
    """The law of a look's error as the design states it, side by side."""
    c = tails(k1, k2)
    if x <= -k1:
        return c * normal_density(k1) / k1 * math.exp(k1 * (x + k1))
    if x >= k2:
        return 1.0 - c * normal_density(k2) / k2 * math.exp(-k2 * (x - k2))
    return c * (normal_density(k1) / k1 + normal_cdf(x) - normal_cdf(-k1))


def log_measure(miss, k=1.7174, sd=0.3):
    core = min(abs(miss), k)
    return math.log(tails(k, k) * normal_density(core) / sd) - k * (abs(miss) - core)


def model_shape(prior):
    return lambda name, u: float(prior[name].transform.value(u))


def exact_shape(name, u, paths):
    """The quantiles of three priors that are no normals, by root finding and by the library's own t."""
    if name.startswith("step"):
        _, water, place = name.split()
        years = paths[water].years[int(place)]
        broken, wider = 1 - math.exp(-0.02 * years), math.hypot(1.0, 0.9 / (0.15 * math.sqrt(years)))
        below = lambda a: (1 - broken) * normal_cdf(a) + broken * normal_cdf(a / wider)  # noqa: E731
        return brentq(lambda a: below(a) - normal_cdf(u), -99, 99, xtol=1e-13)
    if name == "capture":
        return brentq(lambda a: 0.9 * normal_cdf(a) + 0.1 * normal_cdf(a + 3) - normal_cdf(u), -15, 12, xtol=1e-13)
    if name.startswith("strength"):
        return float(t_law.ppf(normal_cdf(u), 3) / 1.1969)
    return u


def slow_path(path, water, val, epoch):
    """How a water's concentration moved from the reference of its path to an epoch."""
    at = val[f"start {water}"] if path.readings else 0.0
    between = range(path.reference, epoch) if epoch > path.reference else range(epoch, path.reference)
    return at + sum(val[f"step {water} {k}"] for k in between)


def slow_states(line, val, grown, residue):
    """Deposits on one surface, whose descales leave what the unknowns of that name say."""
    states = [math.exp(val["initial"]) if "initial" in val else 0.0]
    for step, i in line.steps:
        left = 1 / (1 + math.exp(-val[f"{residue} {i}"])) if step == "descale" else None
        states.append(states[-1] + grown[i] if left is None else states[-1] * left)
    return states


def slow_log_likelihood(model, tables, x, shape=None):
    """Design equations, scalars only."""
    names, facts, line = model.names, model.facts, model.timeline
    boiler = facts.boiler
    u = dict(zip(names, x, strict=False))
    prior = dict(zip(names, model.unknowns.values(), strict=True))
    val = {n: prior[n].mean + prior[n].sd * (shape or model_shape(prior))(n, u[n]) for n in names}
    nu = math.exp(val["irregularity"])
    k = 1 / (1 + math.exp(-val["degassing"]))
    kelvin = boiler.temperature_c + 273.15
    logit = val["capture"] + val["activation"] / 8.31446261815324e-3 * (1 / 366.15 - 1 / kelvin)
    capture = 1 / (1 + math.exp(-logit))
    use = math.exp(line.plan.log_sd * val.get("use", 0.0))

    def supply(span):
        w, epoch = span
        t = tables[w]
        ln_f = min(max(t.log_sd * val[f"strength {w}"] + slow_path(line.paths[w], w, val, epoch), -3.0), 3.0)
        s = [float(np.interp(ln_f, t.log_factor, v)) for v in (t.closed_system, t.open_system, t.evaporation_residue)]
        q = boiler.steam_share
        return math.exp(val["floor"]) + (1 - q) * ((1 - k) * s[0] + k * s[1]) + q * s[2]

    grown = []
    for i in range(line.intervals):
        litres = line.recorded_l[i] + line.planned_l[i] * use
        mu = sum(capture * supply(w) * x_l / boiler.wetted_area_cm2 for w, x_l in zip(line.spans, litres, strict=True))
        v = float(find_signed_root(x[len(names) + i], 0.5 * math.log(nu / mu)).value)
        grown.append(mu * math.exp(2 * math.asinh(v * math.sqrt(nu / mu) / 2)))
    states = slow_states(line, val, grown, "residue")
    total = sum(
        log_measure((one.log_ratio - slow_path(path, w, val, one.epoch)) / one.log_sd, sd=one.log_sd)
        for w, path in line.paths.items()
        for one in path.readings
    )
    cuts = [-math.inf, *map(math.log, (0.3, 1.5, 6.0, 25.0)), math.inf]
    for state, e in line.looks:
        r = 1.0 if e.site == facts.reference_site else math.exp(val[f"relative {e.site}"])
        own = f"site residue {e.site}" if f"site residue {e.site} 0" in val else "residue"
        seen = math.log(r * slow_states(line, val, grown, own)[state] + 0.02)
        sigma = math.exp(val[f"reading {e.method}"])
        shift = val[f"leniency {e.inspector}"]
        high, low = ((cuts[g] + shift - seen) / sigma for g in (e.grade_high + 1, e.grade_low))
        total += math.log(error_cdf(high) - error_cdf(low))
        if e.thickness_um is not None:
            total += log_measure((math.log(e.thickness_um / 5 + 0.02) - seen) / 0.3)
    for i, (state, e) in enumerate(line.descales):
        if e.scale_recovered_g is not None:
            rho = 1 / (1 + math.exp(-val[f"residue {i}"]))
            expected = math.log((1 - rho) * states[state] + 0.02)
            total += log_measure(
                (math.log(1000 * e.scale_recovered_g / boiler.wetted_area_cm2 + 0.02) - expected) / 0.3
            )
    return total


def test_log_likelihood_equals_the_slow_twin():
    model, tables = make(rich())
    x = model.draw_prior(np.random.default_rng(1), 40)
    fast = model.evaluate(x).log_likelihood
    slow = [slow_log_likelihood(model, tables, x[:, i]) for i in range(40)]
    np.testing.assert_allclose(fast, slow, rtol=1e-10, atol=1e-10)
    shape = partial(exact_shape, paths=model.timeline.paths)
    exact = [slow_log_likelihood(model, tables, x[:, i], shape) for i in range(40)]
    np.testing.assert_allclose(fast, exact, rtol=0, atol=2e-3)  # the quantiles' tables: 3e-5 of a coordinate


def test_every_unknown_has_a_row_and_a_prior():
    model, _ = make(rich())
    assert set(model.names) == {
        "capture", "activation", "degassing", "irregularity", "floor", "initial", "use", "strength tap",
        "strength soft",
        "reading glance", "reading eye", "reading camera", "leniency ", "leniency kim", "relative chamber",
        "relative element", "residue 0", "residue 1",
        "start tap", "step tap 0", "step tap 1", "step tap 2", "step soft 0",
        "step soft 1", "site residue chamber 0", "site residue chamber 1",
    }  # fmt: skip
    assert model.unknowns[DEGASSING].mean == 1.0  # a steam boiler
    assert model.unknowns[relative("element")].mean == pytest.approx(np.log(1.5))
    assert model.unknowns[residue(1)].mean == -0.4


def test_deposits_grow_between_descales_and_fall_at_them():
    model, _ = make(rich())
    states = model.deposits(model.draw_prior(np.random.default_rng(2), 500))
    for k, (step, _) in enumerate(model.timeline.steps):
        assert np.all(states[k + 1] >= states[k]) if step == "grow" else np.all(states[k + 1] <= states[k])


def test_five_hundred_looks_keep_a_finite_log_likelihood():
    looks = [look(n % 359, (n * 7) % 5) for n in range(500)]
    model, _ = make(history(*looks))
    value = model.evaluate(model.draw_prior(np.random.default_rng(3), 50)).log_likelihood
    assert np.all(np.isfinite(value))


def test_a_product_with_a_zero_is_minus_infinity():
    assert sum_logs(np.array([[0.5], [0.0]]))[0] == -np.inf
    assert sum_logs(np.full((300, 1), 1e-25))[0] == pytest.approx(300 * np.log(1e-25))
