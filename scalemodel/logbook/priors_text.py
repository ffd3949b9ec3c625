"""Priors as a text of TOML: what a priors file or an adoption may say, and what it says.

A table an unknown; its mean and its sd are on the scale of the house's prior, which it may repeat. A table within it
is for one site, method, inspector or water alone. Before all tables stand, where they differ, the cut points of the
grades, the density of scale and the contamination of a look's law. ``[pooled]`` says from what the priors were learned,
and ``[boilers.NAME]`` holds, in the same form, the unknowns of one boiler, in place of all those outside.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from scalemodel.errors import BadValueError, UnknownNameError
from scalemodel.logbook.belief import Belief, Pooled, Priors
from scalemodel.logbook.field_types import Text, tidy_name
from scalemodel.logbook.records import GRADES


class Reach(NamedTuple):
    """What may be said of an unknown: on which scale, and from where to where its mean and its sd may lie."""

    scale: str
    mean: tuple[float, float]
    sd: tuple[float, float]


REACH = {
    "capture": Reach("logit", (-10.0, 10.0), (0.05, 5.0)),
    "activation": Reach("kJ/mol", (-120.0, 180.0), (0.75, 75.0)),
    "degassing": Reach("logit", (-8.85, 7.15), (0.04, 4.0)),
    "degassing_steam": Reach("logit", (-7.0, 9.0), (0.04, 4.0)),
    "irregularity": Reach("ln mg/cm2", (-8.2, 5.8), (0.035, 3.5)),
    "reading": Reach("ln", (-4.05, 1.95), (0.015, 1.5)),
    "reading_glance": Reach("ln", (-3.51, 2.49), (0.015, 1.5)),
    "leniency": Reach("ln", (-2.5, 2.5), (0.0125, 1.25)),
    "relative": Reach("ln", (-5.4, 4.6), (0.025, 2.5)),
    "patch": Reach("ln", (-3.31, 4.69), (0.02, 2.0)),
    "residue_full": Reach("logit", (-10.2, 5.8), (0.04, 4.0)),
    "residue_unseen": Reach("logit", (-11.0, 9.0), (0.05, 5.0)),
    "residue_partial": Reach("logit", (-8.4, 7.6), (0.04, 4.0)),
    "strength": Reach("sd", (-10.0, 10.0), (0.05, 5.0)),
    "floor": Reach("ln mg/L", (-9.31, 10.7), (0.05, 5.0)),
    "use": Reach("sd", (-10.0, 10.0), (0.05, 5.0)),
    "initial": Reach("ln mg/cm2", (-11.3, 12.7), (0.06, 6.0)),
}
"""By name: a mean up to ten of the house's sds from the house's, an sd from a twentieth to five times the house's."""

CUT_POINTS, DENSITY, CONTAMINATION = "cut_points_mg_cm2", "density_g_cm3", "contamination"

SINGLE = {DENSITY: (1.0, 2.95, "g/cm3"), CONTAMINATION: (0.0, 0.2, "")}
"""What is one number, and from where to where it may lie: froth to solid aragonite; of looks none to one in five that
are far off."""

CUTS = (0.01, 500.0)
"""Where a cut point may lie [mg/cm2]."""

CONSTANTS = (CUT_POINTS, DENSITY, CONTAMINATION)
"""What is told of the scale of a look rather than of an unknown; of every boiler alike."""

OF_SEVERAL = {"relative": "site", "reading": "method", "leniency": "inspector", "strength": "water"}
"""Unknowns that a boiler may have several of, and whose each is."""

POOLED, BOILERS = "pooled", "boilers"
"""Tables that are no unknown's."""

FIELDS = ("mean", "sd", "scale")

LARGEST = 1_000_000
"""Bytes of a file, and characters of an adoption: some two thousand boilers."""


@dataclass(frozen=True)
class PriorsText(Text):
    """A text of priors that can be read; an error says where in it."""

    cap: int = LARGEST
    lines: bool = True

    @property
    def allowed(self) -> str:
        return f"TOML as in a priors file, at most {self.cap} characters"

    def clean(self, value: object, field: str) -> str:
        text = super().clean(value, field)
        try:
            parse(text, field)
        except UnknownNameError as error:  # a cell's own, not one of the logbook's names
            raise BadValueError(field, error.given, f"another {error.kind}; {error.remedy}") from None
        return text


def read_text(path: str | Path, besides: str = "") -> str:
    """The text of a priors file; BadValueError if there is none that can be read, after what would do ``besides``."""
    place = Path(path)
    try:
        if place.stat().st_size > LARGEST:
            raise BadValueError("priors file", str(place), f"a file of at most {LARGEST} bytes")
        return place.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        said = getattr(error, "strerror", None) or "no UTF-8 text"
        raise BadValueError("priors file", str(place), f"{besides}a TOML file that can be read ({said})") from error


@lru_cache(maxsize=8)
def parse(text: str, where: str = "priors") -> Priors:
    """What a text says; ``where`` names it in errors. Of the latest texts it is kept: every question asks it again.

    >>> parse('[reading.mirror]\\nmean = -1.2').of("urn")
    (Belief(name='reading', subject='mirror', mean=-1.2, sd=None),)

    Raises
    ------
    BadValueError
        If it is no TOML, or a value is impossible or on another scale.
    UnknownNameError
        If a name is none of an unknown, or of what is told of one.
    """
    import tomllib

    try:
        tables = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BadValueError("priors file", where, f"TOML, such as '[capture]' and 'mean = 0.4' ({error})") from error
    pooled, boilers = tables.pop(POOLED, None), tables.pop(BOILERS, {})
    if not isinstance(boilers, dict):
        raise BadValueError(f"{where}, {BOILERS}", boilers, f"a table a boiler, [{BOILERS}.NAME]")
    beliefs = _in_order((*_constants(tables, where), *_all_told(tables, where)))
    constants = constants_in(beliefs)
    alone = {tidy_name(name): _of_a_boiler(name, table, where, constants) for name, table in boilers.items()}
    return Priors(beliefs, alone, None if pooled is None else _pooled(pooled, f"{where}, {POOLED}"))


def _of_a_boiler(name: str, table: object, where: str, constants: Sequence[Belief]) -> tuple[Belief, ...]:
    label = f"{where}, {BOILERS}, {name}"
    if not isinstance(table, dict):
        raise BadValueError(label, table, f"a table, [{BOILERS}.NAME]")
    return _in_order((*constants, *_all_told(table, label)))


def _in_order(told: Iterable[Belief]) -> tuple[Belief, ...]:
    return tuple(sorted(told, key=lambda one: (one.name, one.subject)))


def constants_in(beliefs: Iterable[Belief]) -> tuple[Belief, ...]:
    """What beliefs tell of the scale of a look: the means of `CONSTANTS`, a cut point by its grade."""
    return tuple(one for one in beliefs if one.name in CONSTANTS)


def _constants(tables: dict, where: str) -> Iterator[Belief]:
    """The constants of a text, taken out of its tables."""
    if CUT_POINTS in tables:
        label, cuts = f"{where}, {CUT_POINTS}", tables.pop(CUT_POINTS)
        count, allowed = GRADES[-1], f"{GRADES[-1]} numbers that rise, such as [0.3, 1.5, 6, 25]"
        if not isinstance(cuts, list) or len(cuts) != count:
            raise BadValueError(label, cuts, allowed)
        held = [number(cut, *CUTS, label, "mg/cm2") for cut in cuts]
        if any(low >= high for low, high in pairwise(held)):
            raise BadValueError(label, cuts, allowed)
        yield from (Belief(CUT_POINTS, str(grade), cut, None) for grade, cut in enumerate(held, start=1))
    for name, reach in SINGLE.items():
        if name in tables:
            low, high, unit = reach
            yield Belief(name, "", number(tables.pop(name), low, high, f"{where}, {name}", unit), None)


def _all_told(tables: dict, where: str) -> Iterator[Belief]:
    for name, table in tables.items():
        if name not in REACH:
            raise UnknownNameError("unknown", name, (*REACH, *CONSTANTS), of=where)
        if not isinstance(table, dict):
            raise BadValueError(f"{where}, {name}", table, f"a table, [{name}], with a mean or an sd in it")
        own = {key: value for key, value in table.items() if not isinstance(value, dict)}
        if own or not table:
            yield _belief(name, "", own, where)
        for subject, inner in table.items():
            if isinstance(inner, dict):
                if name not in OF_SEVERAL:
                    raise BadValueError(f"{where}, {name}", subject, "a mean, an sd or a scale: a boiler has but one")
                yield _belief(name, subject, inner, where)


def _belief(name: str, subject: str, told: dict, where: str) -> Belief:
    label, reach = f"{where}, {name}" + (f" of {subject}" if subject else ""), REACH[name]
    for key in told:
        if key not in FIELDS:
            raise UnknownNameError("field", key, FIELDS, of=label)
    if told.get("scale", reach.scale) != reach.scale:
        raise BadValueError(f"{label}, scale", told["scale"], f"{reach.scale!r}, on which mean and sd are told")
    if not {"mean", "sd"} & set(told):
        raise BadValueError(label, ", ".join(told) or "nothing", "a mean or an sd")
    mean, sd = (
        None if told.get(key) is None else number(told[key], *getattr(reach, key), f"{label}, {key}", reach.scale)
        for key in ("mean", "sd")
    )
    return Belief(name, subject, mean, sd)


def number(value: object, low: float, high: float, label: str, unit: str) -> float:
    """A number of a text; BadValueError for anything else, or one outside ``low`` to ``high``."""
    held = float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan
    if not low <= held <= high:
        raise BadValueError(label, value, f"a number from {low:.3g} to {high:.3g}" + (f" [{unit}]" if unit else ""))
    return held


def _pooled(table: object, label: str) -> Pooled:
    if not isinstance(table, dict) or set(table) != set(Pooled._fields):
        said = ", ".join(table) if isinstance(table, dict) else table
        raise BadValueError(label, said or "nothing", f"a table with {', '.join(Pooled._fields)}")
    day = table["on"]
    if not isinstance(day, date) or isinstance(day, datetime):
        raise BadValueError(f"{label}, on", day, "a day, such as 2026-11-01 without quotes")
    counts = []
    for key in ("boilers", "looks"):
        if not isinstance(table[key], int) or isinstance(table[key], bool) or table[key] < 1:
            raise BadValueError(f"{label}, {key}", table[key], "a whole number from 1 on")
        counts.append(table[key])
    return Pooled(day, *counts)


def of_what(beliefs: Sequence[Belief]) -> str:
    """What beliefs are of, without their figures.

    >>> of_what(parse("[capture]\\nsd = 0.5\\n[relative.chamber]\\nmean = -0.7").beliefs)
    'capture, relative of chamber'
    """
    names = (
        one.name if one.name in CONSTANTS or not one.subject else f"{one.name} of {one.subject}" for one in beliefs
    )
    return ", ".join(dict.fromkeys(names))
