"""The same question put to two samplers, side by side, and a verdict in words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from scalemodel.decision.case import CROSSINGS, Case
from scalemodel.decision.forecast import Forecast
from scalemodel.inference.posterior import Posterior, monte_carlo_error, r_hat
from scalemodel.validation.pymc_twin import NutsDraws, as_posterior, build_twin, mean_error, run_nuts

AGREEMENT_ERRORS = 4.0
"""Differences beyond so many joint Monte Carlo standard errors are called a disagreement."""

NUTS_R_HAT_LIMIT = 1.02
FEW_EFFECTIVE = 200
FEW_DIVERGENCES = 0.002
"""Share of the draws: where tails meet the core and between knots of a table the law has corners, and NUTS may stumble
over one now and then; many mean that it is lost."""


@dataclass(frozen=True)
class RiskPair:
    """The risk by a date from both samplers, with the joint Monte Carlo standard error of their difference."""

    date: date
    quick: float
    nuts: float
    mc_error: float


@dataclass(frozen=True)
class ParameterPair:
    """Mean and sd of an unknown, on its prior's scale, by both samplers; the error is that of the means' difference."""

    name: str
    scale: str
    quick_mean: float
    quick_sd: float
    nuts_mean: float
    nuts_sd: float
    mc_error: float


@dataclass(frozen=True)
class Audit:
    """Two posteriors side by side."""

    boiler: str
    as_of: date
    site: str
    threshold_mg_cm2: float
    risk: tuple[RiskPair, ...]
    parameters: tuple[ParameterPair, ...]
    quick_r_hat: float
    quick_seconds: float
    nuts: NutsDraws

    @property
    def worst(self) -> float:
        """The largest difference of a risk or a mean, in joint Monte Carlo standard errors."""
        pairs = [(p.quick - p.nuts, p.mc_error) for p in self.risk]
        pairs += [(p.quick_mean - p.nuts_mean, p.mc_error) for p in self.parameters]
        return max(abs(difference) / max(error, 1e-6) for difference, error in pairs)

    @property
    def nuts_settled(self) -> bool:
        """Whether NUTS itself can be trusted here."""
        few = self.nuts.ess_bulk < FEW_EFFECTIVE
        lost = self.nuts.divergences > FEW_DIVERGENCES * self.nuts.deposit.size
        return not (few or lost) and self.nuts.r_hat <= NUTS_R_HAT_LIMIT

    def verdict(self) -> str:
        """The comparison in a sentence."""
        gap = max(abs(p.quick - p.nuts) for p in self.risk)
        if not self.nuts_settled:
            return (
                f"NUTS itself did not settle (R-hat {self.nuts.r_hat:.3f}, {self.nuts.divergences} divergences, "
                f"{self.nuts.ess_bulk:.0f} effective draws), so it proves nothing here; give it more draws."
            )
        if self.worst <= AGREEMENT_ERRORS:
            return (
                f"Both samplers agree: stated risks differ by at most {100 * gap:.1f} percentage points, "
                "no more than their random error."
            )
        return (
            f"The samplers disagree: some figure differs by {self.worst:.1f} standard errors (risks by up to "
            f"{100 * gap:.1f} percentage points). Do not lean on the date; please report the logbook."
        )


def audit_days(case: Case) -> list[int]:
    """Days from as_of on which risks are compared: 0, the 10, 50 and 90 % crossings, and the horizon."""
    days = {0, case.horizon_days, *map(case.first_day_at, CROSSINGS)}
    return sorted(day for day in days if day is not None)


def audit(case: Case, draws: int = 1000, progress: bool = False) -> tuple[Audit, Posterior]:
    """Draw the same posterior by NUTS and lay both side by side; also NUTS's draws as a posterior.

    Raises
    ------
    MissingPackageError
        Where PyMC or ArviZ is not installed.
    """
    forecast, quick = case.forecast, case.forecast.posterior
    twin = build_twin(quick.model)
    nuts = run_nuts(twin, quick.seed, draws=draws, progress=progress)
    other = as_posterior(twin, nuts, quick)
    theirs = Forecast(other, forecast.plan, forecast.site)
    risks, days = [], audit_days(case)
    for day in days:
        ours, its = (f.risk_draws(case.mg_cm2, day) for f in (forecast, theirs))
        error = np.hypot(floored_error(quick, ours), mean_error(other.by_population(its)))
        risks.append(RiskPair(case.date_of(day), float(ours.mean()), float(its.mean()), float(error)))
    parameters = []
    for unknown, prior in quick.model.unknowns.items():
        ours, its = (p.model.value(unknown, p.x) for p in (quick, other))
        error = np.hypot(floored_error(quick, ours), mean_error(other.by_population(its)))
        figures = map(float, (ours.mean(), ours.std(), its.mean(), its.std(), error))
        parameters.append(ParameterPair(str(unknown), prior.scale, *figures))
    last = quick.by_population(forecast.risk_draws(case.mg_cm2, days[len(days) // 2]))
    return (
        Audit(
            case.facts.boiler.boiler,
            case.as_of,
            forecast.site,
            case.mg_cm2,
            tuple(risks),
            tuple(parameters),
            r_hat(last),
            quick.seconds,
            nuts,
        ),
        other,
    )


def floored_error(posterior: Posterior, values: np.ndarray) -> float:
    """Monte Carlo error from four populations, but not less than that of as many independent draws.

    Four populations tell an error within about a factor of two; the floor keeps a lucky small one from crying wolf.
    """
    return max(
        monte_carlo_error(posterior.by_population(values)), float(values.std()) / float(np.sqrt(values.size / 2))
    )
