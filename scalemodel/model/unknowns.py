"""What is unknown of a boiler: a key of kind and subject, the name that is printed of it, and its prior."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from scalemodel.errors import UnknownNameError
from scalemodel.logbook.records import METHODS, WALL, WORST_PATCH, BoilerFacts, Descale, Inspection, Site
from scalemodel.model.beliefs import believed
from scalemodel.model.priors import Prior
from scalemodel.model.timeline import Timeline
from scalemodel.model.wandering import Wandering, step_prior


class Kind(StrEnum):
    """The kinds of unknown, each with the word that is printed of it."""

    CAPTURE = "capture"
    ACTIVATION = "activation"
    DEGASSING = "degassing"
    DISPERSION = "irregularity"
    FLOOR = "floor"
    INITIAL = "initial"
    USE = "use"
    CONCENTRATION = "strength"
    START = "start"
    STEP = "step"
    READING = "reading"
    LENIENCY = "leniency"
    RELATIVE = "relative"
    PATCH = "patch"
    RESIDUE = "residue"
    SITE_RESIDUE = "site residue"


class Unknown(NamedTuple):
    """One unknown: its kind, whose it is (None where the boiler has but one of the kind), and which of those.

    >>> str(CAPTURE), str(leniency("anna")), str(residue(0))
    ('capture', 'leniency anna', 'residue 0')
    """

    kind: Kind
    subject: str | int | None = None
    place: int | None = None

    def __str__(self) -> str:
        return " ".join(str(part) for part in self if part is not None)


CAPTURE, ACTIVATION, DEGASSING = Unknown(Kind.CAPTURE), Unknown(Kind.ACTIVATION), Unknown(Kind.DEGASSING)
DISPERSION, FLOOR = Unknown(Kind.DISPERSION), Unknown(Kind.FLOOR)
INITIAL, USE = Unknown(Kind.INITIAL), Unknown(Kind.USE)
PATCH = Unknown(Kind.PATCH)
"""The worst patch of a surface against the whole of it, where that is what grades are of."""

NEXT_RESIDUE = Unknown(Kind.RESIDUE, "of the next full descale")
"""What a full descale to come leaves; no record bears on it."""


def concentration(water: str) -> Unknown:
    """How much stronger a water is than its tests say."""
    return Unknown(Kind.CONCENTRATION, water)


def start(water: str) -> Unknown:
    """Where a water's concentration stood on the day of its first test, against the mean of all."""
    return Unknown(Kind.START, water)


def step(water: str, place: int) -> Unknown:
    """How a water's concentration moved from one knot of its path to the next."""
    return Unknown(Kind.STEP, water, place)


def reading(method: str) -> Unknown:
    """The reading error of a method."""
    return Unknown(Kind.READING, method)


def leniency(inspector: str) -> Unknown:
    """An inspector's shift of every cut point."""
    return Unknown(Kind.LENIENCY, inspector)


def relative(site: str) -> Unknown:
    """A site's deposit against the reference surface."""
    return Unknown(Kind.RELATIVE, site)


def residue(descale: int) -> Unknown:
    """What a descale left, by its place in the timeline."""
    return Unknown(Kind.RESIDUE, descale)


def site_residue(site: str, descale: int) -> Unknown:
    """What a descale left at a site with a surface of its own, by its place in the timeline."""
    return Unknown(Kind.SITE_RESIDUE, site, descale)


def own_surfaces(facts: BoilerFacts, timeline: Timeline) -> tuple[str, ...]:
    """The sites that were looked at after a descale, the reference surface apart.

    A descale need not clean every site alike, so each of these has a deposit, and residues, of its own. Before the
    first descale, and where nobody looked after one, a site carries its share of what the reference surface does.
    """
    first = min((state for state, _ in timeline.descales), default=None)
    seen = (look.site for state, look in timeline.looks if first is not None and state > first)
    return tuple(site for site in dict.fromkeys(seen) if site != facts.reference_site)


def looks_before_next(facts: BoilerFacts, descale: Descale) -> Iterator[Inspection]:
    """The looks between a descale and the next: of its own day those after it, of the next one's those before that."""
    until = min((one.date for one in facts.descales if one.date > descale.date), default=date.max)
    for look in facts.inspections:
        if look.date == descale.date:
            after = look.after_descale
        else:
            after = look.date < until or not look.after_descale
        if after and descale.date <= look.date <= until:
            yield look


def is_settled(facts: BoilerFacts, descale: Descale) -> bool:
    """Whether somebody looked at the reference surface between a descale and the next, or weighed what came off."""
    return descale.scale_recovered_g is not None or any(
        look.site == facts.reference_site and look.tells for look in looks_before_next(facts, descale)
    )


def find_unknowns(facts: BoilerFacts, timeline: Timeline) -> dict[Unknown, Prior]:
    """Every unknown on which some record bears, with its prior, in the order of the rows of u."""
    found = [CAPTURE, ACTIVATION, DEGASSING, DISPERSION, FLOOR]
    if facts.boiler.start == "unknown":
        found.append(INITIAL)
    if timeline.planned_l.any():
        found.append(USE)
    for water, path in timeline.paths.items():
        found.append(concentration(water))
        if path.readings:
            found.append(start(water))
        found += (step(water, place) for place in range(len(path.years)))
    for _, look in timeline.looks:
        found += [reading(look.method), leniency(look.inspector)]
        if look.site != facts.reference_site:
            found.append(relative(look.site))
    if timeline.looks and facts.boiler.graded == WORST_PATCH:
        found.append(PATCH)
    found += map(residue, range(len(timeline.descales)))
    for site in own_surfaces(facts, timeline):
        found += (site_residue(site, descale) for descale in range(len(timeline.descales)))
    return {unknown: prior_of(unknown, facts, timeline) for unknown in dict.fromkeys(found)}


def all_unknowns(facts: BoilerFacts, timeline: Timeline) -> tuple[Unknown, ...]:
    """Every unknown of this boiler, those on which no record bears behind the others."""
    found = [*find_unknowns(facts, timeline), *OF_EVERY_BOILER]
    found += [concentration(one.water) for one in facts.waters]
    found += map(reading, METHODS)
    found += [relative(site) for site in (WALL, *(one.site for one in facts.sites)) if site != facts.reference_site]
    if facts.boiler.graded == WORST_PATCH:
        found.append(PATCH)
    return tuple(dict.fromkeys(found))


def find_unknown(given: Unknown | str, facts: BoilerFacts, timeline: Timeline) -> Unknown:
    """The unknown of this boiler that is meant, by its key or by what is printed of it.

    Raises
    ------
    UnknownNameError
        If the boiler has no such unknown.
    """
    every = all_unknowns(facts, timeline)
    if isinstance(given, Unknown):
        found = given if given in every else None
    else:
        found = next((one for one in every if str(one).strip() == str(given).strip()), None)
    if found is None:
        raise UnknownNameError("unknown", str(given), map(str, every), of=facts.boiler.boiler)
    return found


OF_EVERY_BOILER = {
    CAPTURE: "capture",
    ACTIVATION: "activation",
    DISPERSION: "irregularity",
    FLOOR: "floor",
    USE: "use",
    NEXT_RESIDUE: "residue_full",
}
"""Unknowns that every boiler has, and the name of their prior."""


def belief_key(unknown: Unknown, facts: BoilerFacts, timeline: Timeline) -> tuple[str, str] | None:
    """What the prior of an unknown of this boiler is called in a priors file, and whose it is there.

    None for what the boiler has not, and for how its waters move, of which there is no belief but the house's.
    """
    if unknown in OF_EVERY_BOILER:
        return OF_EVERY_BOILER[unknown], ""
    sites = {WALL, *(s.site for s in facts.sites)} - {facts.reference_site}
    match unknown:
        case Unknown(Kind.DEGASSING, None):  # that of a steam boiler where any water leaves as steam
            return ("degassing_steam" if facts.boiler.steam_share > 0.0 else "degassing"), ""
        case Unknown(Kind.PATCH, None) if facts.boiler.graded == WORST_PATCH:
            return "patch", ""
        case Unknown(Kind.INITIAL, None) if facts.boiler.start == "unknown":
            return "initial", ""
        case Unknown(Kind.CONCENTRATION, water) if water in {w.water for w in facts.waters}:
            return "strength", water
        case Unknown(Kind.LENIENCY, str(inspector)):
            return "leniency", inspector
        case Unknown(Kind.READING, method) if method in METHODS:  # a glance through water errs more than the others
            return ("reading_glance", "") if method == "glance" else ("reading", method)
        case Unknown(Kind.RELATIVE, site) if site in sites:
            return "relative", site
    return _residue_key(unknown, facts, timeline)


def _residue_key(unknown: Unknown, facts: BoilerFacts, timeline: Timeline) -> tuple[str, str] | None:
    """The same of what descales left: a full one where nobody looked at the reference surface is partly known."""
    match unknown:
        case Unknown(Kind.RESIDUE, int(index)) if 0 <= index < len(timeline.descales):
            descale = timeline.descales[index][1]
            unseen = descale.scope == "full" and not is_settled(facts, descale)
            return ("residue_unseen" if unseen else f"residue_{descale.scope}"), ""
        case Unknown(Kind.SITE_RESIDUE, str(site), int(index)) if 0 <= index < len(timeline.descales):
            if site in own_surfaces(facts, timeline):
                return f"residue_{timeline.descales[index][1].scope}", ""
    return None


def prior_of(unknown: Unknown, facts: BoilerFacts, timeline: Timeline) -> Prior:
    """The prior of an unknown of this boiler, whether a record bears on it or not.

    Raises
    ------
    UnknownNameError
        If the boiler has no such unknown.
    """
    match unknown:
        case Unknown(Kind.START, water) if water in timeline.paths and timeline.paths[water].readings:
            return start_prior(timeline.paths[water])
        case Unknown(Kind.STEP, water, int(place)) if 0 <= place < len(_years(timeline, water)):
            return step_prior(_years(timeline, water)[place])
    key = belief_key(unknown, facts, timeline)
    if key is None:
        known = map(str, find_unknowns(facts, timeline))
        raise UnknownNameError("unknown", str(unknown), known, of=facts.boiler.boiler)
    prior = believed(facts.beliefs, *key)
    return on_record(prior, site_of(facts, key[1])) if unknown.kind is Kind.RELATIVE else prior


def site_of(facts: BoilerFacts, name: str) -> Site | None:
    """The record of a site, if there is one."""
    return next((one for one in facts.sites if one.site == name), None)


def _years(timeline: Timeline, water: str | int | None) -> tuple[float, ...]:
    return timeline.paths[water].years if water in timeline.paths else ()


def start_prior(path: Wandering) -> Prior:
    """Where a path stands at its first test: what that test says, within what it repeats to [ln]."""
    return Prior(path.start.log_ratio, path.start.log_sd, "ln", "a water's concentration at its first test")


def on_record(prior: Prior, site: Site | None) -> Prior:
    """A prior of ln r, with what is on record of the site in its place."""
    if site is None:
        return prior
    mean = prior.mean if site.relative_deposit is None else float(np.log(site.relative_deposit))
    return prior._replace(mean=mean, sd=prior.sd if site.relative_log_sd is None else site.relative_log_sd)
