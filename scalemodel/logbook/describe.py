"""What a record says, as one plain line."""

from __future__ import annotations

from collections.abc import Iterable

from scalemodel.logbook.fields import QUANTITIES
from scalemodel.logbook.kinds import Record, kind_of
from scalemodel.logbook.records import (
    Absence,
    Boiler,
    Descale,
    Fill,
    Inspection,
    Prices,
    Site,
    Use,
    Water,
    WaterTest,
)

NOTE_SHOWN = 60
"""Characters of a note that the line shows."""


def describe(record: Record, boiler: Boiler | None = None) -> str:
    """What the record says, without its number; beside its ``boiler`` also what follows from both.

    >>> from datetime import date
    >>> describe(Inspection("kitchen", date(2026, 4, 12), "wall", 1, 2))
    'kitchen, 2026-04-12, wall, grade 1 to 2, by eye'
    """
    parts = list(_use(record, boiler) if isinstance(record, Use) else _PARTS[kind_of(record).name](record))
    note = " ".join(getattr(record, "note", "").split())
    if note:
        parts.append("note: " + (note if len(note) <= NOTE_SHOWN else note[: NOTE_SHOWN - 3] + "..."))
    return ", ".join(parts)


def _boiler(record: Boiler) -> Iterable[str]:
    yield record.boiler
    yield f"{record.volume_l:g} L at {record.temperature_c:g} C"
    if record.area_cm2 is not None:
        yield f"{record.area_cm2:g} cm2"
    if record.steam_share:
        yield f"{record.steam_share:.3g} of its water leaves as steam"
    start = "free of scale" if record.start == "clean" else "with an unknown history"
    yield f"installed {record.installed_on} {start}"
    yield f"threshold grade {record.threshold_grade}"
    yield f"tolerance {record.tolerance:g}"
    if record.litres_per_drink is not None:
        yield f"a drink is {record.litres_per_drink:g} L"
    if record.filled_by is not None:
        yield f"filled by {record.filled_by}"


def _site(record: Site) -> Iterable[str]:
    yield record.boiler
    yield record.site
    if record.reference:
        yield "reference"
    if record.relative_deposit is not None:
        yield f"relative deposit {record.relative_deposit:g}"
    if record.relative_log_sd is not None:
        yield f"its log-sd {record.relative_log_sd:g}"
    if record.look_cost is not None:
        yield f"a look costs {record.look_cost:g}"


def _water(record: Water) -> Iterable[str]:
    yield record.water
    if record.cost_per_litre is not None:
        yield f"{record.cost_per_litre:g} a litre"


def _water_test(record: WaterTest) -> Iterable[str]:
    yield record.water
    yield str(record.date)
    if record.tds_mg_l is not None:
        factor = "" if record.tds_factor is None else f" (factor {record.tds_factor:g})"
        yield f"TDS {record.tds_mg_l:g} mg/L{factor}"
    if record.conductivity_us_cm is not None:
        yield f"conductivity {record.conductivity_us_cm:g} uS/cm"
    for field in QUANTITIES:
        value, unit = getattr(record, field), getattr(record, f"{field}_unit")
        if value is not None:
            yield f"{field} {value:g} {unit}" + (" as CaCO3" if unit == "mg/L" else "")
    if record.ph is not None:
        yield f"pH {record.ph:g}"
    if record.temperature_c is not None:
        yield f"at {record.temperature_c:g} C"
    if record.kit is not None:
        yield f"by {record.kit}"


def _fill(record: Fill) -> Iterable[str]:
    yield f"{record.boiler} draws {record.water} from {record.from_date}"


def _use(record: Use, boiler: Boiler | None) -> Iterable[str]:
    sized = record if boiler is None else record.sized_by(boiler)
    yield record.boiler
    yield f"{record.from_date} to {record.to_date}"
    if record.drinks is not None:
        yield f"{record.drinks:g} drinks" + ("" if sized.drinks_unsized else f" of {sized.litres_per_drink:g} L")
    if record.meter_to_l is not None:
        yield f"meter {record.meter_from_l:.10g} to {record.meter_to_l:.10g} L"
    if not sized.drinks_unsized:
        yield f"{sized.litres_drawn:.6g} L"
    elif boiler is not None:
        yield f"{sized.litres_drawn:.6g} L if a drink is {Use.LITRES_PER_DRINK} L"


def _inspection(record: Inspection) -> Iterable[str]:
    yield record.boiler
    yield str(record.date)
    yield record.site
    low, high = record.grade_low, record.grade_high
    yield f"grade {low}" if low == high else f"grade {low} to {high}"
    yield f"by {record.method}"
    if record.inspector:
        yield f"seen by {record.inspector}"
    if record.after_descale:
        yield "after the descale"
    if record.thickness_um is not None:
        yield f"{record.thickness_um:g} um thick"


def _descale(record: Descale) -> Iterable[str]:
    yield record.boiler
    yield str(record.date)
    yield record.scope
    if record.acid or record.acid_g is not None:
        amount = "" if record.acid_g is None else f"{record.acid_g:g} g of "
        yield amount + (record.acid or "acid")
    if record.scale_recovered_g is not None:
        yield f"{record.scale_recovered_g:g} g of scale recovered"


def _prices(record: Prices) -> Iterable[str]:
    yield f"{record.boiler} from {record.from_date}"
    if record.descale_materials is not None:
        yield f"materials for a descale {record.descale_materials:g}"
    if record.descale_hours is not None:
        yield f"{record.descale_hours:g} h of work on one"
    if record.hour_cost is not None:
        yield f"an hour {record.hour_cost:g}"
    if record.descale_wear is not None:
        yield f"wear by a descale {record.descale_wear:g}"
    if record.strip_down is not None:
        yield f"a strip-down {record.strip_down:g}"
    if record.cartridge_cost is not None:
        yield f"a cartridge {record.cartridge_cost:g}"
    if record.cartridge_litres is not None:
        yield f"{record.cartridge_litres:g} L from a cartridge"


def _absence(record: Absence) -> Iterable[str]:
    yield record.boiler
    days = (record.to_date - record.from_date).days
    yield f"nothing drawn from {record.from_date} until {record.to_date} ({days} day{'s' * (days != 1)})"


_PARTS = {
    "boiler": _boiler,
    "site": _site,
    "water": _water,
    "water_test": _water_test,
    "fill": _fill,
    "inspection": _inspection,
    "descale": _descale,
    "prices": _prices,
    "absence": _absence,
}
