"""The facts a logbook holds, one frozen dataclass a kind, fields named as the CSV columns.

Units stand in the names; hardness-like quantities keep the unit in which they were entered
and are converted in the water room. ``None`` means "not recorded". Dates are the owner's
calendar dates. Nothing here computes anything but what a record plainly says.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import ClassVar

HARDNESS_UNITS = ("mg/L", "mmol/L", "dH", "fH", "e", "gpg")
KITS = ("meter", "drops", "laboratory")
METHODS = ("eye", "mirror", "camera", "glance")
STARTS = ("clean", "unknown")
FILLED_BY = ("pump", "hand")
SCOPES = ("full", "partial")
GRADES = (0, 1, 2, 3, 4)
WALL = "wall"
"""The site every boiler has: its wall, the reference surface unless another site is marked so."""


def cylinder_area_cm2(volume_l: float) -> float:
    """Wetted area of a closed cylinder as high as wide, 5.54 V^(2/3) [cm2]."""
    return 5.54 * (1000.0 * volume_l) ** (2.0 / 3.0)


@dataclass(frozen=True, slots=True)
class Boiler:
    boiler: str
    volume_l: float
    temperature_c: float
    installed_on: date
    area_cm2: float | None = None
    steam_share: float = 0.0
    start: str = "clean"
    threshold_grade: int = 3
    tolerance: float = 0.1
    note: str = ""
    litres_per_drink: float | None = None
    filled_by: str | None = None

    @property
    def wetted_area_cm2(self) -> float:
        """Recorded area, else that of a closed cylinder as high as wide, 5.54 V^(2/3) [cm2]."""
        if self.area_cm2 is not None:
            return self.area_cm2
        return cylinder_area_cm2(self.volume_l)


@dataclass(frozen=True, slots=True)
class Site:
    boiler: str
    site: str
    reference: bool = False
    relative_deposit: float | None = None
    relative_log_sd: float | None = None
    look_cost: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Water:
    water: str
    cost_per_litre: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class WaterTest:
    water: str
    date: date
    tds_mg_l: float | None = None
    tds_factor: float | None = None
    conductivity_us_cm: float | None = None
    hardness: float | None = None
    hardness_unit: str | None = None
    calcium: float | None = None
    calcium_unit: str | None = None
    alkalinity: float | None = None
    alkalinity_unit: str | None = None
    ph: float | None = None
    temperature_c: float | None = None
    kit: str | None = None


@dataclass(frozen=True, slots=True)
class Fill:
    """From ``from_date`` on, the boiler draws ``water``."""

    boiler: str
    from_date: date
    water: str


@dataclass(frozen=True, slots=True)
class Use:
    """Water drawn between two dates: as litres, as drinks, or as two meter readings.

    A drink is as large as the record says, else as its boiler says (`sized_by`), else `LITRES_PER_DRINK`.
    """

    boiler: str
    from_date: date
    to_date: date
    litres: float | None = None
    drinks: float | None = None
    litres_per_drink: float | None = None
    meter_from_l: float | None = None
    meter_to_l: float | None = None

    LITRES_PER_DRINK: ClassVar[float] = 0.2

    @property
    def litres_drawn(self) -> float:
        """Litres, however they were recorded [L]."""
        if self.litres is not None:
            return self.litres
        if self.drinks is not None:
            each = self.LITRES_PER_DRINK if self.litres_per_drink is None else self.litres_per_drink
            return self.drinks * each
        return self.meter_to_l - self.meter_from_l

    def sized_by(self, boiler: Boiler) -> Use:
        """The same with its drinks as large as the boiler's, where the record itself does not say."""
        if self.drinks is None or self.litres_per_drink is not None or boiler.litres_per_drink is None:
            return self
        return replace(self, litres_per_drink=boiler.litres_per_drink)

    @property
    def drinks_unsized(self) -> bool:
        """Whether nobody has said how much its drinks are."""
        return self.drinks is not None and self.litres_per_drink is None

    @property
    def end(self) -> date:
        """The day on which the stretch [from_date, end) ends: ``to_date``, or the next day for one day's use."""
        return self.to_date if self.to_date > self.from_date else self.from_date + timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Inspection:
    """A look: the grade, or the range of grades, that somebody saw at a site."""

    boiler: str
    date: date
    site: str
    grade_low: int
    grade_high: int
    method: str = "eye"
    inspector: str = ""
    after_descale: bool = False
    thickness_um: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Descale:
    boiler: str
    date: date
    scope: str = "full"
    acid: str = ""
    acid_g: float | None = None
    scale_recovered_g: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Prices:
    """What things cost from ``from_date`` on, in the owner's own money; what is blank costs nothing.

    ``strip_down`` is what scale past the threshold costs beyond the descale that it then takes.
    """

    boiler: str
    from_date: date
    descale_materials: float | None = None
    descale_hours: float | None = None
    hour_cost: float | None = None
    descale_wear: float | None = None
    strip_down: float | None = None
    cartridge_cost: float | None = None
    cartridge_litres: float | None = None


@dataclass(frozen=True, slots=True)
class Absence:
    """Days [from_date, to_date) on which nothing is or will be drawn; may lie ahead."""

    boiler: str
    from_date: date
    to_date: date
    note: str = ""


@dataclass(frozen=True, slots=True)
class BoilerFacts:
    """All that the logbook knew of one boiler on ``as_of``; every posterior is a function of this and a seed.

    Looks, descales, fills, uses and water tests are sorted by date, then by order of entry, and none is later than
    ``as_of`` (a stretch of use counts from the day it was complete, its drinks as large as its boiler's). An absence
    counts from the day of its entry, and may lie ahead. ``waters`` and ``water_tests`` hold every water of the
    logbook, whether this boiler ever drew it or not. ``look_numbers`` are the record numbers of ``inspections`` in
    their order, so that people can be told which to amend; empty where the facts come from no logbook, and no part of
    what is compared.
    """

    boiler: Boiler
    as_of: date
    sites: tuple[Site, ...] = ()
    waters: tuple[Water, ...] = ()
    water_tests: tuple[WaterTest, ...] = ()
    fills: tuple[Fill, ...] = ()
    uses: tuple[Use, ...] = ()
    inspections: tuple[Inspection, ...] = ()
    descales: tuple[Descale, ...] = ()
    prices: tuple[Prices, ...] = ()
    absences: tuple[Absence, ...] = ()
    look_numbers: tuple[int, ...] = field(default=(), compare=False)

    @property
    def reference_site(self) -> str:
        """The site marked reference, else the boiler wall."""
        return next((s.site for s in self.sites if s.reference), WALL)
