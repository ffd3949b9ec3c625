"""How a look sees a deposit: one ordered law, and two log-normal readings beside it.

``x = ln(r D + 0.02)`` is what the eye judges; ``P(g <= m) = H((c_m + shift - x) / sigma)``, H the law of
`tailed_normal.LOOK_ERROR`. A look that says a range has the sum of its grades' probabilities.
"""

from __future__ import annotations

import numpy as np

from scalemodel.errors import BadValueError
from scalemodel.model.priors import CUT_POINTS_MG_CM2, LOOK_FLOOR_MG_CM2
from scalemodel.model.tailed_normal import LOOK_ERROR, MEASURE_ERROR

GRADE_COUNT = len(CUT_POINTS_MG_CM2) + 1
LOG_CUTS = np.log(CUT_POINTS_MG_CM2)
GRADE_EDGES = np.array([-np.inf, *LOG_CUTS, np.inf])
"""The bounds of grade g on the latent scale are ``GRADE_EDGES[g]`` and ``GRADE_EDGES[g + 1]`` [ln mg/cm2]."""


def apparent(deposit, relative=1.0, xp=np):
    """What a look judges: ``ln(r D + 0.02)`` [ln mg/cm2] of a deposit [mg/cm2] at a site of relative deposit r."""
    return xp.log(relative * deposit + LOOK_FLOOR_MG_CM2)


def cumulative(grade: int, seen, spread, shift=0.0, edges=GRADE_EDGES, law=LOOK_ERROR):
    """P(grade <= ``grade``).

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
    edges : array (m + 1,)
        Ascending bounds of m grades, the outer ones infinite, however many of the grades the data hold.
    law : TailedNormal

    Returns
    -------
    array (...)
        Probability in [0, 1].

    >>> round(float(cumulative(2, np.log(6.0), 0.35)), 4)
    0.5603
    """
    return law.cdf((edges[grade + 1] + shift - seen) / spread)


def look_probability(low: int, high: int, seen, spread, shift=0.0):
    """Probability of a look that says "grade ``low`` to ``high``".

    Arguments as for `cumulative`, with the house's cut points; returns an array (...) in (0, 1].

    >>> float(look_probability(0, 4, np.log(2.0), 0.35))
    1.0
    >>> round(float(look_probability(2, 2, np.log(3.0), 0.35)), 4)
    0.8495
    """
    inputs = ((GRADE_EDGES[edge] + shift - seen) / spread for edge in (low, high + 1))
    return LOOK_ERROR.mass(*inputs)


def log_reading(measured, expected_log, log_sd: float, xp=np):
    """Log density of ln(measured) of a log-normal reading with tails about ``expected_log`` [-]; ``measured`` > 0."""
    return MEASURE_ERROR.log_density((np.log(measured) - expected_log) / log_sd, xp) - float(np.log(log_sd))


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


def sum_logs(factors: np.ndarray) -> np.ndarray:
    """Log of the product over the first axis (m, n) -> (n,); -inf for a 0, and nothing underflows."""
    with np.errstate(divide="ignore"):
        return np.log(factors).sum(axis=0)
