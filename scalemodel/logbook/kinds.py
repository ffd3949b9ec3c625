"""The registry of record kinds: what each is called, where it lies in CSV, and what it refers to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cached_property

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

Record = Boiler | Site | Water | WaterTest | Fill | Use | Inspection | Descale | Prices | Absence


@dataclass(frozen=True)
class Kind:
    """One kind of record.

    Attributes
    ----------
    name : str
        Key in KINDS and table in the database.
    title : str
        What people call it.
    record : type
        Its dataclass.
    file : str
        Its CSV file.
    required : tuple of str
        Columns that may not be missing or blank.
    dated_by : str or None
        The field that dates the record; None for sites and waters, which hold at all times.
    known_on : str or None
        The field whose day must have come for the record to count; differs for a stretch of use. None for sites and
        waters, and for absences, which may be planned (`scalemodel.logbook.absences.known_absences`).
    naming : tuple of str
        Fields that make up a name which other records use; empty if nothing refers to it.
    """

    name: str
    title: str
    record: type
    file: str
    required: tuple[str, ...]
    dated_by: str | None = "date"
    known_on: str | None = "date"
    naming: tuple[str, ...] = ()

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Fields of the record, which are the CSV columns and the database columns."""
        return tuple(field.name for field in fields(self.record))

    @cached_property
    def defaults(self) -> Mapping[str, object]:
        """Value of each field that was left blank, where it may be."""
        return {f.name: f.default for f in fields(self.record) if f.name not in self.required}


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            "boiler",
            "boiler",
            Boiler,
            "boilers.csv",
            ("boiler", "volume_l", "temperature_c", "installed_on"),
            dated_by="installed_on",
            known_on="installed_on",
            naming=("boiler",),
        ),
        Kind(
            "site",
            "site",
            Site,
            "sites.csv",
            ("boiler", "site"),
            dated_by=None,
            known_on=None,
            naming=("boiler", "site"),
        ),
        Kind(
            "water",
            "water",
            Water,
            "waters.csv",
            ("water",),
            dated_by=None,
            known_on=None,
            naming=("water",),
        ),
        Kind("water_test", "water test", WaterTest, "water_tests.csv", ("water", "date")),
        Kind(
            "fill",
            "fill",
            Fill,
            "fills.csv",
            ("boiler", "from_date", "water"),
            dated_by="from_date",
            known_on="from_date",
        ),
        Kind(
            "use",
            "use",
            Use,
            "use.csv",
            ("boiler", "from_date", "to_date"),
            dated_by="from_date",
            known_on="to_date",
        ),
        Kind(
            "inspection",
            "inspection",
            Inspection,
            "inspections.csv",
            ("boiler", "date", "site", "grade_low"),
        ),
        Kind("descale", "descale", Descale, "descales.csv", ("boiler", "date")),
        Kind(
            "prices",
            "prices",
            Prices,
            "prices.csv",
            ("boiler", "from_date"),
            dated_by="from_date",
            known_on="from_date",
        ),
        Kind(
            "absence",
            "absence",
            Absence,
            "absences.csv",
            ("boiler", "from_date", "to_date"),
            dated_by="from_date",
            known_on=None,
        ),
    )
}
"""Every kind by its name, those that others refer to first."""

_BY_TYPE = {kind.record: kind for kind in KINDS.values()}


def kind_of(record: Record) -> Kind:
    """The kind of a record; TypeError for anything else."""
    try:
        return _BY_TYPE[type(record)]
    except KeyError:
        raise TypeError(f"{type(record).__name__} is no record of a logbook") from None
