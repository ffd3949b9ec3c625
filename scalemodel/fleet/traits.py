"""What boilers have in common: which of a boiler's unknowns are one of a population's, and its draws of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from scalemodel.fleet.population import Trait
from scalemodel.inference.posterior import solve
from scalemodel.logbook.belief import Belief
from scalemodel.logbook.records import BoilerFacts
from scalemodel.model.beliefs import believed
from scalemodel.model.boiler import BoilerModel
from scalemodel.model.unknowns import Kind, Unknown, belief_key, site_of

Key = tuple[str, str]
"""An unknown of the population, by its name and subject in a priors file."""

LOG_NORMAL_AT_0 = -0.5 * float(np.log(2.0 * np.pi))

ALONE = {"activation", "use", "initial", "patch"}
"""What every boiler has of its own, or none tells enough of."""

SHARED = ("strength", "leniency")
"""Of a water, and of an inspector: one for all boilers that have it."""


class Drawn(NamedTuple):
    """A boiler solved by itself, small enough to send.

    Attributes
    ----------
    keys : tuple of Key, one a row of values
    values : array (C, S), on each prior's scale
    log_proposals : array (C, S)
        Log density of the prior that each was solved under.
    looks : dict of Key to int
        Looks that bear on each.
    """

    keys: tuple[Key, ...]
    values: np.ndarray
    log_proposals: np.ndarray
    looks: dict[Key, int]


def tells(facts: BoilerFacts) -> bool:
    """Whether a boiler has anything to say of a population: a look that tells, or scale that was weighed."""
    return any(look.tells for look in facts.inspections) or any(
        one.scale_recovered_g is not None for one in facts.descales
    )


def key_of_unknown(unknown: Unknown, model: BoilerModel) -> Key | None:
    """Which of the population's an unknown of a boiler is; None for what is the boiler's own affair.

    A site whose relative deposit is on record, a look by nobody named, and all that moves in time are none.
    """
    facts = model.facts
    key = belief_key(unknown, facts, model.timeline)
    if key is None or key[0] in ALONE or key == ("leniency", ""):
        return None
    site = site_of(facts, key[1]) if unknown.kind is Kind.RELATIVE else None
    own = site is not None and (site.relative_deposit, site.relative_log_sd) != (None, None)
    return None if own else key


def keys_of(model: BoilerModel) -> tuple[Key, ...]:
    """Which of the population's the unknowns of a boiler are."""
    found = (key_of_unknown(unknown, model) for unknown in model.unknowns)
    return tuple(key for key in found if key is not None)


def traits_of(each: Iterable[Iterable[Key]], base: Sequence[Belief]) -> tuple[Trait, ...]:
    """A population's unknowns, from the keys of each boiler: all that some boiler has, and what is shared by two.

    ``base`` is what is believed in place of the house.
    """
    bearers: dict[Key, int] = {}
    for keys in each:
        for key in dict.fromkeys(keys):
            bearers[key] = bearers.get(key, 0) + 1
    return tuple(
        Trait(*key, believed(base, *key), key[0] in SHARED)
        for key in sorted(bearers)
        if key[0] not in SHARED or bearers[key] > 1
    )


def bearing_looks(key: Key, facts: BoilerFacts) -> int:
    """Looks of a boiler that bear on one of the population's unknowns."""
    name, subject = key
    whose = {"reading": "method", "relative": "site", "leniency": "inspector"}.get(name)
    told = [look for look in facts.inspections if look.tells]
    if name == "reading_glance":
        return sum(look.method == "glance" for look in told)
    return len(told) if whose is None else sum(getattr(look, whose) == subject for look in told)


def drawn(facts: BoilerFacts, seed: int, particles: int, most: int) -> Iterator[tuple[str, Drawn]]:
    """Solve a boiler under the beliefs that its facts carry, and keep at most ``most`` draws: a job of one part."""
    posterior = solve(facts, seed, particles)
    kept = posterior.thinned(most)
    keys, values, log_proposals = [], [], []
    for row, (unknown, prior) in enumerate(posterior.model.unknowns.items()):
        key = key_of_unknown(unknown, posterior.model)
        if key is not None:
            u = posterior.x[row, kept]
            keys.append(key)
            values.append(prior.value(u))
            log_proposals.append(LOG_NORMAL_AT_0 - 0.5 * u * u - np.log(prior.slope(u)))
    looks = {key: bearing_looks(key, facts) for key in dict.fromkeys(keys)}
    yield "drawn", Drawn(tuple(keys), np.array(values), np.array(log_proposals), looks)
