"""How long a descale can safely be deferred: the last date on which the risk is within the tolerance."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from scalemodel.decision.alarms import Alarm
from scalemodel.decision.basis import Basis, basis_of
from scalemodel.decision.case import CROSSINGS, Answer, Case, status_of
from scalemodel.decision.change import Change
from scalemodel.decision.horizon import HORIZON_DAYS, LONGEST_HORIZON_DAYS
from scalemodel.decision.loss import cheapest_of
from scalemodel.decision.middle import EIGHT_TENTHS
from scalemodel.decision.precision import allowed_error, error_in_days
from scalemodel.decision.residue import Residue, residues_of
from scalemodel.decision.status import Status
from scalemodel.decision.water_test_value import last_test, test_worth_days
from scalemodel.errors import BadValueError
from scalemodel.frames import flat
from scalemodel.inference.posterior import r_hat
from scalemodel.logbook.records import TOLERANCE, BoilerFacts

R_HAT_LIMIT = 1.05
"""Above this the populations of draws do not agree well enough to lean on a date (R-hat: 1.00 where they agree)."""


@dataclass(frozen=True)
class DepositNow:
    """The deposit at the site on ``as_of`` [mg/cm2]."""

    mean: float
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True)
class Wait:
    """How long a descale can wait by the risk alone; ``until`` is None for every ``status`` but "within"."""

    status: Status
    until: date | None


@dataclass(frozen=True)
class Engine:
    """How the answer was computed; ``capped`` says that the sweeps ended at their cap."""

    particles: int
    levels: int
    sweeps: int
    r_hat: float
    seconds: float
    capped: bool
    refused: int

    @property
    def settled(self) -> bool:
        """Whether the populations agree, within the sweeps that they were given."""
        return not self.capped and self.r_hat <= R_HAT_LIMIT


@dataclass(frozen=True, kw_only=True, repr=False)
class Deferral(Answer):
    """How long the descale of one boiler can be deferred.

    ``defer_until`` is None for every ``status`` but "within". ``risk_at_horizon`` is the risk ``horizon_days`` after
    ``as_of``. ``crossing`` holds the first dates on which the risk is at least 10, 50 and 90 %: ``as_of`` itself where
    it is so already, None where it is not so within the horizon; and None with an unanswered alarm, as no date is to
    be had then. ``cheapest_on`` is the cheapest day to descale by the prices on record, never later than
    ``defer_until``, and ``waiting_costs`` what waiting until ``defer_until`` costs more; both are None without prices,
    and with an alarm. ``change`` says that looks run worse or milder than foretold; ``by_all_records`` and
    ``as_since_then`` are then the waits by all records and by those since the change alone, of which the earlier
    counts. ``held_by_milder`` says that the date is earlier than by
    the records as they are, since a milder latest look would give it. ``last_test`` is the day
    of the last test of the water that is drawn now, and ``test_worth_days`` what one of its hardness today would be
    worth in days of waiting (None where nothing waits). ``basis`` is what the answer rests on;
    `scalemodel.words.answer` says it all in words.
    """

    status: Status
    alarms: tuple[Alarm, ...]
    risk_now: float
    risk_at_horizon: float
    defer_until: date | None
    cheapest_on: date | None
    waiting_costs: float | None
    mc_error_days: float | None
    held_by_milder: bool
    last_test: date | None
    test_worth_days: float | None
    crossing: dict[str, date | None]
    deposit_now_mg_cm2: DepositNow
    horizon_days: int
    residue: tuple[Residue, ...]
    change: Change | None
    by_all_records: Wait | None
    as_since_then: Wait | None
    engine: Engine
    basis: Basis = field(repr=False, compare=False)

    @property
    def sharp(self) -> bool:
        """Whether chance moves the date by no more than it may; True where there is no date."""
        if self.defer_until is None or self.mc_error_days is None:
            return True
        return self.mc_error_days <= allowed_error((self.defer_until - self.as_of).days)

    def to_frame(self):
        """The answer as a pandas DataFrame of one row, every field but ``basis``, dates as Timestamps.

        What a field holds of its own follows its name (``crossing_p50``, ``engine_r_hat``); ``alarms`` is what must be
        looked at again, if anything.
        """
        return flat([self], without=("basis",))


def check_tolerance(facts: BoilerFacts, tolerance: float | None) -> float:
    """The stated tolerance, else the boiler's own.

    Raises
    ------
    BadValueError
        If it is not one that the logbook would take.
    """
    tolerance = facts.boiler.tolerance if tolerance is None else tolerance
    if not TOLERANCE.holds(tolerance):
        raise BadValueError(
            "tolerance", tolerance, f"a probability between {TOLERANCE.low:g} and {TOLERANCE.high:g}, such as 0.1"
        )
    return tolerance


def check_horizon(horizon_days: int | None) -> int:
    """The stated horizon [days], else four years; BadValueError if it is not 1 to 36500."""
    horizon_days = HORIZON_DAYS if horizon_days is None else horizon_days
    if not 1 <= horizon_days <= LONGEST_HORIZON_DAYS or horizon_days != int(horizon_days):
        raise BadValueError("horizon days", horizon_days, f"a whole number of days, 1 to {LONGEST_HORIZON_DAYS}")
    return int(horizon_days)


def defer_until(case: Case) -> Deferral:
    """How long the descale can be deferred, and the cheapest day within that where prices are on record."""
    forecast, standing = case.forecast, case.standing
    dated = standing.status is Status.WITHIN
    deposit = forecast.deposit_draws(0)
    quantiles = np.quantile(deposit, EIGHT_TENTHS)
    cheapest = cheapest_of(case)
    return Deferral(
        **case.head,
        status=standing.status,
        alarms=standing.alarms,
        risk_now=case.risk(0),
        risk_at_horizon=case.risk(case.horizon_days),
        defer_until=case.defer_until,
        cheapest_on=case.date_of(cheapest.day),
        waiting_costs=cheapest.waiting_costs,
        mc_error_days=error_in_days(case, standing.day) if dated else None,
        held_by_milder=case.held_by_milder,
        last_test=last_test(case.facts, forecast.plan.water),
        test_worth_days=test_worth_days(case),
        crossing=_crossings(case),
        deposit_now_mg_cm2=DepositNow(float(deposit.mean()), *map(float, quantiles)),
        horizon_days=case.horizon_days,
        residue=residues_of(forecast.posterior),
        change=case.change,
        by_all_records=_wait(case) if case.change else None,
        as_since_then=_wait(case.since_then) if case.since_then else None,
        engine=_engine(case),
        basis=basis_of(forecast),
    )


def _wait(case: Case) -> Wait:
    """How long a case can wait by its own risk alone."""
    status = status_of(False, case.last_by_all, case.horizon_days)
    return Wait(status, case.date_of(case.last_by_all) if status is Status.WITHIN else None)


def _crossings(case: Case) -> dict[str, date | None]:
    """The first dates at each level, by its name; none with an alarm."""
    alarmed = bool(case.standing.alarms)
    return {f"p{level * 100:.0f}": None if alarmed else case.date_of(case.first_day_at(level)) for level in CROSSINGS}


def _engine(case: Case) -> Engine:
    """How the answer was computed; R-hat is that of the risk on the last safe day."""
    posterior, day = case.forecast.posterior, case.last_safe
    info = posterior.info
    agreed = case.forecast.risk_draws(case.mg_cm2, case.horizon_days if day is None else day)
    return Engine(
        particles=posterior.count,
        levels=info.tempering_steps,
        sweeps=info.sweeps,
        r_hat=r_hat(posterior.by_population(agreed)),
        seconds=posterior.seconds,
        capped=info.cap_hit,
        refused=info.nan_count,
    )
