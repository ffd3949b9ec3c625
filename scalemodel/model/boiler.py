"""The target: one boiler's log-likelihood as a function of standard normals.

A particle x stacks the static unknowns u (one row each, see `BoilerModel.names`), N(0, 1) before the records
speak, and the growth innovations v (one row an interval), tilted normals. Coordinates first, particles last.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import expit, ndtr

from scalemodel.logbook.records import Boiler, BoilerFacts, Inspection, Site
from scalemodel.model import priors
from scalemodel.model.gradient import gradient_of
from scalemodel.model.grading import GRADE_COUNT, LOG_CUTS, log_product, log_reading
from scalemodel.model.growth import blend_potential, capture_fraction, read_table
from scalemodel.model.innovation import draw_innovations, increment
from scalemodel.model.priors import LAPSE, LOOK_FLOOR_MG_CM2, Prior
from scalemodel.model.timeline import Timeline

if TYPE_CHECKING:
    from scalemodel.water.potential import StrengthTable


class Drift(NamedTuple):
    """What the static unknowns say, ready for any innovations; particles (n,) last."""

    mean: np.ndarray
    irregularity: np.ndarray
    start: np.ndarray
    residue: np.ndarray
    log_relative: np.ndarray
    inverse_reading: np.ndarray
    leniency: np.ndarray


@dataclass(frozen=True)
class BoilerModel:
    """A boiler's unknowns and records, as the sampler sees them.

    Attributes
    ----------
    facts, timeline : the records and their intervals
    tables : mapping of water to its strength table at the boiler's temperature
    unknowns : mapping of coordinate name to Prior, in the order of the rows of u
    """

    facts: BoilerFacts
    timeline: Timeline
    tables: Mapping[str, StrengthTable]
    unknowns: Mapping[str, Prior]

    @cached_property
    def names(self) -> tuple[str, ...]:
        return tuple(self.unknowns)

    @property
    def static_dim(self) -> int:
        return len(self.unknowns)

    @property
    def dim(self) -> int:
        return self.static_dim + self.timeline.intervals

    @cached_property
    def _row(self) -> dict[str, int]:
        return {name: k for k, name in enumerate(self.unknowns)}

    def value(self, name: str, u: np.ndarray) -> np.ndarray:
        """An unknown on its prior's scale (n,), from its row of u (d, n)."""
        prior = self.unknowns[name]
        return prior.mean + prior.sd * u[self._row[name]]

    def use_factor(self, u: np.ndarray) -> np.ndarray | float:
        """Unrecorded use against the plan (n,), or 1 where no unrecorded time bears on a record."""
        return np.exp(self.timeline.plan.log_sd * self.value("use", u)) if "use" in self._row else 1.0

    def drift(self, u: np.ndarray) -> Drift:
        """Everything that depends on the static unknowns u (d, n) alone."""
        n = u.shape[1]
        line = self.timeline
        capture, activation = self.value("capture", u), self.value("activation", u)
        degassing = expit(self.value("degassing", u))
        per_litre = [
            growth_per_litre(
                self.facts.boiler, self.tables[w], self.value(f"strength {w}", u), capture, activation, degassing
            )
            for w in line.waters
        ]
        mean = line.recorded_l @ np.reshape(per_litre, (len(per_litre), n))
        if "use" in self._row:
            mean += (line.planned_l @ np.reshape(per_litre, (len(per_litre), n))) * self.use_factor(u)
        return Drift(
            mean,
            np.exp(self.value("irregularity", u)),
            np.exp(self.value("initial", u)) if "initial" in self._row else np.zeros(n),
            expit(self._stack([f"residue {d}" for d in range(len(line.descales))], u)),
            self._stack([f"relative {s}" if s else "" for s in self.sites], u),
            np.exp(-self._stack([f"reading {q}" for q in self.methods], u)),
            self._stack([f"leniency {i}" for i in self.inspectors], u),
        )

    def _stack(self, names: list[str], u: np.ndarray) -> np.ndarray:
        rows = [self.value(name, u) if name else np.zeros(u.shape[1]) for name in names]
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
        return log_product(tilt), self.log_likelihood_of_deposits(states, drift)

    def evaluate_with_gradient(self, x: np.ndarray, exponent: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """What `evaluate` gives, and the gradient (d + J, n) of ``exponent`` (n,) x the log-likelihood."""
        return gradient_of(self, x, exponent)

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
        return self.with_readings(log_product(self.look_chances(states, drift)), states, drift)

    def with_readings(self, total: np.ndarray, states: np.ndarray, drift: Drift) -> np.ndarray:
        """``total`` (n,) with the log-likelihood of every thickness and recovered mass added to it."""
        for state, site, measured in self.thicknesses:
            seen = np.log(np.exp(drift.log_relative[site]) * states[state] + LOOK_FLOOR_MG_CM2)
            total += log_reading(measured + LOOK_FLOOR_MG_CM2, seen, priors.THICKNESS_LOG_SD)
        for state, index, measured in self.recoveries:
            removed = (1.0 - drift.residue[index]) * states[state] + LOOK_FLOOR_MG_CM2
            total += log_reading(measured + LOOK_FLOOR_MG_CM2, np.log(removed), priors.RECOVERED_LOG_SD)
        return total

    def look_chances(self, states: np.ndarray, drift: Drift) -> np.ndarray:
        """Probability of every look that tells something (looks, n), from the deposits (K, n) [mg/cm2]."""
        return self.chances(self.sight(states, drift))

    def sight(self, states: np.ndarray, drift: Drift) -> Sight:
        """What every look that tells something is made of, from the deposits (K, n) [mg/cm2]."""
        edges = self.edges
        apparent = np.exp(drift.log_relative)[edges.site] * states[edges.state]
        milder = drift.leniency[edges.inspector] - np.log(apparent + LOOK_FLOOR_MG_CM2)
        return Sight(apparent, milder, drift.inverse_reading[edges.method])

    def chances(self, sight: Sight) -> np.ndarray:
        """Probability (looks, n) of what was seen."""
        edges, milder, slope = self.edges, sight.milder, sight.steepness
        chance = np.empty_like(milder)
        chance[:] = edges.floor
        chance[edges.open_top] += 1.0 - LAPSE
        upper, lower = edges.has_upper, edges.has_lower
        chance[upper] += (1.0 - LAPSE) * ndtr((edges.cut_high + milder[upper]) * slope[upper])
        chance[lower] -= (1.0 - LAPSE) * ndtr((edges.cut_low + milder[lower]) * slope[lower])
        return chance

    def lapse_chances(self, x: np.ndarray) -> list[tuple[Inspection, float]]:
        """Each look that tells something, with the probability, averaged over particles x, that it was a slip."""
        drift = self.drift(x[: self.static_dim])
        chance = self.look_chances(self.deposits(x), drift)
        slips = (self.edges.floor / chance).mean(axis=1)
        return list(zip([look for _, look in self.telling_looks], slips.tolist(), strict=True))

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
            (LAPSE * (high - low + 1) / GRADE_COUNT)[:, None],
            np.flatnonzero(high == GRADE_COUNT - 1),
            has_upper,
            has_lower,
            LOG_CUTS[high[has_upper]][:, None],
            LOG_CUTS[low[has_lower] - 1][:, None],
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
    """The looks as arrays: where each was made, by whom and how, and the cut points that bound it."""

    state: np.ndarray
    site: np.ndarray
    method: np.ndarray
    inspector: np.ndarray
    floor: np.ndarray
    open_top: np.ndarray
    has_upper: np.ndarray
    has_lower: np.ndarray
    cut_high: np.ndarray
    cut_low: np.ndarray


def growth_per_litre(boiler: Boiler, table: StrengthTable, strength, capture, activation, degassing) -> np.ndarray:
    """Mean growth a litre of a water [mg/cm2/L] (n,): capture fraction x scaling potential / wetted area.

    ``strength`` z, ``capture`` a [logit], ``activation`` E [kJ/mol] and ``degassing`` k in (0, 1) are each (n,).
    """
    share = capture_fraction(capture, activation, boiler.temperature_c)
    potential = blend_potential(*read_table(table, strength), degassing, boiler.steam_share)
    return share * potential / boiler.wetted_area_cm2


def relative_prior(site: Site | None) -> Prior:
    """A site's prior ln r: the owner's own belief where one is recorded, else the house's."""
    if site is None:
        return priors.RELATIVE
    mean = priors.RELATIVE.mean if site.relative_deposit is None else float(np.log(site.relative_deposit))
    sd = priors.RELATIVE.sd if site.relative_log_sd is None else site.relative_log_sd
    return priors.RELATIVE._replace(mean=mean, sd=sd)


def degassing_prior(steam_share: float) -> Prior:
    """The degassing share's prior: that of a steam boiler where any water leaves as steam."""
    return priors.DEGASSING_STEAM if steam_share > 0.0 else priors.DEGASSING


def find_unknowns(facts: BoilerFacts, timeline: Timeline) -> dict[str, Prior]:
    """Every unknown on which some record bears, by name, with its prior, in the order of the rows of u."""
    found = {
        "capture": priors.CAPTURE,
        "activation": priors.ACTIVATION,
        "degassing": degassing_prior(facts.boiler.steam_share),
        "irregularity": priors.IRREGULARITY,
    }
    if facts.boiler.start == "unknown":
        found["initial"] = priors.INITIAL
    if timeline.planned_l.any():
        found["use"] = priors.USE
    for water in timeline.waters:
        found[f"strength {water}"] = priors.STRENGTH
    sites = {s.site: s for s in facts.sites}
    for _, look in timeline.looks:
        found.setdefault(f"reading {look.method}", reading_prior(look.method))
        found.setdefault(f"leniency {look.inspector}", priors.LENIENCY)
        if look.site != facts.reference_site:
            found.setdefault(f"relative {look.site}", relative_prior(sites.get(look.site)))
    for index, (_, descale) in enumerate(timeline.descales):
        found[f"residue {index}"] = priors.RESIDUE_FULL if descale.scope == "full" else priors.RESIDUE_PARTIAL
    return found


def reading_prior(method: str) -> Prior:
    """The reading error's prior: a glance through water errs more than an eye, a mirror or a camera."""
    return priors.READING_GLANCE if method == "glance" else priors.READING


def build_model(facts: BoilerFacts, timeline: Timeline, table_of: Callable[[str], StrengthTable]) -> BoilerModel:
    """The target of one boiler; ``table_of(water)`` gives a water's strength table at the boiler's temperature."""
    tables = {water: table_of(water) for water in timeline.waters}
    return BoilerModel(facts, timeline, tables, find_unknowns(facts, timeline))
