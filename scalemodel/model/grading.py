"""The grade scale: the bounds of the grades, and where each begins."""

from __future__ import annotations

import numpy as np

from scalemodel.errors import BadValueError
from scalemodel.model.priors import CUT_POINTS_MG_CM2

GRADE_COUNT = len(CUT_POINTS_MG_CM2) + 1
GRADE_BOUNDS_MG_CM2 = (0.0, *CUT_POINTS_MG_CM2, float("inf"))
"""Grade g covers the deposits from ``GRADE_BOUNDS_MG_CM2[g]`` to ``GRADE_BOUNDS_MG_CM2[g + 1]``, nominally."""

LOG_BOUNDS = np.array([-np.inf, *np.log(CUT_POINTS_MG_CM2), np.inf])
"""The same on the latent scale of a look [ln mg/cm2], the lowest without an end."""
LOG_BOUNDS.setflags(write=False)


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
