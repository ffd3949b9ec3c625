"""How far ahead must one look? What one look saves, two, three, and one at a time with the question asked again.

Boilers are simulated from the prior (`scalemodel.validation.histories`: random waters, use, looks, descales), each is
solved, and looks at the site that was looked at most are weighed on a few days up to the last safe one, at no cost. For
each boiler the saving of the best plan of at most one, two and three looks is computed by going through every grade at
every look; "one at a time" chooses each look as if it were the last, and asks again after it. Days are chosen on one
half of the draws and valued on the other. Printed: the shares of what three looks save, over all boilers together, with
the middle 90 % over boilers drawn again.

    python benchmarks/look_ahead.py [--boilers 200] [--seed 1] [--particles 250]
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass

import numpy as np

from scalemodel import api
from scalemodel.decision.case import Case
from scalemodel.decision.inspection_value import kinds_of_look
from scalemodel.decision.look_value import After, after_look, best_acts, drawn_path, halves, usual_look_model
from scalemodel.decision.loss import Losses, losses_of
from scalemodel.decision.status import Status
from scalemodel.errors import ScalemodelError
from scalemodel.validation.simulated_boilers import simulated_logbook

DATES, DRAWS, BOOTSTRAPS = 5, 1_500, 400
DEPTHS = (1, 2, 3)


@dataclass
class Tree:
    """All that may be seen at one site on a few days; draws ``chosen`` choose, draws ``valued`` value."""

    losses: Losses
    indices: np.ndarray
    deposits: np.ndarray
    chances: np.ndarray
    chosen: np.ndarray
    valued: np.ndarray

    def act(self, after: After, weights: np.ndarray) -> np.ndarray:
        """The loss by draw (S,) of the best safe day under the weights (S,)."""
        return after.loss[best_acts(self.losses, after, (weights * self.chosen)[None])[0]]

    def seen(self, place: int, above: np.ndarray | float) -> After:
        """What follows a look on the date of this place."""
        return after_look(self.losses, int(self.indices[place]), self.deposits[place], above)

    def later(self, place: int, after: After, above: np.ndarray | float) -> list[tuple[int, np.ndarray | float]]:
        """The places of later looks, and the days above the threshold before each by draw."""
        start = int(self.indices[place]) if place >= 0 else 0
        return [(k, above + after.above[int(self.indices[k]) - start]) for k in range(place + 1, len(self.indices))]

    def told(self, place: int, above, weights: np.ndarray, depth: int, greedy: bool) -> np.ndarray:
        """Weighted loss by draw (S,) of a look on this place's date, with at most ``depth - 1`` more after it."""
        after = self.seen(place, above)
        return sum(self.best(place, after, above, weights * grade, depth - 1, greedy) for grade in self.chances[place])

    def best(self, place: int, after: After, above, weights: np.ndarray, depth: int, greedy: bool) -> np.ndarray:
        """Weighted loss by draw (S,) of acting now, or of the best of at most ``depth`` more looks.

        ``greedy`` weighs each look as if it were the last one.
        """
        plans = [(weights * self.act(after, weights), None)]
        if depth > 0 and weights[self.chosen].sum() > 1e-3:
            for k, before in self.later(place, after, above):
                plans.append((self.told(k, before, weights, 1 if greedy else depth, greedy), (k, before)))
        found, look = min(plans, key=lambda plan: float(plan[0][self.chosen].sum()))
        if greedy and look is not None and depth > 1:
            found = self.told(*look, weights, depth, greedy)
        return found


def savings(case: Case) -> list[float] | None:
    """What one, two and three looks save, and three one at a time; None where there is nothing to wait for."""
    if case.standing.status is not Status.WITHIN or case.last_safe < DATES:
        return None
    whole = losses_of(case)
    last = int(np.searchsorted(whole.days, whole.last))
    indices = np.unique(np.linspace(0, last, DATES + 1).round().astype(int))[1:]
    some = np.arange(0, len(whole.reference_threshold), max(1, len(whole.reference_threshold) // DRAWS))
    losses = whole.part(some)
    look = usual_look_model(case.forecast, *kinds_of_look(case.facts)[0]).part(whole.draws).part(some)
    deposits = drawn_path(losses, indices)
    chances = np.stack([look.grade_probabilities(deposit) for deposit in deposits])
    root = After(losses.failure_probability, losses.above, losses.before)
    saved = []
    for depth, greedy in [*((depth, False) for depth in DEPTHS), (DEPTHS[-1], True)]:
        total = 0.0
        for chosen, valued in halves(len(some)):
            tree = Tree(losses, indices, deposits, chances, chosen, valued)
            plain = losses.before[losses.plan]
            total += float((plain - tree.best(-1, root, 0.0, np.ones(len(some)), depth, greedy))[valued].sum())
        saved.append(total / len(some) / losses.terms.descale)
    return saved


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--boilers", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--particles", type=int, default=250)
    given = parser.parse_args()
    found, number = [], 0
    while len(found) < given.boilers:
        rng = np.random.default_rng([given.seed, number])
        number += 1
        try:
            one = savings(api.prepare(simulated_logbook(rng), seed=number, particles=given.particles))
        except ScalemodelError:
            continue
        if one is not None:
            found.append(one)
        if sys.stderr.isatty():
            print(f"\r{len(found)} of {given.boilers}", end="", file=sys.stderr)
    saved = np.array(found)
    rng = np.random.default_rng(given.seed)
    drawn = saved[rng.integers(len(saved), size=(BOOTSTRAPS, len(saved)))].sum(axis=1)
    print(
        f"{len(saved)} boilers that can wait, of {number} simulated; three looks save {saved[:, 2].mean():.3f} descales"
    )
    for k, words in enumerate(("one look", "two looks", "three looks", "one at a time, three at most")):
        share, (low, high) = saved[:, k].sum() / saved[:, 2].sum(), np.quantile(drawn[:, k] / drawn[:, 2], (0.05, 0.95))
        print(f"{words:30} {share:5.0%}  ({low:.0%} to {high:.0%})")


if __name__ == "__main__":
    main()
