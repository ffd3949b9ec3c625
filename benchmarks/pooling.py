"""What a new boiler gains from a fleet: its wait, its stated risk and what came of it, by the house's priors and by the
fleet's.

    .venv/bin/python benchmarks/pooling.py [FLEET] [NEW] [SEED] [FILE]

The fleet's boilers keep less than the house believes, and are more alike; all share a water and the people who look.
Each new boiler is of the same fleet, with one look on record. All dates are at a risk of one in ten.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np

import scalemodel
from scalemodel.fleet.told import priors_text
from scalemodel.logbook.belief import Belief
from scalemodel.validation.fleet_size import LAST_DAY
from scalemodel.validation.fleets import Simulated, found_at, invent

POPULATION = (Belief("capture", "", -1.2, 0.4), Belief("residue_full", "", -3.0, 0.4))
"""What the boilers are drawn from; nobody is told."""

AHEAD_DAYS = 180


def boiler(number: int, seed: int, looks: int) -> Simulated:
    """A boiler of the fleet; what is believed of it is the house's."""
    rng = np.random.default_rng([seed, number])
    facts = replace(invent(rng, number, seed, looks, LAST_DAY), beliefs=POPULATION)
    made = found_at(facts, rng, seed)
    return Simulated(replace(made.facts, beliefs=()), made.truth)


def outcome(new: Simulated, priors: tuple[Belief, ...]) -> tuple[float, float, float]:
    """Days that a new boiler may wait, (risk - passed)^2 in half a year, and whether it passed before its date."""
    case = scalemodel.prepare(new.facts, priors=priors, particles=250, tolerance=0.1)
    answer, passes = scalemodel.defer(case), new.truth.passes_on
    until = answer.defer_until or new.facts.as_of
    passed = passes is not None and passes <= LAST_DAY + timedelta(days=AHEAD_DAYS)
    risk = scalemodel.risk(case, [LAST_DAY + timedelta(days=AHEAD_DAYS)]).points[0].probability
    early = passes is not None and new.facts.as_of < passes <= until
    return (until - new.facts.as_of).days, (risk - passed) ** 2, float(early)


def main(fleet: int = 12, new: int = 24, seed: int = 7, file: str | None = None) -> None:
    """Print both rows, or none where there is no new boiler; with a file, keep the pooled priors there."""
    pooled = scalemodel.pool([boiler(k, seed, 8).facts for k in range(fleet)], seed=1)
    print(f"{pooled.boilers} boilers, {pooled.looks} looks, {pooled.rounds} rounds, settled {pooled.settled}, "
          f"least effective share {pooled.effective_share:.2f}")  # fmt: skip
    for row in pooled.population:
        print(f"  {row.unknown} {row.subject}: mean {row.mean:.2f} +- {row.mean_error:.2f}, sd {row.sd:.2f} "
              f"+- {row.sd_error:.2f} (house {row.house_mean:.2f}, {row.house_sd:.2f})")  # fmt: skip
    if file:
        Path(file).write_text(priors_text(pooled), encoding="utf-8")
    if not new:
        return
    others = [boiler(fleet + k, seed, 1) for k in range(new)]
    print(f"{new} new boilers   wait, days   Brier score, {AHEAD_DAYS} days   passed before the date")
    for name, priors in (("house", ()), ("fleet", pooled.beliefs())):
        rows = np.array([outcome(one, priors) for one in others])
        print(f"{name:15} {rows[:, 0].mean():12.0f} {rows[:, 1].mean():24.3f} {100 * rows[:, 2].mean():20.0f}%")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:4]), *sys.argv[4:5])
