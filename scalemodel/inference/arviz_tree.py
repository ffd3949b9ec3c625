"""A posterior as ArviZ has it: groups of named arrays with their units, meanings and dates, in either of its versions.

ArviZ before 1.0 holds them as its own ``InferenceData``, later ones as an xarray ``DataTree``; PyMC has no part in it.
"""

from __future__ import annotations

import unicodedata
import warnings
from collections.abc import Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING, Protocol

import numpy as np

from scalemodel import __version__
from scalemodel.errors import MissingPackageError
from scalemodel.inference.look_probabilities import Draws, grade_probabilities_at
from scalemodel.model.beliefs import differing
from scalemodel.model.priors import Prior
from scalemodel.model.unknowns import Unknown

if TYPE_CHECKING:
    from scalemodel.inference.smc import SmcInfo
    from scalemodel.model.target import BoilerTarget

DEPOSIT = "deposit"
TAKEN = (DEPOSIT, "grade", "state", "look", "chain", "draw")
"""Names of variables and dimensions that are no unknown's."""

SCALES = {"logit": "1", "ln": "1", "sd": "1"}
"""The unit of what is on a scale whose name holds none."""


class Drawn(Draws, Protocol):
    """What is told of a posterior (`scalemodel.inference.posterior.Posterior`)."""

    info: SmcInfo
    seed: int
    populations: int

    @property
    def particles(self) -> int: ...

    def fresh(self, purpose: str) -> np.random.Generator: ...


def arviz_packages():
    """ArviZ and xarray; MissingPackageError, with the command that installs them, where they are not there."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import arviz
            import xarray
    except ImportError as missing:
        raise MissingPackageError("posterior draws for ArviZ need", missing.name or "ArviZ", "audit") from missing
    return arviz, xarray


def python_names(unknowns: Iterable[Unknown]) -> dict[Unknown, str]:
    """A name that Python can take for every unknown: what is printed of it, ``_`` for whatever a name cannot hold.

    Where two come to the same the later has ``_2`` behind it, or the next number that is free.

    >>> from scalemodel.model.unknowns import CAPTURE, leniency, relative
    >>> list(python_names([CAPTURE, relative("chamber"), leniency("J. S."), leniency("J S"), leniency("")]).values())
    ['capture', 'relative_chamber', 'leniency_J_S', 'leniency_J_S_2', 'leniency']
    """
    names, taken = {}, set(TAKEN)
    for unknown in unknowns:
        folded = unicodedata.normalize("NFKC", str(unknown))
        kept = "".join(sign if f"a{sign}".isidentifier() else " " for sign in folded)
        plain = name = "_".join(kept.split())
        number = 1
        while name in taken:
            number += 1
            name = f"{plain}_{number}"
        taken.add(name)
        names[unknown] = name
    return names


def to_arviz(posterior: Drawn):
    """The posterior as ArviZ's InferenceData, or a DataTree from version 1 on; see `Posterior.to_arviz`."""
    arviz, xarray = arviz_packages()
    groups = {
        name: make(posterior, xarray) for name, make in GROUPS.items() if name not in OF_LOOKS or _looks(posterior)
    }
    told = _about(posterior)
    for group in groups.values():
        group.attrs.update(told)
    if "InferenceData" in vars(arviz):  # later versions warn whoever asks
        return arviz.InferenceData(attrs=told, **groups)
    return xarray.DataTree.from_dict({"/": xarray.Dataset(attrs=told), **groups})


def _about(posterior: Drawn) -> dict[str, str | int]:
    """Attributes of every group: whose it is, of which day, and how it was drawn."""
    facts = posterior.model.facts
    return {
        "boiler": facts.boiler.boiler,
        "as_of": str(facts.as_of),
        "seed": posterior.seed,
        "particles": posterior.particles,
        "populations": posterior.populations,
        "priors": differing(facts.beliefs) or "the house's",
        "inference_library": "scalemodel",
        "inference_library_version": __version__,
        "version": __version__,
    }


def _looks(posterior: Drawn) -> list:
    return [look for _, look in posterior.model.timeline.looks]


def _chains(posterior: Drawn, values: np.ndarray) -> np.ndarray:
    """Draws (..., C P) as (C, P, ...)."""
    apart = values.reshape(*values.shape[:-1], posterior.populations, -1)
    return np.moveaxis(apart, (-2, -1), (0, 1))


def _days(days: Sequence[date]) -> np.ndarray:
    return np.array([np.datetime64(day, "ns") for day in days], dtype="datetime64[ns]")


def _coords(posterior: Drawn, chains: int, draws: int, *dims: str) -> dict[str, object]:
    """Places along chains and draws, and of states and looks, with their dates and what else tells them apart."""
    coords: dict[str, object] = {"chain": np.arange(chains), "draw": np.arange(draws)} if chains else {}
    if "state" in dims:
        dates = posterior.model.timeline.state_dates
        coords |= {"state": np.arange(len(dates)), "state_date": ("state", _days(dates))}
    if "look" in dims:
        looks = _looks(posterior)
        coords |= {"look": np.arange(len(looks)), "look_date": ("look", _days([look.date for look in looks]))}
        coords |= {
            f"look_{name}": ("look", np.array([getattr(look, name) for look in looks], dtype=str))
            for name in ("site", "method", "inspector")
        }
        coords["look_state"] = ("look", np.array([state for state, _ in posterior.model.timeline.looks]))
    return coords


def _of_unknown(unknown: Unknown, prior: Prior) -> dict[str, str | float]:
    scale, _, unit = prior.scale.partition(" ")
    told = {
        "scale": scale if unit or scale in SCALES else "linear",
        "units": unit or SCALES.get(scale, scale),
        "meaning": prior.meaning,
        "unknown": str(unknown),
        "kind": str(unknown.kind),
        "prior_mean": float(prior.mean),
        "prior_sd": float(prior.sd),
    }
    return told | {name: value for name in ("subject", "place") if (value := getattr(unknown, name)) is not None}


def _of_particles(posterior: Drawn, xarray, model: BoilerTarget, x: np.ndarray):
    """Every unknown on its prior's scale, and the deposit at every state, of particles x (dim, C P)."""
    chain = ("chain", "draw")
    held = {
        name: (chain, _chains(posterior, model.value(unknown, x)), _of_unknown(unknown, model.unknowns[unknown]))
        for unknown, name in python_names(model.unknowns).items()
    }
    meaning = {"units": "mg/cm2", "meaning": f"deposit on the reference surface, {model.facts.reference_site}"}
    deposits = _chains(posterior, model.deposits(x))
    held[DEPOSIT] = ((*chain, "state"), deposits, meaning)
    return xarray.Dataset(held, _coords(posterior, *deposits.shape[:2], "state"))


def _posterior(posterior: Drawn, xarray):
    return _of_particles(posterior, xarray, posterior.model, posterior.x)


def _prior(posterior: Drawn, xarray):
    x = posterior.model.draw_prior(posterior.fresh("prior alone, as a table"), posterior.count)
    return _of_particles(posterior, xarray, posterior.model, x)


def _predictive(posterior: Drawn, xarray):
    """A grade drawn for every look and draw."""
    rng, drawn = posterior.fresh("grades foretold"), []
    for index in range(len(_looks(posterior))):
        steps = np.cumsum(grade_probabilities_at(posterior, index), axis=0)[:-1]
        drawn.append((rng.random(posterior.count) > steps).sum(axis=0))
    grades = _chains(posterior, np.array(drawn))
    told = {"units": "grade", "meaning": "the grade that the same look may show once more"}
    return xarray.Dataset(
        {"grade": (("chain", "draw", "look"), grades, told)}, _coords(posterior, *grades.shape[:2], "look")
    )


def _observed(posterior: Drawn, xarray):
    looks = _looks(posterior)
    held = {
        name: ("look", np.array([getattr(look, name) for look in looks]), {"units": "grade", "meaning": meaning})
        for name, meaning in (
            ("grade_low", "the lowest grade that it may have been"),
            ("grade_high", "the highest grade that it may have been"),
        )
    }
    thickness = np.array([np.nan if look.thickness_um is None else look.thickness_um for look in looks])
    held["thickness_um"] = ("look", thickness, {"units": "um", "meaning": "thickness, where it was measured"})
    return xarray.Dataset(held, _coords(posterior, 0, 0, "look"))


def _log_likelihood(posterior: Drawn, xarray):
    """Of the grades of every look by itself; 0 for one that says nothing."""
    model, x = posterior.model, posterior.x
    chances = model.looks.probabilities(model.parameters(model.split(x)[0]).looking, model.surfaces(x))
    every = np.zeros((len(_looks(posterior)), posterior.count))
    telling = [index for index, look in enumerate(_looks(posterior)) if look.tells_grade]
    with np.errstate(divide="ignore"):
        every[telling] = np.log(chances)
    logs = _chains(posterior, every)
    told = {"units": "1", "meaning": "log probability of the grades of a look"}
    return xarray.Dataset(
        {"grade": (("chain", "draw", "look"), logs, told)}, _coords(posterior, *logs.shape[:2], "look")
    )


def _sample_stats(posterior: Drawn, xarray):
    """The target at every draw, what each population says of the evidence, and how the sampler went as attributes."""
    found, chain = posterior.model.evaluate(posterior.x), ("chain", "draw")
    normal = -0.5 * np.sum(posterior.x**2, axis=0)
    lp = _chains(posterior, found.log_likelihood + found.log_prior_ratio + normal)
    likelihood = _chains(posterior, found.log_likelihood)
    held = {
        "lp": (chain, lp, {"units": "1", "meaning": "log density of the draw, but for a constant"}),
        "log_likelihood": (chain, likelihood, {"units": "1", "meaning": "log likelihood of all records"}),
        "log_evidence": ("chain", np.asarray(posterior.info.log_evidence), {"units": "1", "meaning": "of all records"}),
    }
    told = {name: value for name, value in posterior.info._asdict().items() if name != "log_evidence"}
    attrs = {name: int(value) if isinstance(value, bool | np.bool_) else value for name, value in told.items()}
    return xarray.Dataset(held, _coords(posterior, *lp.shape), attrs)


GROUPS = {
    "posterior": _posterior,
    "prior": _prior,
    "posterior_predictive": _predictive,
    "observed_data": _observed,
    "log_likelihood": _log_likelihood,
    "sample_stats": _sample_stats,
}
OF_LOOKS = ("posterior_predictive", "observed_data", "log_likelihood")
"""Groups that there are none of without a look."""
