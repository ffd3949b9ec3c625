"""What is the least that any dates could need? Keepers who know more than a logbook tells, on the same boilers.

The boilers, their growth and their looks are those of `benchmarks.decision_quality` for the same seed. Each keeper
knows the boiler's law (mean growth by week, dispersion, how the eye errs, how residues are spread) and descales on the
last week on which the risk is within the tolerance. They differ in what they know of the deposit:

  unseen       nothing but the law
  quarterly    the law, and a look every 13 weeks, with what is seen at each descale (particles, weighed by each grade)
  measured     the deposit itself every 13 weeks and after each descale
  weekly       the deposit itself every week

Our quarterly dates against ``quarterly`` show what the unknown law costs; that against ``measured``, what the coarse
grades cost; that against ``weekly``, what waiting for the quarter costs. What is left of ``weekly`` is growth that
nobody can foretell, and the tolerance. Printed for each: descales a year, share of the time above the threshold, and
the ratio to the descales that one best calendar needs for the same share.

    python -m benchmarks.knowing_keepers [--boilers 24] [--seed 1] [--tolerance 0.1]
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field

import numpy as np
from scipy.special import expit

from benchmarks.decision_quality import (
    BOOTSTRAPS,
    MONTHS,
    QUARTER,
    WATERS,
    WEEKS,
    Truth,
    by_calendar,
    descales_needed,
    empty_facts,
    invent,
)
from scalemodel.decision.case import last_day_within
from scalemodel.decision.forecast import find_threshold
from scalemodel.inference.smc import systematic_resample
from scalemodel.model import priors
from scalemodel.model.inverse_gaussian import draw_growth, survival
from scalemodel.model.supply import find_supply

PARTICLES = 2_000


@dataclass
class Keeper:
    """One who knows a boiler's law, and believes in deposits (particles,) [mg/cm2]; ``deposit`` is the truth."""

    truth: Truth
    threshold: float
    tolerance: float
    rng: np.random.Generator
    believed: np.ndarray = field(default_factory=lambda: np.zeros(PARTICLES))
    deposit: float = 0.0
    week: int = 0
    above: int = 0
    descales: int = 0

    def live_until(self, week: int) -> None:
        """Let scale grow, in truth and in belief."""
        week = min(week, WEEKS)
        mean = np.full(PARTICLES, self.truth.mean[self.week : week].sum())
        if week > self.week:
            self.believed = self.believed + draw_growth(self.rng, mean, self.truth.dispersion)
        for w in range(self.week, week):
            self.deposit += self.truth.growth[w]
            self.above += self.deposit >= self.threshold
        self.week = week

    def look(self, after: bool = False) -> None:
        """Weigh the believed deposits by the grade that is seen, and draw them again by their weights."""
        grade = self.truth.grade(self.week, self.deposit, after)
        weight = self.truth.reads.probability(grade, grade, self.believed)
        self.believed = self.believed[systematic_resample(self.rng, weight / weight.sum())]

    def measure(self) -> None:
        """Learn the deposit itself."""
        self.believed = np.full(PARTICLES, self.deposit)

    def descale(self) -> None:
        self.believed = self.believed * expit(priors.RESIDUE_FULL.value(self.rng.standard_normal(PARTICLES)))
        self.deposit *= self.truth.residue[self.week]
        self.descales += 1

    def due(self) -> int:
        """The last week on which the risk is within the tolerance, now at the earliest."""
        ahead = np.concatenate([[0.0], np.cumsum(self.truth.mean[self.week :])])

        def risk(weeks: int) -> float:
            return float(survival(self.threshold - self.believed, ahead[weeks], self.truth.dispersion).mean())

        return self.week + (last_day_within(risk, self.tolerance, len(ahead) - 1) or 0)

    def outcome(self) -> tuple[float, float]:
        """Descales a year, share of the time above."""
        return self.descales / (WEEKS / 52.0), self.above / WEEKS


def keep(keeper: Keeper, every: int | None, measured: bool) -> tuple[float, float]:
    """Two years of looks (or measurements) ``every`` so many weeks and at descales; none at all where it is None."""
    see = keeper.measure if measured else keeper.look
    while keeper.week < WEEKS:
        following = WEEKS if every is None else (keeper.week // every + 1) * every
        due = keeper.due()
        if due >= following:
            keeper.live_until(following)
            if every is not None and keeper.week < WEEKS:
                see()
            continue
        keeper.live_until(due)
        if every is not None:
            see()
        keeper.descale()
        if every is not None:
            keeper.measure() if measured else keeper.look(after=True)
        if keeper.due() == keeper.week:
            keeper.live_until(keeper.week + 1)  # even just descaled the risk is past the tolerance: a week at least
    return keeper.outcome()


KEEPERS = {"unseen": (None, False), "quarterly": (QUARTER, False), "measured": (QUARTER, True), "weekly": (1, True)}


def run(boilers: int, seed: int, tolerance: float) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Outcomes (boilers, 2) of each keeper, and (settings, boilers, 2) of calendars; all waters together."""
    threshold = find_threshold(empty_facts("soft")).mg_cm2
    found, calendars = {name: [] for name in KEEPERS}, []
    for water in WATERS:
        supply = find_supply(empty_facts(water), water)
        for number in range(boilers):
            truth = invent(water, number, seed, supply)
            calendars.append([by_calendar(truth, threshold, months)[:2] for months in MONTHS])
            for name, (every, measured) in KEEPERS.items():
                keeper = Keeper(truth, threshold, tolerance, np.random.default_rng([truth.seed, 9]))
                found[name].append(keep(keeper, every, measured))
    return {name: np.array(each) for name, each in found.items()}, np.array(calendars).transpose(1, 0, 2)


def ratio(ours: np.ndarray, calendars: np.ndarray) -> float:
    """Descales over those that the best calendar needs at the same share above.

    ``ours`` (boilers, 2), ``calendars`` (settings, boilers, 2): descales a year and shares above.
    """
    rate, share = ours.mean(axis=0)
    needed = descales_needed(*calendars.mean(axis=1).T, share)
    return rate / needed if needed > 0.0 else np.nan


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--boilers", type=int, default=24, help="on each of the three waters")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tolerance", type=float, default=0.1)
    given = parser.parse_args()
    found, calendars = run(given.boilers, given.seed, given.tolerance)
    rng = np.random.default_rng(0)
    print(f"{'keeper':12s}{'descales/year':>14s}{'above':>8s}   of the best calendar's (middle 90 %)")
    for name, ours in found.items():
        picks = (rng.integers(len(ours), size=len(ours)) for _ in range(BOOTSTRAPS))
        low, high = np.nanquantile([ratio(ours[pick], calendars[:, pick]) for pick in picks], (0.05, 0.95))
        rate, share = ours.mean(axis=0)
        print(f"{name:12s}{rate:14.2f}{share:8.1%}   {ratio(ours, calendars):.2f} ({low:.2f} to {high:.2f})")


if __name__ == "__main__":
    main()
