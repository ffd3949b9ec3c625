"""From facts to a case: a question is checked whole, then the posterior is drawn, as finely as its date needs."""

from __future__ import annotations

from collections import OrderedDict

from scalemodel.decision.case import Case
from scalemodel.decision.deferral import check_horizon, check_tolerance
from scalemodel.decision.forecast import Forecast, check_rate, find_plan, find_threshold
from scalemodel.decision.horizon import HORIZON_DAYS
from scalemodel.decision.precision import sharpened
from scalemodel.decision.question import Question
from scalemodel.inference.posterior import Progress, no_progress, solve
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.timeline import check_site


def prepare(
    facts: BoilerFacts,
    question: Question,
    seed: int | None = None,
    particles: int | None = None,
    progress: Progress | None = None,
) -> Case:
    """The case of a boiler; arguments as for `scalemodel.api.prepare`."""
    threshold = find_threshold(facts, question.threshold_grade, question.threshold_um, question.threshold_mg_cm2)
    tolerance, horizon_days = check_tolerance(facts, question.tolerance), check_horizon(question.horizon_days)
    site, rate = check_site(facts, question.site), check_rate(question.litres_per_day)
    watch = no_progress if progress is None else progress
    asked = facts, seed, particles, rate, question.water, site
    forecast = _KEPT.pop(asked, None)
    if forecast is None:
        forecast = _forecast(*asked, watch)
    _KEPT[asked] = forecast
    while len(_KEPT) > MOST_KEPT:
        _KEPT.popitem(last=False)
    return Case(forecast, threshold, tolerance, horizon_days)


MOST_KEPT = 2
"""Forecasts kept in the process, the latest: another question about the same records needs no other draws."""

_KEPT: OrderedDict[tuple, Forecast] = OrderedDict()


def forget() -> None:
    """Let go of what is kept: the next question draws anew, and the same."""
    _KEPT.clear()


def _forecast(
    facts: BoilerFacts,
    seed: int | None,
    particles: int | None,
    rate: float | None,
    water: str | None,
    site: str,
    watch: Progress,
) -> Forecast:
    """The draws and what follows from them; the same for the same arguments."""
    draws = solve(facts, seed, particles, rate, water, watch)
    forecast = Forecast(draws, find_plan(draws, rate, water), site)
    if particles is None:  # by the boiler's own question, so that all questions about it are answered by the same draws
        own = Case(forecast, find_threshold(facts), facts.boiler.tolerance, HORIZON_DAYS)
        forecast = sharpened(own, watch)
    return forecast
