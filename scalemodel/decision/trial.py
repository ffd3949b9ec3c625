"""What a trial on another water would cost in risk, and what a look at its end would teach, before anybody does it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date

import numpy as np

from scalemodel.decision.alarms import Alarm
from scalemodel.decision.case import CROSSINGS, Answer, Case
from scalemodel.decision.horizon import LONGEST_INTERVAL_DAYS, LONGEST_TRIAL_DAYS
from scalemodel.decision.look_value import usual_look_model
from scalemodel.decision.loss import running_integral
from scalemodel.decision.status import Status
from scalemodel.decision.water_plan import for_some_days, on_water
from scalemodel.errors import BadValueError
from scalemodel.frames import each_of
from scalemodel.inference.posterior import monte_carlo_error
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.inverse_gaussian import draw_growth, survival
from scalemodel.model.supply import Supply

AHEAD_POINTS = 160
LEAST_WINDOW_DAYS = 1e-9
ENDS = CROSSINGS[::2]
"""The risks between whose days one is unsure; what crosses after the longest interval counts as crossing then."""


@dataclass(frozen=True)
class Shown:
    """A grade that the look may show, its chance, and the last day within the tolerance after it (None: past)."""

    grade: int
    probability: float
    defer_until: date | None


@dataclass(frozen=True)
class Arm:
    """One water over the days of the trial, and on from there.

    ``window_days`` is the time between the days on which the risk passes 10 % and 90 %, as from the trial's end without
    a look; ``after_look_days`` its mean over what the look may show; ``narrower`` the share that it loses (below 0:
    wider, as when a long wait may turn out longer still). The sd of the crossing day, before and after, can only fall.
    """

    water: str
    risk_at_end: float
    risk_mc_error: float
    window_days: float
    after_look_days: float
    narrower: float
    narrower_mc_error: float
    sd_days: float
    sd_after_look_days: float
    shown: tuple[Shown, ...]


@dataclass(frozen=True, kw_only=True, repr=False)
class Trial(Answer):
    """A trial of ``days`` on another water against staying, with a look of the usual kind at its end.

    ``defer_until`` is how long the descale could wait if one went back to the present water after the trial, and
    ``staying_until`` if one stayed, as `scalemodel.decision.deferral.Deferral` has it; ``status`` and
    ``staying_status`` say why one is None.
    """

    alarms: tuple[Alarm, ...]
    horizon_days: int
    until: date
    days: int
    status: Status
    defer_until: date | None
    staying_status: Status
    staying_until: date | None
    look_site: str
    look_method: str
    trying: Arm
    staying: Arm

    def to_frame(self):
        """The trial as a pandas DataFrame of two rows, ``arm`` trying and staying; what was asked beside each.

        What the look may show is told a grade: ``shown_3_probability``, ``shown_3_defer_until``.
        """
        arms = {"trying": self.trying, "staying": self.staying}
        return each_of(self, tuple(arms.values()), Arm, "arm", tuple(arms), [{"arm": name} for name in arms])


def check_days(days: int) -> int:
    """The length of a trial [days]; BadValueError if it is not 1 to 3650."""
    if not 1 <= days <= LONGEST_TRIAL_DAYS:
        raise BadValueError("days", days, f"a whole number of days, 1 to {LONGEST_TRIAL_DAYS}")
    return days


def usual_look(facts: BoilerFacts) -> tuple[str, str]:
    """Site and method of most looks so far; the reference surface by eye where there are none."""
    made = Counter((look.site, look.method) for look in facts.inspections).most_common(1)
    return made[0][0] if made else (facts.reference_site, "eye")


def plan_trial(case: Case, supply: Supply, days: int) -> Trial:
    """Weigh a trial of another water before it is made.

    The deposit at the end is drawn for every draw of the posterior; a look shows each grade with its chance there, and
    the draws weighed by it are the posterior after that look (preposterior analysis: Raiffa & Schlaifer 1961).

    Parameters
    ----------
    case : Case
        Under the present water.
    supply : Supply
        The water to be tried, from as_of on.
    days : int
        Length of the trial [days]; BadValueError as `check_days`.
    """
    days, look = check_days(days), usual_look(case.facts)
    trying = on_water(case.forecast, supply)
    there_and_back = case.under(for_some_days(case.forecast, supply, days))
    return Trial(
        **case.head,
        alarms=case.standing.alarms,
        horizon_days=case.horizon_days,
        until=case.date_of(days),
        days=days,
        status=there_and_back.standing.status,
        defer_until=there_and_back.defer_until,
        staying_status=case.standing.status,
        staying_until=case.defer_until,
        look_site=look[0],
        look_method=look[1],
        trying=weigh_arm(case.under(trying), days, look),
        staying=weigh_arm(case, days, look),
    )


def days_ahead() -> np.ndarray:
    """Days past the trial's end on which crossings are counted, dense at first (A,)."""
    return np.unique(np.rint(LONGEST_INTERVAL_DAYS * np.linspace(0.0, 1.0, AHEAD_POINTS + 1) ** 2))


def weigh_arm(case: Case, days: int, look: tuple[str, str]) -> Arm:
    """One water: its risk at the end of the trial, and the crossing day before and after a look there."""
    forecast = case.forecast
    posterior, nu = forecast.posterior, forecast.irregularity
    until = forecast.growth_after(days)
    grown = draw_growth(posterior.fresh("trial"), until, nu)
    deposit = forecast.last_deposit + grown
    ahead = days_ahead()
    later = forecast.growth_after(days + ahead) - until
    passed = survival(case.mg_cm2 / forecast.relative - deposit, later, nu)
    chances = usual_look_model(forecast, *look).grade_probabilities(deposit)
    before, after = windows(passed, chances, ahead)
    parts = np.arange(posterior.count).reshape(posterior.populations, -1)
    each = np.array([windows(passed[:, rows], chances[:, rows], ahead) for rows in parts])
    sd_before, sd_after = spreads(passed, chances, ahead)
    shown = []
    for grade, weights in enumerate(chances):
        day = last_within(passed @ weights / weights.sum(), ahead, case.tolerance)
        shown.append(Shown(grade, float(weights.mean()), None if day is None else case.date_of(days + day)))
    lost = 1.0 - each[:, 1] / np.maximum(each[:, 0], LEAST_WINDOW_DAYS)
    risk, error = case.risk_and_error(days)
    return Arm(
        water=forecast.plan.water,
        risk_at_end=risk,
        risk_mc_error=error,
        window_days=before,
        after_look_days=after,
        narrower=1.0 - after / before if before > 0.0 else 0.0,
        narrower_mc_error=monte_carlo_error(lost[:, None]),
        sd_days=sd_before,
        sd_after_look_days=sd_after,
        shown=tuple(shown),
    )


def window(risk: np.ndarray, ahead: np.ndarray) -> float:
    """Days between the risk (A,) passing 10 % and 90 %; straight lines between the days ``ahead``, within their range.

    >>> window(np.array([0.0, 0.2, 1.0]), np.array([0.0, 10.0, 20.0]))
    13.75
    """
    low, high = (_first_at(risk, ahead, level) for level in ENDS)
    return high - low


def _first_at(risk: np.ndarray, ahead: np.ndarray, level: float) -> float:
    at = int(np.searchsorted(risk, level))
    if at == 0 or at == len(risk):
        return float(ahead[0 if at == 0 else -1])
    part = (level - risk[at - 1]) / (risk[at] - risk[at - 1])
    return float(ahead[at - 1] + part * (ahead[at] - ahead[at - 1]))


def last_within(risk: np.ndarray, ahead: np.ndarray, tolerance: float) -> int | None:
    """The last whole day on which the risk (A,) is within the tolerance; None where it never is."""
    return None if risk[0] > tolerance else int(_first_at(risk, ahead, tolerance))


def windows(passed: np.ndarray, chances: np.ndarray, ahead: np.ndarray) -> tuple[float, float]:
    """The window without a look, and its mean over the grades that a look may show [days].

    ``passed`` (A, S) is the chance of each draw to have crossed by each day, ``chances`` (grades, S) of each grade.
    """
    after = [float(w.mean()) * window(passed @ w / w.sum(), ahead) for w in chances]
    return window(passed.mean(axis=1), ahead), sum(after)


def spreads(passed: np.ndarray, chances: np.ndarray, ahead: np.ndarray) -> tuple[float, float]:
    """Sd of the crossing day without a look, and the root of its mean variance after one [days]; never more."""

    def variance(risk: np.ndarray) -> float:
        left = 1.0 - risk
        mean, square = (float(running_integral(v, ahead)[-1]) for v in (left, 2.0 * left * ahead))
        return max(0.0, square - mean**2)

    after = sum(float(w.mean()) * variance(passed @ w / w.sum()) for w in chances)
    return variance(passed.mean(axis=1)) ** 0.5, after**0.5
