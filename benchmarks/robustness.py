"""What do the dates survive? Worlds that are not as the model believes, on the same invented boilers.

The worlds are those of `scalemodel.validation.other_worlds`: mistakes on record (looks, use, descales) and boilers or
waters that change. Printed for each: how many boilers were given a date; the share of them that had passed the
threshold by it, with its standard error, beside the accepted risk; the mean days from the question to the date; the
days of waiting over all boilers alike (none where a look must be answered first or the risk is past, the horizon where
it never comes to it); and how many were told to look again.

    python benchmarks/robustness.py [--boilers 210] [--seed 1] [--particles 125] [--jobs 1] [--world WORDS]
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import NamedTuple

import numpy as np

from scalemodel import api
from scalemodel.decision.status import Status
from scalemodel.validation.other_worlds import AHEAD, WORLDS, Lived, draw_luck, live


class Outcome(NamedTuple):
    """How a boiler stood, the days until its date (-1: none), whether it had passed by then, the days it may wait."""

    status: str
    days: int
    passed: bool
    waits: int


def outcome(case, lived: Lived) -> Outcome:
    """Ask how long the descale can wait, and see what came of it."""
    status, last = case.standing.status, case.last_safe
    if status is not Status.WITHIN:
        return Outcome(status.value, -1, False, AHEAD if status is Status.BEYOND else 0)
    return Outcome(status.value, last, lived.passed_by(case.defer_until), last)


def try_boiler(number: int, seed: int, particles: int, worlds: tuple[int, ...]) -> list[Outcome]:
    """One boiler in each world; records that are alike are asked about once."""
    luck, asked, found = draw_luck(number, seed), {}, []
    for world in worlds:
        lived = live(luck, WORLDS[world])
        if lived.facts not in asked:
            asked[lived.facts] = api.prepare(lived.facts, seed=number, particles=particles)
        found.append(outcome(asked[lived.facts], lived))
    return found


def try_all(boilers: int, jobs: int, one: partial) -> Iterator[list[Outcome]]:
    """Every boiler's outcomes, in order."""
    if jobs == 1:
        yield from map(one, range(boilers))
        return
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(one, range(boilers))


def table(found: list[list[Outcome]], worlds: tuple[int, ...]) -> str:
    """A line a world."""
    lines = [f"{'world':56s}{'dated':>6s}{'passed before':>15s}{'days':>6s}{'waits':>7s}{'look again':>12s}"]
    for k, world in enumerate(worlds):
        each = [boiler[k] for boiler in found]
        dated = [o for o in each if o.days >= 0]
        share = np.mean([o.passed for o in dated]) if dated else np.nan
        error = np.sqrt(share * (1.0 - share) / max(1, len(dated)))
        days = np.mean([o.days for o in dated]) if dated else np.nan
        again = sum(o.status == Status.LOOK_AGAIN for o in each)
        lines.append(
            f"{WORLDS[world].name:56s}{len(dated):6d}{share:8.0%} +- {error:3.0%}{days:6.0f}"
            f"{np.mean([o.waits for o in each]):7.0f}{again:12d}"
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--boilers", type=int, default=210)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--particles", type=int, default=125, help="in each of the four populations")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--world", default="", help="only worlds whose name holds these words (the first is kept)")
    given = parser.parse_args()
    worlds = tuple(k for k, world in enumerate(WORLDS) if k == 0 or given.world in world.name)
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
