"""The posterior of one boiler: a pure function of what the logbook knew on a day, and a seed."""

from __future__ import annotations

import time
import zlib
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, field, replace
from functools import cached_property
from numbers import Integral

import numpy as np

from scalemodel.errors import BadValueError
from scalemodel.inference.smc import (
    DEFAULT_PARTICLES,
    DEFAULT_SEED,
    POPULATIONS,
    SmcInfo,
    SmcState,
    extend,
    sample_with_care,
    side_by_side,
)
from scalemodel.logbook.records import BoilerFacts, Inspection
from scalemodel.model.habits import as_read
from scalemodel.model.look import LookModel, look_model
from scalemodel.model.sheared import ShearedTarget
from scalemodel.model.supply import Supply
from scalemodel.model.target import BoilerTarget, build_model, model_of
from scalemodel.model.unknowns import Unknown, find_unknown, prior_of

Progress = Callable[[float], None]


def no_progress(share: float) -> None:
    """Nobody is watching."""


LEAST_PARTICLES, MOST_PARTICLES = 50, 50_000
"""In each population: fewer fit no Gaussian, more no memory."""


@dataclass(frozen=True, repr=False)
class Posterior:
    """Draws of everything unknown about one boiler, equally weighted, in independent populations.

    Attributes
    ----------
    model : BoilerTarget
    supplies : dict of water to Supply, the waters drawn so far
    x : array (dim, C P)
        Particles, population after population.
    info : SmcInfo
    seed, populations : int
    seconds : float [s]
    end : (SmcState, Generator) or None
        Where the sampler stopped, in its own coordinates, so that it can go on.
    """

    model: BoilerTarget
    supplies: dict[str, Supply]
    x: np.ndarray
    info: SmcInfo
    seed: int
    populations: int
    seconds: float
    end: tuple[SmcState, np.random.Generator] | None = None
    _instead: dict[tuple[int, Inspection], Posterior] = field(default_factory=dict, repr=False, compare=False)

    def __repr__(self) -> str:
        facts = self.facts
        drawn = f"{self.count} draws of {self.model.static_dim} unknowns from {len(facts.inspections)} looks"
        return f"<Posterior of {facts.boiler.boiler!r} as of {facts.as_of}: {drawn}, seed {self.seed}>"

    def without(self, index: int) -> Posterior:
        """The posterior of all records but the timeline's look ``index``, drawn anew with this seed, once.

        The look is kept as one that says nothing, any grade, so that intervals and unknowns are the same.
        """
        return self.instead(index, self.model.timeline.looks[index][1].untold)

    def instead(self, index: int, look: Inspection) -> Posterior:
        """The posterior with ``look`` in the place of the timeline's look ``index``, drawn anew with this seed, once.

        It is of the same day, site, method and inspector as the one on record.
        """
        if (index, look) not in self._instead:
            looks = list(self.model.timeline.looks)
            looks[index] = looks[index][0], look
            timeline = replace(self.model.timeline, looks=tuple(looks))
            model = build_model(self.facts, timeline, self.model.tables.__getitem__)
            self._instead[index, look] = draw(model, self.supplies, self.seed, self.particles)
        return self._instead[index, look]

    def continued(self, rounds: int, progress: Progress = no_progress) -> Posterior:
        """This posterior with ``rounds`` further sets of draws, as many in each as the sampler has particles.

        The same posterior continued by as much is the same, and continuing twice is continuing by the sum.
        """
        if rounds < 1 or self.end is None:
            return self
        began = time.perf_counter()
        state, rng = self.end[0], deepcopy(self.end[1])
        target = ShearedTarget(self.model)
        state, more, batch = extend(target, rng, state, self.info.final_sweeps, rounds, progress)
        x = side_by_side([self.x, *map(target.opened, more)], self.populations)
        info = self.info._replace(
            sweeps=self.info.sweeps + rounds * self.info.final_sweeps,
            evaluations=self.info.evaluations + batch.evaluated / batch.count,
            nan_count=self.info.nan_count + batch.nan_count,
        )
        seconds = self.seconds + time.perf_counter() - began
        return replace(self, x=x, info=info, seconds=seconds, end=(state, rng), _instead=self._instead)

    @property
    def facts(self) -> BoilerFacts:
        return self.model.facts

    @property
    def count(self) -> int:
        """Number of draws."""
        return self.x.shape[1]

    @property
    def particles(self) -> int:
        """Particles in each population, however many sets of draws were made of them."""
        return (self.x if self.end is None else self.end[0].x).shape[1] // self.populations

    def thinned(self, most: int) -> np.ndarray:
        """Indices of at most ``most`` draws, evenly spaced, as many from each population."""
        each = np.arange(self.count).reshape(self.populations, -1)
        return each[:, :: -(-self.count // most)].ravel()

    @cached_property
    def _surfaces(self) -> np.ndarray:
        return self.model.surfaces(self.x)

    def deposits_at(self, site: str) -> np.ndarray:
        """Deposit at a site over its relative deposit, at every state (K, C P) [mg/cm2].

        That of the reference surface, save where the site was looked at after a descale, which may have left another
        share there.
        """
        return self._surfaces[self.model.surface_of(site)]

    @cached_property
    def deposits(self) -> np.ndarray:
        """Deposit on the reference surface at every state of the timeline (K, C P) [mg/cm2]."""
        return self._surfaces[: self.model.states]

    @property
    def log_evidence(self) -> float:
        """Log of the records' marginal likelihood: the log of the populations' mean."""
        z = self.info.log_evidence
        return float(z.max() + np.log(np.mean(np.exp(z - z.max()))))

    def unknown(self, unknown: Unknown | str) -> np.ndarray:
        """An unknown on its prior's scale (C P,): its draws, or draws from its prior where no record bears on it.

        Parameters
        ----------
        unknown : Unknown or str
            One of `scalemodel.model.unknowns`, or what is printed of it: "capture", "relative chamber".

        Raises
        ------
        UnknownNameError
            If the boiler has no such unknown; the leniency of somebody who made none of its looks is none either.
        """
        if not isinstance(unknown, Unknown) or unknown not in self.model.unknowns:
            unknown = find_unknown(unknown, self.facts, self.model.timeline)
        return self._drawn(unknown)

    def _drawn(self, unknown: Unknown) -> np.ndarray:
        """`unknown`, or draws from the prior of one that may yet come."""
        if unknown in self.model.unknowns:
            return self.model.value(unknown, self.x)
        prior = prior_of(unknown, self.facts, self.model.timeline)
        return prior.value(self.fresh(str(unknown)).standard_normal(self.count))

    def look_model(self, site: str, method: str, inspector: str) -> LookModel:
        """How a look reads each draw, whether one like it is on record or not; arrays (C P,) or numbers."""
        return look_model(self._drawn, self.facts, site, method, inspector)

    def to_arviz(self):
        """The draws for ArviZ: its InferenceData, or from its version 1 on a DataTree; PyMC is not needed.

        Groups: ``posterior`` and ``prior`` (every unknown on its prior's scale, and ``deposit`` at each state of the
        history [mg/cm2]), ``posterior_predictive`` (a ``grade`` a look and draw), ``observed_data`` (``grade_low`` and
        ``grade_high`` by look), ``log_likelihood`` (of the grades of each look), ``sample_stats``. Populations are
        chains; ``state_date`` and ``look_date`` are coordinates. Attributes say of each variable its ``scale``,
        ``units`` and ``meaning``, and of each group boiler, as_of, seed, particles and version. An unknown's name is
        what is printed of it with ``_`` for what Python takes in no name (`arviz_tree.python_names`); its attribute
        ``unknown`` is the printed one.

        Raises
        ------
        MissingPackageError
            Where ArviZ is not installed.
        """
        from scalemodel.inference.arviz_tree import to_arviz

        return to_arviz(self)

    def fresh(self, purpose: str) -> np.random.Generator:
        """Random numbers of their own for a purpose: the same for the same seed and purpose."""
        return np.random.default_rng([self.seed, zlib.crc32(purpose.encode())])

    def by_population(self, values: np.ndarray) -> np.ndarray:
        """Draws (C P,) as (C, P)."""
        return values.reshape(self.populations, -1)


def monte_carlo_error(by_population: np.ndarray) -> float:
    """Standard error of the mean of draws (C, P), from the spread of the populations' means.

    Four means can agree by luck, so it is never less than as many independent draws would have.
    """
    means = by_population.mean(axis=1)
    between = np.std(means, ddof=1) / np.sqrt(len(means))
    return float(max(between, by_population.std() / np.sqrt(by_population.size)))


def r_hat(by_population: np.ndarray) -> float:
    """Potential scale reduction of draws (C, P): near 1 where the populations agree (Gelman & Rubin 1992).

    >>> round(r_hat(np.array([[1.0, 2.0, 3.0, 4.0], [1.0, 2.0, 3.0, 4.0]])), 3)
    0.866
    """
    count = by_population.shape[1]
    within = by_population.var(axis=1, ddof=1).mean()
    if within <= 0.0:
        return 1.0
    between = by_population.mean(axis=1).var(ddof=1)
    return float(np.sqrt((count - 1) / count + between / within))


def solve(
    facts: BoilerFacts,
    seed: int | None = None,
    particles: int | None = None,
    litres_per_day: float | None = None,
    water: str | None = None,
    progress: Progress = no_progress,
) -> Posterior:
    """Draw the posterior of one boiler.

    Parameters
    ----------
    facts : BoilerFacts
        From `Logbook.facts`.
    seed, particles : int, optional
        Seed, and particles in each of the four populations.
    litres_per_day : float, optional
        The rate [L/day], where no use at all is on record.
    water : str, optional
        The water, where no fill at all is on record.
    progress : callable, optional
        Told, now and then, the share in [0, 1] that is done.

    Raises
    ------
    EvidenceError
        Where no use, no water or no test of a water is known.
    BadValueError
        If the seed or the number of particles will not do.
    SamplerError
        Where the sampler met something it must not paper over.
    """
    facts = as_read(facts)
    return draw(*model_of(facts, litres_per_day, water), seed, particles, progress)


def draw(
    model: BoilerTarget,
    supplies: dict[str, Supply],
    seed: int | None = None,
    particles: int | None = None,
    progress: Progress = no_progress,
) -> Posterior:
    """Draw the posterior of a model already built; arguments and errors as for `solve`."""
    began = time.perf_counter()
    seed = DEFAULT_SEED if seed is None else seed
    particles = DEFAULT_PARTICLES if particles is None else particles
    if not isinstance(seed, Integral) or seed < 0:
        raise BadValueError("seed", seed, "a whole number from 0 on")
    if not isinstance(particles, Integral) or not LEAST_PARTICLES <= particles <= MOST_PARTICLES:
        raise BadValueError("particles", particles, f"a whole number, {LEAST_PARTICLES} to {MOST_PARTICLES}")
    rng = np.random.default_rng(seed)
    target = ShearedTarget(model)
    state, info = sample_with_care(target, rng, particles, progress)
    x, seconds = target.opened(state.x), time.perf_counter() - began
    return Posterior(model, supplies, x, info, int(seed), POPULATIONS, seconds, (state, rng))
