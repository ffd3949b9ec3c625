"""The law of a fleet on arrays: what boilers of one kind have in common, told from draws of each by itself.

Every boiler was solved under a proposal q; what its records say of the population gamma = (mu, ln tau) is the mean over
its draws of p(theta | gamma) / q(theta) (two-stage importance: Lunn, Barrett, Sweeting & Thompson 2013, Applied
Statistics 62, 551-572). The mean is taken block by block of a boiler's unknowns: those that its draws tie together stay
together, the others are taken as apart, lest a weight over a dozen unknowns leave one draw to speak. Each unknown
follows Student's t with 4 degrees about mu with scale tau, on its prior's own scale, so that one odd boiler is not
pulled in, nor pulls; capture is the house's mixture of two such.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from scalemodel.model.priors import Prior

MU_SHARE, TAU_SHARE, TAU_LOG_SD = 0.6, 0.5166, 0.5
"""Before any boiler: mu about the house's mean, tau log-normal, which avoids 0, so that a new boiler's predictive has
the house's sd (a test holds the second share to the two others)."""

OWN_SHARE = 0.3
"""How far a boiler's own may lie from what it shares with others, in sds of the house: taps and days differ."""

WIDENED = 1.2
"""The proposal's sd over the predictive's."""

FARTHEST_STEP, TAU_FACTOR = 0.7, 0.6
"""A step moves mu by at most so many tau, tau by at most this factor, or its inverse."""

NORMAL_95 = 1.6448536269514722
SD_OF_TAU = 2.1318467863266495 / NORMAL_95
"""The sd of a normal of which as much lies in the middle nine tenths as of a t with 4 degrees and scale 1."""

MOST_POWER = 0.75
"""A draw of S weighs at most S to this power times the mean."""

A_PIECE = 12_000
"""Values that are worked on at once: larger arrays are taken from the system anew each time, which costs as much."""

ONE_PART = ((1.0, 0.0),)
CAPTURE_PARTS = ((0.9, 0.0), (0.1, -3.0))
"""Shares of a mixture, and where each part lies, in tau from mu: as the house's prior of capture has it."""


class Trait(NamedTuple):
    """One unknown of a population: by its name and subject in a priors file, with the house's prior of it.

    ``shared``: it is one for all boilers (a water, an inspector), each of which is but little off.
    """

    name: str
    subject: str
    house: Prior
    shared: bool = False

    @property
    def parts(self) -> tuple[tuple[float, float], ...]:
        return CAPTURE_PARTS if self.name == "capture" else ONE_PART

    def of_standard(self, u: np.ndarray, v: np.ndarray, xp=None) -> tuple[np.ndarray, np.ndarray]:
        """mu and ln tau from two standard normals, arrays alike; ``xp`` as of `Prior.value`."""
        if self.shared:
            return self.house.value(u, xp), np.log(OWN_SHARE * self.house.sd) + 0.0 * v
        return self.house.mean + MU_SHARE * self.house.sd * u, np.log(TAU_SHARE * self.house.sd) + TAU_LOG_SD * v

    def slopes(self, u: np.ndarray) -> tuple[np.ndarray, float]:
        """d mu / d u and d ln tau / d v."""
        if self.shared:
            return self.house.slope(u), 0.0
        return MU_SHARE * self.house.sd * np.ones_like(u), TAU_LOG_SD


class Draws(NamedTuple):
    """Draws of all boilers, each under its proposal.

    Attributes
    ----------
    values : array (C, S)
        An unknown of a boiler a row, on its prior's scale; rows of a block together.
    trait : array (C,) of int
        Which of the population's K unknowns it is one of.
    first : array (N,) of int
        The first row of each block.
    log_proposal : array (N, S)
        Log density of the proposal at a boiler's draws, over the rows of each block.
    boiler : array (N,) of int
        Whose each block is; ascending.
    """

    values: np.ndarray
    trait: np.ndarray
    first: np.ndarray
    log_proposal: np.ndarray
    boiler: np.ndarray


class Likelihood(NamedTuple):
    """What boilers say of a population: by block (N,), its slopes in mu and ln tau (K,), effective share (N,)."""

    by_block: np.ndarray
    mu_slope: np.ndarray
    log_tau_slope: np.ndarray
    effective_share: np.ndarray


def log_t(z: np.ndarray) -> np.ndarray:
    """Log density of Student's t with 4 degrees, an array as z.

    >>> float(np.round(np.exp(log_t(np.array(0.0))), 6))
    0.375
    """
    return np.log(0.375) - 2.5 * np.log(1.0 + 0.25 * z * z)


def t_below(z: np.ndarray) -> np.ndarray:
    """Distribution function of Student's t with 4 degrees, an array as z.

    >>> float(np.round(t_below(np.array(2.1318467863266495)), 9))
    0.95
    """
    stretched = 1.0 + 0.25 * z * z
    return 0.5 + 0.375 * z / np.sqrt(stretched) * (1.0 - z * z / (12.0 * stretched))


def logsumexp(logs: np.ndarray, axis: int) -> np.ndarray:
    """Log of the sum of exponentials along an axis, which stays with length 1; plain, as it is taken so often."""
    top = logs.max(axis=axis, keepdims=True)
    return top + np.log(np.sum(np.exp(logs - top), axis=axis, keepdims=True))


def log_density(z: np.ndarray, parts: Sequence[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray]:
    """Log density of a standardised unknown and its slope in z, arrays as z; ``parts`` as `CAPTURE_PARTS`."""
    if len(parts) == 1:
        return log_t(z), -5.0 * z / (4.0 + z * z)
    logs = np.stack([np.log(share) + log_t(z - at) for share, at in parts])
    whole = logsumexp(logs, 0)[0]
    slopes = (
        np.exp(log - whole) * -5.0 * (z - at) / (4.0 + (z - at) ** 2) for log, (_, at) in zip(logs, parts, strict=True)
    )
    return whole, sum(slopes)


def capped(logs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The log of the mean of weights (N, 1) from their logs (N, S), none of which counts for more than S^(3/4) times
    that mean; and which of them are below that, (N, S).

    A boiler's draws have normal tails, the population Student's, so that far out somewhere a single draw would outweigh
    all others, and the population would be drawn to it (truncated importance sampling: Ionides 2008, Journal of
    Computational and Graphical Statistics 17).

    >>> mean, below = capped(np.array([[0.0] * 63 + [50.0]]))
    >>> float(np.round(np.exp(mean[0, 0]), 6)), int(below.sum())  # 63 / (64 - 64^(3/4))
    (1.522748, 63)
    """
    count = logs.shape[1]
    most = count**MOST_POWER
    mean = logsumexp(logs, 1) - np.log(count)
    below = logs <= mean + np.log(most)
    for row in np.flatnonzero(~below.all(axis=1)):
        kept = -1
        while kept != (kept := int(below[row].sum())):
            rest = logs[row, below[row]]
            top = rest.max()
            mean[row] = top + np.log(np.exp(rest - top).sum() / (count - most * (count - kept)))
            below[row] &= logs[row] <= mean[row] + np.log(most)
    return mean, below


def pieces(draws: Draws) -> Iterator[Draws]:
    """The same draws, so many blocks at a time that what is reckoned of them stays in the fastest memory."""
    ends = np.append(draws.first[1:], len(draws.trait))
    begin = 0
    while begin < len(ends):
        room = draws.first[begin] + A_PIECE // draws.values.shape[1]
        end = max(begin + 1, int(np.searchsorted(ends, room, "right")))
        rows, some = slice(draws.first[begin], ends[end - 1]), slice(begin, end)
        yield Draws(
            draws.values[rows],
            draws.trait[rows],
            draws.first[some] - draws.first[begin],
            draws.log_proposal[some],
            draws.boiler[some],
        )
        begin = end


def likelihood(mu: np.ndarray, log_tau: np.ndarray, draws: Draws, traits: Sequence[Trait]) -> Likelihood:
    """What the boilers say of a population mu, ln tau (K,).

    The log of a mean of S weights is too low by about (S/ESS - 1)/(2S), which adds up: it is put back
    (the jackknife's correction to first order), so the value is log mean w + 1/2 sum W^2 - 1/(2S), W = w / sum w, with
    weights as of `capped`.
    """
    by_block, of_mu, of_tau, shares = zip(*(_of_piece(mu, log_tau, one, traits) for one in pieces(draws)), strict=True)
    return Likelihood(np.concatenate(by_block), sum(of_mu), sum(of_tau), np.concatenate(shares))


def _of_piece(mu: np.ndarray, log_tau: np.ndarray, draws: Draws, traits: Sequence[Trait]) -> Likelihood:
    tau = np.exp(log_tau)[draws.trait][:, None]
    z = (draws.values - mu[draws.trait][:, None]) / tau
    logs, slopes = log_density(z, ONE_PART)
    for k, trait in enumerate(traits):
        if len(trait.parts) > 1 and len(rows := np.flatnonzero(draws.trait == k)):
            logs[rows], slopes[rows] = log_density(z[rows], trait.parts)
    weights = np.add.reduceat(logs - np.log(tau), draws.first) - draws.log_proposal
    count = weights.shape[1]
    mean, below = capped(weights)
    w = np.exp(np.minimum(weights - mean, MOST_POWER * np.log(count))) / count
    squares = np.sum(w * w, axis=1, keepdims=True)
    by_block = mean[:, 0] + 0.5 * squares[:, 0] - 0.5 / count
    w = w * below  # what is capped does not move
    part = w / w.sum(axis=1, keepdims=True)
    pull = part + w * w - part * np.sum(w * w, axis=1, keepdims=True)
    rows = np.diff(np.append(draws.first, len(draws.trait)))
    pulled = np.repeat(pull, rows, axis=0) * slopes
    each = np.repeat(pull.sum(axis=1), rows)
    kinds = len(traits)
    return Likelihood(
        by_block,
        np.bincount(draws.trait, -(pulled.sum(axis=1) / tau[:, 0]), kinds),
        np.bincount(draws.trait, -(np.sum(pulled * z, axis=1) + each), kinds),
        1.0 / (squares[:, 0] * count),
    )


def of_standard(u: np.ndarray, traits: Sequence[Trait]) -> tuple[np.ndarray, np.ndarray]:
    """mu and ln tau (..., K) from standard normals (..., 2 K), mu's first."""
    kinds = len(traits)
    both = [t.of_standard(u[..., k], u[..., kinds + k]) for k, t in enumerate(traits)]
    return np.stack([mu for mu, _ in both], axis=-1), np.stack([log_tau for _, log_tau in both], axis=-1)


def value_and_slope(u: np.ndarray, draws: Draws, traits: Sequence[Trait]) -> tuple[float, np.ndarray]:
    """The log-likelihood of standard normals u (2 K,) and its slope (2 K,)."""
    mu, log_tau = of_standard(u, traits)
    found = likelihood(mu, log_tau, draws, traits)
    by_mu, by_tau = zip(*(t.slopes(u[k]) for k, t in enumerate(traits)), strict=True)
    return float(found.by_block.sum()), np.concatenate(
        [found.mu_slope * np.array(by_mu), found.log_tau_slope * np.array(by_tau)]
    )


def predictive(mu: np.ndarray, tau: np.ndarray, weights: np.ndarray | None = None) -> tuple[float, float]:
    """Mean and sd of a normal for a boiler yet unseen, from draws (G,) of a population, weighted if ``weights`` (G,).

    The median, and the width of the middle nine tenths, of the mixture of t: found by halving, without chance.

    >>> mean, sd = predictive(np.array([1.0]), np.array([0.5]))
    >>> round(mean, 6), round(sd / (0.5 * SD_OF_TAU), 6)
    (1.0, 1.0)
    """
    shares = np.full(len(mu), 1.0 / len(mu)) if weights is None else weights / weights.sum()
    reach = 60.0 * float(tau.max())
    found = []
    for wanted in (0.05, 0.5, 0.95):
        low, high = float(mu.min()) - reach, float(mu.max()) + reach
        for _ in range(70):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if shares @ t_below((middle - mu) / tau) < wanted else (low, middle)
        found.append(0.5 * (low + high))
    return found[1], (found[2] - found[0]) / (2.0 * NORMAL_95)


def trusted(old: tuple[float, float], new: tuple[float, float]) -> tuple[float, float]:
    """Where a step from an old mu and tau towards new ones may end.

    >>> trusted((0.0, 1.0), (2.0, 0.1)), trusted((0.0, 1.0), (0.3, 1.2))
    ((0.7, 0.6), (0.3, 1.2))
    """
    (mu, tau), (to_mu, to_tau) = old, new
    reach = FARTHEST_STEP * tau
    return float(np.clip(to_mu, mu - reach, mu + reach)), float(np.clip(to_tau, TAU_FACTOR * tau, tau / TAU_FACTOR))
