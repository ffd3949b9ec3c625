"""How to look inside safely, what each grade looks like, and how to record it."""

from __future__ import annotations

from dataclasses import dataclass

from scalemodel.descaling.cautions import LOOKING
from scalemodel.descaling.narrow_layout import Step, quoted
from scalemodel.logbook.records import METHODS, WALL, Boiler, Site
from scalemodel.model.grading import HOUSE_GRADING, Grading
from scalemodel.model.priors import GRADE_WORDS

HOW = (
    Step("Switch off, pull the plug or isolate it, and shut the water."),
    Step(
        "Let it cool below 40 C; that may take hours. Then open a valve or tap until nothing more hisses or drips: "
        "no pressure is left."
    ),
    Step(
        "For an open sight chamber or a lid that is enough: lift it and look at the same spot each time, in the same "
        "light. For the boiler's inside, drain it first."
    ),
    Step(
        "Use a lamp, and a mirror or a small camera where the eye does not reach. A camera is seldom waterproof, and "
        "never heatproof unless its maker says so: only into a drained, cold boiler. Count what you put in, and take "
        "it all out."
    ),
    Step(
        "Look at a dry surface if you can: water hides a haze. A glance through the water counts too, but errs more; "
        "record it as --method glance."
    ),
    Step("Before a descale and right after it: look at the same sites, and say --after-descale with the second look."),
    Step("Close it, fill it, look for leaks, and only then switch on."),
)
"""The steps of a look (common practice, no source)."""

RANGES = (
    "Grade what most of the surface shows, not the worst spot; put a spot in the note.",
    "Between two grades, or one here and one there: record the range, as 1-2. A range is better than a guess.",
    "Sure only of one side: 3+ means 3 or worse, 1- means 1 or better.",
    "Grade before you look at the last grade or at the forecast.",
)
"""How to grade when it is not plain."""


def grade_lines(grading: Grading = HOUSE_GRADING) -> tuple[str, ...]:
    """Each grade in words, with where it nominally begins.

    >>> grade_lines()[3]
    '3: a rough crust, metal hidden (from about 30 um, 6 mg/cm2)'
    """
    cuts = grading.cut_points_mg_cm2
    begins = ("", *(f" (from about {grading.thickness(cut):.4g} um, {cut:g} mg/cm2)" for cut in cuts))
    return tuple(
        f"{grade}: {words}{begin}" for grade, (words, begin) in enumerate(zip(GRADE_WORDS, begins, strict=True))
    )


@dataclass(frozen=True)
class Guide:
    """How to look inside, of one boiler or of any."""

    boiler: str | None
    cautions: tuple[str, ...]
    steps: tuple[Step, ...]
    grades: tuple[str, ...]
    ranges: tuple[str, ...]
    sites: tuple[str, ...]


def make_guide(boiler: Boiler | None = None, sites: tuple[Site, ...] = (), grading: Grading = HOUSE_GRADING) -> Guide:
    """The guide; with a boiler and its sites it names them and gives its own commands."""
    name = None if boiler is None else boiler.boiler
    called = "BOILER" if name is None else quoted(name)
    methods = f"{', '.join(METHODS[:-1])} or {METHODS[-1]}"
    command = (f"scalemodel add inspection {called}", "DATE GRADE", "--site SITE", "--method METHOD")
    record = Step(f"Record it at once: DATE as 2026-11-01, GRADE as 2 or 1-2, METHOD {methods}.", (command,))
    where = any_sites() if boiler is None else own_sites(boiler, sites)
    return Guide(name, LOOKING, (*HOW, record), grade_lines(grading), RANGES, where)


def any_sites() -> tuple[str, ...]:
    """Which sites are worth a name, for a boiler that is not in the logbook."""
    return (
        f"{WALL}: the boiler's wall. Every boiler has it, and answers are about it unless you mark another site as the "
        "reference.",
        "A site that is cheap to look at, such as an open sight chamber or the space under a lid: look often.",
        "The heating element: the hottest surface scales most. Look when the boiler is open anyway.",
        "Give each place a name (scalemodel new site BOILER NAME) and keep to it: its own habit is learned.",
    )


def own_sites(boiler: Boiler, sites: tuple[Site, ...]) -> tuple[str, ...]:
    """The sites of a boiler, the reference first, and what its threshold looks like."""
    marked = next((s.site for s in sites if s.reference), WALL)
    known = {WALL: Site(boiler.boiler, WALL), **{s.site: s for s in sites}}
    ordered = [known[marked], *(s for name, s in known.items() if name != marked)]
    said = [site_line(site, site.site == marked) for site in ordered]
    grade = boiler.threshold_grade
    said.append(f"The threshold of {boiler.boiler} is grade {grade}: {GRADE_WORDS[grade]}. Mind that edge most.")
    return tuple(said)


def site_line(site: Site, is_reference: bool) -> str:
    """A site: whether it is the reference, what its look costs, and its note."""
    facts = ["the reference: answers are about it"] if is_reference else []
    if site.look_cost is not None:
        facts.append(f"a look costs {site.look_cost:g}")
    if site.note:
        facts.append(" ".join(site.note.split()))
    return f"{site.site}: {'; '.join(facts)}." if facts else f"{site.site}."
