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


def after_look(losses: Losses, index: int, deposit: np.ndarray, before: np.ndarray | float | None = None) -> After:
    """What follows a look that is made at the reference deposits ``deposit`` (S,).

    ``before`` are the days above the threshold before it (S,) [days of use]; by default their mean, which may stand for
    them, as they cost the same whatever is done after.
    """
    room, growth = losses.reference_threshold - deposit, losses.growth
    passed = survival(room, growth[index:] - growth[index], losses.dispersion)
    use = losses.use[index:]
    above = running_integral(passed, use)
    loss = losses.terms.losses(passed, above, use)
    loss += losses.terms.failure * losses.terms.kappa * (losses.above[index].mean() if before is None else before)
    return After(passed, above, loss)


def usual_look_model(forecast: Forecast, site: str, method: str) -> LookModel:
    """How a look by whoever looks most often reads (by nobody in particular where nobody has looked).

    It reads deposits at the forecast's site, over that one's relative deposit, wherever the look is made.
    """
    posterior = forecast.posterior
    usual = Counter(look.inspector for look in posterior.facts.inspections).most_common(1)
    beside = posterior.deposits_at(site)[-1] - posterior.deposits_at(forecast.site)[-1]
    return posterior.look_model(site, method, usual[0][0] if usual else "")._replace(beside=beside)


class SampleInformation(NamedTuple):
    """A look as sample information: its expected value, the random error of that, and what knowing all would save."""

    value: float
    mc_error: float
    perfect: float


def best_acts(losses: Losses, after: After, weights: np.ndarray) -> np.ndarray:
    """For each grade, with weights (grades, S), the best plan day (an index) of those that are safe under them."""
    acts = np.zeros(len(weights), dtype=int)
    total, weights = weights.sum(axis=1), weights.T
    risk, loss = after.failure_probability @ weights, after.loss @ weights
    for grade in np.flatnonzero(total > 0.0):
        safe = losses.allowed(risk[:, grade] / total[grade])
        acts[grade] = int(np.argmin(loss[:safe, grade]))
    return acts


def halves(count: int) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
    """Which draws choose and which value, and the other way round."""
    even = np.arange(count) % 2 == 0
    return (even, ~even), (~even, even)


def sample_information(losses: Losses, after: After, chances: np.ndarray) -> SampleInformation:
    """Value of a look, given what follows it and the probabilities of grades (grades, S).

    Never negative, since one need not look, and never above that of knowing each draw exactly.
    """
    told = np.empty(chances.shape[1])
    for chosen, valued in halves(len(told)):
        acts = best_acts(losses, after, chances * chosen)
        told[valued] = (chances * after.loss[acts])[:, valued].sum(axis=0)
    base = losses.before[losses.plan]
    saved = base - told
    perfect = max(0.0, float((base - after.loss.min(axis=0)).mean()))
    value = min(max(0.0, float(saved.mean())), perfect)
    error = monte_carlo_error(saved.reshape(losses.case.forecast.posterior.populations, -1))
    return SampleInformation(value, error, perfect)


class Pair(NamedTuple):
    """What a look and one more would save, its random error, and how many looks those are on average."""

    value: float
    mc_error: float
    looks: float


def pair_values(losses: Losses, index: int, looks: list[tuple[LookModel, float]]) -> list[Pair]:
    """What a look on plan day ``index`` and one more of the same kind would save, and how many looks that takes.

    ``looks`` are kinds of look, each with the ``cost`` of its second one. After each grade of the first one descales on
    the best day, or looks once more on the best of a few days, whichever loses less, that cost counted; days are chosen
    on one half of the draws and valued on the other.
    """
    last = losses.plan if losses.case.standing.status is Status.WITHIN else len(losses.days) - 2
    later = np.unique(np.linspace(index, max(last, index), PAIR_DATES + 1).round().astype(int))[1:]
    some = slice(None, None, max(1, len(losses.reference_threshold) // PAIR_DRAWS))
    losses, models = losses.part(some), [look.part(some) for look, _ in looks]
    deposits = drawn_path(losses, np.array([index, *later]))
    first = after_look(losses, index, deposits[0])
    chances = [model.grade_probabilities(deposits[0]) for model in models]
    weighed = [np.stack([chance * chosen for chosen, _ in halves(chance.shape[1])]) for chance in chances]
    plans = [[np.stack([first.loss[best_acts(losses, first, half)] for half in weights])] for weights in weighed]
    before = losses.above[index].mean() + first.above
    del first  # it is large, and so is what follows each of the others
    for at, deposit in zip(later, deposits[1:], strict=True):
        after = after_look(losses, int(at), deposit, before[at - index])
        for model, (_, cost), weights, told in zip(models, looks, weighed, plans, strict=True):
            told.append(_loss_of_second(losses, after, weights, model.grade_probabilities(deposit)) + cost)
        del after
    priced = zip(chances, plans, looks, strict=True)
    return [_best_of_plans(losses, chance, told, cost) for chance, told, (_, cost) in priced]


def _loss_of_second(losses: Losses, after: After, weights: np.ndarray, second: np.ndarray) -> np.ndarray:
    """The loss after a second look, by half of the draws that choose, by the first one's grade and by draw (2, G, S).

    ``weights`` (2, G, S) are the first one's, 0 for draws that do not choose; ``second`` (G, S) the second one's
    chances.
    """
    both = (weights[:, :, None] * second).reshape(-1, second.shape[1])
    acts = best_acts(losses, after, both).reshape(-1, len(second))
    return np.stack([(second * after.loss[each]).sum(axis=0) for each in acts]).reshape(weights.shape)


def _best_of_plans(losses: Losses, chances: np.ndarray, plans: list[np.ndarray], cost: float) -> Pair:
    """The least loss after each grade of the first look; ``plans`` (2, G, S) each, the first look alone before all."""
    saved, looks, count = losses.before[losses.plan].copy(), 1.0, chances.shape[1]
    for half, (chosen, valued) in enumerate(halves(count)):
        for grade, weight in enumerate(chances):
            told = [plan[half, grade] for plan in plans]
            best = min(range(len(told)), key=lambda k: float(told[k][chosen] @ weight[chosen]))
            more = float(best > 0)
            saved[valued] -= ((told[best] - more * cost) * weight)[valued]
            looks += more * float(weight[valued].sum()) / count
    return Pair(float(saved.mean()), float(saved.std() / count**0.5), looks)
