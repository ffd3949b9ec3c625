"""What do the dates survive? Worlds that are not as the model believes, on the same invented boilers.

The worlds are those of `scalemodel.validation.other_worlds`: mistakes on record (looks, use, descales) and boilers or
waters that change. Printed for each: how many boilers were given a date; the share of them that had passed the
threshold by it, with its standard error, beside the accepted risk; the mean days from the question to the date; the
days of waiting over all boilers alike (none where a look must be answered first or the risk is past, the horizon where
it never comes to it); how many were told to look again; at how many the alarm for a change was raised, and after how
many looks from the change on (its middle), where there is one.

With --fleets the looks of 30 boilers at a time, on one water, are foretold and tested together: how many of so many
fleets are told of a change, and after how many looks of a boiler from the change on. A solve a look: it takes long.

    python benchmarks/robustness.py [--boilers 210] [--seed 1] [--particles 125] [--jobs 1] [--world WORDS] [--fleets N]
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from functools import partial
from typing import NamedTuple

import numpy as np

from scalemodel import api
from scalemodel.decision.foretelling import Foretold, foretell
from scalemodel.decision.sequential import LEARNED, alarmed
from scalemodel.decision.status import Status
from scalemodel.validation.hindsight_fleet import pooled_looks
from scalemodel.validation.other_worlds import AHEAD, WORLDS, Lived, changed_on, day, draw_luck, live


class Outcome(NamedTuple):
    """How a boiler stood, the days until its date (-1: none), whether it had passed by then, the days it may wait.

    ``told``: the looks from the world's change on until the alarm was raised (0: before it, or there is no such day);
    -1 without an alarm.
    """

    status: str
    days: int
    passed: bool
    waits: int
    told: int


def outcome(case, lived: Lived, changed: int | None) -> Outcome:
    """Ask how long the descale can wait, and see what came of it."""
    status, last, told = case.standing.status, case.standing.day, -1
    if case.change is not None:
        told = 0 if changed is None else looks_between(lived, day(changed), case.change.told_on)
    if status is not Status.WITHIN:
        return Outcome(status.value, -1, False, AHEAD if status is Status.BEYOND else 0, told)
    return Outcome(status.value, last, lived.passed_by(case.defer_until), last, told)


def looks_between(lived: Lived, first: date, last: date) -> int:
    """The looks on record on the days from ``first`` to ``last``."""
    return sum(first <= look.date <= last for look in lived.facts.inspections)


def try_boiler(number: int, seed: int, particles: int, worlds: tuple[int, ...]) -> list[Outcome]:
    """One boiler in each world; records that are alike are asked about once."""
    luck, asked, found = draw_luck(number, seed), {}, []
    for world in worlds:
        lived = live(luck, WORLDS[world])
        if lived.facts not in asked:
            asked[lived.facts] = api.prepare(lived.facts, seed=number, particles=particles)
        found.append(outcome(asked[lived.facts], lived, changed_on(luck, WORLDS[world])))
    return found


def try_all(count: int, jobs: int, one: partial) -> Iterator:
    """What ``one`` gives of each number, in order, in ``jobs`` processes."""
    if jobs == 1:
        yield from map(one, range(count))
        return
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(one, range(count))


def table(found: list[list[Outcome]], worlds: tuple[int, ...]) -> str:
    """A line a world."""
    lines = [
        f"{'world':56s}{'dated':>6s}{'passed before':>15s}{'days':>6s}{'waits':>7s}{'look again':>12s}"
        f"{'told':>6s}{'looks':>7s}"
    ]
    for k, world in enumerate(worlds):
        each = [boiler[k] for boiler in found]
        dated = [o for o in each if o.days >= 0]
        share = np.mean([o.passed for o in dated]) if dated else np.nan
        error = np.sqrt(share * (1.0 - share) / max(1, len(dated)))
        days = np.mean([o.days for o in dated]) if dated else np.nan
        again = sum(o.status == Status.LOOK_AGAIN for o in each)
        told = [o.told for o in each if o.told >= 0]
        middle = f"{np.median(told):.0f}" if told and WORLDS[world].since else ""
        lines.append(
            f"{WORLDS[world].name:56s}{len(dated):6d}{share:8.0%} +- {error:3.0%}{days:6.0f}"
            f"{np.mean([o.waits for o in each]):7.0f}{again:12d}{len(told):6d}{middle:>7s}"
        )
    return "\n".join(lines)


FLEET = 30


def foretell_boiler(number: int, fleet: int, world: int, seed: int, particles: int) -> list[Foretold]:
    """Every look of a boiler of a fleet foretold, but those from which it learns its own water."""
    lived = live(draw_luck(number, seed, fleet), WORLDS[world])
    return foretell(lived.facts, seed, particles)[LEARNED:]


def try_fleet(fleet: int, world: int, seed: int, particles: int) -> float:
    """Looks a boiler from the change on (without one: from the first) until the fleet was told; infinite if never."""
    numbers = range(fleet * FLEET, (fleet + 1) * FLEET)
    looks = [one for n in numbers for one in foretell_boiler(n, fleet, world, seed, particles)]
    looks.sort(key=lambda one: one.look.date)
    raised = alarmed(pooled_looks(looks))
    if raised is None:
        return np.inf
    changed = changed_on(draw_luck(numbers[0], seed, fleet), WORLDS[world]) or 0
    return sum(one.look.date >= day(changed) for one in looks[: raised.at + 1]) / FLEET


def fleets_table(fleets: int, worlds: tuple[int, ...], seed: int, particles: int, jobs: int) -> Iterator[str]:
    """A line a world: how many fleets were told, and after how many looks of a boiler."""
    yield f"{'world':56s}{'told':>8s}{'within two looks':>18s}{'middle':>8s}"
    for world in worlds:
        one = partial(try_fleet, world=world, seed=seed, particles=particles)
        after = np.array(list(try_all(fleets, jobs, one)))
        told = after[np.isfinite(after)]
        middle = f"{np.median(told):.1f}" if len(told) else "-"
        yield f"{WORLDS[world].name:56s}{len(told):5d}/{fleets:<2d}{np.sum(after <= 2.0):18d}{middle:>8s}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--boilers", type=int, default=210)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--particles", type=int, default=125, help="in each of the four populations")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--world", default="", help="only worlds whose name holds these words (the first is kept)")
    parser.add_argument("--fleets", type=int, default=0, help="so many fleets of 30 boilers instead, tested together")
    given = parser.parse_args()
    worlds = tuple(k for k, world in enumerate(WORLDS) if k == 0 or given.world in world.name)
    if given.fleets:
        for line in fleets_table(given.fleets, worlds, given.seed, given.particles, given.jobs):
            print(line, flush=True)
        return
    one = partial(try_boiler, seed=given.seed, particles=given.particles, worlds=worlds)
    found = []
    for outcomes in try_all(given.boilers, given.jobs, one):
        found.append(outcomes)
        if sys.stderr.isatty():
            print(f"\rboiler {len(found)} of {given.boilers} ", end="", file=sys.stderr, flush=True)
    if sys.stderr.isatty():
        print("\r" + " " * 40 + "\r", end="", file=sys.stderr)
    print(f"{given.boilers} boilers, seed {given.seed}, {given.particles} particles; accepted risk 10 %")
    print(table(found, worlds))


if __name__ == "__main__":
    main()
