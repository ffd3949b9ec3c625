"""What one look would save, and two: the deposits that a look may meet, the grades that it may show, the days it moves.

The look's probabilities are the law's own; the losses are those of `scalemodel.decision.loss`. What a reading is worth
before it is made is preposterior analysis (Raiffa & Schlaifer 1961).
"""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

import numpy as np

from scalemodel.decision.forecast import Forecast
from scalemodel.decision.loss import Losses, running_integral
from scalemodel.decision.status import Status
from scalemodel.inference.posterior import monte_carlo_error
from scalemodel.model.inverse_gaussian import draw_growth, survival
from scalemodel.model.look import LookModel

PAIR_DRAWS, PAIR_DATES = 2_000, 3
"""Two looks are weighed on so many draws at most, with the second on three days after the first."""


def drawn_path(losses: Losses, at: np.ndarray) -> np.ndarray:
    """One drawn path of the reference deposit a draw, on the plan days of these indices (len(at), S) [mg/cm2]."""
    mean = losses.growth[at]
    steps = np.diff(mean, axis=0, prepend=np.zeros_like(mean[:1]))
    grown = draw_growth(losses.case.forecast.posterior.fresh("look path"), steps, losses.dispersion)
    return losses.deposit + grown.cumsum(axis=0)


class After(NamedTuple):
    """What follows a look on plan day ``index``, by plan day from that on and by draw (A, S).

    Attributes
    ----------
    failure_probability, above : arrays
        F_i and A_i given the deposit on the day of the look; A_i from that day on.
    loss : array
        L of descaling on each day.
    """

    failure_probability: np.ndarray
    above: np.ndarray
    loss: np.ndarray

    def part(self, draws: np.ndarray) -> After:
        """The same for some of the draws."""
        return After(*(part[:, draws] for part in self))


def after_look(losses: Losses, index: int, deposit: np.ndarray, before: np.ndarray | float) -> After:
    """What follows a look that is made at the reference deposits ``deposit`` (S,).

    ``before`` are the days above the threshold before it (S,) [days of use]: they cost the same whatever is done after,
    so that their mean may stand for them.
    """
    mean = losses.growth[index:] - losses.growth[index]
    passed = survival(losses.reference_threshold - deposit, mean, losses.dispersion)
    use = losses.use[index:]
    above = running_integral(passed, use)
    return After(passed, above, losses.terms.losses(passed, before + above, use))


def usual_look_model(forecast: Forecast, site: str, method: str) -> LookModel:
    """How a look by whoever looks most often reads (by nobody in particular where nobody has looked).

    It reads deposits at the forecast's site, over that one's relative deposit, wherever the look is made.
    """
    posterior = forecast.posterior
    usual = Counter(look.inspector for look in posterior.facts.inspections).most_common(1)
    beside = posterior.deposits_at(site)[-1] - posterior.deposits_at(forecast.site)[-1]
    return posterior.look_model(site, method, usual[0][0] if usual else "")._replace(beside=beside)


class SampleInformation(NamedTuple):
    """A look on a plan day as sample information: expected value, probabilities of the grades, and what follows."""

    value: float
    mc_error: float
    perfect: float
    grade_probabilities: np.ndarray
    after: After


def best_acts(losses: Losses, after: After, weights: np.ndarray) -> np.ndarray:
    """For each grade, with weights (grades, S), the best plan day (an index) of those that are safe under them."""
    acts = np.zeros(len(weights), dtype=int)
    for grade, weight in enumerate(weights):
        total = weight.sum()
        if total > 0.0:
            safe = losses.allowed(after.failure_probability @ (weight / total))
            acts[grade] = int(np.argmin(after.loss[:safe] @ weight))
    return acts


def halves(count: int) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
    """Which draws choose and which value, and the other way round."""
    even = np.arange(count) % 2 == 0
    return (even, ~even), (~even, even)


def sample_information(losses: Losses, index: int, deposit: np.ndarray, chances: np.ndarray) -> SampleInformation:
    """Value of a look on plan day ``index``, given the deposits then (S,) and the probabilities of grades (grades, S).

    Never negative, since one need not look, and never above that of knowing each draw exactly.
    """
    after = after_look(losses, index, deposit, float(losses.above[index].mean()))
    told = np.empty(chances.shape[1])
    for chosen, valued in halves(len(told)):
        acts = best_acts(losses, after.part(chosen), chances[:, chosen])
        told[valued] = (chances[:, valued] * after.loss[acts][:, valued]).sum(axis=0)
    base = losses.before[losses.plan]
    saved = base - told
    perfect = max(0.0, float((base - after.loss.min(axis=0)).mean()))
    value = min(max(0.0, float(saved.mean())), perfect)
    error = monte_carlo_error(saved.reshape(losses.case.forecast.posterior.populations, -1))
    return SampleInformation(value, error, perfect, chances, after)


class Pair(NamedTuple):
    """What a look and one more would save, its random error, and how many looks those are on average."""

    value: float
    mc_error: float
    looks: float


def pair_value(losses: Losses, index: int, look: LookModel, cost: float) -> Pair:
    """What a look on plan day ``index`` and one more of the same kind would save, and how many looks that takes.

    After each grade of the first one descales on the best day, or looks once more on the best of a few days, whichever
    loses less, the second look's ``cost`` counted; days are chosen on one half of the draws and valued on the other.
    """
    last = losses.plan if losses.case.standing.status is Status.WITHIN else len(losses.days) - 2
    later = np.unique(np.linspace(index, max(last, index), PAIR_DATES + 1).round().astype(int))[1:]
    some = np.arange(0, len(losses.reference_threshold), max(1, len(losses.reference_threshold) // PAIR_DRAWS))
    losses, look = losses.part(some), look.part(some)
    deposits = drawn_path(losses, np.array([index, *later]))
    first = after_look(losses, index, deposits[0], float(losses.above[index].mean()))
    seconds = [
        (
            look.grade_probabilities(deposit),
            after_look(losses, int(at), deposit, losses.above[index].mean() + first.above[at - index]),
        )
        for at, deposit in zip(later, deposits[1:], strict=True)
    ]
    chances, looks = look.grade_probabilities(deposits[0]), 1.0
    saved = losses.before[losses.plan].copy()
    for chosen, valued in halves(len(some)):
        for weight in chances:
            single = first.loss[best_acts(losses, first.part(chosen), weight[None, chosen])[0]]
            plans = [(single, 0.0)]
            for second, after in seconds:
                acts = best_acts(losses, after.part(chosen), weight[chosen] * second[:, chosen])
                plans.append(((second * after.loss[acts]).sum(axis=0) + cost, 1.0))
            loss, more = min(plans, key=lambda plan: float(plan[0][chosen] @ weight[chosen]))
            saved[valued] -= ((loss - more * cost) * weight)[valued]
            looks += more * float(weight[valued].sum()) / len(some)
    return Pair(float(saved.mean()), float(saved.std() / len(some) ** 0.5), looks)
