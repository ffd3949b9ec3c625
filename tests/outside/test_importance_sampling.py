"""The sampler and the timeline against brute force: weighted draws from the prior, nothing shared but the law's tables.

Growth here is drawn day by day with numpy's own inverse-Gaussian (Wald) generator, litres are laid out day by day, and
the answer is a weighted mean; so intervals, gaps, fills, the tilted normal and every move are checked at once.
"""

import numpy as np
import pytest
from scipy.special import expit, ndtr
from scipy.stats import norm

from scalemodel import api
from scalemodel.logbook.records import Descale, Fill, Use
from scalemodel.model.supply import find_supply
from scalemodel.model.supply_law import read_table
from tests.builders import START, day, history, look

COUNT = 400_000
GAPS = (Use("urn", day(0), day(60), litres=30.0), Use("urn", day(100), day(200), litres=50.0))
CUTS = np.log([0.3, 1.5, 6.0, 25.0])

CASES = {
    "no look": (history(days=120, tds=160.0), {}),
    "two looks": (history(look(60, 1), look(120, 1, 2), days=130, tds=160.0), {}),
    "gaps in use": (history(look(90, 1), look(210, 2), days=240, uses=GAPS, tds=160.0), {}),
    "stated rate after gaps": (
        history(look(90, 1), look(210, 3), days=240, uses=GAPS, tds=160.0),
        {"litres_per_day": 0.4},
    ),
    "late first fill, second water": (
        history(look(150, 1), days=200, tds=160.0, fills=(Fill("urn", day(20), "tap"), Fill("urn", day(90), "soft"))),
        {},
    ),
    "site never looked at": (history(look(110, 1), days=120, tds=160.0), {"site": "element"}),
    "descale": (
        history(look(100, 2), days=160, tds=200.0, descales=(Descale("urn", day(101), scale_recovered_g=1.5),)),
        {},
    ),
    # records that contradict what was believed, or each other
    "bare and thick in turn": (history(look(60, 4), look(120, 0), look(180, 4), look(230, 0), days=231, tds=160.0), {}),
    "crust from a water of 4 mg/L": (history(look(120, 3), look(240, 3), days=241, tds=4.0), {}),
    "bare after months on hard water": (history(look(240, 0), days=241, tds=400.0), {}),
}


def tailed(x, k1, k2):
    """Distribution function and log density of a normal core with exponential tails beyond -k1 and k2."""
    norming = 1 / (ndtr(k2) - ndtr(-k1) + norm.pdf(k1) / k1 + norm.pdf(k2) / k2)
    left = norming * norm.pdf(k1) / k1
    below, above = np.minimum(x, -k1), np.maximum(x, k2)
    cdf = np.where(
        x < -k1,
        left * np.exp(k1 * (below + k1)),
        np.where(
            x > k2,
            1 - norming * norm.pdf(k2) / k2 * np.exp(-k2 * (above - k2)),
            left + norming * (ndtr(np.clip(x, -k1, k2)) - ndtr(-k1)),
        ),
    )
    core = np.clip(x, -k1, k2)
    return cdf, np.log(norming * norm.pdf(core)) - np.where(x < core, k1, k2) * np.abs(x - core)


def brute_force(facts, ahead, question, seed=12):
    """Risk of 6 mg/cm2 ``ahead`` days after as_of and log evidence, by draws from the prior."""
    rng = np.random.default_rng(seed)

    def normal():
        return rng.standard_normal(COUNT)

    boiler, uses = facts.boiler, facts.uses
    total = sum((u.to_date - u.from_date).days for u in uses)
    rate = sum(u.litres for u in uses) / total
    spread = 0.4  # fewer than three stretches
    if len(uses) >= 3:
        rates = np.array([u.litres / (u.to_date - u.from_date).days for u in uses])
        weights = np.array([(u.to_date - u.from_date).days for u in uses])
        spread = np.sqrt(np.log1p(np.average((rates / rate - 1) ** 2, weights=weights)))
    log_sd = np.hypot(0.15, spread / np.sqrt(len(uses)))
    use = np.exp(log_sd * normal())
    future = rate * use if "litres_per_day" not in question else question["litres_per_day"] * np.exp(0.2 * normal())
    nu = np.exp(np.log(0.3) + 0.7 * normal())
    gap = (1 / 366.15 - 1 / (boiler.temperature_c + 273.15)) / 8.31446261815324e-3
    capture = expit(np.where(rng.random(COUNT) < 0.1, -3.0, 0.0) + normal() + (30 + 15 * normal()) * gap)
    k, floor = expit(-0.85 + 0.8 * normal()), 2.0 * np.exp(normal())
    each = {}
    for water in {f.water for f in facts.fills}:
        table = find_supply(facts, water).table
        student = rng.standard_t(3, COUNT) / 1.1969
        closed, opened, _ = read_table(table, np.clip(table.log_sd * student, -3.0, 3.0))
        each[water] = capture * (floor + (1 - k) * closed + k * opened) / boiler.wetted_area_cm2
    sigma, shift = np.exp(np.log(0.35) + 0.3 * normal()), 0.25 * normal()
    element = np.exp(np.log(1.5) + 0.3 * normal())
    deposit, mean, weight = np.zeros(COUNT), np.zeros(COUNT), np.zeros(COUNT)

    def grow():
        nonlocal deposit, mean
        deposit = deposit + rng.wald(mean, mean**2 / nu)
        mean = np.zeros(COUNT)

    for n in range((facts.as_of - START).days + 1):
        today = day(n)
        for e in (e for e in facts.inspections if e.date == today):
            grow()
            x = np.log(deposit + 0.02)
            below = [np.zeros(COUNT), *(tailed((c + shift - x) / sigma, 0.8, 1.7174)[0] for c in CUTS), np.ones(COUNT)]
            weight += np.log(np.maximum(below[e.grade_high + 1] - below[e.grade_low], 1e-300))
        for e in (e for e in facts.descales if e.date == today):
            grow()
            rho = expit(-2.2 + 0.8 * normal())
            miss = np.log(1000 * e.scale_recovered_g / boiler.wetted_area_cm2 + 0.02) - np.log(
                (1 - rho) * deposit + 0.02
            )
            weight += tailed(miss / 0.3, 1.7174, 1.7174)[1] - np.log(0.3)
            deposit = rho * deposit
        if today < facts.as_of:
            drawn = [f.water for f in facts.fills if f.from_date <= today]
            water = drawn[-1] if drawn else facts.fills[0].water
            told = [u.litres / (u.to_date - u.from_date).days for u in uses if u.from_date <= today < u.to_date]
            mean = mean + each[water] * (told[0] if told else rate * use)
    mean = mean + ahead * future * each[facts.fills[-1].water]
    grow()
    w = np.exp(weight)
    passed = (deposit * (element if question.get("site") == "element" else 1.0)) >= 6.0
    p = (w * passed).sum() / w.sum()
    error = np.sqrt((w**2 * (passed - p) ** 2).sum()) / w.sum()
    return p, error, np.log(w.mean()), w.std() / w.mean() / np.sqrt(COUNT)


@pytest.mark.parametrize("case", CASES)
def test_risk_and_evidence_by_brute_force(case):
    facts, question = CASES[case]
    ahead = 120
    expected, error, evidence, evidence_error = brute_force(facts, ahead, question)
    risks, evidences = [], []
    for seed in range(6):
        asked = api.prepare(facts, seed=seed, particles=1000, **question)
        risks.append(asked.risk(ahead))
        evidences.append(asked.forecast.posterior.log_evidence)
    spread = np.std(risks, ddof=1) / np.sqrt(6)
    assert abs(np.mean(risks) - expected) < 5 * np.hypot(error, max(spread, 0.003))
    spread = np.std(evidences, ddof=1) / np.sqrt(6)
    assert abs(np.mean(evidences) - evidence) < 5 * np.hypot(evidence_error, max(spread, 0.01))


@pytest.mark.slow
def test_bare_looks_then_a_crust_by_sixteen_million_draws():
    """So flat a contradiction that one draw in some hundred thousand fits it."""
    facts = history(*(look(50 * k, 0) for k in range(1, 5)), look(240, 4), days=241, tds=60.0)
    found = [brute_force(facts, 120, {}, seed) for seed in range(40)]
    weight = np.exp([evidence for _, _, evidence, _ in found])
    risk = np.average([p for p, *_ in found], weights=weight)
    miss = weight * ([p for p, *_ in found] - risk) / weight.mean()
    error, evidence_error = miss.std() / np.sqrt(40), weight.std() / weight.mean() / np.sqrt(40)
    forecasts = [api.prepare(facts, seed=seed, particles=500).forecast for seed in range(6)]
    risks = [forecast.risk(6.0, 120)[0] for forecast in forecasts]
    evidences = [forecast.posterior.log_evidence for forecast in forecasts]
    assert abs(np.mean(risks) - risk) < 4 * np.hypot(error, 0.005)
    assert np.std(risks) < 0.02
    assert abs(np.mean(evidences) - np.log(weight.mean())) < 4 * np.hypot(evidence_error, 0.01)
