"""How a look sees a deposit: an ordered probit with a lapse, and two log-normal readings.

``x = ln(r D + 0.02)`` is what the eye judges; ``P(g <= m) = Phi((c_m + shift - x) / sigma)``.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from scalemodel.errors import BadValueError
from scalemodel.model.priors import CUT_POINTS_MG_CM2, LAPSE, LOOK_FLOOR_MG_CM2

GRADE_COUNT = len(CUT_POINTS_MG_CM2) + 1
LOG_CUTS = np.log(CUT_POINTS_MG_CM2)
LOG_TWO_PI = float(np.log(2.0 * np.pi))


def apparent(deposit, relative=1.0, xp=np):
    """What a look judges: ``ln(r D + 0.02)`` [ln mg/cm2] of a deposit [mg/cm2] at a site of relative deposit r."""
    return xp.log(relative * deposit + LOOK_FLOOR_MG_CM2)


PRODUCT_CHUNK = 64
"""Factors multiplied before one logarithm; a look's is at least 0.004, so 64 of them cannot underflow."""


def cumulative(grade: int, seen, spread, shift=0.0, cuts=LOG_CUTS):
    """P(grade <= ``grade``) of an ordered probit.

    Parameters
    ----------
    grade : int
        -1 gives 0 and the highest grade gives 1.
    seen : array (...)
        Latent value [same scale as the cuts].
    spread : array (...)
        Reading error sigma > 0.
    shift : array (...)
        The inspector's leniency; positive means milder grades.
    cuts : array (m,)
        Ascending cut points; there are m + 1 grades, however many of them the data hold.

    Returns
    -------
    array (...)
        Probability in [0, 1].

    >>> float(cumulative(2, np.log(6.0), 0.35))
    0.5
    """
    if grade < 0:
        return np.zeros(np.shape(seen))
    if grade >= len(cuts):
        return np.ones(np.shape(seen))
    return ndtr((cuts[grade] + shift - seen) / spread)


def look_probability(low: int, high: int, seen, spread, shift=0.0):
    """Probability of a look that says "grade ``low`` to ``high``", with the lapse of 2 %.

    Arguments as for `cumulative`, with the house's cut points; returns an array (...) in (0, 1].

    >>> float(look_probability(0, 4, np.log(2.0), 0.35))
    1.0
    >>> round(float(look_probability(2, 2, np.log(3.0), 0.35)), 4)
    0.9373
    """
    grades = cumulative(high, seen, spread, shift) - cumulative(low - 1, seen, spread, shift)
    return (1.0 - LAPSE) * grades + LAPSE * (high - low + 1) / GRADE_COUNT


def log_reading(measured, expected_log, log_sd: float):
    """Log density of ln(measured) for a log-normal reading around ``expected_log`` [-]; ``measured`` is positive."""
    miss = (np.log(measured) - expected_log) / log_sd
    return -0.5 * (miss * miss + LOG_TWO_PI) - np.log(log_sd)


def grade_threshold(grade: int) -> float:
    """The deposit at which a grade nominally begins [mg/cm2].

    Raises
    ------
    BadValueError
        If the grade is not 1 to 4 (grade 0 has no lower edge).

    >>> grade_threshold(3)
    6.0
    """
    if not 1 <= grade <= len(CUT_POINTS_MG_CM2):
        raise BadValueError("threshold grade", grade, f"a whole number 1 to {len(CUT_POINTS_MG_CM2)}")
    return CUT_POINTS_MG_CM2[grade - 1]


def log_product(factors: np.ndarray) -> np.ndarray:
    """Log of the product over the first axis (m, n) -> (n,), by chunks, one logarithm a chunk; -inf for a 0."""
    total = np.zeros(factors.shape[1])
    with np.errstate(divide="ignore"):
        for first in range(0, len(factors), PRODUCT_CHUNK):
            total += np.log(np.prod(factors[first : first + PRODUCT_CHUNK], axis=0))
    return total
