"""A test that may be watched for ever: do looks run worse, or milder, than they are foretold?

Each look is foretold before it is made, so a look's likelihood ratio of any other forecast to the stated one has mean
1 while the stated ones are right: it is an e-value, and products of them over successive looks are a test martingale.
The other forecasts are the stated one moved by a few sizes on the probit scale, towards worse or milder grades, from
some look on. Their mixture over direction, size and first look, with weights that sum to 1, is a test martingale too;
by Ville's inequality it ever reaches 1/alpha with a probability of at most alpha, however often and however long one
looks at it (Ramdas, Gruenwald, Vovk & Shafer 2023, Statistical Science 38, 576-601).

A look that says a range counts as that of its grades which speaks least for a change, so that its e-value is never more
than that of the grade that was there, however the range came about.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import ndtr, ndtri

SIZES = (0.4, 0.8, 1.6)
"""How far the forecasts are moved [probit], each with the same weight."""

RATE = 0.01
"""Chance that a boiler whose looks are as foretold ever raises this alarm."""

FEWEST = 8
"""With fewer looks than this there is too little to tell."""

PATIENCE = 9
"""A change begins with look n with weight ``1 / (n + PATIENCE)`` of what is left: 0.1 for the first, half by the
tenth, and all in the end."""

MONTH = 30
"""Days."""

OCCASION = 0.2
"""The same for the first look after something has happened that may change a boiler: a descale, another water."""

LEAST = 1e-6
"""No grade counts as foretold with less than a fifth of this, and every e-value is less by this share in return."""


class Direction(StrEnum):
    """Which way looks run against what was foretold of them."""

    WORSE = "worse"
    MILDER = "milder"


@dataclass(frozen=True)
class Evidence:
    """The mixture after each look, and where it comes from.

    Attributes
    ----------
    total : array (n,)
        The e-process; 1/RATE is an alarm.
    by_direction : array (2, n)
        Its halves by `Direction`, each of which is an e-process of its own.
    start : array (2, n) of int
        The first look of the change that each half speaks for most.
    """

    total: np.ndarray
    by_direction: np.ndarray
    start: np.ndarray


def moved(chances: np.ndarray, size: float) -> np.ndarray:
    """Forecasts (n, grades) moved by ``size`` on the probit scale, towards worse grades if it is positive.

    ``F'(g) = Phi(Phi^-1(F(g)) - size)``.

    >>> moved(np.array([[0.5, 0.5, 0.0]]), 1.0).round(3)
    array([[0.159, 0.841, 0.   ]])
    """
    below = np.clip(chances.cumsum(axis=1)[:, :-1], 0.0, 1.0)
    edges = ndtr(ndtri(below) - size)
    nothing = np.zeros((len(chances), 1))
    return np.diff(np.hstack([nothing, edges, nothing + 1.0]), axis=1)


def log_ratios(chances: np.ndarray, low: np.ndarray, high: np.ndarray, sizes=SIZES) -> np.ndarray:
    """Log e-values of looks (2, sizes, n), by `Direction`, size and look.

    Parameters
    ----------
    chances : array (n, grades)
        The stated forecasts, each summing to 1.
    low, high : int arrays (n,)
        The lowest and highest grade that each look says.
    """
    grades = chances.shape[1]
    stated = (1.0 - LEAST) * chances + LEAST / grades
    said = (np.arange(grades) >= low[:, None]) & (np.arange(grades) <= high[:, None])
    out = np.empty((len(Direction), len(sizes), len(chances)))
    for way, sign in enumerate((1.0, -1.0)):
        for k, size in enumerate(sizes):
            ratio = np.log((1.0 - LEAST) * np.maximum(moved(stated, sign * size), 1e-300) / stated)
            out[way, k] = np.where(said, ratio, np.inf).min(axis=1)
    return out


def shares_of_looks(occasions: np.ndarray) -> np.ndarray:
    """What share of the weight still left each look (n,) takes as the first of a change, for one boiler.

    ``occasions`` (n,) says before which looks something happened; it is known before the look is made, as it must be.
    """
    return np.where(occasions, OCCASION, 1.0 / (np.arange(1, len(occasions) + 1) + PATIENCE))


def shares_of_days(days: np.ndarray) -> np.ndarray:
    """The same for looks of many boilers on rising days (n,): a change may begin with the first look of each month.

    >>> shares_of_days(np.array([0, 3, 40, 41, 70])).round(3)
    array([0.1  , 0.   , 0.091, 0.   , 0.083])
    """
    months = (days - days[0]) // MONTH if len(days) else days
    first = np.diff(months, prepend=-1) > 0
    return np.where(first, 1.0 / (np.cumsum(first) + PATIENCE), 0.0)


def start_weights(shares: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The weight of a change that begins with each look (n,), and of one yet to come after each look (n,).

    >>> begun, left = start_weights(shares_of_looks(np.zeros(3, dtype=bool)))
    >>> begun.round(4), float(left[-1] + begun.sum())
    (array([0.1   , 0.0818, 0.0682]), 1.0)
    """
    left = np.cumprod(1.0 - shares)
    return shares * np.concatenate([[1.0], left[:-1]]), left


def evidence(logs: np.ndarray, shares: np.ndarray) -> Evidence:
    """Mix e-values over direction, size and first look.

    Parameters
    ----------
    logs : array (2, sizes, n)
        From `log_ratios`, the looks in the order in which they were made.
    shares : array (n,)
        From `shares_of_looks` or `shares_of_days`.
    """
    count = logs.shape[2]
    begun, left = start_weights(shares)
    running = np.concatenate([np.zeros((*logs.shape[:2], 1)), logs.cumsum(axis=2)], axis=2)
    by_direction, start = np.empty((len(Direction), count)), np.empty((len(Direction), count), dtype=int)
    for n in range(count):
        products = begun[: n + 1] * np.exp(running[:, :, n + 1, None] - running[:, :, : n + 1])
        from_start = products.mean(axis=1)
        by_direction[:, n] = from_start.sum(axis=1) + left[n]
        start[:, n] = from_start.argmax(axis=1)
    return Evidence(by_direction.mean(axis=0), by_direction, start)


LEARNED = 3
"""So many looks of a boiler are not pooled with those of others: it learns its own water from them."""

STEADY = np.linspace(-0.05, 0.05, 5)
"""Moves [probit] that may have been there all the while, where looks of several boilers are pooled."""


def pooled_evidence(chances: np.ndarray, low: np.ndarray, high: np.ndarray, days: np.ndarray) -> Evidence:
    """The same for looks of several boilers that share a water or an inspector; days (n,) that never fall.

    Such boilers are not independent: a test of their water that was off, or an eye that always was, moves all their
    looks alike, and that is no change. Most of it each boiler has learned from its own first looks (`LEARNED`); for
    what is left the mixture is divided by the best that any steady move of `STEADY` explains: an e-process whichever of
    these is the truth (universal inference: Wasserman, Ramdas & Balakrishnan 2020, PNAS 117, 16880-16890). It is never
    more than `evidence`, as no move at all is one of them.
    """
    found = evidence(log_ratios(chances, low, high), shares_of_days(days))
    grades = chances.shape[1]
    stated = (1.0 - LEAST) * chances + LEAST / grades
    said = (np.arange(grades) >= low[:, None]) & (np.arange(grades) <= high[:, None])
    steady = [np.where(said, moved(stated, size) / stated, 0.0).max(axis=1) for size in STEADY]
    best = np.log(np.maximum(steady, 1e-300)).cumsum(axis=1).max(axis=0)
    down = np.exp(-np.maximum(best, 0.0))
    return Evidence(found.total * down, found.by_direction * down, found.start)


@dataclass(frozen=True)
class Alarmed:
    """That the evidence has reached what it takes.

    Attributes
    ----------
    at : int
        The look with which it first did.
    start : int
        The first look of the change.
    evidence : float
        The largest that it has been: by chance alone at most one in so many such boilers ever gets there.
    direction : Direction
    """

    at: int
    start: int
    evidence: float
    direction: Direction


def alarmed(found: Evidence, rate: float = RATE) -> Alarmed | None:
    """The alarm, once the evidence has reached ``1 / rate``; None before."""
    reached = np.flatnonzero(found.total >= 1.0 / rate)
    if not len(reached):
        return None
    at = int(reached[0])
    peak = at + int(found.total[at:].argmax())
    way = int(found.by_direction[:, peak].argmax())
    return Alarmed(at, int(found.start[way, peak]), float(found.total[peak]), list(Direction)[way])
