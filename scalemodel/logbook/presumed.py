"""What is taken for granted of a boiler's own records, in words, because nobody has said otherwise."""

from __future__ import annotations

from collections.abc import Sequence

from scalemodel.logbook.records import WALL, Boiler, BoilerFacts, Inspection, Use
from scalemodel.wording import Sentence


def presumed(facts: BoilerFacts) -> tuple[str, ...]:
    """What could hurt if it were not so, a sentence each: the start first.

    >>> from datetime import date
    >>> presumed(BoilerFacts(Boiler("hall", 12.0, 96.0, date(2025, 5, 24)), date(2026, 1, 1)))
    ('free of scale when installed on 2025-05-24: had it been used before, there would be more scale than this says',)
    """
    return (*start_words(facts.boiler), *drink_words(facts.uses), *graded_words(facts.boiler, facts.inspections))


def start_words(boiler: Boiler) -> tuple[str, ...]:
    """That the boiler is taken as clean at its start, if it is."""
    if boiler.start != "clean":
        return ()
    return (
        Sentence(
            "free of scale when installed on ",
            boiler.installed_on,
            ": had it been used before, there would be more scale than this says",
        ),
    )


def drink_words(uses: Sequence[Use]) -> tuple[str, ...]:
    """How much a drink is taken to be, if some were counted and nobody has said."""
    if not any(use.drinks_unsized for use in uses):
        return ()
    return (f"a drink of {Use.LITRES_PER_DRINK} L: nobody has said how much one is",)


def graded_words(boiler: Boiler, looks: Sequence[Inspection]) -> tuple[str, ...]:
    """That grades are of the whole surface, if there are some and nobody has said."""
    if boiler.graded is not None or not looks:
        return ()
    return ("grades and the threshold are of the surface as a whole: nobody has said that they are of its worst patch",)


def only_site(sites: Sequence[str], looked_at: Sequence[str]) -> str | None:
    """The site that a look without one is at; None where it must be named.

    The one looked at before if only one ever was; of a boiler that nobody has looked into its wall, if that is its
    only site.

    >>> only_site(["wall", "gauge"], ["gauge", "gauge"]), only_site(["wall"], []), only_site(["wall", "gauge"], [])
    ('gauge', 'wall', None)
    """
    seen = set(looked_at)
    if seen:
        return seen.pop() if len(seen) == 1 else None
    return WALL if list(sites) == [WALL] else None
