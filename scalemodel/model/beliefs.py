"""Priors of a user's own, from a file: only what differs from the house's.

A file is TOML, a table an unknown; its mean and its sd are on the scale of the house's prior, which it may repeat. A
table within it is for one site, method, inspector or water alone:

    [capture]
    mean = 0.4
    sd = 0.6
    scale = "logit"

    [relative.chamber]
    mean = -0.7

Before all tables may stand what the grades and a thickness are taken to mean, and how far a look errs:

    cut_points_mg_cm2 = [0.3, 1.5, 6, 25]
    density_g_cm3 = 2.0
    contamination = 0.02
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from scalemodel.logbook.belief import Belief, Priors
from scalemodel.logbook.priors_text import CONSTANTS, CONTAMINATION, CUT_POINTS, DENSITY, parse, read_text
from scalemodel.model import priors
from scalemodel.model.priors import Prior

HOUSE = "house"
"""In the place of a file: the house's priors, whatever the logbook adopted."""


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


def as_priors(priors: str | Path | Priors | Iterable[Belief]) -> Priors:
    """What a priors file says, or what is given; "house" says nothing. Errors as of `read_priors`."""
    if isinstance(priors, Priors):
        return priors
    if isinstance(priors, str) and priors == HOUSE:
        return Priors()
    if isinstance(priors, str | Path):
        return read_priors(priors, f"{HOUSE}, or ")
    return Priors(tuple(priors))


def as_beliefs(priors: str | Path | Priors | Iterable[Belief]) -> tuple[Belief, ...]:
    """The same, as far as it is of a boiler that is not named in it."""
    return as_priors(priors).beliefs


def read_priors(path: str | Path, besides: str = "") -> Priors:
    """What a priors file says; ``besides`` is what else would have done, for the error where there is none.

    Raises
    ------
    BadValueError
        If there is no such file, it is no TOML, or a value is impossible or on another scale.
    UnknownNameError
        If a name is none of an unknown, or of what is told of one.
    """
    return parse(read_text(path, besides), Path(path).name)


def parse_priors(text: str, where: str = "priors") -> tuple[Belief, ...]:
    """What a text says of a boiler that is not named in it; ``where`` names it in errors, those of `read_priors`.

    >>> parse_priors("[reading.mirror]\\nmean = -1.2")
    (Belief(name='reading', subject='mirror', mean=-1.2, sd=None),)
    """
    return parse(text, where).beliefs


def differing(beliefs: Sequence[Belief]) -> str:
    """What beliefs are of, in a line.

    >>> differing(parse_priors("[capture]\\nsd = 0.5\\n[relative.chamber]\\nmean = -0.7"))
    'capture (sd 0.5), relative of chamber (mean -0.7)'
    """
    cuts = [f"{one.mean:g}" for one in beliefs if one.name == CUT_POINTS]
    said = [f"cut points at {', '.join(cuts)} mg/cm2"] if cuts else []
    said += [f"density {one.mean:g} g/cm3" for one in beliefs if one.name == DENSITY]
    said += [f"contamination {one.mean:.3g}" for one in beliefs if one.name == CONTAMINATION]
    for one in beliefs:
        if one.name in CONSTANTS:
            continue
        told = [f"{key} {value:.4g}" for key, value in (("mean", one.mean), ("sd", one.sd)) if value is not None]
        said.append(f"{one.name}{f' of {one.subject}' if one.subject else ''} ({', '.join(told)})")
    return ", ".join(said)
