"""Has something changed? The looks of one boiler against what was foretold of them, and the date as since then.

The forecasts are those of `scalemodel.decision.foretelling`, one solve a look, and the test that of
`scalemodel.decision.sequential`. A question that has to be quick asks first whether the looks fit together at all, by
forecasts of each from all others that cost no solve (`SUSPECT`); only where they may not are they foretold one by one.
What is not suspected raises no alarm, so the rate of false alarms stays what it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

import numpy as np

from scalemodel.decision.forecast import Forecast
from scalemodel.decision.foretelling import Foretold, foretell, looks_in_order
from scalemodel.decision.sequential import FEWEST, RATE, Direction, alarmed, evidence, log_ratios, shares_of_looks
from scalemodel.frames import flat
from scalemodel.inference.posterior import Posterior, solve
from scalemodel.logbook.records import BoilerFacts

SUSPECT = 1.0
"""The looks are foretold one by one where the log odds of a change that lasts until now, by forecasts from all others
and for the best size and first look, reach this: so they do in one sound boiler of four."""

LEAST_OWN = 1e-200
"""Keeps the weight of a draw that all but excludes a look a number."""


@dataclass(frozen=True)
class Change:
    """Looks run worse, or milder, than they were foretold.

    Attributes
    ----------
    since : date
        The day of the first look of the change, as far as the looks tell.
    evidence : float
        Of boilers whose looks are as foretold at most one in so many ever shows as much.
    direction : Direction
    told_on : date
        The day of the look that raised the alarm.
    looks : int
        Looks from ``since`` on.
    """

    since: date
    evidence: float
    direction: Direction
    told_on: date
    looks: int

    def to_frame(self):
        """The change as a pandas DataFrame of one row."""
        return flat([self])


def arrays_of(told: Sequence[Foretold]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Forecasts (n, grades), lowest and highest grades (n,), and occasions (n,) of looks that were foretold."""
    chances = np.array([one.chances for one in told])
    low, high = (np.array([getattr(one.look, name) for one in told], dtype=int) for name in ("grade_low", "grade_high"))
    return chances, low, high, np.array([one.occasion for one in told], dtype=bool)


def find_change(told: Sequence[Foretold], facts: BoilerFacts, rate: float = RATE) -> Change | None:
    """The alarm that looks which were foretold have raised and that nothing has answered; None without one.

    A test of a water that the boiler draws, or a change of water, recorded after the alarm answers it: the test then
    begins anew with the next look. A boiler with fewer than `FEWEST` looks raises none.
    """
    told = list(told) if len(told) >= FEWEST else []
    while told:
        chances, low, high, occasions = arrays_of(told)
        found = alarmed(evidence(log_ratios(chances, low, high), shares_of_looks(occasions)), rate)
        if found is None:
            return None
        raised = told[found.at].look.date
        answers = [day for day in answered_on(facts) if day > raised]
        if not answers:
            since = told[found.start].look.date
            return Change(since, found.evidence, found.direction, raised, len(told) - found.start)
        told = [one for one in told if one.look.date > answers[0]]
    return None


def answered_on(facts: BoilerFacts) -> list[date]:
    """The days on which a water of the boiler was tested, or another one taken, in order."""
    drawn = {fill.water for fill in facts.fills}
    return sorted([t.date for t in facts.water_tests if t.water in drawn] + [f.from_date for f in facts.fills[1:]])


def left_out(forecast: Forecast) -> np.ndarray:
    """Probability of every grade at every look from all records but the look itself (looks, grades).

    Leaving a look out is a reweighing of the draws by one over its probability (Gelfand, Dey & Chang 1992), weights
    cut at the square root of the draws times their mean (Ionides 2008): no new solve.
    """
    looks = forecast.posterior.model.timeline.looks
    found = np.empty(forecast.looks_by_grade.shape[:2])
    for k, ((_, look), by_grade) in enumerate(zip(looks, forecast.looks_by_grade, strict=True)):
        weight = 1.0 / np.maximum(by_grade[look.grade_low : look.grade_high + 1].sum(axis=0), LEAST_OWN)
        weight = np.minimum(weight, np.sqrt(len(weight)) * weight.mean())
        found[k] = by_grade @ weight / weight.sum()
    return found


def is_suspect(forecast: Forecast) -> bool:
    """Whether the looks up to now may not be as foretold, by forecasts of each from all others."""
    looks = [look for _, look in forecast.posterior.model.timeline.looks]
    if not looks:
        return False
    low, high = np.array([e.grade_low for e in looks]), np.array([e.grade_high for e in looks])
    logs = log_ratios(left_out(forecast), low, high)
    return bool(logs[:, :, ::-1].cumsum(axis=2).max() >= SUSPECT)


def change_of(forecast: Forecast) -> Change | None:
    """What has changed by the looks on record, asked quickly; None where nothing is known to have."""
    if len(forecast.posterior.model.timeline.looks) < FEWEST or not is_suspect(forecast):
        return None
    facts = forecast.posterior.facts
    return find_change(foretell(facts, forecast.posterior.seed), facts)


def since_then(facts: BoilerFacts, since: date) -> BoilerFacts:
    """The records from the last look before a day on: a boiler that began on that look's day with an unknown deposit.

    So its growth is learned from the records since the change alone; the look says what was there when they begin.
    """
    earlier = [look.date for look in looks_in_order(facts) if look.date < since]
    start = earlier[-1] if earlier else facts.boiler.installed_on
    if start == facts.boiler.installed_on:
        return facts
    drawn = [fill for fill in facts.fills if fill.from_date <= start][-1:]
    kept = [
        (look, n) for look, n in zip(facts.inspections, facts.look_numbers or (), strict=False) if look.date >= start
    ]
    return replace(
        facts,
        boiler=replace(facts.boiler, installed_on=start, start="unknown"),
        fills=(*drawn, *(fill for fill in facts.fills if fill.from_date > start)),
        uses=tuple(use for use in facts.uses if use.from_date >= start),
        inspections=tuple(look for look in facts.inspections if look.date >= start),
        descales=tuple(descale for descale in facts.descales if descale.date >= start),
        look_numbers=tuple(number for _, number in kept),
    )


@lru_cache(maxsize=4)  # each holds megabytes of draws
def _solved_since(facts: BoilerFacts, since: date, seed: int, particles: int, litres_per_day: float, water: str):
    return solve(since_then(facts, since), seed, particles, litres_per_day, water)


def forecast_since(forecast: Forecast, since: date) -> Forecast:
    """The same forecast with growth learned from the records since a day alone; one more solve."""
    posterior, plan = forecast.posterior, forecast.plan
    drawn: Posterior = _solved_since(
        posterior.facts, since, posterior.seed, posterior.particles, plan.use.litres_per_day, plan.water
    )
    return Forecast(drawn, plan, forecast.site)
