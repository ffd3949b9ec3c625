"""The target: one boiler's log-likelihood as a function of standard normals.

A particle x stacks the static unknowns u (one row each, see `BoilerModel.names`), N(0, 1) before the records
speak, and the growth innovations v (one row an interval), tilted normals. Coordinates first, particles last.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import expit

from scalemodel.errors import UnknownNameError
from scalemodel.logbook.records import Boiler, BoilerFacts, Inspection
from scalemodel.model import priors, unknowns
from scalemodel.model.grading import GRADE_COUNT, LOG_CUTS, log_reading, sum_logs
from scalemodel.model.growth import blend_potential, capture_fraction, read_table
from scalemodel.model.innovation import draw_innovations, increment
from scalemodel.model.priors import LOOK_FLOOR_MG_CM2, Prior
from scalemodel.model.supply import log_factor
from scalemodel.model.tailed_normal import LOOK_ERROR, MEASURE_ERROR, Parts
from scalemodel.model.timeline import Timeline
from scalemodel.model.unknowns import Unknown

if TYPE_CHECKING:
    from scalemodel.water.potential import SupplyTable


class Drift(NamedTuple):
    """What the static unknowns say, ready for any innovations; particles (n,) last."""

    mean: np.ndarray
    irregularity: np.ndarray
    start: np.ndarray
    residue: np.ndarray
    log_relative: np.ndarray
    inverse_reading: np.ndarray
    leniency: np.ndarray
    tests: np.ndarray


@dataclass(frozen=True)
class BoilerModel:
    """A boiler's unknowns and records, as the sampler sees them.

    Attributes
    ----------
    facts, timeline : the records and their intervals
    tables : mapping of water to its supply table at the boiler's temperature
    unknowns : mapping of Unknown to Prior, in the order of the rows of u
    """

    facts: BoilerFacts
    timeline: Timeline
    tables: Mapping[str, SupplyTable]
    unknowns: Mapping[Unknown, Prior]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """What is printed of each unknown."""
        return tuple(map(str, self.unknowns))

    @property
    def static_dim(self) -> int:
        return len(self.unknowns)

    @property
    def dim(self) -> int:
        return self.static_dim + self.timeline.intervals

    @cached_property
    def _row(self) -> dict[Unknown, int]:
        return {unknown: k for k, unknown in enumerate(self.unknowns)}

    def value(self, unknown: Unknown, u: np.ndarray) -> np.ndarray:
        """An unknown on its prior's scale (n,), from its row of u (d, n); UnknownNameError if no record bears on it."""
        if unknown not in self._row:
            raise UnknownNameError("unknown", str(unknown), self.names, of=self.facts.boiler.boiler)
        return self.unknowns[unknown].value(u[self._row[unknown]])

    def path(self, water: str, u: np.ndarray) -> np.ndarray:
        """How the log concentration of a water moved, by epoch of its path (E, n) [ln]."""
        path = self.timeline.paths[water]
        steps = self._stack((unknowns.step(water, k) for k in range(len(path.years))), u)
        moved = path.sums @ steps
        return moved + self.value(unknowns.start(water), u) if path.readings else moved

    def log_factors(self, u: np.ndarray) -> np.ndarray:
        """Log concentration factor of every span of the timeline (W, n) [-]."""
        paths = {water: self.path(water, u) for water in self.timeline.paths}
        constant = {w: self.value(unknowns.concentration(w), u) for w in paths}
        each = (log_factor(self.tables[w].log_sd, constant[w], paths[w][epoch]) for w, epoch in self.timeline.spans)
        return np.stack(list(each))

    def log_likelihood_of_tests(self, u: np.ndarray) -> np.ndarray:
        """Log-likelihood (n,) of the tests that say how a water's concentration moved."""
        total = np.zeros(u.shape[1])
        for water, path in self.timeline.paths.items():
            if path.readings:
                total += path.log_likelihood(self.path(water, u), MEASURE_ERROR)
        return total

    def use_factor(self, u: np.ndarray) -> np.ndarray | float:
        """Unrecorded use against the plan (n,), or 1 where no unrecorded time bears on a record."""
        return np.exp(self.timeline.plan.log_sd * self.value(unknowns.USE, u)) if unknowns.USE in self._row else 1.0

    def drift(self, u: np.ndarray) -> Drift:
        """Everything that depends on the static unknowns u (d, n) alone."""
        n = u.shape[1]
        line = self.timeline
        capture, activation = self.value(unknowns.CAPTURE, u), self.value(unknowns.ACTIVATION, u)
        degassing, floor = expit(self.value(unknowns.DEGASSING, u)), np.exp(self.value(unknowns.FLOOR, u))
        share = capture_fraction(capture, activation, self.facts.boiler.temperature_c)
        per_litre = [
            growth_per_litre(self.facts.boiler, self.tables[span.water], factor, share, degassing, floor)
            for span, factor in zip(line.spans, self.log_factors(u), strict=True)
        ]
        mean = line.recorded_l @ np.reshape(per_litre, (len(per_litre), n))
        if unknowns.USE in self._row:
            mean += (line.planned_l @ np.reshape(per_litre, (len(per_litre), n))) * self.use_factor(u)
        return Drift(
            mean,
            np.exp(self.value(unknowns.DISPERSION, u)),
            np.exp(self.value(unknowns.INITIAL, u)) if unknowns.INITIAL in self._row else np.zeros(n),
            expit(self._stack(map(unknowns.residue, range(len(line.descales))), u)),
            self._stack((unknowns.relative(s) if s else None for s in self.sites), u),
            np.exp(-self._stack(map(unknowns.reading, self.methods), u)),
            self._stack(map(unknowns.leniency, self.inspectors), u),
            self.log_likelihood_of_tests(u),
        )

    def _stack(self, wanted: Iterable[Unknown | None], u: np.ndarray) -> np.ndarray:
        """Unknowns row by row, None as 0."""
        rows = [np.zeros(u.shape[1]) if one is None else self.value(one, u) for one in wanted]
        return np.reshape(rows, (len(rows), u.shape[1]))

    def split(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Static unknowns u (d, n) and innovations v (J, n) of particles x (d + J, n)."""
        return x[: self.static_dim], x[self.static_dim :]

    def draw_prior(self, rng: np.random.Generator, count: int) -> np.ndarray:
        """Particles x (d + J, count) from the prior."""
        u = rng.standard_normal((self.static_dim, count))
        drift = self.drift(u)
        return np.vstack([u, draw_innovations(rng, drift.mean, drift.irregularity)])

    def evaluate(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Log of the prior over N(x; 0, I), and the log-likelihood, of particles x (d + J, n); each (n,)."""
        u, v = self.split(x)
        drift = self.drift(u)
        grown, tilt = increment(drift.mean, drift.irregularity, v)
        states = self.accumulate(grown, drift)
        return sum_logs(tilt), self.log_likelihood_of_deposits(states, drift)

    def deposits(self, x: np.ndarray) -> np.ndarray:
        """Deposit on the reference surface at every state (K, n) [mg/cm2]."""
        u, v = self.split(x)
        drift = self.drift(u)
        return self.accumulate(increment(drift.mean, drift.irregularity, v)[0], drift)

    def watched(self, x: np.ndarray) -> np.ndarray:
        """Static unknowns, and the log of the deposit at the last state: what a forecast leans on (d + 1, n)."""
        return np.vstack([x[: self.static_dim], np.log(self.deposits(x)[-1:] + LOOK_FLOOR_MG_CM2)])

    def accumulate(self, grown: np.ndarray, drift: Drift) -> np.ndarray:
        """Deposits (K, n) from growth by interval (J, n): running sums between descales."""
        states = np.empty((len(self.timeline.state_dates), grown.shape[1]))
        states[0] = drift.start
        for k, (step, index) in enumerate(self.timeline.steps):
            if step == "grow":
                np.add(states[k], grown[index], out=states[k + 1])
            else:
                np.multiply(states[k], drift.residue[index], out=states[k + 1])
        return states

    def log_likelihood_of_deposits(self, states: np.ndarray, drift: Drift) -> np.ndarray:
        """Log-likelihood (n,) of every look, thickness and recovered mass, from the deposits (K, n) [mg/cm2]."""
        return self.with_readings(sum_logs(self.look_chances(states, drift)), states, drift)

    def with_readings(self, total: np.ndarray, states: np.ndarray, drift: Drift) -> np.ndarray:
        """``total`` (n,) with the log-likelihood of every thickness, recovered mass and later test added to it."""
        total += drift.tests
        for state, site, measured in self.thicknesses:
            seen = np.log(np.exp(drift.log_relative[site]) * states[state] + LOOK_FLOOR_MG_CM2)
            total += log_reading(measured + LOOK_FLOOR_MG_CM2, seen, priors.THICKNESS_LOG_SD)
        for state, index, measured in self.recoveries:
            removed = (1.0 - drift.residue[index]) * states[state] + LOOK_FLOOR_MG_CM2
            total += log_reading(measured + LOOK_FLOOR_MG_CM2, np.log(removed), priors.RECOVERED_LOG_SD)
        return total

    def look_chances(self, states: np.ndarray, drift: Drift) -> np.ndarray:
        """Probability of every look that tells something (looks, n), from the deposits (K, n) [mg/cm2]."""
        return self.edges.probabilities(self.inputs(self.sight(states, drift))[1])

    def sight(self, states: np.ndarray, drift: Drift) -> Sight:
        """What every look that tells something is made of, from the deposits (K, n) [mg/cm2]."""
        edges = self.edges
        apparent = np.exp(drift.log_relative)[edges.site] * states[edges.state]
        milder = drift.leniency[edges.inspector] - np.log(apparent + LOOK_FLOOR_MG_CM2)
        return Sight(apparent, milder, drift.inverse_reading[edges.method])

    def inputs(self, sight: Sight) -> tuple[np.ndarray, np.ndarray]:
        """How far every finite bound of a look lies from what is there: [ln mg/cm2], and in reading errors; (B, n)."""
        reach = self.edges.cut + sight.milder[self.edges.row]
        return reach, reach * sight.steepness[self.edges.row]

    @cached_property
    def telling_looks(self) -> list[tuple[int, Inspection]]:
        return [(k, e) for k, e in self.timeline.looks if (e.grade_low, e.grade_high) != (0, GRADE_COUNT - 1)]

    @cached_property
    def sites(self) -> list[str]:
        """Sites looked at; the reference surface, whose relative deposit is 1, as the empty name."""
        reference = self.facts.reference_site
        return list(dict.fromkeys("" if look.site == reference else look.site for _, look in self.timeline.looks))

    @cached_property
    def methods(self) -> list[str]:
        return list(dict.fromkeys(look.method for _, look in self.timeline.looks))

    @cached_property
    def inspectors(self) -> list[str]:
        return list(dict.fromkeys(look.inspector for _, look in self.timeline.looks))

    def _site_row(self, site: str) -> int:
        return self.sites.index("" if site == self.facts.reference_site else site)

    @cached_property
    def edges(self) -> Edges:
        looks = self.telling_looks
        low = np.array([e.grade_low for _, e in looks], dtype=int)
        high = np.array([e.grade_high for _, e in looks], dtype=int)
        has_upper, has_lower = np.flatnonzero(high < GRADE_COUNT - 1), np.flatnonzero(low > 0)
        return Edges(
            np.array([k for k, _ in looks], dtype=int),
            np.array([self._site_row(e.site) for _, e in looks], dtype=int),
            np.array([self.methods.index(e.method) for _, e in looks], dtype=int),
            np.array([self.inspectors.index(e.inspector) for _, e in looks], dtype=int),
            np.concatenate([has_upper, has_lower]),
            np.concatenate([LOG_CUTS[high[has_upper]], LOG_CUTS[low[has_lower] - 1]])[:, None],
            len(has_upper),
        )

    @cached_property
    def thicknesses(self) -> list[tuple[int, int, float]]:
        return [
            (k, self._site_row(e.site), priors.thickness_to_deposit(e.thickness_um))
            for k, e in self.timeline.looks
            if e.thickness_um is not None
        ]

    @cached_property
    def recoveries(self) -> list[tuple[int, int, float]]:
        return [
            (k, d, 1000.0 * e.scale_recovered_g / self.facts.boiler.wetted_area_cm2)
            for d, (k, e) in enumerate(self.timeline.descales)
            if e.scale_recovered_g is not None
        ]


class Sight(NamedTuple):
    """Of every look: the deposit at its site [mg/cm2], how much milder it is judged, how steeply; each (looks, n)."""

    apparent: np.ndarray
    milder: np.ndarray
    steepness: np.ndarray


class Edges(NamedTuple):
    """The looks as arrays: where each was made, by whom and how; and their B finite bounds, the upper ones first.

    ``row`` (B,) is the look that a bound belongs to, ``cut`` (B, 1) its place [ln mg/cm2]; the first ``uppers`` of them
    bound their look from above, the others from below. A bound that is missing is infinite.
    """

    state: np.ndarray
    site: np.ndarray
    method: np.ndarray
    inspector: np.ndarray
    row: np.ndarray
    cut: np.ndarray
    uppers: int

    def probabilities(self, inputs: np.ndarray) -> np.ndarray:
        """Probability of every look (looks, n), from its bounds in reading errors (B, n)."""
        parts = LOOK_ERROR.parts(inputs)
        upper, lower = self.row[: self.uppers], self.row[self.uppers :]
        shape = len(self.state), inputs.shape[1]

        def side(rows: np.ndarray, open_end: Parts, bounds: slice) -> Parts:
            whole = Parts(*(np.full(shape, end) for end in open_end))
            for into, part in zip(whole, parts, strict=True):
                into[rows] = part[bounds]
            return whole

        low = side(lower, LOOK_ERROR.nothing, slice(self.uppers, None))
        return LOOK_ERROR.between(low, side(upper, LOOK_ERROR.everything, slice(self.uppers)))


def growth_per_litre(boiler: Boiler, table: SupplyTable, log_factor, capture, degassing, floor) -> np.ndarray:
    """Mean growth a litre of a water [mg/cm2/L] (n,): capture fraction x supply / wetted area.

    ``log_factor`` ln f of the water [-], ``capture`` phi in (0, 1) at the boiler's temperature, ``degassing`` k in
    (0, 1) and ``floor`` S_0 [mg/L as CaCO3] are each (n,).
    """
    potential = blend_potential(*read_table(table, log_factor), degassing, boiler.steam_share)
    return capture * (floor + potential) / boiler.wetted_area_cm2
