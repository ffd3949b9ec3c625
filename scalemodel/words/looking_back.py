"""Hindsight in words: one sentence first, then what was foretold of each look and what was seen."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp
from typing import TYPE_CHECKING

from scalemodel.decision.sequential import FEWEST, RATE
from scalemodel.wording import counted, figure, percent
from scalemodel.words.change import ASKED, change_words, odds_words, watch_words

if TYPE_CHECKING:
    from datetime import date

    from scalemodel.decision.change import Change
    from scalemodel.validation.hindsight import Hindsight, LookBack
    from scalemodel.validation.hindsight_fleet import FleetHindsight, Pooled

LOOK_BACK_TITLES = ("date", "site", "seen", "0", "1", "2", "3", "4", "how surprising", "date then given")
SCORE_TITLES = ("foretold by", "chance of what was seen")
RISK_TITLES = ("stated chance", "looks", "mean stated", "showed it")
WEIGHED_TITLES = ("date", "weighed, g", "foretold, g", "eight in ten", "how surprising")
POOL_TITLES = ("pool", "boilers", "looks", "what they show")
RIVALS = {
    "model": "the model",
    "last_grade": "the last grade again",
    "litres": "litres x meter reading",
    "prior": "the prior alone",
}
"""The parts of a score, in words."""


def hindsight_sentence(found: Hindsight) -> str:
    """What hindsight shows, in one sentence, the boiler not named."""
    if not found.looks:
        return "no look could be foretold: there is none on record before which use and a test of the water were known."
    right = sum(one.as_foretold for one in found.looks)
    begun = f"{right} of {counted(len(found.looks), 'look')} were as foretold"
    if len(found.looks) == 1:
        begun = f"the one look was {'' if right else 'not '}as foretold"
    if found.change is not None:
        return f"{begun}; {change_words(found.change, found.as_of, 'they')}: {ASKED}"
    return f"{begun}; {watch_words(len(found.looks))}."


def hindsight_headline(found: Hindsight) -> str:
    """The same with the boiler's name before it."""
    return f"{found.boiler}: {hindsight_sentence(found)}"


def surprise_words(one: LookBack) -> str:
    """How surprising a look was, in few words.

    Nothing where it was as foretold, else how seldom such a one comes.
    """
    return "" if one.as_foretold else odds_words(1.0 / max(one.p_value, 1e-9))


def look_back_rows(looks: Sequence[LookBack]) -> list[tuple]:
    """A row a look: what was seen, the chance of each grade, how surprising, and the date then given."""
    return [
        (
            one.date,
            one.site,
            one.grade,
            *(percent(p) for p in one.probabilities),
            surprise_words(one),
            one.defer_until or "none",
        )
        for one in looks
    ]


def score_rows(found: Hindsight) -> list[tuple[str, str]]:
    """The chance that the model and each rival gave, on the geometric mean, to what was seen."""
    if found.score is None:
        return []
    return [(words, percent(exp(getattr(found.score, name)))) for name, words in RIVALS.items()]


def score_words(found: Hindsight) -> str:
    """Whether the model is worth more than its rivals on these looks, in a sentence."""
    if found.score is None:
        return ""
    better = [words for name, words in RIVALS.items() if getattr(found.score, name) > found.score.model]
    if better:
        return f"On these looks it did no better than {' and '.join(better)}."
    return "On these looks it did better than the last grade again, litres x meter reading, and the prior alone."


def rank_words(found: Hindsight) -> str:
    """Whether the looks' ranks are even."""
    pit = found.pit
    if pit is None:
        return ""
    kept = "within" if pit.inside else "OUTSIDE"
    return (
        f"The ranks of what was seen among what was foretold are {kept} the band of even ones (distance "
        f"{figure(pit.distance, 2)}; at most {figure(pit.band, 2)} in 95 of 100 runs if the forecasts are right)."
    )


def date_words(found: Hindsight) -> str:
    """What came of the dates that would have been given."""
    known = [one for one in found.dates if one.passed is not None]
    if not known:
        return ""
    passed = sum(one.passed for one in known)
    return (
        f"Of {counted(len(known), 'date')} that would have been given, and before which somebody looked at the "
        f"reference surface, {passed or 'none'} {'was' if passed < 2 else 'were'} too late: a look showed the "
        "threshold or worse."
    )


def risk_rows(found: Hindsight) -> list[tuple]:
    """Stated chances that a look shows the threshold or worse, and what was seen."""
    return [
        (f"{percent(one.low)} to {percent(one.high)}", one.looks, percent(one.stated), percent(one.happened))
        for one in found.reliability
    ]


def weighed_rows(found: Hindsight) -> list[tuple]:
    """Scale that was weighed, and what was foretold of it."""
    return [
        (
            one.date,
            figure(one.found_g, 2),
            figure(one.p50, 2),
            f"{figure(one.p10, 2)} to {figure(one.p90, 2)}",
            odds_words(1.0 / max(one.p_value, 1e-9)) if one.p_value < 0.1 else "",
        )
        for one in found.weighed
    ]


def untold_words(found: Hindsight) -> str:
    """Looks that could not be foretold."""
    if not found.untold:
        return ""
    return (
        f"{counted(found.untold, 'look')} could not be foretold: before "
        f"{'it' if found.untold == 1 else 'them'} no use, no fill or no test of the water was on record."
    )


def unseen_words(looks: int) -> str:
    """Why the looks were not foretold for a page.

    >>> unseen_words(3), unseen_words(90)
    ('3 looks: too few to tell whether anything has changed', 'whether the 90 looks were as foretold takes a while')
    """
    if looks < FEWEST:
        return watch_words(looks)
    return f"whether the {looks} looks were as foretold takes a while"


def watch_note() -> str:
    """What the alarm is, and how often it is false."""
    return (
        f"The alarm for a change may be watched for ever: of boilers whose looks are as foretold at most {RATE:.0%} "
        f"ever raise it. With fewer than {FEWEST} looks there is too little to tell, and silence never means that the "
        "model is right."
    )


def pool_words(pool: Pooled, as_of: date) -> str:
    """What a pool of looks shows."""
    if pool.change is not None:
        return change_words(pool.change, as_of, "they")
    return "too few to tell" if pool.looks < FEWEST else "no change seen"


def pool_rows(pools: Sequence[Pooled], as_of: date) -> list[tuple]:
    """A row a pool."""
    return [(pool.name, pool.boilers, pool.looks, pool_words(pool, as_of)) for pool in pools]


def fleet_sentence(found: FleetHindsight, as_of: date) -> str:
    """What hindsight on all boilers shows, in one sentence."""
    looks = [one for boiler in found.boilers for one in boiler.looks]
    if not looks:
        return "No look could be foretold: there is none on record before which use and a test of the water were known."
    begun = f"{sum(one.as_foretold for one in looks)} of {len(looks)} looks were as foretold"
    said = [*_shared(found.waters, "on", as_of), *_shared(found.inspectors, "by", as_of)]
    said += [f"of {pool.name}: {_short(pool.change, as_of)}" for pool in found.kinds if pool.change is not None]
    said += [f"at {one.boiler} {_short(one.change, as_of)}" for one in found.boilers if one.change is not None]
    if not said:
        few = "" if len(looks) >= FEWEST else ", and they are too few to tell"
        return f"{begun}; no change is seen{few}."
    return f"{begun}; {'; '.join(said)}: {ASKED}"


def _shared(pools: Sequence[Pooled], word: str, as_of: date) -> list[str]:
    return [f"{word} {pool.name} {_short(pool.change, as_of)}" for pool in pools if pool.change is not None]


def _short(change: Change, as_of: date) -> str:
    return change_words(change, as_of, "they")
