"""What adoptions say of a boiler: the last up to a day is believed of it, under the names that are used now."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from scalemodel.logbook.adoption import Adoption
from scalemodel.logbook.belief import Adopted, Belief, Priors
from scalemodel.logbook.names import Names
from scalemodel.logbook.priors_text import parse

Dated = tuple[date, Priors]
"""Priors and the day of their adoption."""


def by_present_names(adoptions: Iterable[Adoption], names: Names) -> Iterator[Dated]:
    """What adoptions say, in their order; boilers and waters as they are called now."""
    for one in adoptions:
        said = parse(one.priors)
        boilers = {_now(names, "boiler", name): _renamed(told, names) for name, told in said.boilers.items()}
        yield one.date, Priors(_renamed(said.beliefs, names), boilers, said.pooled)


def adopted_by(adoptions: Sequence[Dated], boiler: str, as_of: date, names: Names) -> tuple[Adopted, ...]:
    """What was adopted up to a day, as far as it is of a boiler, its sites as they are called now."""
    return tuple(
        Adopted(day, _renamed(said.of(boiler), names, boiler), said.pooled, boiler in said.boilers)
        for day, said in adoptions
        if day <= as_of
    )


def _renamed(beliefs: Iterable[Belief], names: Names, boiler: str | None = None) -> tuple[Belief, ...]:
    """Beliefs under the present names of waters; with a ``boiler`` under those of its sites instead."""
    name, kind, owner = ("strength", "water", "") if boiler is None else ("relative", "site", boiler)
    return tuple(
        one._replace(subject=_now(names, kind, one.subject, owner)) if one.name == name and one.subject else one
        for one in beliefs
    )


def _now(names: Names, kind: str, name: str, boiler: str = "") -> str:
    later = names.now(kind, name, boiler)
    return name if later is None else later.called
