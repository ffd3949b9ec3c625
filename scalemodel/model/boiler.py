"""The target: one boiler's log-likelihood as a function of standard normals.

A particle x stacks the static unknowns u (one row each, see `BoilerModel.names`), N(0, 1) before the records
speak, and the growth innovations w (one row an interval), nearly so. Coordinates first, particles last.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import expit

from scalemodel.errors import UnknownNameError
from scalemodel.logbook.records import BoilerFacts, Inspection
from scalemodel.model import unknowns
from scalemodel.model.evaluation import Evaluation
from scalemodel.model.grading import grading_of
from scalemodel.model.inverse_gaussian import draw_innovations, increment
from scalemodel.model.look import RECOVERED, THICKNESS, LookModel, Looks, log_relative_of, look_model, visible_log
from scalemodel.model.priors import Prior
from scalemodel.model.supply import log_factor
from scalemodel.model.supply_law import capture_fraction, growth_per_litre
from scalemodel.model.timeline import Timeline
from scalemodel.model.unknowns import Unknown, own_surfaces

if TYPE_CHECKING:
    from scalemodel.water.potential import SupplyTable


class Parameters(NamedTuple):
    """What the static unknowns say, ready for any innovations; particles (n,) last.

    Attributes
    ----------
    mean : array (J, n)
        Mean growth of every interval [mg/cm2].
    dispersion : array (n,)
        Variance of growth a unit of mean growth [mg/cm2].
    start : array (n,)
        Deposit at the start [mg/cm2].
    residue : array (F D, n)
        Share of the deposit that every descale leaves [-], surface after surface.
    looking : LookModel
        How looks read: a row a site, a method, an inspector.
    tests : array (n,)
        Log-likelihood of the tests that say how a water's concentration moved.
    """

    mean: np.ndarray
    dispersion: np.ndarray
    start: np.ndarray
    residue: np.ndarray
    looking: LookModel
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

    def paths(self, u: np.ndarray) -> dict[str, np.ndarray]:
        """The path of every water."""
        return {water: self.path(water, u) for water in self.timeline.paths}

    def log_factors(self, u: np.ndarray, paths: Mapping[str, np.ndarray] | None = None) -> np.ndarray:
        """Log concentration factor of every span of the timeline (W, n) [-]; ``paths`` if they are known."""
        paths = self.paths(u) if paths is None else paths
        constant = {w: self.value(unknowns.concentration(w), u) for w in paths}
        each = (log_factor(self.tables[w].log_sd, constant[w], paths[w][epoch]) for w, epoch in self.timeline.spans)
        return np.stack(list(each))

    def log_likelihood_of_tests(self, paths: Mapping[str, np.ndarray], n: int) -> np.ndarray:
        """Log-likelihood (n,) of the tests that say how a water's concentration moved."""
        total = np.zeros(n)
        for water, path in self.timeline.paths.items():
            for reading in path.readings:
                total += reading.log_density(paths[water])
        return total

    def use_factor(self, u: np.ndarray) -> np.ndarray | float:
        """Unrecorded use against the plan (n,), or 1 where no unrecorded time bears on a record."""
        return np.exp(self.timeline.plan.log_sd * self.value(unknowns.USE, u)) if unknowns.USE in self._row else 1.0

    def parameters(self, u: np.ndarray) -> Parameters:
        """Everything that depends on the static unknowns u (d, n) alone."""
        n = u.shape[1]
        line, paths = self.timeline, self.paths(u)
        capture, activation = self.value(unknowns.CAPTURE, u), self.value(unknowns.ACTIVATION, u)
        degassing, floor = expit(self.value(unknowns.DEGASSING, u)), np.exp(self.value(unknowns.FLOOR, u))
        share = capture_fraction(capture, activation, self.facts.boiler.temperature_c)
        per_litre = [
            growth_per_litre(self.facts.boiler, self.tables[span.water], factor, share, degassing, floor)
            for span, factor in zip(line.spans, self.log_factors(u, paths), strict=True)
        ]
        mean = line.recorded_l @ np.reshape(per_litre, (len(per_litre), n))
        if unknowns.USE in self._row:
            mean += (line.planned_l @ np.reshape(per_litre, (len(per_litre), n))) * self.use_factor(u)
        return Parameters(
            mean,
            np.exp(self.value(unknowns.DISPERSION, u)),
            np.exp(self.value(unknowns.INITIAL, u)) if unknowns.INITIAL in self._row else np.zeros(n),
            expit(self._stack(self.residues, u)),
            LookModel.of_unknowns(
                self._rows(
                    (log_relative_of(lambda unknown: self.value(unknown, u), self.facts, s) for s in self.sites), n
                ),
                self._stack(map(unknowns.reading, self.methods), u),
                self._stack(map(unknowns.leniency, self.inspectors), u),
            ),
            self.log_likelihood_of_tests(paths, n),
        )

    @property
    def residues(self) -> list[Unknown]:
        """The residues of the reference surface, then of every other surface."""
        descales = range(len(self.timeline.descales))
        return [*map(unknowns.residue, descales), *(unknowns.site_residue(s, d) for s in self.own for d in descales)]

    def _stack(self, wanted: Iterable[Unknown | None], u: np.ndarray) -> np.ndarray:
        """Unknowns row by row, None as 0."""
        return self._rows((0.0 if one is None else self.value(one, u) for one in wanted), u.shape[1])

    @staticmethod
    def _rows(values: Iterable[np.ndarray | float], n: int) -> np.ndarray:
        """Arrays (n,) and numbers row by row."""
        rows = [one if isinstance(one, np.ndarray) else np.full(n, one) for one in values]
        return np.reshape(rows, (len(rows), n))

    def split(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Static unknowns u (d, n) and innovations w (J, n) of particles x (d + J, n)."""
        return x[: self.static_dim], x[self.static_dim :]

    def draw_prior(self, rng: np.random.Generator, count: int) -> np.ndarray:
        """Particles x (d + J, count) from the prior."""
        u = rng.standard_normal((self.static_dim, count))
        parameters = self.parameters(u)
        return np.vstack([u, draw_innovations(rng, parameters.mean, parameters.dispersion)])

    def evaluate(self, x: np.ndarray) -> Evaluation:
        """The target at particles x (d + J, n)."""
        u, w = self.split(x)
        parameters = self.parameters(u)
        grown, ratio = increment(parameters.mean, parameters.dispersion, w)
        states = self.accumulate(grown, parameters)
        return Evaluation(
            sum_logs(ratio), self.log_likelihood_of_deposits(states, parameters), self.monitored(u, states)
        )

    def deposits(self, x: np.ndarray) -> np.ndarray:
        """Deposit on the reference surface at every state (K, n) [mg/cm2]."""
        return self.surfaces(x)[: self.states]

    def surfaces(self, x: np.ndarray) -> np.ndarray:
        """Deposit on every surface at every state (F K, n) [mg/cm2], surface after surface, the reference first."""
        u, w = self.split(x)
        parameters = self.parameters(u)
        return self.accumulate(increment(parameters.mean, parameters.dispersion, w)[0], parameters)

    @property
    def states(self) -> int:
        """K, the states of one surface."""
        return len(self.timeline.state_dates)

    @cached_property
    def own(self) -> tuple[str, ...]:
        """Sites with a surface of their own, beside the reference surface."""
        return own_surfaces(self.facts, self.timeline)

    def surface_of(self, site: str) -> slice:
        """The rows of `surfaces` that hold a site's deposit, over r: its own, or those of the reference surface."""
        first = self.states * (1 + self.own.index(site) if site in self.own else 0)
        return slice(first, first + self.states)

    def monitored(self, u: np.ndarray, states: np.ndarray) -> np.ndarray:
        """Static unknowns, and the log of the deposit at the last state: what a forecast leans on (d + 1, n)."""
        return np.vstack([u, visible_log(states[self.states - 1 : self.states])])

    def accumulate(self, grown: np.ndarray, parameters: Parameters) -> np.ndarray:
        """Deposits (F K, n) from growth by interval (J, n): running sums between descales, surface after surface."""
        count, descales = self.states, len(self.timeline.descales)
        states = np.empty(((1 + len(self.own)) * count, grown.shape[1]))
        for surface in range(1 + len(self.own)):
            here, residue = states[surface * count :], parameters.residue[surface * descales :]
            here[0] = parameters.start
            for k, (step, index) in enumerate(self.timeline.steps):
                if step == "grow":
                    np.add(here[k], grown[index], out=here[k + 1])
                else:
                    np.multiply(here[k], residue[index], out=here[k + 1])
        return states

    def log_likelihood_of_deposits(self, states: np.ndarray, parameters: Parameters) -> np.ndarray:
        """Log-likelihood (n,) of every look, thickness and recovered mass, from the deposits (F K, n) [mg/cm2]."""
        looks = sum_logs(self.looks.probabilities(parameters.looking, states))
        return self.with_measurements(looks, states, parameters)

    def with_measurements(self, total: np.ndarray, states: np.ndarray, parameters: Parameters) -> np.ndarray:
        """``total`` (n,) with the log-likelihood of every thickness, recovered mass and later test added to it."""
        total += parameters.tests
        for state, site, measured in self.thicknesses:
            total += THICKNESS.log_density(measured, parameters.looking.relative[site] * states[state])
        for state, index, measured in self.recoveries:
            total += RECOVERED.log_density(measured, (1.0 - parameters.residue[index]) * states[state])
        return total

    def look_model(self, x: np.ndarray, look: Inspection) -> LookModel:
        """How a look of the timeline reads, by particles x (d + J, n); arrays (n,) or numbers."""
        return look_model(lambda unknown: self.value(unknown, x), self.facts, look.site, look.method, look.inspector)

    @cached_property
    def telling_looks(self) -> list[tuple[int, Inspection]]:
        return [(k, e) for k, e in self.timeline.looks if e.tells_grade]

    @cached_property
    def sites(self) -> list[str]:
        """Sites looked at."""
        return list(dict.fromkeys(look.site for _, look in self.timeline.looks))

    @cached_property
    def methods(self) -> list[str]:
        return list(dict.fromkeys(look.method for _, look in self.timeline.looks))

    @cached_property
    def inspectors(self) -> list[str]:
        return list(dict.fromkeys(look.inspector for _, look in self.timeline.looks))

    @cached_property
    def looks(self) -> Looks:
        """The looks that tell something."""
        looks = self.telling_looks
        places = [
            (
                self.surface_of(e.site).start + k,
                self.sites.index(e.site),
                self.methods.index(e.method),
                self.inspectors.index(e.inspector),
            )
            for k, e in looks
        ]
        return Looks.of(places, [(e.grade_low, e.grade_high) for _, e in looks], grading_of(self.facts.beliefs))

    @cached_property
    def thicknesses(self) -> list[tuple[int, int, float]]:
        deposit = grading_of(self.facts.beliefs).deposit
        return [
            (self.surface_of(e.site).start + k, self.sites.index(e.site), deposit(e.thickness_um))
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


def sum_logs(factors: np.ndarray) -> np.ndarray:
    """Log of the product over the first axis (m, n) -> (n,); -inf for a 0, and nothing underflows."""
    with np.errstate(divide="ignore"):
        return np.log(factors).sum(axis=0)
