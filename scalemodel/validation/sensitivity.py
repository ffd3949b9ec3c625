"""Which belief a deferral date leans on: every prior shifted by one sd either way, and widened, in turn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

from scalemodel.decision.case import Case
from scalemodel.decision.forecast import Forecast
from scalemodel.inference.posterior import draw
from scalemodel.model import priors
from scalemodel.model.priors import Prior
from scalemodel.model.unknowns import USE, Kind, Unknown

WIDENED = 2.0
"""Factor on a prior's sd when it is widened."""

CHANGES: dict[str, Callable[[Prior], Prior]] = {
    "lower": lambda p: p._replace(mean=p.mean - p.sd),
    "higher": lambda p: p._replace(mean=p.mean + p.sd),
    "wider": lambda p: p._replace(sd=WIDENED * p.sd),
}


@dataclass(frozen=True)
class Lean:
    """The deferral under one changed belief: days from ``as_of`` (None: past already), capped at the horizon."""

    belief: str
    meaning: str
    change: str
    days: int | None
    risk_now: float


@dataclass(frozen=True)
class Sensitivity:
    """How the deferral moves with each belief; ``base_days`` is the answer as it stands."""

    boiler: str
    as_of: date
    tolerance: float
    horizon_days: int
    base_days: int | None
    leans: tuple[Lean, ...]

    def moves(self) -> list[tuple[str, str, int]]:
        """Each belief, its meaning and the widest span of days between its three changes and the base; widest first."""
        found = []
        for belief in dict.fromkeys(lean.belief for lean in self.leans):
            mine = [lean for lean in self.leans if lean.belief == belief]
            days = [self.base_days or 0, *(lean.days or 0 for lean in mine)]
            found.append((belief, mine[0].meaning, max(days) - min(days)))
        return sorted(found, key=lambda row: -row[2])


def beliefs(forecast: Forecast) -> dict[Kind, list[Unknown]]:
    """The unknowns by the belief that they share: the reading errors of eye and mirror both lean on one."""
    grouped: dict[Kind, list[Unknown]] = {}
    for unknown in forecast.posterior.model.unknowns:
        grouped.setdefault(unknown.kind, []).append(unknown)
    grouped.setdefault(Kind.USE, [USE])
    return grouped


def sensitivity(case: Case, progress: Callable[[], None] = lambda: None) -> Sensitivity:
    """Solve again under every changed belief; ``progress()`` is called after each."""
    forecast, posterior = case.forecast, case.forecast.posterior
    leans = []
    for kind, shared in beliefs(forecast).items():
        for change, apply in CHANGES.items():
            changed = {n: apply(posterior.model.unknowns.get(n, priors.USE)) for n in shared}
            model = replace(posterior.model, unknowns={**posterior.model.unknowns, **changed})
            again = draw(model, posterior.supplies, posterior.seed, posterior.particles)
            other = case.under(Forecast(again, forecast.plan, forecast.site))
            leans.append(Lean(kind.value, changed[shared[0]].meaning, change, other.last_safe, other.risk(0)))
            progress()
    facts = case.facts
    return Sensitivity(
        facts.boiler.boiler, facts.as_of, case.tolerance, case.horizon_days, case.last_safe, tuple(leans)
    )
