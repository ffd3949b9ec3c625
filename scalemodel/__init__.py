"""From what you see in a small boiler to the date by which it needs descaling.

`open_logbook` gives the facts of a boiler on a day; `posterior`, `prepare` and every question are pure functions of
them.
"""

from __future__ import annotations

__version__ = "0.1.0"

PUBLIC = {
    "open_logbook": "scalemodel.api",
    "pool": "scalemodel.api",
    "adopt": "scalemodel.api",
    "posterior": "scalemodel.api",
    "prepare": "scalemodel.api",
    "risk": "scalemodel.api",
    "defer": "scalemodel.api",
    "due": "scalemodel.api",
    "assess": "scalemodel.api",
    "fleet_pages": "scalemodel.api",
    "simulate": "scalemodel.api",
    "hindsight": "scalemodel.api",
    "fleet_hindsight": "scalemodel.api",
    "next_inspection": "scalemodel.api",
    "cost": "scalemodel.api",
    "compare_waters": "scalemodel.api",
    "trial": "scalemodel.api",
    "descale_plan": "scalemodel.api",
    "report_page": "scalemodel.api",
    "calendar": "scalemodel.api",
    "with_priors": "scalemodel.api",
    "import_folder": "scalemodel.logbook.csv_folder",
    "export_folder": "scalemodel.logbook.csv_folder",
    "Logbook": "scalemodel.logbook.store",
    "ScalemodelError": "scalemodel.errors",
}
"""Every public name and the module it lives in; loaded when first used."""

__all__ = [
    "Logbook",
    "ScalemodelError",
    "adopt",
    "assess",
    "calendar",
    "compare_waters",
    "cost",
    "defer",
    "descale_plan",
    "due",
    "export_folder",
    "fleet_hindsight",
    "fleet_pages",
    "hindsight",
    "import_folder",
    "next_inspection",
    "open_logbook",
    "pool",
    "posterior",
    "prepare",
    "report_page",
    "risk",
    "simulate",
    "trial",
    "with_priors",
]


def __getattr__(name: str):
    if name not in PUBLIC:
        raise AttributeError(f"module 'scalemodel' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(PUBLIC[name]), name)


def __dir__() -> list[str]:
    return [*globals(), *PUBLIC]
