"""What workers draw for the pages besides answers; each is one part."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType

from scalemodel import api
from scalemodel.logbook.records import BoilerFacts


def plan(facts: BoilerFacts, acid: str = "") -> Iterator[tuple[str, dict]]:
    """A descaling plan as values for a page."""
    from scalemodel.report.sections import plan_values

    yield "plan", plan_values(api.descale_plan(facts, acid=acid or None))


def report(facts: BoilerFacts) -> Iterator[tuple[str, str]]:
    """A report as a page, with a way back to the list."""
    from scalemodel.report.contents import report_contents
    from scalemodel.report.page import report_page

    yield "report", report_page(report_contents(api.prepare(facts)), home="/")


DRAWINGS: Mapping[str, Callable] = MappingProxyType({"plan": plan, "report": report})
