"""What a reading is worth before it is made: the preposterior analysis of one decision (Raiffa & Schlaifer 1961)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from scalemodel.errors import BadValueError
from scalemodel.logbook.units import ROUNDING


class Information(NamedTuple):
    """The worth of a reading, and what one would do; payoffs in the unit of the payoffs given.

    Attributes
    ----------
    value : float
        Expected value of the reading (EVSI), never negative.
    perfect : float
        Expected value of knowing the state exactly (EVPI), never below ``value``.
    without : float
        Expected payoff of the best act without a reading.
    act : int
        That act, the first of equals.
    reading_probabilities : array (R,)
        Probability of each reading.
    acts : array (R,) of int
        The best act after each reading.
    gains : array (S,)
        Given each state, the expected payoff of acting on the reading less that of ``act``; its mean is ``value``.
    """

    value: float
    perfect: float
    without: float
    act: int
    reading_probabilities: np.ndarray
    acts: np.ndarray
    gains: np.ndarray


def expected_value_of_information(prior, likelihood, payoffs) -> Information:
    """Expected value of one reading, and of perfect knowledge, for a choice among acts.

    ``EVSI = sum_r max_a sum_s p(s) p(r|s) u(a,s) - max_a sum_s p(s) u(a,s)``;
    ``EVPI = sum_s p(s) max_a u(a,s) - max_a sum_s p(s) u(a,s)``.

    Parameters
    ----------
    prior : array (S,)
        Probability of each state; sums to 1.
    likelihood : array (R, S)
        Probability of each reading given each state; every column sums to 1.
    payoffs : array (A, S)
        What each act brings in each state.

    Raises
    ------
    BadValueError
        If shapes do not fit or probabilities do not sum to 1.

    >>> treat_or_not = [[-30.0, -30.0], [-100.0, 0.0]]
    >>> found = expected_value_of_information([0.3, 0.7], [[0.9, 0.2], [0.1, 0.8]], treat_or_not)
    >>> found.value, found.perfect, found.acts.tolist()
    (14.7, 21.0, [0, 1])
    """
    p, likelihoods, u = (np.asarray(x, dtype=float) for x in (prior, likelihood, payoffs))
    if p.ndim != 1 or likelihoods.ndim != 2 or u.ndim != 2 or not likelihoods.shape[1] == u.shape[1] == len(p):
        raise BadValueError("shapes", (p.shape, likelihoods.shape, u.shape), "(S,), (R, S) and (A, S)")
    for name, x, total in (("prior", p, p.sum()), ("likelihood", likelihoods, likelihoods.sum(axis=0))):
        if not (np.all(x >= 0.0) and np.all(np.abs(total - 1.0) < ROUNDING)):
            raise BadValueError(name, "these numbers", "probabilities that sum to 1")
    joint = (likelihoods * p) @ u.T
    plain = u @ p
    act, acts = int(plain.argmax()), joint.argmax(axis=1)
    gains = (likelihoods * u[acts]).sum(axis=0) - u[act]
    return Information(
        float(joint.max(axis=1).sum() - plain[act]),
        float(p @ u.max(axis=0) - plain[act]),
        float(plain[act]),
        act,
        likelihoods @ p,
        acts,
        gains,
    )
