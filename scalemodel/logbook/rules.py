"""What records may stand beside each other: one small function a rule, run before anything is written.

Each rule takes the book (what is current, and today), the record, and the number of the entry that
the record would replace (None for a new one), and raises an error that says what clashes.
"""

from __future__ import annotations

from collections.abc import Callable

from scalemodel.errors import BadValueError, Mention, RecordClashError, Remedy, UnknownNameError
from scalemodel.logbook.adoption import Adoption, check_learned_before
from scalemodel.logbook.book import Book, Numbered
from scalemodel.logbook.finding import check_not_former, find_boiler, find_water, site_names
from scalemodel.logbook.kinds import KINDS, Kind, Record, kind_of
from scalemodel.logbook.meters import meter_goes_on
from scalemodel.logbook.names import Renamed
from scalemodel.logbook.records import (
    QUANTITIES,
    WALL,
    Absence,
    Boiler,
    Descale,
    Fill,
    Inspection,
    Prices,
    Site,
    Use,
    WaterTest,
)
from scalemodel.logbook.retirement import not_after_retirement, retirement_after_records

Check = Callable[[Book, Record, int | None], None]

MEASURED = ("tds_mg_l", "conductivity_us_cm", *QUANTITIES, "ph")
"""A water test holds at least one of these."""

OF_A_BOILER = tuple(name for name, kind in KINDS.items() if "boiler" in kind.columns and kind.record is not Boiler)
"""Kinds of record that stand under a boiler's name."""


def not_in_the_future(book: Book, record: Record, replacing: int | None) -> None:
    """No day of a record is later than today."""
    kind = kind_of(record)
    for field in dict.fromkeys(f for f in (kind.dated_by, kind.known_on) if f):
        day = getattr(record, field)
        if day > book.today():
            raise BadValueError(field, day, f"today ({book.today()}) or earlier")


def boiler_known(book: Book, record: Record, replacing: int | None) -> None:
    """The record's boiler is registered."""
    find_boiler(book, record.boiler)


def not_before_installation(book: Book, record: Record, replacing: int | None) -> None:
    """The record's boiler is registered, and its installation is no later than the record."""
    field = kind_of(record).dated_by
    installed = find_boiler(book, record.boiler).record.installed_on
    day = getattr(record, field)
    if day < installed:
        raise BadValueError(field, day, f"{installed}, when {record.boiler!r} was installed, or later")


def installation_before_records(book: Book, boiler: Boiler, replacing: int | None) -> None:
    """A boiler's installation is not moved past records that it already has."""
    if replacing is None:
        return
    early = []
    for name in OF_A_BOILER:
        field = KINDS[name].dated_by
        if field is None:
            continue
        values = (boiler.boiler, boiler.installed_on.isoformat())
        early += book.current(name, f"boiler = ? AND {field} < ?", values)
    if early:
        first = min(early, key=lambda one: getattr(one.record, kind_of(one.record).dated_by))
        kind = kind_of(first.record)
        raise RecordClashError(
            f"{boiler.boiler!r} has records older than {boiler.installed_on} ({len(early)}), the first "
            f"{kind.title} {first.number} of {getattr(first.record, kind.dated_by)}",
            "give an earlier installed_on, or amend or strike those records first",
        )


def water_known(book: Book, record: Record, replacing: int | None) -> None:
    """The record's water is registered."""
    find_water(book, record.water)


def site_known(book: Book, look: Inspection, replacing: int | None) -> None:
    """The site looked at is registered for this boiler, or is its wall."""
    known = site_names(book, look.boiler)
    if look.site not in known:
        check_not_former(book, "site", look.site, look.boiler)
        raise UnknownNameError("site", look.site, known, of=look.boiler)


def name_is_new(book: Book, record: Record, replacing: int | None) -> None:
    """No two boilers, waters, or sites of one boiler share a name, not even in another case."""
    kind = kind_of(record)
    own = kind.naming[-1]
    name = getattr(record, own)
    where, values = ("boiler = ?", (record.boiler,)) if kind.name == "site" else ("", ())
    for number, other in book.current(kind.name, where, values, besides=replacing):
        taken = getattr(other, own)
        if taken.casefold() == name.casefold():
            raise RecordClashError(
                (f"there is already a {kind.title} called {taken!r}, ", Mention(number)),
                ("choose another name, or ", Mention(number, "FIELD=VALUE")),
            )
    was = book.names().now(kind.name, name, record.boiler if kind.name == "site" else "")
    if was is not None and not _is_own(book, kind, was, replacing):
        raise RecordClashError(
            f"{name!r} is what the {kind.title} {was.called!r} was called until {was.since}", "choose another name"
        )
    if kind.name == "site" and name != WALL and name.casefold() == WALL:
        raise RecordClashError(f"every boiler has a site {WALL!r} already", "choose another name")


def _is_own(book: Book, kind: Kind, was: Renamed, number: int | None) -> bool:
    """Whether what had a former name is the record of that number."""
    where, values = (f"{kind.name} = ?", (was.called,))
    if kind.name == "site":
        where, values = "boiler = ? AND site = ?", (was.boiler, was.called)
    return any(one.number == number for one in book.current(kind.name, where, values))


def one_reference(book: Book, site: Site, replacing: int | None) -> None:
    """At most one site of a boiler is its reference surface."""
    if not site.reference:
        return
    for number, other in book.current("site", "boiler = ? AND reference", (site.boiler,), besides=replacing):
        raise RecordClashError(
            (f"{site.boiler!r} has a reference site already: {other.site!r}, ", Mention(number)),
            ("first ", Mention(number, "reference=no")),
        )


def one_fill_a_day(book: Book, fill: Fill, replacing: int | None) -> None:
    """A boiler begins to draw at most one water a day."""
    day = (fill.boiler, fill.from_date.isoformat())
    for number, other in book.current("fill", "boiler = ? AND from_date = ?", day, besides=replacing):
        raise RecordClashError(
            (Mention(number), f" already has {fill.boiler!r} draw {other.water!r} from {fill.from_date}"),
            ("choose another date, or ", Mention(number, "water=...")),
        )


def use_in_order(book: Book, use: Use, replacing: int | None) -> None:
    """A stretch of use ends no earlier than it begins."""
    if use.to_date < use.from_date:
        raise BadValueError("to_date", use.to_date, f"{use.from_date}, the from_date, or later")


def one_amount(book: Book, use: Use, replacing: int | None) -> None:
    """A stretch of use tells its litres in exactly one way."""
    meter = (use.meter_from_l is not None, use.meter_to_l is not None)
    if any(meter) and not all(meter):
        missing = "meter_to_l" if meter[0] else "meter_from_l"
        raise BadValueError(missing, "", "both meter readings, meter_from_l and meter_to_l")
    ways = [
        name
        for name, given in (
            ("litres", use.litres is not None),
            ("drinks", use.drinks is not None),
            ("meter readings", any(meter)),
        )
        if given
    ]
    if len(ways) != 1:
        told = "as " + " and as ".join(ways) if ways else "no amount"
        raise RecordClashError(
            f"use of {use.boiler!r} from {use.from_date} is given {told}",
            "give exactly one of litres, drinks or the two meter readings",
        )


def meter_runs_forward(book: Book, use: Use, replacing: int | None) -> None:
    """The second meter reading is not below the first."""
    if use.meter_to_l is not None and use.meter_to_l < use.meter_from_l:
        first, second = f"{use.meter_from_l:.10g}", f"{use.meter_to_l:.10g}"
        raise BadValueError("meter_to_l", second, f"{first} L, the first reading, or more")


def drink_size_with_drinks(book: Book, use: Use, replacing: int | None) -> None:
    """A size of drinks is given only beside a number of drinks."""
    if use.litres_per_drink is not None and use.drinks is None:
        raise BadValueError("litres_per_drink", f"{use.litres_per_drink:g}", "a number of drinks beside it")


MOST_FILLINGS_A_DAY = 500
"""More water a day than so many times the boiler's volume is taken for a slip of the pen."""

SCALE_G_PER_LITRE = 2700.0
"""A boiler full of calcite: no more can come out of it [g/L]."""


def use_within_reason(book: Book, use: Use, replacing: int | None) -> None:
    """No boiler passes more than 500 times its volume a day."""
    boiler, days = find_boiler(book, use.boiler).record, (use.end - use.from_date).days
    volume, drawn = boiler.volume_l, use.sized_by(boiler).litres_drawn
    most = MOST_FILLINGS_A_DAY * volume * days
    if drawn > most:
        raise RecordClashError(
            f"{drawn:.10g} L in {days} day{'s' * (days > 1)} is more than {MOST_FILLINGS_A_DAY} times the volume "
            f"of {use.boiler!r} ({volume:g} L) a day",
            f"check the amount and the dates; at most {most:.10g} L there",
        )


def mass_within_boiler(book: Book, descale: Descale, replacing: int | None) -> None:
    """No more scale comes out than would fill the boiler."""
    volume = find_boiler(book, descale.boiler).record.volume_l
    if descale.scale_recovered_g is not None and descale.scale_recovered_g > SCALE_G_PER_LITRE * volume:
        raise BadValueError(
            "scale_recovered_g",
            f"{descale.scale_recovered_g:g}",
            f"at most {SCALE_G_PER_LITRE * volume:.0f} g, a boiler of {volume:g} L full of it; grams, not milligrams",
        )


def no_overlap(book: Book, use: Use, replacing: int | None) -> None:
    """No day of a boiler's use is told twice; stretches are [from_date, end).

    Those there are apart, so one that begins earlier overlaps only if the last of these does.
    """
    begin, end = use.from_date.isoformat(), use.end.isoformat()
    last = book.current(
        "use", "boiler = ? AND from_date < ?", (use.boiler, begin), besides=replacing, first_by="held.from_date DESC"
    )
    inside = book.current("use", "boiler = ? AND from_date >= ? AND from_date < ?", (use.boiler, begin, end), replacing)
    for number, other in [*(one for one in last if one.record.end > use.from_date), *inside]:
        raise RecordClashError(
            (
                f"use of {use.boiler!r} from {use.from_date} to {use.to_date} overlaps ",
                Mention(number),
                f", from {other.from_date} to {other.to_date}",
            ),
            (f"begin on {other.end} or later, end by {other.from_date}, or ", Mention(number, "")),
        )


def something_measured(book: Book, test: WaterTest, replacing: int | None) -> None:
    """A water test holds at least one reading."""
    if all(getattr(test, field) is None for field in MEASURED):
        raise RecordClashError(
            f"the test of {test.water!r} on {test.date} holds no reading",
            "give one of " + ", ".join(MEASURED),
        )


def unit_with_quantity(book: Book, test: WaterTest, replacing: int | None) -> None:
    """A unit, or a meter's factor, stands only beside the number that it belongs to."""
    belongs = {"tds_factor": "tds_mg_l", **{f"{quantity}_unit": quantity for quantity in QUANTITIES}}
    for field, quantity in belongs.items():
        if getattr(test, field) is not None and getattr(test, quantity) is None:
            raise BadValueError(field, getattr(test, field), f"{quantity} beside it")


def grades_in_order(book: Book, look: Inspection, replacing: int | None) -> None:
    """A range of grades runs from low to high."""
    if look.grade_high < look.grade_low:
        raise BadValueError("grade_high", look.grade_high, f"{look.grade_low}, the grade_low, or more")


def something_priced(book: Book, prices: Prices, replacing: int | None) -> None:
    """A record of prices holds at least one."""
    priced = [field for field in kind_of(prices).columns if field not in ("boiler", "from_date")]
    if all(getattr(prices, field) is None for field in priced):
        raise RecordClashError(
            f"the prices of {prices.boiler!r} from {prices.from_date} hold no price", "give one of " + ", ".join(priced)
        )


def one_list_of_prices_a_day(book: Book, prices: Prices, replacing: int | None) -> None:
    """At most one record of prices begins on a day."""
    day = (prices.boiler, prices.from_date.isoformat())
    for number, _ in book.current("prices", "boiler = ? AND from_date = ?", day, besides=replacing):
        raise RecordClashError(
            (Mention(number), f" already holds prices of {prices.boiler!r} from {prices.from_date}"),
            ("choose another date, or ", Mention(number, "FIELD=VALUE")),
        )


def absence_in_order(book: Book, absence: Absence, replacing: int | None) -> None:
    """An absence ends later than it begins, for its last day is not among its days."""
    if absence.to_date <= absence.from_date:
        raise BadValueError("to_date", absence.to_date, f"a day after {absence.from_date}, the from_date")


def absences_apart(book: Book, absence: Absence, replacing: int | None) -> None:
    """No day of absence is told twice; an absence is [from_date, to_date)."""
    clashing = book.current(
        "absence",
        "boiler = ? AND from_date < ? AND to_date > ?",
        (absence.boiler, absence.to_date.isoformat(), absence.from_date.isoformat()),
        besides=replacing,
    )
    for number, other in clashing:
        raise RecordClashError(
            (
                f"the absence of {absence.boiler!r} from {absence.from_date} to {absence.to_date} overlaps ",
                Mention(number),
                f", from {other.from_date} to {other.to_date}",
            ),
            (f"begin on {other.to_date} or later, end by {other.from_date}, or ", Mention(number, "")),
        )


def learned_before(book: Book, adoption: Adoption, replacing: int | None) -> None:
    """Priors are adopted no earlier than they were learned."""
    check_learned_before(adoption)


CHECKS: dict[str, tuple[Check, ...]] = {
    "boiler": (not_in_the_future, name_is_new, installation_before_records, retirement_after_records),
    "site": (boiler_known, name_is_new, one_reference),
    "water": (name_is_new,),
    "water_test": (not_in_the_future, water_known, something_measured, unit_with_quantity),
    "fill": (not_before_installation, water_known, one_fill_a_day),
    "use": (
        not_in_the_future,
        use_in_order,
        not_before_installation,
        not_after_retirement,
        one_amount,
        drink_size_with_drinks,
        meter_runs_forward,
        use_within_reason,
        no_overlap,
        meter_goes_on,
    ),
    "inspection": (
        not_in_the_future,
        not_before_installation,
        not_after_retirement,
        site_known,
        grades_in_order,
    ),
    "descale": (not_in_the_future, not_before_installation, not_after_retirement, mass_within_boiler),
    "prices": (not_in_the_future, not_before_installation, something_priced, one_list_of_prices_a_day),
    "absence": (absence_in_order, not_before_installation, absences_apart),
    "adoption": (not_in_the_future, learned_before),
}
"""The rules of each kind, in the order in which a person would ask."""


def check(book: Book, record: Record, replacing: int | None = None) -> None:
    """Run every rule of the record's kind; the first that is broken raises."""
    for rule in CHECKS[kind_of(record).name]:
        rule(book, record, replacing)


def check_names_kept(old: Record, new: Record) -> None:
    """A name that other records may use is never amended."""
    kind = kind_of(old)
    for field in kind.naming:
        if getattr(old, field) != getattr(new, field):
            raise RecordClashError(
                f"the name of a {kind.title} is not amended ({field} {getattr(old, field)!r})",
                Remedy("rename it: all its records follow", "name", kind.title),
            )


def check_unused(book: Book, struck: Numbered) -> None:
    """A boiler, a site or a water that current records need is not struck."""
    record, kind = struck.record, kind_of(struck.record)
    if kind.name == "boiler":
        users, where, values = OF_A_BOILER, "boiler = ?", (record.boiler,)
    elif kind.name == "water":
        users, where, values = ("water_test", "fill"), "water = ?", (record.water,)
    elif kind.name == "site" and record.site != WALL:
        users, where, values = ("inspection",), "boiler = ? AND site = ?", (record.boiler, record.site)
    else:
        return
    need = [one for user in users for one in book.current(user, where, values)]
    if need:
        listed = ", ".join(str(one.number) for one in need[:5]) + (", ..." if len(need) > 5 else "")
        count = f"{len(need)} record" + ("s need" if len(need) > 1 else " needs")
        raise RecordClashError(
            f"{kind.title} {getattr(record, kind.naming[-1])!r} cannot be struck: {count} it ({listed})",
            "strike or amend those first",
        )
