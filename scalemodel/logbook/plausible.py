"""What is allowed but hard to believe: one small function a rule, from a record and what is known beside it to doubts.

A doubt is a question, never a refusal: whoever means it says so. The figures are slips of the pen, wide enough that a
practitioner is hardly ever asked in vain (house figures, common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from scalemodel.logbook.book import Book
from scalemodel.logbook.doubt import NEAR, Doubt, Known, Rule, is_far_off
from scalemodel.logbook.kinds import KINDS, Record, kind_of
from scalemodel.logbook.plausible_tests import (
    acidity_and_warmth,
    changed,
    hardness_range,
    one_sample,
    strength,
    tests_agree,
)
from scalemodel.logbook.records import Absence, Boiler, Descale, Inspection, Site, Use
from scalemodel.logbook.units import DAYS_A_YEAR, cylinder_area_cm2

SMALL_BOILER_L = (0.1, 50.0)
BOILER_C = (50.0, 125.0)
DRINK_L = (0.02, 1.0)
OLDEST_YEARS = 30
LIKELY_TOLERANCE = 0.5
RELATIVE_DEPOSIT = (0.1, 10.0)

FILLINGS_A_DAY = (0.02, 10.0)
"""Such boilers draw so many times their volume a day."""

METER_SLACK_L = 1.0
"""Two readings of one moment may differ by so much, or by a day's use."""

LONGEST_ABSENCE_DAYS = 366
FARTHEST_AHEAD_DAYS = 731
DESCALES_APART_DAYS = 2

THICKNESS_UM = (5.0, 3000.0)
ACID_G_PER_L = 300.0
LEAST_ACID_G = 1.0
MOST_RECOVERED_MG_CM2 = 200.0

LATE_BY_DAYS = 60
"""Most records are made within so many days."""


def doubts_about(record: Record, known: Known) -> tuple[Doubt, ...]:
    """Every doubt about a record; none about one that says just what another already says.

    >>> doubts_about(Boiler("kitchen", 750.0, 93.0, date(2026, 1, 10)), Known(date(2026, 1, 10)))[0].words
    '750 L? A small boiler holds 0.1 to 50 L; 750 mL would be 0.75'
    """
    if record in known.near:
        return ()
    return tuple(doubt for rule in DOUBTS[kind_of(record).name] for doubt in rule(record, known))


def known_beside(book: Book, record: Record, replacing: int | None = None, typed: bool = True) -> Known:
    """What a logbook knows beside a record, leaving out the entry that it replaces, or is."""
    kind = kind_of(record)
    owner = "boiler" if "boiler" in kind.columns else "water"
    boiler, near = None, ()
    if owner == "boiler" and kind.name != "boiler":
        boiler = next((one.record for one in book.current("boiler", "boiler = ?", (record.boiler,))), None)
    if kind.name in COMPARED:
        field = kind.dated_by
        values = (getattr(record, owner), getattr(record, field).isoformat())

        def nearest(sign: str, order: str) -> list[Record]:
            where, first_by = f"{owner} = ? AND {field} {sign} ?", f"held.{field} {order}"
            return [one.record for one in book.current(kind.name, where, values, replacing, first_by, NEAR)]

        near = (*reversed(nearest("<=", "DESC")), *nearest(">", "ASC"))
    return Known(book.today(), boiler, near, typed)


# ---- boilers and their sites


def volume(boiler: Boiler, known: Known) -> Iterator[Doubt]:
    low, high = SMALL_BOILER_L
    if boiler.volume_l > high:
        as_ml = f"; {boiler.volume_l:g} mL would be {boiler.volume_l / 1000:g}"
        yield Doubt("volume_l", f"{boiler.volume_l:g} L", f"a small boiler holds {low:g} to {high:g} L{as_ml}")
    elif boiler.volume_l < low:
        yield Doubt("volume_l", f"{boiler.volume_l:g} L", f"a small boiler holds {low:g} to {high:g} L")


def area(boiler: Boiler, known: Known) -> Iterator[Doubt]:
    if boiler.area_cm2 is None:
        return
    cylinder = cylinder_area_cm2(boiler.volume_l)
    if is_far_off(boiler.area_cm2, cylinder, cylinder):
        yield Doubt(
            "area_cm2", f"{boiler.area_cm2:g} cm2", f"a boiler of {boiler.volume_l:g} L has about {cylinder:.0f} cm2"
        )


def held_at(boiler: Boiler, known: Known) -> Iterator[Doubt]:
    low, high = BOILER_C
    if not low <= boiler.temperature_c <= high:
        yield Doubt("temperature_c", f"{boiler.temperature_c:g} C", f"a boiler holds {low:g} to {high:g} C")


def risk_accepted(boiler: Boiler, known: Known) -> Iterator[Doubt]:
    if boiler.tolerance > LIKELY_TOLERANCE:
        yield Doubt(
            "tolerance",
            f"{boiler.tolerance:g}",
            f"that accepts scale past the threshold in {boiler.tolerance:.0%} of cases; usual is 5 to 20%",
        )


def age(boiler: Boiler, known: Known) -> Iterator[Doubt]:
    years = (known.today - boiler.installed_on).days / DAYS_A_YEAR
    if years > OLDEST_YEARS:
        yield Doubt("installed_on", str(boiler.installed_on), f"that is {years:.0f} years ago")


def drink_size(record: Boiler | Use, known: Known) -> Iterator[Doubt]:
    low, high = DRINK_L
    size = record.litres_per_drink
    if size is not None and not low <= size <= high:
        yield Doubt("litres_per_drink", f"{size:g} L", f"a drink is {low:g} to {high:g} L")


def relative_deposit(site: Site, known: Known) -> Iterator[Doubt]:
    low, high = RELATIVE_DEPOSIT
    share = site.relative_deposit
    if share is not None and not low <= share <= high:
        yield Doubt("relative_deposit", f"{share:g}", f"a site carries {low:g} to {high:g} times the reference surface")


# ---- use


def rate_of_use(use: Use, known: Known) -> Iterator[Doubt]:
    """Ten times or more off what this boiler drew, or, where nothing is on record yet, off what such boilers draw."""
    rate = _litres_per_day(use, known.boiler)
    if rate == 0.0:
        return
    rates = [r for r in (_litres_per_day(other, known.boiler) for other in known.near) if r > 0.0]
    if rates:
        low, high, usual = min(rates), max(rates), "this boiler drew"
    elif known.boiler is not None:
        (low, high), usual = (share * known.boiler.volume_l for share in FILLINGS_A_DAY), "a boiler of its size draws"
    else:
        return
    if is_far_off(rate, low, high):
        field = next(name for name in ("litres", "drinks", "meter_to_l") if getattr(use, name) is not None)
        range_ = f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"
        days = (use.end - use.from_date).days
        given = f"{use_litres(use, known.boiler):.10g} L in {days} day{'s' * (days != 1)}, {rate:.3g} L a day"
        yield Doubt(field, given, f"{usual} about {range_} L a day")


def meter_without_gap(use: Use, known: Known) -> Iterator[Doubt]:
    """What the meter counted between two stretches that are both told by it is on no record."""
    if use.meter_from_l is None:
        return
    before = next((one for one in reversed(known.near) if one.from_date < use.from_date), None)
    after = next((one for one in known.near if one.from_date > use.from_date), None)
    for first, second, field in ((before, use, "meter_from_l"), (use, after, "meter_to_l")):
        if first is None or second is None or first.meter_to_l is None or second.meter_from_l is None:
            continue
        gap = second.meter_from_l - first.meter_to_l
        if gap > max(METER_SLACK_L, _litres_per_day(first, None), _litres_per_day(second, None)):
            ends = f"it read {first.meter_to_l:.10g} L on {first.to_date} and {second.meter_from_l:.10g} L on "
            yield Doubt(
                field,
                f"{getattr(use, field):.10g} L",
                f"{ends}{second.from_date}: the {gap:.10g} L between are on no record; enter them first",
            )


# ---- looks, descales, absences


def thickness(look: Inspection, known: Known) -> Iterator[Doubt]:
    low, high = THICKNESS_UM
    size = look.thickness_um
    if size is not None and not low <= size <= high:
        hint = f"; {size:g} mm would be {size * 1000:g}" if size < low else ""
        yield Doubt("thickness_um", f"{size:g} um", f"scale that can be measured is {low:g} to {high:g} um thick{hint}")


def descales_apart(descale: Descale, known: Known) -> Iterator[Doubt]:
    others = [one.date for one in known.near if abs((one.date - descale.date).days) <= DESCALES_APART_DAYS]
    if others:
        usual = f"it was descaled on {others[-1]} already; is this another time?"
        yield Doubt("date", str(descale.date), usual)


def acid_spent(descale: Descale, known: Known) -> Iterator[Doubt]:
    grams = descale.acid_g
    if grams is None or known.boiler is None:
        return
    most = ACID_G_PER_L * known.boiler.volume_l
    if grams < LEAST_ACID_G or grams > most:
        usual = f"a boiler of {known.boiler.volume_l:g} L takes {LEAST_ACID_G:g} to {most:.3g} g of dry acid"
        yield Doubt("acid_g", f"{grams:g} g", usual)


def scale_recovered(descale: Descale, known: Known) -> Iterator[Doubt]:
    grams = descale.scale_recovered_g
    if grams is None:
        return
    before = [one.scale_recovered_g for one in known.near if one.scale_recovered_g is not None]
    if before and is_far_off(grams, min(before), max(before)):
        range_ = " to ".join(f"{end:.3g}" for end in dict.fromkeys((min(before), max(before))))
        yield Doubt("scale_recovered_g", f"{grams:g} g", f"other descales of this boiler brought {range_} g")
    elif not before and known.boiler is not None:
        most = MOST_RECOVERED_MG_CM2 * known.boiler.wetted_area_cm2 / 1000.0
        if grams > most:
            usual = f"its {known.boiler.wetted_area_cm2:.0f} cm2 would be half a millimetre thick with {most:.3g} g"
            yield Doubt("scale_recovered_g", f"{grams:g} g", usual)


def absence_length(absence: Absence, known: Known) -> Iterator[Doubt]:
    days = (absence.to_date - absence.from_date).days
    if days > LONGEST_ABSENCE_DAYS:
        yield Doubt("to_date", str(absence.to_date), f"nothing drawn for {days} days, more than a year")
    last = known.today + timedelta(days=FARTHEST_AHEAD_DAYS)
    for field in ("from_date", "to_date"):
        if getattr(absence, field) > last:
            yield Doubt(field, str(getattr(absence, field)), f"that is more than two years ahead of {known.today}")
            return


def year(record: Record, known: Known) -> Iterator[Doubt]:
    """A day of just a year ago, typed now although later records of the kind are there: last year's habit."""
    field = kind_of(record).known_on
    day = getattr(record, field)
    if not known.typed or all(getattr(other, field) <= day for other in known.near):
        return
    meant = _a_year_on(day)
    if known.today - timedelta(days=LATE_BY_DAYS) <= meant <= known.today:
        later = max(getattr(other, field) for other in known.near)
        yield Doubt(field, str(day), f"there are later ones, up to {later}; was it {meant}?")


DOUBTS: dict[str, tuple[Rule, ...]] = {
    **{name: () for name in KINDS},
    "boiler": (volume, held_at, age, area, risk_accepted, drink_size),
    "site": (relative_deposit,),
    "water_test": (year, strength, hardness_range, one_sample, acidity_and_warmth, tests_agree, changed),
    "fill": (year,),
    "use": (year, drink_size, rate_of_use, meter_without_gap),
    "inspection": (year, thickness),
    "descale": (year, descales_apart, acid_spent, scale_recovered),
    "absence": (absence_length,),
}
"""The rules of each kind, in the order in which a person would ask."""

COMPARED = ("water_test", "fill", "use", "inspection", "descale")
"""Kinds whose records are judged by others of the kind."""


def use_litres(use: Use, boiler: Boiler | None) -> float:
    """What was drawn, with drinks as large as the boiler's where the record does not say [L]."""
    return (use if boiler is None else use.sized_by(boiler)).litres_drawn


def _litres_per_day(use: Use, boiler: Boiler | None) -> float:
    return use_litres(use, boiler) / (use.end - use.from_date).days


def _a_year_on(day: date) -> date:
    """The same day of the next year; 1 March for 29 February."""
    try:
        return day.replace(year=day.year + 1)
    except ValueError:
        return date(day.year + 1, 3, 1)
