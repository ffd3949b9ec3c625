"""The public functions, the same that the command line calls."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scalemodel.decision.deferral import Deferral
    from scalemodel.decision.forecast import Forecast, Risk, Threshold
    from scalemodel.inference.draws import Posterior
    from scalemodel.logbook.records import BoilerFacts
    from scalemodel.logbook.store import Logbook


def open_logbook(path: str | Path, write: bool = False) -> Logbook:
    """Open a logbook, for reading unless ``write``; a context manager.

    Raises
    ------
    LogbookError
        If the file is missing, is no logbook, or is of a newer version.
    """
    from scalemodel.logbook.store import Logbook

    return Logbook.open(path, write=write)


def posterior(facts: BoilerFacts, seed: int | None = None, particles: int | None = None, **stated) -> Posterior:
    """Draw the posterior of one boiler; arguments and errors as for `scalemodel.inference.draws.solve`."""
    from scalemodel.inference.draws import solve

    return solve(facts, seed, particles, **stated)


def prepare(
    facts: BoilerFacts,
    *,
    seed: int | None = None,
    particles: int | None = None,
    site: str | None = None,
    threshold_grade: int | None = None,
    threshold_um: float | None = None,
    threshold_mg_cm2: float | None = None,
    tolerance: float | None = None,
    litres_per_day: float | None = None,
    water: str | None = None,
    horizon_days: int | None = None,
) -> tuple[Forecast, Threshold, float, int]:
    """Check a question whole, then draw the posterior and lay the question on it.

    Parameters
    ----------
    facts : BoilerFacts
        From `Logbook.facts`.
    seed, particles : int, optional
        Seed, and particles in each of the four populations.
    site : str, optional
        Site asked about; the reference surface by default.
    threshold_grade, threshold_um [um], threshold_mg_cm2 [mg/cm2] : optional
        At most one; the boiler's own grade by default.
    tolerance : float, optional
        Accepted risk in (0, 1); the boiler's own by default.
    litres_per_day : float, optional
        Use from now on [L/day].
    water : str, optional
        Water from now on.
    horizon_days : int, optional
        How far to look ahead [days].

    Raises
    ------
    ScalemodelError
        A kind of it, for whatever is wrong; before any sampling where that can be seen.
    """
    from scalemodel.decision.deferral import check_horizon, check_tolerance
    from scalemodel.decision.forecast import Forecast, check_rate, find_plan, find_threshold
    from scalemodel.model.timeline import check_site

    threshold = find_threshold(facts, threshold_grade, threshold_um, threshold_mg_cm2)
    tolerance, horizon_days = check_tolerance(facts, tolerance), check_horizon(horizon_days)
    site, litres_per_day = check_site(facts, site), check_rate(litres_per_day)
    draws = posterior(facts, seed, particles, litres_per_day=litres_per_day, water=water)
    return Forecast(draws, find_plan(draws, litres_per_day, water), site), threshold, tolerance, horizon_days


def risk(facts: BoilerFacts, dates: Sequence[date], **question) -> Risk:
    """Probability that scale has passed the threshold by each date; keywords as for `prepare`."""
    from scalemodel.decision.forecast import risk_on

    forecast, threshold, _, _ = prepare(facts, **question)
    return risk_on(forecast, threshold, dates)


def defer(facts: BoilerFacts, **question) -> Deferral:
    """How long the descale can safely be deferred; keywords as for `prepare`."""
    from scalemodel.decision.deferral import defer_until

    return defer_until(*prepare(facts, **question))
