"""Priors of a user's own, from a file: only what differs from the house's.

A file is TOML, a table an unknown; its mean and its sd are on the scale of the house's prior, which it may repeat. A
table within it is for one site, method, inspector or water alone:

    [capture]
    mean = 0.4
    sd = 0.6
    scale = "logit"

    [relative.chamber]
    mean = -0.7
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from scalemodel.errors import BadValueError, UnknownNameError
from scalemodel.logbook.belief import Belief
from scalemodel.model import priors
from scalemodel.model.priors import Prior

FIELDS = ("mean", "sd", "scale")

OF_SEVERAL = {"relative": "site", "reading": "method", "leniency": "inspector", "strength": "water"}
"""Unknowns that a boiler may have several of, and whose each is."""

FARTHEST_SDS, NARROWEST, WIDEST = 10.0, 0.05, 5.0
"""A mean may lie so many of the house's sds from the house's mean, an sd between so many times the house's."""

LARGEST_FILE = 200_000
"""Bytes."""


def house() -> dict[str, Prior]:
    """The house's prior of every unknown, by its name in a file."""
    return {name.lower(): value for name, value in vars(priors).items() if isinstance(value, Prior)}


def believed(beliefs: Sequence[Belief], name: str, subject: str = "") -> Prior:
    """The prior of an unknown: the house's, with what is believed of all of its kind, and of the subject alone.

    >>> believed((Belief("capture", "", 0.4, None),), "capture")[:2], believed((), "capture")[:2]
    ((0.4, 1.0), (0.0, 1.0))
    """
    prior = getattr(priors, name.upper())
    told = [one for one in beliefs if one.name == name and one.subject in ("", subject)]
    for one in sorted(told, key=lambda one: one.subject != ""):
        prior = prior._replace(
            mean=prior.mean if one.mean is None else one.mean, sd=prior.sd if one.sd is None else one.sd
        )
    return prior


def as_beliefs(priors: str | Path | Iterable[Belief]) -> tuple[Belief, ...]:
    """The beliefs in a priors file, or those given; errors as of `read_priors`."""
    return read_priors(priors) if isinstance(priors, str | Path) else tuple(priors)


def read_priors(path: str | Path) -> tuple[Belief, ...]:
    """The beliefs in a priors file, in the order of their names.

    Raises
    ------
    BadValueError
        If there is no such file, it is no TOML, or a value is impossible or on another scale.
    UnknownNameError
        If a name is none of an unknown, or of what is told of one.
    """
    place = Path(path)
    try:
        if place.stat().st_size > LARGEST_FILE:
            raise BadValueError("priors file", str(place), f"a file of at most {LARGEST_FILE} bytes")
        text = place.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        said = getattr(error, "strerror", None) or "no UTF-8 text"
        raise BadValueError("priors file", str(place), f"a TOML file that can be read ({said})") from error
    return parse_priors(text, place.name)


def parse_priors(text: str, where: str = "priors") -> tuple[Belief, ...]:
    """The beliefs that a text tells; ``where`` names it in errors, which are those of `read_priors`.

    >>> parse_priors("[reading.mirror]\\nmean = -1.2")
    (Belief(name='reading', subject='mirror', mean=-1.2, sd=None),)
    """
    import tomllib

    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadValueError("priors file", where, f"TOML, such as '[capture]' and 'mean = 0.4' ({error})") from error
    return tuple(sorted(_all_told(tables, where), key=lambda one: (one.name, one.subject)))


def _all_told(tables: dict, where: str) -> Iterator[Belief]:
    known = house()
    for name, table in tables.items():
        if name not in known:
            raise UnknownNameError("unknown", name, known, of=where)
        if not isinstance(table, dict):
            raise BadValueError(f"{where}, {name}", table, f"a table, [{name}], with a mean or an sd in it")
        own = {key: value for key, value in table.items() if not isinstance(value, dict)}
        if own or not table:
            yield _belief(name, "", own, known[name], where)
        for subject, inner in table.items():
            if isinstance(inner, dict):
                if name not in OF_SEVERAL:
                    raise BadValueError(f"{where}, {name}", subject, "a mean, an sd or a scale: a boiler has but one")
                yield _belief(name, subject, inner, known[name], where)


def _belief(name: str, subject: str, told: dict, prior: Prior, where: str) -> Belief:
    label = f"{where}, {name}" + (f" of {subject}" if subject else "")
    for key in told:
        if key not in FIELDS:
            raise UnknownNameError("field", key, FIELDS, of=label)
    if told.get("scale", prior.scale) != prior.scale:
        raise BadValueError(f"{label}, scale", told["scale"], f"{prior.scale!r}, on which mean and sd are told")
    if not {"mean", "sd"} & set(told):
        raise BadValueError(label, ", ".join(told) or "nothing", "a mean or an sd")
    reach = FARTHEST_SDS * prior.sd
    mean = _number(told.get("mean"), prior.mean - reach, prior.mean + reach, f"{label}, mean", prior.scale)
    sd = _number(told.get("sd"), NARROWEST * prior.sd, WIDEST * prior.sd, f"{label}, sd", prior.scale)
    return Belief(name, subject, mean, sd)


def _number(value: object, low: float, high: float, label: str, scale: str) -> float | None:
    if value is None:
        return None
    number = float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan
    if not low <= number <= high:
        raise BadValueError(label, value, f"a number from {low:.3g} to {high:.3g} [{scale}]")
    return number


def differing(beliefs: Sequence[Belief]) -> str:
    """What beliefs are of, in a line.

    >>> differing(parse_priors("[capture]\\nsd = 0.5\\n[relative.chamber]\\nmean = -0.7"))
    'capture (sd 0.5), relative of chamber (mean -0.7)'
    """
    said = []
    for one in beliefs:
        told = [f"{key} {value:.4g}" for key, value in (("mean", one.mean), ("sd", one.sd)) if value is not None]
        said.append(f"{one.name}{f' of {one.subject}' if one.subject else ''} ({', '.join(told)})")
    return ", ".join(said)
