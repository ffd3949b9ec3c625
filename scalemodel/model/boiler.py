"""The target: one boiler's log-likelihood as a function of standard normals.

A particle x stacks the static unknowns u (one row each, see `BoilerModel.names`), N(0, 1) before the records
speak, and the growth innovations w (one row an interval), nearly so. Coordinates first, particles last.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from scalemodel.errors import UnknownNameError
from scalemodel.logbook.records import BoilerFacts, Inspection
from scalemodel.model import unknowns
from scalemodel.model.evaluation import Evaluation
from scalemodel.model.grading import grading_of
from scalemodel.model.inverse_gaussian import SignedRoot, draw_innovations, find_signed_root, grow, log_cv
from scalemodel.model.look import LookModel, Looks, log_relative_terms, look_model, visible_log
from scalemodel.model.measured import Measurements
from scalemodel.model.priors import Prior
from scalemodel.model.readout import Quantities, Readout, Terms, each
from scalemodel.model.supply_law import SupplyTables, inverse_temperature_gap
from scalemodel.model.timeline import Timeline
from scalemodel.model.unknowns import Unknown, own_surfaces
from scalemodel.model.wandering import Reading
from scalemodel.water.potential import LOG_FACTORS

if TYPE_CHECKING:
    from scalemodel.water.potential import SupplyTable


class Parameters(NamedTuple):
    """What the static unknowns say, ready for any innovations; particles (n,) last.

    Attributes
    ----------
    mean : array (J, n)
        Mean growth of every interval [mg/cm2].
    dispersion, log_dispersion : arrays (n,)
        Variance of growth a unit of mean growth [mg/cm2], and its logarithm.
    start : array (n,)
        Deposit at the start [mg/cm2].
    residue : array (F D, n)
        Share of the deposit that every descale leaves [-], surface after surface.
    looking : LookModel
        How looks read: a row a site, a method, an inspector.
    path : array (tests, n)
        How a water had moved on the day of each later test [ln].
    quantities : Quantities
        All that these were made of.
    """

    mean: np.ndarray
    dispersion: np.ndarray
    log_dispersion: np.ndarray
    start: np.ndarray
    residue: np.ndarray
    looking: LookModel
    path: np.ndarray
    quantities: Quantities


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

    def _path_terms(self, water: str, epoch: int) -> Terms:
        """How far a water's log concentration had moved in an epoch of its path [ln]: where it began, and its steps."""
        path = self.timeline.paths[water]
        steps = {unknowns.step(water, k): 1.0 for k in np.flatnonzero(path.sums[epoch]).tolist()}
        return {unknowns.start(water): 1.0, **steps} if path.readings else steps

    def path(self, water: str, u: np.ndarray) -> np.ndarray:
        """How the log concentration of a water moved, by epoch of its path (E, n) [ln]."""
        epochs = (self._path_terms(water, epoch) for epoch in range(len(self.timeline.paths[water].knots)))
        return np.stack([sum(self.value(one, u) for one in terms) + np.zeros(u.shape[1]) for terms in epochs])

    @cached_property
    def _readings(self) -> list[tuple[str, Reading]]:
        """The tests that say how a water's concentration moved."""
        return [(water, reading) for water, path in self.timeline.paths.items() for reading in path.readings]

    @cached_property
    def readout(self) -> Readout:
        """What the law takes of the static unknowns."""
        line, boiler = self.timeline, self.facts.boiler
        exponential = {
            "dispersion": each([unknowns.DISPERSION]),
            "floor": each([unknowns.FLOOR]),
            "use": each([u for u in (unknowns.USE,) if u in self._row], line.plan.log_sd),
            "start": each([u for u in (unknowns.INITIAL,) if u in self._row]),
            "relative": [log_relative_terms(self.facts, site) for site in self.sites],
            "precision": each([unknowns.reading(method) for method in self.methods], -1.0),
        }
        gap = inverse_temperature_gap(boiler.temperature_c)
        logistic = {
            "capture": [{unknowns.CAPTURE: 1.0, unknowns.ACTIVATION: gap}],
            "degassing": each([unknowns.DEGASSING]),
            "residue": each(self.residues),
        }
        plain = {
            "log_factor": [
                {unknowns.concentration(w): self.tables[w].log_sd, **self._path_terms(w, epoch)}
                for w, epoch in line.spans
            ],
            "path": [self._path_terms(water, reading.epoch) for water, reading in self._readings],
            "shift": each([unknowns.leniency(inspector) for inspector in self.inspectors]),
            "log_dispersion": each([unknowns.DISPERSION]),
        }
        return Readout(self.unknowns, exponential, logistic, plain)

    @cached_property
    def supply(self) -> SupplyTables:
        """The supply table of every span."""
        spans = self.timeline.spans
        return SupplyTables([self.tables[span.water] for span in spans], self.facts.boiler.steam_share)

    def log_factors(self, u: np.ndarray) -> np.ndarray:
        """Log concentration factor of every span of the timeline (W, n) [-]."""
        found = self.readout.read(u).of("log_factor")
        return np.clip(found, LOG_FACTORS[0], LOG_FACTORS[-1])

    def parameters(self, u: np.ndarray) -> Parameters:
        """Everything that depends on the static unknowns u (d, n) alone."""
        found = self.readout.read(u)
        return self.parameters_of(found, self.potential(found)[0])

    def parameters_of(self, found: Quantities, potential: np.ndarray) -> Parameters:
        """The same from all that was read of the unknowns, and the spans' `potential` (W, n), which is used up."""
        start, n = found.of("start"), found.values.shape[1]
        per_litre = potential
        per_litre *= found.of("capture") * (1.0 / self.facts.boiler.wetted_area_cm2)
        mean = self.timeline.recorded_l @ per_litre
        if unknowns.USE in self._row:
            planned = self.timeline.planned_l @ per_litre
            planned *= found.of("use")
            mean += planned
        return Parameters(
            mean,
            found.of("dispersion")[0],
            found.of("log_dispersion")[0],
            start[0] if len(start) else np.zeros(n),
            found.of("residue"),
            LookModel(found.of("relative"), found.of("precision"), found.of("shift")),
            found.of("path"),
            found,
        )

    def potential(self, found: Quantities) -> tuple[np.ndarray, np.ndarray]:
        """What a litre of every span can drop, the floor included, and how it rises with degassing.

        Both (W, n) [mg/L as CaCO3].
        """
        potential, gain = self.supply.potentials(found.of("log_factor"))
        potential += gain * found.of("degassing")
        potential += found.of("floor")
        return potential, gain

    @property
    def residues(self) -> list[Unknown]:
        """The residues of the reference surface, then of every other surface."""
        descales = range(len(self.timeline.descales))
        return [*map(unknowns.residue, descales), *(unknowns.site_residue(s, d) for s in self.own for d in descales)]

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
        return self.evaluate_by(x, self.parameters(self.split(x)[0]))

    def evaluate_by(self, x: np.ndarray, parameters: Parameters) -> Evaluation:
        """The same by what their static unknowns say."""
        u, w = self.split(x)
        grown, log_ratio = grow(parameters.mean, parameters.dispersion, self.signed_root(parameters, w), w)
        states = self.accumulate(grown, parameters)
        return Evaluation(log_ratio, self.log_likelihood_of_deposits(states, parameters), self.monitored(u, states))

    @staticmethod
    def signed_root(parameters: Parameters, w: np.ndarray) -> SignedRoot:
        """The signed roots of growth (J, n) from its innovations."""
        return find_signed_root(w, log_cv(parameters.mean, parameters.log_dispersion))

    def deposits(self, x: np.ndarray) -> np.ndarray:
        """Deposit on the reference surface at every state (K, n) [mg/cm2]."""
        return self.surfaces(x)[: self.states]

    def surfaces(self, x: np.ndarray) -> np.ndarray:
        """Deposit on every surface at every state (F K, n) [mg/cm2], surface after surface, the reference first."""
        u, w = self.split(x)
        parameters = self.parameters(u)
        grown, _ = grow(parameters.mean, parameters.dispersion, self.signed_root(parameters, w), w)
        return self.accumulate(grown, parameters)

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

    @cached_property
    def segments(self) -> list[tuple[int, int, int, int | None]]:
        """Stretches between descales: first and last state, first interval, and the descale before them or None."""
        found, first, grown, before = [], 0, 0, None
        for k, (step, index) in enumerate([*self.timeline.steps, ("descale", None)]):
            if step == "descale":
                found.append((first, k, grown, before))
                first, grown, before = k + 1, grown + k - first, index
        return found

    def accumulate(self, grown: np.ndarray, parameters: Parameters) -> np.ndarray:
        """Deposits (F K, n) from growth by interval (J, n): running sums between descales, surface after surface."""
        count, surfaces, descales = self.states, 1 + len(self.own), len(self.timeline.descales)
        states = np.empty((surfaces, count, grown.shape[1]))
        residues = parameters.residue.reshape(surfaces, descales, grown.shape[1])
        for first, last, interval, descale in self.segments:
            begun = parameters.start if descale is None else residues[:, descale] * states[:, first - 1]
            states[:, first] = begun
            for k in range(first, last):
                np.add(states[:, k], grown[interval + k - first], out=states[:, k + 1])
        return states.reshape(surfaces * count, -1)

    def log_likelihood_of_deposits(self, states: np.ndarray, parameters: Parameters) -> np.ndarray:
        """Log-likelihood (n,) of every look, reading and test, from the deposits (F K, n) [mg/cm2]."""
        total = sum_logs(self.looks.probabilities(parameters.looking, states))
        if self.measurements.log_sd.size:
            expected, _ = self.measurements.expected(parameters.looking.relative, parameters.residue, states)
            total += self.measurements.log_density(self.measurements.misses(expected, parameters.path))
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
    def measurements(self) -> Measurements:
        """Every thickness, recovered mass and test that tells how a water moved."""
        deposit = grading_of(self.facts.beliefs).deposit
        thicknesses = [
            (self.surface_of(e.site).start + k, self.sites.index(e.site), deposit(e.thickness_um))
            for k, e in self.timeline.looks
            if e.thickness_um is not None
        ]
        recoveries = [
            (k, d, 1000.0 * e.scale_recovered_g / self.facts.boiler.wetted_area_cm2)
            for d, (k, e) in enumerate(self.timeline.descales)
            if e.scale_recovered_g is not None
        ]
        return Measurements.of(
            thicknesses, recoveries, [(reading.log_ratio, reading.log_sd) for _, reading in self._readings]
        )


def sum_logs(factors: np.ndarray) -> np.ndarray:
    """Log of the product over the first axis (m, n) -> (n,); -inf for a 0, and nothing underflows."""
    with np.errstate(divide="ignore"):
        return np.log(factors).sum(axis=0)
