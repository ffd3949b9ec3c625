"""The registry of record kinds, read from their declarations in `scalemodel.logbook.records` and `adoption`."""

from __future__ import annotations

from scalemodel.logbook.adoption import Adoption
from scalemodel.logbook.columns import Kind
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

Record = Boiler | Site | Water | WaterTest | Fill | Use | Inspection | Descale | Prices | Absence | Adoption

KINDS: dict[str, Kind] = {record.KIND.name: record.KIND for record in Record.__args__}
"""Every kind by its name, those that others refer to first."""


def kind_of(record: Record) -> Kind:
    """The kind of a record; TypeError for anything else."""
    kind = getattr(type(record), "KIND", None)
    if kind is None:
        raise TypeError(f"{type(record).__name__} is no record of a logbook")
    return kind
