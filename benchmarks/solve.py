"""What a solve is made of, as ratios within one run; nothing here is a test.

Prints for histories of rising length, in work of a core (least of some runs): milliseconds a solve, what that would be
with slices that try one angle at a time, or with all particles let in from the start where trajectories move them, how
often a particle was evaluated, milliseconds a pass of 500 particles and, beside it, how often as long it takes as its
special functions alone on arrays of the same sizes. With ``--write`` the table replaces that in docs/performance.md.

    python -m benchmarks.solve [--looks 5 15 30 60 120 250] [--runs 5] [--write]
"""

import argparse
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np
from scipy.special import expit, ndtr

from benchmarks.cold import written
from benchmarks.speed import invented
from scalemodel.inference import elliptical, smc
from scalemodel.inference.posterior import draw
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.target import model_of

DAYS_APART = {5: 60, 15: 30, 30: 60, 60: 60, 120: 30, 250: 14}
TDS_MG_L = {5: 160.0, 15: 110.0, 30: 60.0, 60: 30.0, 120: 30.0, 250: 30.0}
AT_ONCE = 500


def least(act: Callable[[], object], runs: int) -> float:
    """The least work of a core of some runs [s]."""
    found = []
    for _ in range(runs):
        began = time.process_time()
        act()
        found.append(time.process_time() - began)
    return min(found)


def special_functions(model: BoilerModel, n: int) -> Callable[[], None]:
    """The special functions of one pass of n particles alone: on arrays of the same sizes, and of like numbers."""
    rng = np.random.default_rng(1)
    looks, intervals, readout = len(model.looks.state), model.timeline.intervals, model.readout
    bounds, half = rng.uniform(-0.8, 1.7, (2, looks, n)), -rng.exponential(1.0, (2, looks, n))
    seen, grown = rng.exponential(3.0, (looks, n)), rng.exponential(3.0, (intervals, n))
    some = rng.standard_normal((readout.logistic.stop, n))
    measured = rng.exponential(3.0, (len(model.measurements.state), n))

    def alone() -> None:
        np.exp(some[readout.exponential])
        expit(some[readout.logistic])
        np.log(grown), np.sqrt(grown), np.log(grown)  # the coefficient of variation, the growth, the prior ratio
        np.log(seen), ndtr(bounds), np.exp(half), np.exp(half), np.log(seen)  # what is seen, its tails, its likelihood
        np.log(measured)

    return alone


@contextmanager
def plainer(dim: int) -> Iterator[None]:
    """Solves without what spares them work: several angles at once, or letting in a part of the particles."""
    angles, brief = elliptical.MOST_ANGLES, smc.BRIEF
    if dim < smc.HAMILTONIAN_FROM:
        elliptical.MOST_ANGLES = 1
    else:
        smc.BRIEF = brief._replace(rounds=1)
    try:
        yield
    finally:
        elliptical.MOST_ANGLES, smc.BRIEF = angles, brief


def row(looks: int, runs: int) -> str:
    """The table's row of a history with so many looks."""
    facts = invented(looks, DAYS_APART[looks], TDS_MG_L[looks])
    model, supplies = model_of(facts)
    drawn = draw(model, supplies)
    whole = least(lambda: draw(model, supplies), runs)
    with plainer(model.dim):
        plain = least(lambda: draw(model, supplies), runs)
    x = model.draw_prior(np.random.default_rng(2), AT_ONCE)
    one, alone = least(lambda: model.evaluate(x), 40 * runs), least(special_functions(model, AT_ONCE), 40 * runs)
    move = "slices" if model.dim < smc.HAMILTONIAN_FROM else "trajectories"
    return (
        f"| {looks} | {model.dim} | {move} | {1000 * whole:.0f} | {plain / whole:.1f} | {drawn.info.evaluations:.0f} "
        f"| {1000 * one:.2f} | {one / alone:.1f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--looks", type=int, nargs="*", default=[*DAYS_APART], choices=DAYS_APART)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    rows = [
        "| looks | coordinates | moved by | a solve, ms | plainer, to that | evaluations a particle | a pass, ms "
        "| to its special functions |",
        "|---|---|---|---|---|---|---|---|",
    ]
    print(*rows, sep="\n")
    for looks in given.looks:
        rows.append(row(looks, given.runs))
        print(rows[-1], flush=True)
    if given.write:
        written("solve", rows)


if __name__ == "__main__":
    main()
