"""The facts a logbook holds, one frozen dataclass a kind, fields named as the CSV columns; each is declared here, once.

Units stand in the names; hardness-like quantities keep the unit in which they were entered
and are converted in the water room. ``None`` means "not recorded". Dates are the owner's
calendar dates. Nothing here computes anything but what a record plainly says. The ends of each range
are slips of the pen rather than physics (house figures, no source).
"""

# ruff: noqa: RUF009 - a column is no value that records share

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any, ClassVar

from scalemodel.logbook.belief import Adopted, Belief
from scalemodel.logbook.columns import Says, column, kept
from scalemodel.logbook.field_types import Choice, Day, Name, Number, Share, Temperature, Text, Whole, YesNo
from scalemodel.logbook.units import BARE_UNIT, HIGHEST_BY_UNIT, UNIT_SPELLINGS, cylinder_area_cm2

HARDNESS_UNITS = tuple(HIGHEST_BY_UNIT)
QUANTITIES = ("hardness", "calcium", "alkalinity")
"""Fields of a water test that carry a unit of hardness, in the field named after them with _unit."""

KITS = ("meter", "drops", "laboratory")
METHODS = ("eye", "mirror", "camera", "glance")
STARTS = ("clean", "unknown")
WHOLE_SURFACE, WORST_PATCH = "whole", "patch"
GRADED = WHOLE_SURFACE, WORST_PATCH
GRADED_WORDS = {WHOLE_SURFACE: "graded as a whole", WORST_PATCH: "graded by its worst patch"}
FILLED_BY, SCOPES = ("pump", "hand"), ("full", "partial")
GRADES = (0, 1, 2, 3, 4)
WALL = "wall"
"""The site every boiler has: its wall, the reference surface unless another site is marked so."""

TOLERANCE = Share(0.001, 0.9)
"""An accepted probability of scale past the threshold."""

TDS_OVER_CONDUCTIVITY = Number(0.3, 1.2)
"""TDS over conductivity, as a meter reckons it or two readings of one water tell it [mg/L per uS/cm]."""

PH = Number(3, 12)
"""The pH of a water that can be tested and reckoned with."""

_LITRES, _METER, _MONEY = Number(0, 1_000_000, "L"), Number(0, 1e9, "L"), Number(0, 1_000_000)
_DRINK = Number(0.01, 10, "L")
_GRADE = Whole(GRADES[0], GRADES[-1])
_HARDNESS = Number(0, HIGHEST_BY_UNIT[BARE_UNIT])
_UNIT = Choice(HARDNESS_UNITS, UNIT_SPELLINGS)
_SHORT = Text(80)


def _name(about: str, says: Says = "{}", **more: str) -> Any:
    return column(Name(), about, says, **more)


def _day(about: str, says: Says = "{}") -> Any:
    return column(Day(), about, says)


def _note() -> Any:
    """A note, which ends every line that says what a record says."""
    return column(Text(2000, lines=True), "Anything worth keeping.", default="", metavar="TEXT")


def _price(about: str, says: str) -> Any:
    return column(_MONEY, about, says, default=None)


def _quantity(about: str, name: str) -> Any:
    """A hardness-like number of a water test, its unit in the field behind it."""

    def says(test: WaterTest) -> str:
        value, unit = getattr(test, name), getattr(test, f"{name}_unit")
        return "" if value is None else f"{name} {value:g} {unit}" + (" as CaCO3" if unit == BARE_UNIT else "")

    return column(_HARDNESS, about, says, default=None)


def _unit(name: str) -> Any:
    return column(_UNIT, f"The unit of {name}; a bare number is {BARE_UNIT} as CaCO3.", default=None, option="")


@kept("boiler", "boilers.csv", dated_by="installed_on", known_on="installed_on", naming=("boiler",))
@dataclass(frozen=True, slots=True)
class Boiler:
    boiler: str = _name("What it is called.")
    volume_l: float = column(
        Number(0.05, 1000, "L"),
        "Volume of the boiler, in L or as '750 mL'.",
        lambda one: f"{one.volume_l:g} L at {one.temperature_c:g} C",
        option="--volume",
    )
    temperature_c: float = column(
        Temperature(20, 130), "Temperature it holds, in C or as '200 F'.", option="--temperature"
    )
    installed_on: date = column(Day(), "Day on which it was installed.", option="--installed")
    area_cm2: float | None = column(
        Number(5, 500_000, "cm2"), "Wetted area (default: from the volume).", "{:g} cm2", default=None, option="--area"
    )
    steam_share: float = column(
        Share(0, 1),
        "Share of the water that leaves as steam, 0 to 1.",
        lambda one: f"{one.steam_share:.3g} of its water leaves as steam" if one.steam_share else "",
        default=0.0,
    )
    start: str = column(
        Choice(STARTS),
        "Whether it was free of scale when installed.",
        lambda one: (
            f"installed {one.installed_on} " + ("free of scale" if one.start == "clean" else "with an unknown history")
        ),
        default="clean",
    )
    threshold_grade: int = column(
        Whole(1, GRADES[-1]),
        "Grade whose lower edge the scale is not to pass, 1 to 4.",
        "threshold grade {}",
        default=3,
        metavar="G",
    )
    tolerance: float = column(
        TOLERANCE, "Accepted probability of passing it, such as 0.1 or 10%.", "tolerance {:g}", default=0.1
    )
    note: str = _note()
    litres_per_drink: float | None = column(
        _DRINK, "Litres in a drink, where drinks are counted.", "a drink is {:g} L", default=None
    )
    filled_by: str | None = column(
        Choice(FILLED_BY), "What fills it, for its descaling plan.", "filled by {}", default=None
    )
    graded: str | None = column(
        Choice(GRADED),
        "What a grade of it is of: the whole surface, or its worst palm-sized patch.",
        lambda one: GRADED_WORDS.get(one.graded, ""),
        default=None,
    )
    owner: str = column(_SHORT, "Whose it is.", "of {}", default="", metavar="NAME")
    owner_address: str = column(Text(300), "Where its owner is reached.", "{}", default="", metavar="TEXT")
    retired_on: date | None = column(
        Day(), "Day from which it is out of use and of every list.", "retired on {}", default=None, option=""
    )

    def is_retired(self, day: date) -> bool:
        """Whether it is out of use on a day."""
        return self.retired_on is not None and self.retired_on <= day

    @property
    def wetted_area_cm2(self) -> float:
        """Recorded area, else that of a closed cylinder as high as wide, 5.54 V^(2/3) [cm2]."""
        if self.area_cm2 is not None:
            return self.area_cm2
        return cylinder_area_cm2(self.volume_l)


@kept("site", "sites.csv", dated_by=None, known_on=None, naming=("boiler", "site"))
@dataclass(frozen=True, slots=True)
class Site:
    boiler: str = _name("The boiler.")
    site: str = _name("What the place is called.")
    reference: bool = column(YesNo(), "The surface that the threshold is about.", "reference", default=False)
    relative_deposit: float | None = column(
        Number(0.01, 100),
        "Your belief: its deposit over that of the reference surface, such as 0.7.",
        "relative deposit {:g}",
        default=None,
    )
    relative_log_sd: float | None = column(
        Number(0.01, 3), "How sure that is, as a log-sd.", "its log-sd {:g}", default=None
    )
    look_cost: float | None = _price("What one look there costs, in your money.", "a look costs {:g}")
    note: str = _note()


@kept("water", "waters.csv", dated_by=None, known_on=None, naming=("water",))
@dataclass(frozen=True, slots=True)
class Water:
    water: str = _name("What it is called.")
    cost_per_litre: float | None = _price("What a litre costs, in your money.", "{:g} a litre")
    note: str = _note()


def _tds_words(test: WaterTest) -> str:
    factor = "" if test.tds_factor is None else f" (factor {test.tds_factor:g})"
    return "" if test.tds_mg_l is None else f"TDS {test.tds_mg_l:g} mg/L{factor}"


@kept("water test", "water_tests.csv", dated_by="date", known_on="date")
@dataclass(frozen=True, slots=True)
class WaterTest:
    water: str = _name("The water.")
    date: date = _day("Day of the test.")
    tds_mg_l: float | None = column(
        Number(0, 5000, "mg/L"), "Reading of a TDS meter.", _tds_words, default=None, option="--tds"
    )
    tds_factor: float | None = column(TDS_OVER_CONDUCTIVITY, "The meter's mg/L in one uS/cm.", default=None)
    conductivity_us_cm: float | None = column(
        Number(0, 20_000, "uS/cm"),
        "At 25 C, in uS/cm or as '0.62 mS/cm'.",
        "conductivity {:g} uS/cm",
        default=None,
        option="--conductivity",
    )
    hardness: float | None = _quantity("Total hardness, such as '9 dH'.", "hardness")
    hardness_unit: str | None = _unit("hardness")
    calcium: float | None = _quantity("Calcium hardness, such as '120 mg/L'.", "calcium")
    calcium_unit: str | None = _unit("calcium")
    alkalinity: float | None = _quantity("Alkalinity, such as '6 dH'.", "alkalinity")
    alkalinity_unit: str | None = _unit("alkalinity")
    ph: float | None = column(PH, "pH of the sample.", "pH {:g}", default=None)
    temperature_c: float | None = column(
        Temperature(0, 100), "Of the sample, in C or as '59 F'.", "at {:g} C", default=None, option="--temperature"
    )
    kit: str | None = column(Choice(KITS), "What it was tested with.", "by {}", default=None)


@kept("fill", "fills.csv", dated_by="from_date", known_on="from_date")
@dataclass(frozen=True, slots=True)
class Fill:
    """From ``from_date`` on, the boiler draws ``water``; a day to come is a plan."""

    boiler: str = _name("The boiler.", lambda fill: f"{fill.boiler} draws {fill.water} from {fill.from_date}")
    from_date: date = _day("Day from which it draws that water; one to come is a plan.", "")
    water: str = _name("The water that it draws.", "")


def _drinks_words(use: Use) -> str:
    if use.drinks is None:
        return ""
    return f"{use.drinks:g} drinks" + ("" if use.drinks_unsized else f" of {use.litres_per_drink:g} L")


def _meter_words(use: Use) -> str:
    meter = "" if use.meter_to_l is None else f"meter {use.meter_from_l:.10g} to {use.meter_to_l:.10g} L"
    litres = "" if use.drinks_unsized else f"{use.litres_drawn:.6g} L"
    return ", ".join(words for words in (meter, litres) if words)


@kept("use", "use.csv", dated_by="from_date", known_on="to_date")
@dataclass(frozen=True, slots=True)
class Use:
    """Water drawn between two dates: as litres, as drinks, or as two meter readings.

    A drink is as large as the record says, else as its boiler says (`sized_by`), else `LITRES_PER_DRINK`.
    """

    LITRES_PER_DRINK: ClassVar[float] = 0.2

    boiler: str = _name("The boiler.")
    from_date: date = _day("First day of the stretch.", lambda use: f"{use.from_date} to {use.to_date}")
    to_date: date = _day("Day on which it ended, and the next may begin.", "")
    litres: float | None = column(_LITRES, "Litres drawn.", default=None)
    drinks: float | None = column(Number(0, 1_000_000), "Drinks drawn.", _drinks_words, default=None, metavar="N")
    litres_per_drink: float | None = column(
        _DRINK, f"Litres in a drink (default: the boiler's own, else {LITRES_PER_DRINK}).", default=None
    )
    meter_from_l: float | None = column(_METER, "Reading of a water meter on from_date.", default=None, option="")
    meter_to_l: float | None = column(_METER, "Its reading on to_date.", _meter_words, default=None, option="")

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


def _grade_words(look: Inspection) -> str:
    low, high = look.grade_low, look.grade_high
    return f"grade {low}" if low == high else f"grade {low} to {high}"


@kept("inspection", "inspections.csv", dated_by="date", known_on="date")
@dataclass(frozen=True, slots=True)
class Inspection:
    """A look: the grade, or the range of grades, that somebody saw at a site."""

    boiler: str = _name("The boiler.")
    date: date = _day("Day of the look.")
    site: str = _name("Where.", option="--site", metavar="S")
    grade_low: int = column(_GRADE, "Lowest grade that it may have been, 0 to 4.", _grade_words)
    grade_high: int = column(_GRADE, "Highest grade that it may have been (default: grade_low).", follows="grade_low")
    method: str = column(Choice(METHODS), "How it was looked at.", "by {}", default="eye")
    inspector: str = column(_SHORT, "Who looked.", "seen by {}", default="", metavar="NAME")
    after_descale: bool = column(YesNo(), "A look made after that day's descale.", "after the descale", default=False)
    thickness_um: float | None = column(
        Number(0.1, 5_000, "um"), "Thickness, if it was measured.", "{:g} um thick", default=None, metavar="X"
    )
    note: str = _note()

    @property
    def untold(self) -> Inspection:
        """The same look as one that says nothing: any grade, and no thickness."""
        return replace(self, grade_low=GRADES[0], grade_high=GRADES[-1], thickness_um=None)

    @property
    def tells_grade(self) -> bool:
        """Whether it leaves any grade out."""
        return (self.grade_low, self.grade_high) != (GRADES[0], GRADES[-1])

    @property
    def tells(self) -> bool:
        """Whether it says anything: not every grade alike, or a thickness."""
        return self != self.untold


def _acid_words(descale: Descale) -> str:
    if not descale.acid and descale.acid_g is None:
        return ""
    return ("" if descale.acid_g is None else f"{descale.acid_g:g} g of ") + (descale.acid or "acid")


@kept("descale", "descales.csv", dated_by="date", known_on="date")
@dataclass(frozen=True, slots=True)
class Descale:
    boiler: str = _name("The boiler.")
    date: date = _day("Day of the descale.")
    scope: str = column(Choice(SCOPES), "Whether all of it was reached.", "{}", default="full")
    acid: str = column(_SHORT, "What it was descaled with.", _acid_words, default="", metavar="NAME")
    acid_g: float | None = column(Number(0.1, 100_000, "g"), "Acid spent, dry.", default=None)
    scale_recovered_g: float | None = column(
        Number(0.001, 100_000, "g"), "Dry scale that came out.", "{:g} g of scale recovered", default=None
    )
    note: str = _note()


@kept("prices", "prices.csv", dated_by="from_date", known_on="from_date")
@dataclass(frozen=True, slots=True)
class Prices:
    """What things cost from ``from_date`` on, in the owner's own money; what is blank costs nothing.

    ``strip_down`` is what scale past the threshold costs beyond the descale that it then takes.
    """

    boiler: str = _name("The boiler.", lambda prices: f"{prices.boiler} from {prices.from_date}")
    from_date: date = _day("Day from which the whole list holds.", "")
    descale_materials: float | None = _price(
        "Acid and whatever else a descale uses up.", "materials for a descale {:g}"
    )
    descale_hours: float | None = column(
        Number(0, 1000, "h"), "Hours of work that a descale takes.", "{:g} h of work on one", default=None
    )
    hour_cost: float | None = _price("What an hour costs.", "an hour {:g}")
    descale_wear: float | None = _price("What a descale wears off the boiler, as you put it.", "wear by a descale {:g}")
    strip_down: float | None = _price("What scale past the threshold costs beyond a descale.", "a strip-down {:g}")
    cartridge_cost: float | None = _price("A cartridge of demineraliser.", "a cartridge {:g}")
    cartridge_litres: float | None = column(
        Number(0.1, 1_000_000, "L"), "Treated water that one makes.", "{:g} L from a cartridge", default=None
    )


def _absence_words(absence: Absence) -> str:
    days = (absence.to_date - absence.from_date).days
    return f"nothing drawn from {absence.from_date} until {absence.to_date} ({days} day{'s' * (days != 1)})"


@kept("absence", "absences.csv", dated_by="from_date", known_on=None)
@dataclass(frozen=True, slots=True)
class Absence:
    """Days [from_date, to_date) on which nothing is or will be drawn; may lie ahead."""

    boiler: str = _name("The boiler.")
    from_date: date = _day("First day on which nothing is drawn.", _absence_words)
    to_date: date = _day("Day on which it draws again.", "")
    note: str = _note()


@dataclass(frozen=True, slots=True)
class BoilerFacts:
    """All that the logbook knew of one boiler on ``as_of``; every posterior is a function of this and a seed.

    Looks, descales, fills, uses and water tests are sorted by date, then by order of entry, and none is later than
    ``as_of`` (a stretch of use counts from the day it was complete, its drinks as large as its boiler's). An absence
    counts from the day of its entry, and may lie ahead; so may a change of water (``planned_fills``, by date).
    ``waters`` and ``water_tests`` hold every water of the logbook, whether this boiler ever drew it or not.
    ``look_numbers`` are the record numbers of ``inspections`` in their order, so that people can be told which to
    amend; empty where the facts come from no logbook, and no part of what is compared. ``beliefs`` stand in
    place of the house's priors: the user's own, or the last of ``adoptions``, which are the logbook's up to ``as_of``.
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
    planned_fills: tuple[Fill, ...] = ()
    look_numbers: tuple[int, ...] = field(default=(), compare=False)
    beliefs: tuple[Belief, ...] = ()
    adoptions: tuple[Adopted, ...] = ()

    @property
    def reference_site(self) -> str:
        """The site marked reference, else the boiler wall."""
        return next((s.site for s in self.sites if s.reference), WALL)
