"""What the grades and a thickness stand for, and how far a look errs: the house's, or what a user believes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from scalemodel.errors import BadValueError
from scalemodel.logbook.belief import Belief
from scalemodel.logbook.priors_text import CONTAMINATION, CUT_POINTS, DENSITY
from scalemodel.model.priors import (
    CUT_POINTS_MG_CM2,
    DEPOSIT_DENSITY_G_CM3,
    LOOK_CONTAMINATION,
    deposit_to_thickness,
    thickness_to_deposit,
)
from scalemodel.model.tailed_normal import LOOK_ERROR, TailedNormal, turn_of

GRADE_COUNT = len(CUT_POINTS_MG_CM2) + 1


@dataclass(frozen=True)
class Grading:
    """The scale of a look.

    Attributes
    ----------
    cut_points_mg_cm2 : tuple of float
        Lower edges of the grades from 1 on [mg/cm2], rising.
    density_g_cm3 : float
        Bulk density of scale, by which a thickness is a deposit [g/cm3].
    contamination : float
        Share of gross errors that a look's law has room for on the side of grades too severe, [0, 1).
    """

    cut_points_mg_cm2: tuple[float, ...] = CUT_POINTS_MG_CM2
    density_g_cm3: float = DEPOSIT_DENSITY_G_CM3
    contamination: float = LOOK_CONTAMINATION

    @cached_property
    def bounds_mg_cm2(self) -> tuple[float, ...]:
        """Grade g covers the deposits from ``bounds_mg_cm2[g]`` to ``bounds_mg_cm2[g + 1]``, nominally."""
        return (0.0, *self.cut_points_mg_cm2, float("inf"))

    @cached_property
    def log_bounds(self) -> np.ndarray:
        """The same on the latent scale of a look [ln mg/cm2], the lowest without an end."""
        found = np.array([-np.inf, *np.log(self.cut_points_mg_cm2), np.inf])
        found.setflags(write=False)
        return found

    @cached_property
    def error(self) -> TailedNormal:
        """The law of a look's error; both its turns move with the contamination, as one is to the other."""
        if self.contamination == LOOK_CONTAMINATION:
            return LOOK_ERROR
        turn = turn_of(self.contamination)
        return TailedNormal(turn * LOOK_ERROR.lower / LOOK_ERROR.upper, turn)

    def threshold(self, grade: int) -> float:
        """The deposit at which a grade nominally begins [mg/cm2].

        Raises
        ------
        BadValueError
            If the grade is not 1 to 4 (grade 0 has no lower edge).

        >>> Grading().threshold(3)
        6.0
        """
        if not 1 <= grade < GRADE_COUNT:
            raise BadValueError("threshold grade", grade, f"a whole number 1 to {GRADE_COUNT - 1}")
        return self.cut_points_mg_cm2[grade - 1]

    def deposit(self, thickness_um: float) -> float:
        """Areal deposit of a layer [mg/cm2] from its thickness [um]."""
        return thickness_to_deposit(thickness_um, self.density_g_cm3)

    def thickness(self, deposit_mg_cm2: float) -> float:
        """Thickness of a layer [um] from its areal deposit [mg/cm2]."""
        return deposit_to_thickness(deposit_mg_cm2, self.density_g_cm3)


HOUSE_GRADING = Grading()


def grading_of(beliefs: Iterable[Belief]) -> Grading:
    """The scale of a look as it is believed to be, the house's where nothing is said.

    >>> grading_of((Belief("density_g_cm3", "", 1.5, None),)).deposit(40.0), grading_of(()) is HOUSE_GRADING
    (6.0, True)
    """
    return _grading(tuple(one for one in beliefs if one.name in (CUT_POINTS, DENSITY, CONTAMINATION)))


@lru_cache(maxsize=64)
def _grading(told: tuple[Belief, ...]) -> Grading:
    if not told:
        return HOUSE_GRADING
    cuts = tuple(one.mean for one in sorted(told, key=lambda one: one.subject) if one.name == CUT_POINTS)
    single = {one.name: one.mean for one in told}
    return Grading(
        cuts or CUT_POINTS_MG_CM2,
        single.get(DENSITY, DEPOSIT_DENSITY_G_CM3),
        single.get(CONTAMINATION, LOOK_CONTAMINATION),
    )


def constants_of(grading: Grading) -> tuple[tuple[str, float | tuple[float, ...], str, str], ...]:
    """What a scale of looks consists of: its name in a priors file, its value, its unit, and what that means."""
    return (
        (CUT_POINTS, grading.cut_points_mg_cm2, "mg/cm2", "lower edges of grades 1 to 4"),
        (DENSITY, grading.density_g_cm3, "g/cm3", "bulk density of scale, by which a thickness is a deposit"),
        (CONTAMINATION, grading.contamination, "share", "share of looks far too severe that are reckoned with"),
    )
