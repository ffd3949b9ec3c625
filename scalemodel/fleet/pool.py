"""Partial pooling: what the boilers of a fleet teach of each other, as priors.

Each boiler is solved by itself, under the population as it is known so far, widened; the population is then drawn from
all boilers' draws; and again from there, each step no longer than the draws can be trusted for.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from scalemodel.answers.assessment import Means
from scalemodel.answers.stream import as_done
from scalemodel.answers.told import Failure
from scalemodel.answers.worker import END, parts_of
from scalemodel.decision.question import Question
from scalemodel.errors import BadValueError, EvidenceError, UnknownNameError
from scalemodel.fleet.population import SD_OF_TAU, WIDENED, Draws, Trait, likelihood, of_standard, predictive, trusted
from scalemodel.fleet.sampling import QUICK, THOROUGH, draw_population
from scalemodel.fleet.traits import SHARED, Drawn, Key, drawn, tells, traits_of
from scalemodel.inference.posterior import no_progress
from scalemodel.inference.smc import DEFAULT_SEED
from scalemodel.logbook.belief import Belief
from scalemodel.logbook.priors_text import REACH, constants_in
from scalemodel.logbook.records import BoilerFacts
from scalemodel.validation.pymc_twin import audit_packages

PARTICLES, KEPT, KEPT_OF_ALL = 250, 400, 10_000
"""In each of a boiler's four populations; how many of the draws are kept of it at most, and of all boilers of a small
fleet together, in which the noise of a boiler's weights is not drowned by others'."""

RIDGE = {"capture", "degassing", "degassing_steam", "floor", "strength"}
TIED = 0.35
"""Growth a litre is all that is told well of these, so they are weighed together, with whatever else of a boiler has
draws that are correlated by more than this."""

ENOUGH = 800
"""With so many draws of a boiler leniency is weighed with these too: weak as the tie is in one boiler, it adds up over
all that an inspector looks at."""

MOST_ROUNDS = 8
EFFECTIVE, MOVED = 60, 0.2
"""It is settled where so many draws of every boiler are left to speak, and means and spreads moved by less than the
other, in their own errors (the root of the mean of squares)."""


@dataclass(frozen=True)
class Learned:
    """What was learned of one unknown of a population, on its prior's scale.

    ``mean`` and ``sd`` are of the boilers (of a water or an inspector: the one that they share, and ``sd`` 0), each
    with its error; ``house_mean`` and ``house_sd`` what is believed without them; ``boilers`` and ``looks`` bear on it.
    """

    unknown: str
    subject: str
    scale: str
    mean: float
    sd: float
    mean_error: float
    sd_error: float
    house_mean: float
    house_sd: float
    boilers: int
    looks: int


@dataclass(frozen=True)
class Pool:
    """A population, and what it follows from.

    Attributes
    ----------
    as_of : date
    population, waters, inspectors : tuple of Learned
        Waters and inspectors are those that two boilers or more share.
    rounds : int
    effective_share : float
        Of the draws of the boiler that has least, (0, 1].
    settled : bool
        Whether the rounds ended because nothing moved any more.
    boilers, looks : int
        From which it was learned.
    left_out : tuple of (boiler, reason)
    """

    as_of: date
    population: tuple[Learned, ...]
    waters: tuple[Learned, ...]
    inspectors: tuple[Learned, ...]
    rounds: int
    effective_share: float
    settled: bool
    boilers: int
    looks: int
    left_out: tuple[tuple[str, str], ...]
    _known: Known = field(repr=False, compare=False)

    def beliefs(self, without: str | None = None) -> tuple[Belief, ...]:
        """Priors for a boiler yet unseen; ``without`` one of the fleet: for that boiler, from all the others.

        What a boiler's own records said must not count twice, so its own priors leave them out. UnknownNameError if
        there is no such boiler in the pool.
        """
        return self._known.beliefs(without)

    @property
    def learned_from(self) -> tuple[str, ...]:
        """The boilers from which it was learned, by name."""
        return self._known.boilers

    @property
    def draws(self) -> dict[Key, tuple[np.ndarray, np.ndarray]]:
        """Draws of the population by (unknown, subject): its middle and its scale (G,), on the prior's scale."""
        known = self._known
        return {(t.name, t.subject): (known.mu[:, k], known.tau[:, k]) for k, t in enumerate(known.traits)}

    def to_frame(self):
        """All that was learned as a pandas DataFrame, a row an unknown."""
        from dataclasses import asdict, fields

        from scalemodel.frames import table

        rows = [asdict(one) for one in (*self.population, *self.waters, *self.inspectors)]
        return table(rows, [one.name for one in fields(Learned)], ())


class Known(NamedTuple):
    """Draws of a population: mu and tau (G, K), each boiler's log-likelihood of them (B, G), and whose is what.

    ``base`` is what was believed in place of the house.
    """

    traits: tuple[Trait, ...]
    mu: np.ndarray
    tau: np.ndarray
    said: np.ndarray
    boilers: tuple[str, ...]
    bears: np.ndarray
    base: tuple[Belief, ...] = ()

    def beliefs(self, without: str | None = None) -> tuple[Belief, ...]:
        """As `Pool.beliefs`."""
        others, weights = np.ones(len(self.boilers), bool), None
        if without is not None:
            if without not in self.boilers:
                raise UnknownNameError("boiler", without, self.boilers, of="the pool")
            own = self.boilers.index(without)
            others[own] = False
            weights = np.exp(self.said[own].min() - self.said[own])
            weights = np.minimum(weights, weights.mean() * np.sqrt(len(weights)))  # Ionides 2008
        found = []
        for k, trait in enumerate(self.traits):
            if self.bears[others, k].any():
                mean, sd = predictive(self.mu[:, k], self.tau[:, k], weights)
                found.append(Belief(trait.name, trait.subject, mean, max(sd, REACH[trait.name].sd[0])))
        learned = {(one.name, one.subject) for one in found}
        return (*(one for one in self.base if (one.name, one.subject) not in learned), *found)


def pool(
    asked: Iterable[BoilerFacts],
    as_of: date,
    means: Means | None = None,
    seed: int | None = None,
    particles: int | None = None,
    done: Callable[[float], None] = no_progress,
    refused: Mapping[str, str] = MappingProxyType({}),
) -> Pool:
    """What the boilers ``asked`` teach of each other; all of the same beliefs, in whose place the result stands.

    ``refused`` are boilers that cannot be asked, with why.

    Raises
    ------
    EvidenceError
        Where no boiler has a look that tells, or none can be solved.
    MissingPackageError
        Where PyMC is not installed.
    """
    fleet = [before_pooling(facts) for facts in asked if tells(facts)]
    if not fleet:
        raise EvidenceError("no boiler has a look on record, so there is nothing to learn from", "add inspections")
    audit_packages("pooling needs")  # before any work
    if len({facts.beliefs for facts in fleet}) > 1:
        raise BadValueError("beliefs", "several", "the same for all boilers of a pool")
    rounds = _Rounds(fleet, DEFAULT_SEED if seed is None else seed, particles or PARTICLES, done)
    rounds.refused.update(refused)
    with (means or Means()).desk(Question(), None, None) as desk:
        solve = rounds.here if (means or Means()).here else rounds.by(desk)
        while not rounds.over:
            rounds.go_on(solve)
    return rounds.result(as_of)


def before_pooling(facts: BoilerFacts) -> BoilerFacts:
    """The facts without adopted priors that were themselves learned: what taught them would count twice."""
    if not facts.adoptions or facts.adoptions[-1].pooled is None:
        return facts
    return replace(facts, beliefs=constants_in(facts.beliefs), adoptions=())


Solve = Callable[[Sequence[tuple[BoilerFacts, int]]], Iterator[tuple[str, object]]]


class _Rounds:
    """The rounds so far: under what the boilers are solved next, and what was found."""

    def __init__(self, fleet: Sequence[BoilerFacts], seed: int, particles: int, done: Callable[[float], None]) -> None:
        self.fleet, self.seed, self.particles, self.done = fleet, seed, particles, done
        self.kept = max(KEPT, KEPT_OF_ALL // len(fleet))
        self.base = fleet[0].beliefs
        self.count, self.settled = 0, False
        self.refused: dict[str, str] = {}
        self.proposal: dict[Key, tuple[float, float]] = {}
        self.centre: dict[Key, tuple[float, float]] = {}
        self.start: dict[Key, tuple[float, float]] = {}

    @property
    def over(self) -> bool:
        return self.settled or self.count >= MOST_ROUNDS

    def here(self, jobs: Sequence[tuple[BoilerFacts, int]]) -> Iterator[tuple[str, object]]:
        """Solve in this process."""
        for facts, seed in jobs:
            parts = dict(parts_of(drawn, facts, seed, self.particles, self.kept))
            yield facts.boiler.boiler, parts.get("drawn", parts[END])

    def by(self, desk) -> Solve:
        """Solve by a desk's workers, as many at once as there are."""

        def solve(jobs: Sequence[tuple[BoilerFacts, int]]) -> Iterator[tuple[str, object]]:
            def begin(job: tuple[BoilerFacts, int]):
                return desk.have(drawn, *job, self.particles, self.kept)

            for (facts, _), future in as_done(desk, iter(jobs), begin, lambda future: future):
                yield facts.boiler.boiler, future.result()

        return solve

    def go_on(self, solve: Solve) -> None:
        """One round."""
        self.found = self._solved(solve)
        self.traits = traits_of((told.keys for told in self.found.values()), self.base)
        keys = [(t.name, t.subject) for t in self.traits]
        draws = as_arrays(self.found, keys)
        start = np.concatenate([[self.start.get(key, (0.0, 0.0))[part] for key in keys] for part in (0, 1)])
        self.draws = draws
        log_tau = self._draw(start, QUICK)
        middle = self.u.mean(axis=0)
        self.start = {key: (middle[k], middle[len(keys) + k]) for k, key in enumerate(keys)}
        centre = self.mu.mean(axis=0), np.exp(log_tau.mean(axis=0))
        self.share = float(likelihood(centre[0], np.log(centre[1]), draws, self.traits).effective_share.min())
        moved = self._step(*centre, log_tau.std(axis=0))
        self.count += 1
        self.done(min(0.99, self.count / 4))
        self.settled = moved <= MOVED and self.share * draws.values.shape[1] >= EFFECTIVE
        if self.over:
            self._draw(middle, THOROUGH)

    def _draw(self, start: np.ndarray, effort: tuple[int, int, int]) -> np.ndarray:
        """Draw the population; ln tau (G, K)."""
        u = draw_population(self.draws, self.traits, self.seed, start, effort)
        self.u = u.reshape(-1, u.shape[-1])
        self.mu, log_tau = of_standard(self.u, self.traits)
        self.tau = np.exp(log_tau)
        return log_tau

    def _solved(self, solve: Solve) -> dict[str, Drawn]:
        believed_now = tuple(Belief(*key, *told) for key, told in self.proposal.items())
        jobs = [
            (replace(facts, beliefs=(*self.base, *believed_now)), zlib.crc32(facts.boiler.boiler.encode()) ^ self.seed)
            for facts in self.fleet
            if facts.boiler.boiler not in self.refused
        ]
        found = {}
        for boiler, told in solve(jobs):
            if isinstance(told, Drawn):
                found[boiler] = told
            else:
                self.refused[boiler] = told.reason if isinstance(told, Failure) else "it could not be reckoned"
            self.done(min(0.99, (self.count + 0.8 * len(found) / len(jobs)) / 4))
        if not found:
            raise EvidenceError(
                f"no boiler could be solved ({next(iter(self.refused.values()))})", "see scalemodel due for each"
            )
        return {boiler: found[boiler] for boiler in sorted(found)}  # whoever was first

    def _step(self, mu: np.ndarray, tau: np.ndarray, log_tau_error: np.ndarray) -> float:
        """Move what the boilers are solved under next, no further than is trusted; by how much, in errors."""
        moves = []
        for k, trait in enumerate(self.traits):
            key = trait.name, trait.subject
            reach = trait.house.sd
            mean, sd = predictive(self.mu[:, k], self.tau[:, k])
            if trait.shared:  # its tau is given; a step is measured by what is believed of it
                old = self.proposal.get(key, (trait.house.mean, WIDENED * reach))
                to = trusted((old[0], old[1] / WIDENED), (mean, sd))
                error, moved = self.mu[:, k].std(), abs(mean - old[0])
            else:
                old = self.centre.get(key, (trait.house.mean, reach / SD_OF_TAU))
                to = trusted(old, (float(mu[k]), float(tau[k])))
                sd, error = sd * to[1] / tau[k], self.mu[:, k].std()
                moved = max(abs(mu[k] - old[0]), abs(np.log(tau[k] / old[1])) * error / max(log_tau_error[k], 1e-9))
            self.centre[key] = to
            self.proposal[key] = (to[0], WIDENED * (to[1] if trait.shared else sd))
            moves.append(moved / max(error, 1e-9))
        return float(np.sqrt(np.mean(np.square(moves))))

    def result(self, as_of: date) -> Pool:
        """What was learned."""
        said = np.stack([self._by_boiler(m, np.log(t)) for m, t in zip(self.mu, self.tau, strict=True)], axis=1)
        rows = [self._learned(k, trait) for k, trait in enumerate(self.traits)]
        keys = [(t.name, t.subject) for t in self.traits]
        bears = np.array([[key in told.keys for key in keys] for told in self.found.values()])
        known = Known(self.traits, self.mu, self.tau, said, tuple(self.found), bears, self.base)
        looks = sum(told.looks.get(("floor", ""), 0) for told in self.found.values())
        return Pool(
            as_of,
            tuple(row for row in rows if row.unknown not in SHARED),
            *(tuple(row for row in rows if row.unknown == name) for name in SHARED),
            self.count,
            self.share,
            self.settled,
            len(self.found),
            looks,
            tuple(sorted(self.refused.items())),
            known,
        )

    def _by_boiler(self, mu: np.ndarray, log_tau: np.ndarray) -> np.ndarray:
        return np.bincount(self.draws.boiler, likelihood(mu, log_tau, self.draws, self.traits).by_block)

    def _learned(self, k: int, trait: Trait) -> Learned:
        key = trait.name, trait.subject
        looks = [told.looks[key] for told in self.found.values() if key in told.looks]
        spread = np.zeros(1) if trait.shared else SD_OF_TAU * self.tau[:, k]
        figures = (self.mu[:, k].mean(), spread.mean(), self.mu[:, k].std(), spread.std())
        house = trait.house
        return Learned(
            *key, house.scale, *map(float, figures), house.mean, house.sd, boilers=len(looks), looks=sum(looks)
        )


def as_arrays(found: Mapping[str, Drawn], keys: Sequence[Key]) -> Draws:
    """The draws of all boilers, of the population's unknowns alone: of the others, proposal and prior are the same.

    A water or an inspector of one boiler alone stays under the house's prior, which cancels.
    """
    place = {key: k for k, key in enumerate(keys)}
    values, trait, first, log_proposal, boiler = [], [], [], [], []
    for b, told in enumerate(found.values()):
        for block in blocks(told, place):
            first.append(len(trait))
            boiler.append(b)
            values.append(told.values[block])
            trait += [place[told.keys[row]] for row in block]
            log_proposal.append(told.log_proposals[block].sum(axis=0))
    return Draws(np.concatenate(values), np.array(trait), np.array(first), np.array(log_proposal), np.array(boiler))


def blocks(told: Drawn, among: Container[Key]) -> list[list[int]]:
    """The rows of a boiler's draws that go together: what makes a litre's growth, and what is correlated by much."""
    rows = [row for row, key in enumerate(told.keys) if key in among]
    tied = np.abs(np.atleast_2d(np.corrcoef(told.values))) > TIED
    ridge = RIDGE | {"leniency"} if told.values.shape[1] >= ENOUGH else RIDGE
    found: list[list[int]] = []
    for row in rows:
        mine = [
            block
            for block in found
            if any(tied[row, other] or {told.keys[row][0], told.keys[other][0]} <= ridge for other in block)
        ]
        found = [block for block in found if block not in mine]
        found.append(sorted([row, *(other for block in mine for other in block)]))
    return found
