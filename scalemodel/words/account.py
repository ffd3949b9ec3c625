"""The account behind a date, in words: what was assumed, and what the boiler has shown."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date, timedelta

from scalemodel.decision.alarms import FORETOLD, Alarm, AlarmReason
from scalemodel.decision.basis import Basis
from scalemodel.decision.residue import TOO_MUCH, Residue
from scalemodel.logbook.belief import Adopted
from scalemodel.logbook.fields import parse_grade
from scalemodel.logbook.presumed import presumed
from scalemodel.logbook.records import BoilerFacts, Inspection
from scalemodel.model.beliefs import differing
from scalemodel.model.habits import WORST, sparing
from scalemodel.model.priors import GRADE_WORDS
from scalemodel.model.use import MONTH_NAMES, UsePlan
from scalemodel.water.hardness import from_mg_l
from scalemodel.wording import Sentence, counted, figure, gathered, joined

FEW_LOOKS = 3
"""With fewer looks than this since the last descale, the evidence is called thin."""

PROBABLY = 0.5
"""Too much left by a descale is said where that is more probable than not."""


def assumptions_of(basis: Basis) -> tuple[str, ...]:
    """Every assumption behind a forecast but those on its waters, a sentence each."""
    facts, line, plan = basis.facts, basis.timeline, basis.plan
    said = [
        *presumed(facts),
        f"from now on: {plan.water} at {figure(plan.use.litres_per_day)} L a day ({plan.use.source})"
        + (f", give or take {plan.use.log_sd:.0%}" if plan.use.litres_per_day else ""),
    ]
    for day, supply in plan.later:
        said.append(Sentence("from ", facts.as_of + timedelta(days=day), f" on: {supply.water}, as planned"))
    if line.unrecorded_days:
        said.append(
            f"{counted(line.unrecorded_days, 'day')} without a record of use: "
            f"filled at {figure(line.plan.litres_per_day)} L a day "
            f"({line.plan.source})"
        )
    said += priors_sentences(facts)
    said += line.notes
    said += use_sentences(plan.use, facts.as_of)
    said += [
        f"a {WORST - 1} by {who or 'the inspector'} is read as {WORST - 1} or {WORST}: never a {WORST} in so many looks"
        for who in sparing(facts)
    ]
    if facts.boiler.start == "unknown":
        said.append("history before the first record unknown: some deposit was taken as likely at the start")
    return tuple(said)


def priors_sentences(facts: BoilerFacts) -> list[Sentence | str]:
    """Whose the priors are that stand in place of the house's; nothing where they are the house's."""
    differs = f" in place of the house's: {differing(facts.beliefs)}"
    if not facts.adoptions:
        return [f"priors of your own{differs}"] if facts.beliefs else []
    now = facts.adoptions[-1]
    if not now.beliefs:
        return [Sentence(adopted_words(now), ": nothing in place of the house's")]
    return [Sentence(adopted_words(now), " (`scalemodel priors show`)" if now.pooled else differs)]


def adopted_words(now: Adopted) -> Sentence:
    """From what adopted priors were learned, if that is known, and since when they are believed."""
    said = Sentence(f"priors {now.pooled}, " if now.pooled else "priors ", "adopted ", now.date)
    return Sentence(said, ", for this boiler from all the others") if now.apart else said


def chemistry_of(basis: Basis) -> tuple[str, ...]:
    """What was assumed of the waters where their tests are silent, a sentence each."""
    return tuple(gathered((water, text) for water, s in basis.supplies.items() for text in s.analysis.assumptions))


def hardness_of(basis: Basis) -> str:
    """What hardness came of the tests and those assumptions, in a line for all waters."""
    said = [
        f"{water} about {figure(s.analysis.hardness, 2)} mg/L as CaCO3 "
        f"({figure(from_mg_l(s.analysis.hardness, 'dH'), 2)} dH), +/- {s.analysis.log_sd:.0%}"
        for water, s in basis.supplies.items()
    ]
    return f"hardness, by the water tests: {', '.join(said)}"


def use_sentences(use: UsePlan, as_of: date) -> list[str]:
    """What was assumed of absences and seasons."""
    said = []
    gone = sum(max(0, (min(a.to_date, as_of) - a.from_date).days) for a in use.absences)
    if gone:
        said.append(f"{counted(gone, 'day')} of absence so far: nothing drawn where no use is on record")
    ahead = [
        Sentence("from ", max(a.from_date, as_of), " until ", a.to_date) for a in use.absences if a.to_date > as_of
    ]
    if ahead:
        said.append(Sentence("absence ahead, with nothing drawn: ", joined(ahead, ", ")))
    if use.season is not None:
        (least, low), (most, high) = ((f(use.season), use.season.index(f(use.season))) for f in (min, max))
        said.append(
            f"use by season, as more than two years on record have it: {MONTH_NAMES[low]} {least:.0%} of the mean, "
            f"{MONTH_NAMES[high]} {most:.0%}"
        )
    return said


def grade_words(look: Inspection) -> str:
    """A look's grade as people say it.

    >>> from datetime import date, timedelta
    >>> grade_words(Inspection("k", date(2026, 1, 1), "wall", 1, 2))
    'grade 1 to 2'
    """
    if look.grade_low == look.grade_high:
        return f"grade {look.grade_low} ({GRADE_WORDS[look.grade_low]})"
    if look.grade_high == len(GRADE_WORDS) - 1:
        return f"grade {look.grade_low} or worse"
    return f"grade {look.grade_low} to {look.grade_high}"


def looks_since_descale(facts: BoilerFacts) -> list[Inspection]:
    """The looks that bear on the present deposit: since the last descale, or all."""
    if not facts.descales:
        return list(facts.inspections)
    last = facts.descales[-1].date
    return [i for i in facts.inspections if i.date > last or (i.date == last and i.after_descale)]


def evidence_of(facts: BoilerFacts) -> tuple[str, ...]:
    """What the boiler has shown so far, a sentence each; the last says so when that is thin."""
    said, recent = [], looks_since_descale(facts)
    if facts.descales:
        last = facts.descales[-1]
        count = counted(len(facts.descales), "descale")
        said.append(Sentence(f"{count} on record, the last on ", last.date, f" ({last.scope})"))
    else:
        said.append("no descale on record")
    since = " since" if facts.descales else ""
    for site in dict.fromkeys(i.site for i in recent):
        at_site = [i for i in recent if i.site == site]
        thickness = "" if at_site[-1].thickness_um is None else f", {at_site[-1].thickness_um:g} um thick"
        said.append(
            Sentence(
                f"{counted(len(at_site), 'look')} at the {site}{since}, the last on ",
                at_site[-1].date,
                f": {grade_words(at_site[-1])}{thickness}",
            )
        )
    if not facts.inspections:
        said.append(
            "thin evidence: nobody has looked inside yet, so the date rests on the water and on what is usual; "
            "one look would sharpen it"
        )
    elif len(recent) < FEW_LOOKS:
        count = "no look" if not recent else f"only {counted(len(recent), 'look')}"
        said.append(
            f"thin evidence: {count}{' since the last descale' if facts.descales else ' so far'}; "
            "another would sharpen the date"
        )
    return tuple(said)


def grade_said(typed: str) -> str:
    """A grade as it is typed, as people say it.

    >>> grade_said("4"), grade_said("3+")
    ('grade 4 (thick, flaking or bridging)', 'grade 3 or worse')
    """
    low, high = parse_grade(typed)
    return grade_words(Inspection("", date.min, "", low, high))


def _by(inspector: str) -> str:
    return f" by {inspector}" if inspector else ""


def alarm_words(alarm: Alarm, threshold_words: str) -> Sentence:
    """Who saw what, where and when, and why that is an alarm; a clause."""
    thick = "" if alarm.thickness_um is None else f", {alarm.thickness_um:g} um thick,"
    seen = f"{grade_said(alarm.grade)}{thick} was seen at the {alarm.site} on "
    said = Sentence(seen, alarm.date, _by(alarm.inspector))
    if alarm.agreeing:
        last = alarm.agreeing[-1]
        said = Sentence(said, f", and grade {last.grade} on ", last.date, f"{_by(last.inspector)} confirms it")
    if alarm.reason is AlarmReason.SEVERE:
        return Sentence(said, f"; that is at or past the threshold, {threshold_words}")
    return Sentence(said, f"; all else on record gives so much a chance below 1 in {1.0 / FORETOLD:.0f}")


def residue_words(residue: Residue) -> Sentence:
    """What a descale left, as a sentence; said plainly where it probably left more than it should."""
    share, left, chance = residue.share, residue.left_mg_cm2, residue.chance_too_much
    said = (
        f" left about {share.p50:.0%} of the deposit "
        f"(eight in ten: {share.p10:.0%} to {share.p90:.0%}), {figure(left.p50, 2)} mg/cm2 "
        f"({figure(left.p10, 2)} to {figure(left.p90, 2)})"
    )
    if not residue.seen:
        said += "; no look after it and no recovered scale tells, so this is what is usual"
    if chance is not None and chance > PROBABLY:
        said += (
            f"; it left more than it should: more than {TOO_MUCH:.0%} with a chance of {chance:.0%}. "
            "Look inside; a second, longer descale may be needed"
        )
    return Sentence(f"the {residue.scope} descale on ", residue.date, said)


def residue_object(residue: Residue) -> dict:
    """What a descale left, as scripts may rely on it: its fields, and ``words``."""
    return asdict(residue) | {"words": residue_words(residue)}
