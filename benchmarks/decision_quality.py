"""How many descales do the dates save? Ways to decide, on the same invented boilers with the same random growth.

Boilers are drawn from the prior on soft, middling and hard water (one meter reading each) and live two years by weeks.
Growth, residues and the scatter of looks are drawn once a boiler and week, so that every way of deciding meets the
same ones. The ways:

  quarterly    a look every 13 weeks; descale on our deferral date where it falls before the next look
  confirmed    the same, and one more look before each planned descale, which may put it off
  placed       looks where `next-inspection` puts them, eight at most (quarterly makes seven), by the deferral date
  calendar     a descale every 1 to 24 months, whatever the boiler
  litres       a descale whenever litres x meter reading since the last one reach a constant

Printed for each: descales a year, share of the time above the threshold, looks a year; and the descales that each
rival needs for our share of the time above, by straight lines along its curve, with our ratio to it. A calendar "by
water" may be another for each water, chosen in hindsight; "one for all" may not. What is seen while a boiler is open
for a descale (before and after) is on record too and not counted as a look; with --weigh so is the scale recovered.

With --population FILE boilers are drawn from priors of a file in place of the house's, and with --priors FILE their
dates lean on those of another: what a fleet's pooled priors save is the difference between two runs.

    python benchmarks/decision_quality.py [--boilers 24] [--particles 125] [--tolerance 0.1] [--weigh] [--quick]
                                          [--slips 0.02] [--ways quarterly] [--population FILE] [--priors FILE]
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from scalemodel.decision.case import Case
from scalemodel.decision.forecast import Forecast, Threshold, find_plan, find_threshold
from scalemodel.decision.horizon import HORIZON_DAYS
from scalemodel.decision.inspection_value import value_looks
from scalemodel.inference.posterior import draw
from scalemodel.logbook.belief import Belief
from scalemodel.logbook.records import WALL, Boiler, BoilerFacts, Descale, Fill, Inspection, Use, Water, WaterTest
from scalemodel.model.beliefs import as_beliefs, believed
from scalemodel.model.grading import GRADE_COUNT
from scalemodel.model.inverse_gaussian import increment
from scalemodel.model.look import RECOVERED, LookModel
from scalemodel.model.supply import Supply, find_supply
from scalemodel.model.target import build_model
from scalemodel.model.timeline import build_timeline

WATERS = {"soft": 100.0, "middling": 170.0, "hard": 290.0}
"""Meter readings [mg/L]."""

WEEKS, QUARTER = 104, 13
LOOKS_AT_MOST = 8
MONTHS = tuple(range(1, 25))
CONSTANTS = tuple(np.geomspace(2e3, 4e5, 40))
"""Litres x mg/L between descales."""

LITRES_A_WEEK, LITRES_LOG_SD = 3.0, 0.25
URN = Boiler("urn", 0.8, 93.0, date(2024, 1, 1), area_cm2=500.0)
BOOTSTRAPS = 400


def day(week: int) -> date:
    return URN.installed_on + timedelta(days=7 * week)


@dataclass(frozen=True)
class Truth:
    """One boiler as it is: weekly litres, growth [mg/cm2] and residues, and how its looks read.

    ``mean`` [mg/cm2 a week] and ``dispersion`` [mg/cm2] are the law that the growth was drawn from. ``slips`` is the
    share of looks whose grade is any grade alike.
    """

    water: str
    number: int
    seed: int
    supply: Supply
    litres: np.ndarray
    growth: np.ndarray
    residue: np.ndarray
    reads: LookModel
    mean: np.ndarray
    dispersion: float
    slips: float = 0.0

    def recovered(self, week: int, deposit: float) -> float:
        """What a descale in that week is found to have dissolved, by weighing or titration [g]."""
        rng = np.random.default_rng([self.seed, self.number, week, 2])
        return max(0.0, RECOVERED.draw(rng, (1.0 - self.residue[week]) * deposit)) * URN.wetted_area_cm2 / 1000.0

    def grade(self, week: int, deposit: float, after: bool = False) -> int:
        """What a look in that week shows of that deposit; the same scatter whoever decides."""
        rng = np.random.default_rng([self.seed, self.number, week, int(after)])
        if rng.random() < self.slips:
            return int(rng.integers(GRADE_COUNT))
        return self.reads.draw_grade(rng, deposit)


def empty_facts(water: str) -> BoilerFacts:
    """A boiler on a water with one meter reading, without use, looks or descales."""
    test = WaterTest(water, URN.installed_on, tds_mg_l=WATERS[water])
    fill = Fill(URN.boiler, URN.installed_on, water)
    return BoilerFacts(URN, day(WEEKS), (), (Water(water),), (test,), (fill,))


def weekly_use(litres: np.ndarray, weeks: int) -> tuple[Use, ...]:
    """Use on record by ``weeks``: by four weeks, and the rest."""
    edges = [*range(0, weeks, 4), weeks]
    return tuple(Use(URN.boiler, day(a), day(b), litres=float(litres[a:b].sum())) for a, b in pairwise(edges) if a < b)


def invent(water: str, number: int, seed: int, supply: Supply, population: tuple[Belief, ...] = ()) -> Truth:
    """A boiler from the priors of a population: its unknowns, and its growth by weeks from the model's own law."""
    rng = np.random.default_rng([seed, list(WATERS).index(water), number])
    noise = LITRES_LOG_SD * rng.standard_normal(WEEKS) - 0.5 * LITRES_LOG_SD**2
    litres = LITRES_A_WEEK * np.exp(noise)
    looks = tuple(Inspection(URN.boiler, day(w), WALL, 0, 0) for w in range(1, WEEKS + 1))
    uses = tuple(Use(URN.boiler, day(w), day(w + 1), litres=float(litres[w])) for w in range(WEEKS))
    facts = replace(empty_facts(water), uses=uses, inspections=looks, beliefs=population)
    model = build_model(facts, build_timeline(facts), lambda _: supply.table)
    x = model.draw_prior(rng, 1)
    parameters = model.parameters(x[: model.static_dim])
    growth = increment(parameters.mean, parameters.dispersion, x[model.static_dim :])[0][:, 0]
    logit = believed(population, "residue_full").value(rng.standard_normal(WEEKS + 1))
    reads = model.look_model(x, looks[0]).part(0)
    truth_seed = int(rng.integers(2**31))
    residue, law = 1.0 / (1.0 + np.exp(-logit)), (parameters.mean[:, 0], float(parameters.dispersion[0]))
    return Truth(water, number, truth_seed, supply, litres, growth, residue, reads, *law)


@dataclass
class Life:
    """What has happened to a boiler under one way of deciding; ``week`` is now, ``deposit`` the truth."""

    truth: Truth
    threshold: float
    week: int = 0
    deposit: float = 0.0
    above: int = 0
    looks: list[Inspection] = field(default_factory=list)
    descales: list[Descale] = field(default_factory=list)
    counted_looks: int = 0
    weigh: bool = False

    def live_until(self, week: int) -> None:
        """Let scale grow."""
        for w in range(self.week, min(week, WEEKS)):
            self.deposit += self.truth.growth[w]
            self.above += self.deposit >= self.threshold
        self.week = min(week, WEEKS)

    def see(self, after: bool = False) -> None:
        grade = self.truth.grade(self.week, self.deposit, after)
        self.looks.append(Inspection(URN.boiler, day(self.week), WALL, grade, grade, after_descale=after))

    def look(self) -> None:
        self.see()
        self.counted_looks += 1

    def descale(self) -> None:
        """Descale now; what is seen before and after goes on record."""
        if not (self.looks and self.looks[-1].date == day(self.week)):
            self.see()
        found = self.truth.recovered(self.week, self.deposit) if self.weigh else None
        self.descales.append(Descale(URN.boiler, day(self.week), scale_recovered_g=found))
        self.deposit *= self.truth.residue[self.week]
        self.see(after=True)

    def facts(self) -> BoilerFacts:
        """What the logbook knows now."""
        known = replace(empty_facts(self.truth.water), as_of=day(self.week))
        uses = weekly_use(self.truth.litres, self.week)
        return replace(known, uses=uses, inspections=tuple(self.looks), descales=tuple(self.descales))

    def outcome(self) -> tuple[float, float, float]:
        """Descales a year, share of the time above, looks a year."""
        years = WEEKS / 52.0
        return len(self.descales) / years, self.above / WEEKS, self.counted_looks / years


@dataclass(frozen=True)
class Asker:
    """Puts the question to a boiler's logbook as the command line would, with fewer particles."""

    threshold: Threshold
    tolerance: float
    particles: int
    beliefs: tuple[Belief, ...] = ()

    def forecast(self, life: Life) -> Forecast:
        facts = replace(life.facts(), beliefs=self.beliefs)
        line = build_timeline(facts, LITRES_A_WEEK / 7.0)
        supply = life.truth.supply
        model = build_model(facts, line, lambda _: supply.table)
        posterior = draw(model, {life.truth.water: supply}, life.week + 1, self.particles)
        return Forecast(posterior, find_plan(posterior))

    def case(self, forecast: Forecast) -> Case:
        """The boiler's own question."""
        return Case(forecast, self.threshold, self.tolerance, HORIZON_DAYS)

    def due(self, life: Life, forecast: Forecast) -> int:
        """The last whole week within the tolerance, now at the earliest."""
        return life.week + (self.case(forecast).last_safe or 0) // 7

    def best_look(self, life: Life, forecast: Forecast, due: int) -> int | None:
        """The week of the next look from the next week to the due one; None where none comes before the descale."""
        best = value_looks(self.case(forecast)).best
        if best is None:
            return None
        week = (best.date - URN.installed_on).days // 7
        return week if life.week < week <= due else None


def quarterly(asker: Asker, life: Life, confirm: bool = False) -> None:
    """A look every quarter; descale on the deferral date where it falls before the next look."""
    confirmed = False
    while life.week < WEEKS:
        due = asker.due(life, asker.forecast(life))
        following = (life.week // QUARTER + 1) * QUARTER
        if due >= following:
            life.live_until(following)
            if life.week < WEEKS:
                life.look()
            confirmed = False
            continue
        life.live_until(due)
        if confirm and not confirmed and (not life.looks or life.looks[-1].date < day(life.week)):
            life.look()
            confirmed = True
            continue
        life.descale()
        confirmed = False


def confirmed(asker: Asker, life: Life) -> None:
    """Quarterly looks, and one before each planned descale."""
    quarterly(asker, life, confirm=True)


def placed(asker: Asker, life: Life) -> None:
    """Looks where they are worth most, at most eight; else a descale on the deferral date."""
    while life.week < WEEKS:
        forecast = asker.forecast(life)
        due = asker.due(life, forecast)
        if due > life.week + 1 and life.counted_looks < LOOKS_AT_MOST:
            week = asker.best_look(life, forecast, due)
            if week is not None:
                life.live_until(week)
                if life.week < WEEKS:
                    life.look()
                continue
        life.live_until(due)
        if life.week < WEEKS:
            life.descale()


WAYS: dict[str, Callable[[Asker, Life], None]] = {"quarterly": quarterly, "confirmed": confirmed, "placed": placed}


def by_rule(truth: Truth, threshold: float, due: Callable[[int, int], bool]) -> tuple[float, float, float]:
    """A rival's outcome; ``due(week, last descale's week)`` says whether to descale then."""
    life, last = Life(truth, threshold), 0
    for week in range(1, WEEKS):
        life.live_until(week)
        if due(week, last):
            life.descales.append(Descale(URN.boiler, day(week)))
            life.deposit *= truth.residue[week]
            last = week
    life.live_until(WEEKS)
    return life.outcome()


def by_calendar(truth: Truth, threshold: float, months: int) -> tuple[float, float, float]:
    """A descale every so many months."""
    weeks = {round(k * months * 52 / 12) for k in range(1, WEEKS)}
    return by_rule(truth, threshold, lambda week, _: week in weeks)


def by_litres(truth: Truth, threshold: float, constant: float) -> tuple[float, float, float]:
    """A descale whenever litres x meter reading since the last one reach a constant."""
    drawn = np.concatenate([[0.0], np.cumsum(truth.litres)]) * WATERS[truth.water]
    return by_rule(truth, threshold, lambda week, last: drawn[week] - drawn[last] >= constant)


def descales_needed(rates: np.ndarray, shares: np.ndarray, share: float) -> float:
    """Descales a year that a rival needs for a share of the time above, by straight lines along its curve.

    ``rates`` and ``shares`` (K,) are those of its settings; of settings that are worse in both, none is used. Beyond
    its most frequent setting that setting's rate is given, so the rival then gets better than it deserves.

    >>> descales_needed(np.array([4.0, 2.0, 1.0]), np.array([0.0, 0.1, 0.3]), 0.05)
    3.0
    """
    order = np.lexsort((rates, shares))
    best_shares, best_rates = shares[order], np.minimum.accumulate(rates[order])
    return float(np.interp(share, best_shares, best_rates))


def run(
    boilers: int,
    asker: Asker,
    seed: int,
    weigh: bool = False,
    slips: float = 0.0,
    ways: Sequence[str] = tuple(WAYS),
    population: tuple[Belief, ...] = (),
) -> dict[str, np.ndarray]:
    """Outcomes (waters, boilers, 3) of each of some of our ways; (settings, waters, boilers, 3) of each rival."""
    limit = asker.threshold.mg_cm2
    ours = {way: np.zeros((len(WATERS), boilers, 3)) for way in ways}
    calendar = np.zeros((len(MONTHS), len(WATERS), boilers, 3))
    litres = np.zeros((len(CONSTANTS), len(WATERS), boilers, 3))
    for w, water in enumerate(WATERS):
        supply = find_supply(empty_facts(water), water)
        for number in range(boilers):
            truth = replace(invent(water, number, seed, supply, population), slips=slips)
            for way in ways:
                life = Life(truth, limit, weigh=weigh)
                WAYS[way](asker, life)
                ours[way][w, number] = life.outcome()
            for k, months in enumerate(MONTHS):
                calendar[k, w, number] = by_calendar(truth, limit, months)
            for k, constant in enumerate(CONSTANTS):
                litres[k, w, number] = by_litres(truth, limit, constant)
            if sys.stderr.isatty():
                print(f"\r{water}: boiler {number + 1} of {boilers}  ", end="", file=sys.stderr, flush=True)
    if sys.stderr.isatty():
        print("\r" + " " * 40 + "\r", end="", file=sys.stderr)
    return {**ours, "calendar": calendar, "litres": litres}


def needed_by_rivals(ours: np.ndarray, calendar: np.ndarray, litres: np.ndarray) -> dict[str, float]:
    """Descales a year that each rival needs at our shares: ours (waters, boilers, 3), rivals with settings first."""
    each = ours.mean(axis=1)
    by_water = [descales_needed(*calendar[:, w].mean(axis=1)[:, :2].T, share) for w, share in enumerate(each[:, 1])]
    share = each[:, 1].mean()
    return {
        "calendar by water": float(np.mean(by_water)),
        "one calendar for all": descales_needed(*calendar.mean(axis=(1, 2))[:, :2].T, share),
        "litres x hardness": descales_needed(*litres.mean(axis=(1, 2))[:, :2].T, share),
    }


def ratios(outcomes: dict[str, np.ndarray], way: str, rng: np.random.Generator) -> dict[str, tuple[float, ...]]:
    """Descales needed by each rival, our ratio to it, and the middle 90 % of that over boilers drawn again."""
    ours, calendar, litres = (outcomes[k] for k in (way, "calendar", "litres"))
    needed = needed_by_rivals(ours, calendar, litres)
    again: dict[str, list[float]] = {rival: [] for rival in needed}
    for _ in range(BOOTSTRAPS):
        pick = rng.integers(ours.shape[1], size=ours.shape[1])
        some = needed_by_rivals(ours[:, pick], calendar[:, :, pick], litres[:, :, pick])
        for rival, rate in some.items():
            again[rival].append(ours[:, pick, 0].mean() / rate if rate > 0.0 else np.nan)
    own = ours[..., 0].mean()
    return {
        rival: (rate, own / rate if rate > 0.0 else np.nan, *np.nanquantile(again[rival], (0.05, 0.95)))
        for rival, rate in needed.items()
    }


def report(outcomes: dict[str, np.ndarray]) -> str:
    """The tables."""
    lines = [f"{'way':24s}{'water':10s}{'descales/year':>14s}{'above':>8s}{'looks/year':>12s}"]
    rows: list[tuple[str, np.ndarray]] = [(way, outcomes[way]) for way in WAYS if way in outcomes]
    rows += [(f"calendar {m} months", outcomes["calendar"][m - 1]) for m in MONTHS]
    rows += [(f"litres x mg/L {c:.0f}", outcomes["litres"][k]) for k, c in enumerate(CONSTANTS) if k % 3 == 0]
    for name, each in rows:
        means = [("all", each.mean(axis=(0, 1)))]
        if name in WAYS:
            means += [(water, each[w].mean(axis=0)) for w, water in enumerate(WATERS)]
        lines += [f"{name:24s}{w:10s}{m[0]:14.2f}{m[1]:8.1%}{m[2]:12.1f}" for w, m in means]
    lines += [
        "",
        "descales a year that a rival needs at our share of the time above, and ours over that (middle 90 %):",
    ]
    rng = np.random.default_rng(0)
    for way in filter(outcomes.__contains__, WAYS):
        for rival, (rate, ratio, low, high) in ratios(outcomes, way, rng).items():
            lines.append(f"{way:12s} against {rival:22s}{rate:6.2f}   ratio {ratio:.2f} ({low:.2f} to {high:.2f})")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--boilers", type=int, default=24, help="on each of the three waters")
    parser.add_argument("--particles", type=int, default=125, help="in each of the four populations")
    parser.add_argument("--tolerance", type=float, default=0.1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--weigh", action="store_true", help="the scale that each descale recovers is on record")
    parser.add_argument("--slips", type=float, default=0.0, help="share of looks whose grade is any grade alike")
    parser.add_argument("--ways", nargs="*", default=list(WAYS), choices=WAYS)
    parser.add_argument("--population", help="a priors file that boilers are drawn from")
    parser.add_argument("--priors", help="a priors file that dates lean on")
    parser.add_argument("--quick", action="store_true", help="a smoke run: two boilers a water, few particles")
    given = parser.parse_args()
    boilers, particles = (2, 60) if given.quick else (given.boilers, given.particles)
    population, own = (as_beliefs(file or ()) for file in (given.population, given.priors))
    asker = Asker(find_threshold(empty_facts("soft")), given.tolerance, particles, own)
    print(report(run(boilers, asker, given.seed, given.weigh, given.slips, given.ways, population)))


if __name__ == "__main__":
    main()
