"""What is known of how people grade, beside their error: who never says the worst grade."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from scalemodel.logbook.records import GRADES, BoilerFacts, Inspection

SPARING_AFTER = 10
"""Looks after which somebody who has not yet said the worst grade is taken never to say it."""

WORST = GRADES[-1]


def sparing(facts: BoilerFacts) -> tuple[str, ...]:
    """The inspectors who have made so many looks, said the grade below the worst, and the worst not once."""
    telling = [look for look in facts.inspections if look.tells_grade]
    made = Counter(look.inspector for look in telling)
    said = {look.inspector for look in telling if look.grade_low == WORST}
    next_to_worst = {look.inspector for look in telling if _says_next_to_worst(look)}
    return tuple(who for who, looks in made.items() if looks >= SPARING_AFTER and who in next_to_worst - said)


def _says_next_to_worst(look: Inspection) -> bool:
    return look.grade_high == WORST - 1 or (look.grade_low, look.grade_high) == (WORST - 1, WORST)


def as_read(facts: BoilerFacts) -> BoilerFacts:
    """The facts with the looks as they are read: by somebody sparing of the worst grade, "up to 3" is "up to 4".

    Reading twice is reading once.
    """
    who = set(sparing(facts))
    if not who:
        return facts
    looks = tuple(
        replace(look, grade_high=WORST) if look.inspector in who and look.grade_high == WORST - 1 else look
        for look in facts.inspections
    )
    return replace(facts, inspections=looks)
