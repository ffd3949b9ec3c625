"""Priors that a logbook adopts: from a day on they are believed of every boiler, until others are adopted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from scalemodel.errors import BadValueError
from scalemodel.logbook.columns import column, kept
from scalemodel.logbook.field_types import Day, Text
from scalemodel.logbook.priors_text import PriorsText, of_what, parse

# ruff: noqa: RUF009 - a column is no value that records share


def _words(adoption: Adoption) -> str:
    said = parse(adoption.priors)
    return f"priors {said.pooled or 'of ' + (of_what(said.beliefs) or 'the house')}"


@kept("adoption", "adoptions.csv", dated_by="date", known_on="date")
@dataclass(frozen=True, slots=True)
class Adoption:
    """Priors that every question takes from ``date`` on, in place of the house's and of those adopted before."""

    date: date = column(Day(), "Day from which they are believed.", "{}")
    priors: str = column(PriorsText(), "What they are, as in a priors file.", _words)
    note: str = column(Text(2000, lines=True), "Anything worth keeping.", default="", metavar="TEXT")


def check_learned_before(adoption: Adoption) -> None:
    """BadValueError for priors that were learned from what nobody knew on the day of their adoption."""
    pooled = parse(adoption.priors).pooled
    if pooled is not None and adoption.date < pooled.on:
        raise BadValueError("date", adoption.date, f"{pooled.on}, as known on which they were learned, or later")
