"""Alarms: looks that show what must not be waited with, until something answers them.

Whether a look is at or past the threshold is a fact, and so is whether anything has answered it; the model has no say
in it, as it might be wrong. A second kind of alarm asks the model one thing: a look that shows more than all the other
records foretell.

Rules, where two readings are possible the safer one:

- a grade is severe from the first whose nominal lower edge is at or past the threshold; for a threshold beyond the edge
  of grade 4, grade 4 is, as no eye can say more;
- a range is severe where more of its grades are severe than not: 3+ and 2-4 at a threshold of grade 3, not 2-3. A range
  that may be either raises no alarm by itself, and answers none;
- a thickness at or past the threshold is severe, whatever the grade beside it;
- the threshold is held against what was seen at the site looked at, whichever site the question is about;
- two milder looks after it answer it, if no severe one at that site comes between, each by the same method or a better
  one (a glance through water is worse than eye, mirror and camera, which are alike); so does a later thickness below
  the threshold at that site, or a descale of the boiler. Amended and struck looks are no facts any more.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import partial

import numpy as np

from scalemodel.decision.forecast import Forecast
from scalemodel.inference.look_probabilities import grade_probabilities_at
from scalemodel.inference.posterior import Posterior
from scalemodel.logbook.records import GRADES, BoilerFacts, Descale, Inspection
from scalemodel.logbook.units import ROUNDING
from scalemodel.model.grading import HOUSE_GRADING, Grading, grading_of

FORETOLD = 0.01
"""A look whose grade, or a worse one, all else foretells with less than this chance is an alarm: so are at most ten of
a thousand honest looks, and two more looks settle each."""

SUSPECT = 0.2
"""Where the draws reweighed give a look less than this chance, the records are solved again without it."""

ANSWERS = 2
"""So many milder looks answer a severe one: people overlook scale more often than they invent it."""


class AlarmReason(StrEnum):
    """Why a look raised an alarm."""

    SEVERE = "at or past the threshold"
    UNFORETOLD = "more severe than all else on record foretells"


@dataclass(frozen=True)
class Seen:
    """An earlier look that agrees with the one that tells an alarm."""

    record: int | None
    date: date
    grade: str
    inspector: str


@dataclass(frozen=True)
class Alarm:
    """The latest severe look at a site that nothing has answered.

    Attributes
    ----------
    record : int or None
        The look's number in the logbook; None where the facts come from none.
    site, date, grade, inspector, method, thickness_um
        As recorded; a range of grades as it is typed, such as "3+".
    confirmed : bool
        Whether an earlier unanswered look at the site, by another inspector or on an earlier day, is severe too.
    reason : AlarmReason
    milder : int
        Milder looks since, of the `ANSWERS` that answer it.
    agreeing : tuple of Seen
        The looks that confirm it, oldest first.
    """

    record: int | None
    site: str
    date: date
    grade: str
    inspector: str
    method: str
    confirmed: bool
    reason: AlarmReason
    milder: int = 0
    agreeing: tuple[Seen, ...] = ()
    thickness_um: float | None = None

    @property
    def seen(self) -> str:
        """What was seen, where, when and by whom, as a label."""
        by = f" by {self.inspector}" if self.inspector else ""
        return f"grade {self.grade} at the {self.site} on {self.date}{by}"


def grade_typed(look: Inspection) -> str:
    """A look's grade as it is typed.

    >>> [grade_typed(Inspection("k", date(2026, 1, 1), "wall", *g)) for g in ((2, 2), (1, 2), (3, 4), (0, 1))]
    ['2', '1-2', '3+', '1-']
    """
    low, high = look.grade_low, look.grade_high
    if low == high:
        return str(low)
    return f"{low}+" if high == GRADES[-1] else f"{high}-" if low == GRADES[0] else f"{low}-{high}"


def first_severe_grade(threshold_mg_cm2: float, grading: Grading = HOUSE_GRADING) -> int:
    """The mildest grade that is severe by itself at a threshold [mg/cm2].

    >>> [first_severe_grade(x) for x in (0.1, 6.0, 6.1, 25.0, 40.0)]
    [1, 3, 4, 4, 4]
    """
    return min(bisect_left(grading.cut_points_mg_cm2, threshold_mg_cm2 * (1.0 - ROUNDING)) + 1, GRADES[-1])


def is_severe(look: Inspection, threshold_mg_cm2: float, grading: Grading = HOUSE_GRADING) -> bool:
    """Whether a look is at or past a threshold [mg/cm2] at its site: by most of its grades, or by its thickness."""
    if look.thickness_um is not None and not _is_thin(look, threshold_mg_cm2, grading):
        return True
    first = first_severe_grade(threshold_mg_cm2, grading)
    past = max(0, look.grade_high - max(look.grade_low, first) + 1)
    return 2 * past > look.grade_high - look.grade_low + 1


def is_mild(look: Inspection, threshold_mg_cm2: float, grading: Grading = HOUSE_GRADING) -> bool:
    """Whether all that a look says lies below a threshold [mg/cm2]; bare metal always does."""
    upper = grading.bounds_mg_cm2[look.grade_high + 1]
    return look.grade_high == 0 or upper <= threshold_mg_cm2 * (1.0 + ROUNDING)


def _is_thin(look: Inspection, threshold_mg_cm2: float, grading: Grading) -> bool:
    least = threshold_mg_cm2 * (1.0 - ROUNDING)
    return look.thickness_um is not None and grading.deposit(look.thickness_um) < least


def _sees_as_well(look: Inspection, other: Inspection) -> bool:
    """Whether a look's method is as good as another's, or better."""
    return look.method != "glance" or other.method == "glance"


class Judge:
    """What counts as severe, as thin and as milder for one kind of alarm, at one threshold."""

    def __init__(
        self,
        severe: Callable[[Inspection], bool],
        thin: Callable[[Inspection], bool],
        milder: Callable[[Inspection], bool],
    ) -> None:
        self.severe, self.thin, self.milder = severe, thin, milder

    def unanswered(self, events: Sequence[Inspection | Descale]) -> list[tuple[Inspection, int]]:
        """The severe looks among one site's looks and the descales, in order, that nothing after them answers.

        Each with the milder looks since the last severe one that count for it.
        """
        found: list[tuple[Inspection, int]] = []
        for event in events:
            if isinstance(event, Descale):
                found = []
            elif self.severe(event):
                found = [*((look, 0) for look, _ in found), (event, 0)]
            elif self.thin(event):
                found = []
            elif self.milder(event):
                counted = ((look, count + _sees_as_well(event, look)) for look, count in found)
                found = [(look, count) for look, count in counted if count < ANSWERS]
        return found


def by_threshold(threshold_mg_cm2: float, grading: Grading) -> Judge:
    """Severe is at or past the threshold, milder wholly below it."""
    stated = {"threshold_mg_cm2": threshold_mg_cm2, "grading": grading}
    return Judge(*(partial(judged, **stated) for judged in (is_severe, _is_thin, is_mild)))


def by_look(alarming: Inspection, threshold_mg_cm2: float, grading: Grading) -> Judge:
    """Severe is a grade no milder than that of a look, milder any below it."""
    grade = alarming.grade_low
    thin = partial(_is_thin, threshold_mg_cm2=threshold_mg_cm2, grading=grading)
    return Judge(lambda look: look.grade_low >= grade, thin, lambda look: look.grade_high < grade)


def events_at(facts: BoilerFacts, site: str) -> list[Inspection | Descale]:
    """The looks at a site and the boiler's descales, in order: of one day, looks before a descale, then those after."""
    looks = [((look.date, 2 if look.after_descale else 0), look) for look in facts.inspections if look.site == site]
    descales = [((descale.date, 1), descale) for descale in facts.descales]
    return [event for _, event in sorted([*looks, *descales], key=lambda pair: pair[0])]


def severe_alarms(facts: BoilerFacts, threshold_mg_cm2: float) -> tuple[Alarm, ...]:
    """The alarms that facts alone decide, one a site: looks at or past the threshold [mg/cm2] that nothing answered."""
    judge, found = by_threshold(threshold_mg_cm2, grading_of(facts.beliefs)), []
    for site in dict.fromkeys(look.site for look in facts.inspections):
        if unanswered := judge.unanswered(events_at(facts, site)):
            found.append(_alarm(facts, unanswered, AlarmReason.SEVERE))
    return tuple(found)


def unforetold_alarms(forecast: Forecast, threshold_mg_cm2: float, besides: Sequence[str] = ()) -> tuple[Alarm, ...]:
    """The looks that show more than all else foretells and that nothing answered, the latest of a site.

    ``besides`` names sites that have an alarm already.
    """
    posterior, found, settled = forecast.posterior, [], set(besides)
    grading = grading_of(posterior.facts.beliefs)
    looks = list(enumerate(zip(posterior.model.timeline.looks, forecast.looks_by_grade, strict=True)))
    for index, ((_, look), by_grade) in reversed(looks):
        if look.site in settled or look.grade_low == 0:
            continue
        left = by_look(look, threshold_mg_cm2, grading).unanswered(events_at(posterior.facts, look.site))
        if any(one is look for one, _ in left) and is_unforetold(posterior, index, by_grade):
            settled.add(look.site)
            found.append(_alarm(posterior.facts, left, AlarmReason.UNFORETOLD))
    return tuple(found)


def is_unforetold(posterior: Posterior, index: int, by_grade: np.ndarray) -> bool:
    """Whether all other records give a look's mildest grade or a worse one a chance below `FORETOLD`.

    Reweighing the draws costs nothing but is safe only where it finds the look likely: the draws that would say how
    unlikely it is are those that the look itself has emptied, so the chance comes out too high (0.03 for 0.00007 in one
    trial, 0.08 for 0.004 in another). Below `SUSPECT` the records are therefore solved again without the look.

    Parameters
    ----------
    index : int
        Which of the timeline's looks.
    by_grade : array (grades, S)
        Probability of each grade at that look given each draw.
    """
    look = posterior.model.timeline.looks[index][1]
    if chance_foretold(look, by_grade) >= SUSPECT:
        return False
    others = grade_probabilities_at(posterior.without(index), index)
    return float(others[look.grade_low :].sum(axis=0).mean()) < FORETOLD


def chance_foretold(look: Inspection, by_grade: np.ndarray) -> float:
    """Chance that all other records give to a look's mildest grade or a worse one.

    Leaving the look out is a reweighing of the draws by one over its probability (Gelfand, Dey & Chang 1992).

    Parameters
    ----------
    look : Inspection
    by_grade : array (grades, S)
        Probability of each grade at that look given each draw.

    >>> two_draws = np.array([[0.9, 0.1], [0.1, 0.9]])
    >>> round(chance_foretold(Inspection("k", date(2026, 1, 1), "wall", 1, 1), two_draws), 3)
    0.18
    """
    own = np.maximum(by_grade[look.grade_low : look.grade_high + 1].sum(axis=0), np.finfo(float).tiny)
    weight = own.min() / own
    return float(by_grade[look.grade_low :].sum(axis=0) @ weight / weight.sum())


def find_alarms(forecast: Forecast, threshold_mg_cm2: float) -> tuple[Alarm, ...]:
    """Every alarm on ``as_of``, one a site: those at or past the threshold first, of each kind the latest first."""
    severe = severe_alarms(forecast.posterior.facts, threshold_mg_cm2)
    others = unforetold_alarms(forecast, threshold_mg_cm2, [alarm.site for alarm in severe])
    return tuple(alarm for kind in (severe, others) for alarm in sorted(kind, key=lambda a: a.date, reverse=True))


def _alarm(facts: BoilerFacts, unanswered: list[tuple[Inspection, int]], reason: AlarmReason) -> Alarm:
    """The alarm of one site; the latest severe look tells it, the others confirm it where they may."""
    *others, (look, milder) = unanswered
    numbers = {id(one): number for one, number in zip(facts.inspections, facts.look_numbers, strict=False)}
    agreeing = tuple(
        Seen(numbers.get(id(one)), one.date, grade_typed(one), one.inspector)
        for one, _ in others
        if (one.inspector, one.date) != (look.inspector, look.date)
    )
    return Alarm(
        numbers.get(id(look)),
        look.site,
        look.date,
        grade_typed(look),
        look.inspector,
        look.method,
        bool(agreeing),
        reason,
        milder,
        agreeing,
        look.thickness_um,
    )
