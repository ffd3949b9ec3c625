"""What a person may ask of a boiler beside its own facts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Question:
    """What a person may state beside the boiler; None means "as the logbook has it".

    Attributes
    ----------
    site : str
        Site asked about; the reference surface by default.
    threshold_grade : int, threshold_um : float [um], threshold_mg_cm2 : float [mg/cm2]
        At most one; the boiler's own grade by default.
    tolerance : float
        Accepted risk in (0, 1); the boiler's own by default.
    litres_per_day : float
        Use from now on [L/day].
    water : str
        Water from now on.
    horizon_days : int
        How far to look ahead [days].
    """

    site: str | None = None
    threshold_grade: int | None = None
    threshold_um: float | None = None
    threshold_mg_cm2: float | None = None
    tolerance: float | None = None
    litres_per_day: float | None = None
    water: str | None = None
    horizon_days: int | None = None
