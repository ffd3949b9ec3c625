"""What was known before a record was made, and why its answer moved."""

from __future__ import annotations

from dataclasses import replace

from scalemodel.answers.told import Dated, Failure
from scalemodel.decision.status import Status
from scalemodel.logbook.kinds import Record, kind_of
from scalemodel.logbook.records import BoilerFacts, Inspection, Use
from scalemodel.wording import counted, figure

WHERE = {
    "inspection": ("inspections",),
    "water_test": ("water_tests",),
    "fill": ("fills", "planned_fills"),
    "use": ("uses",),
    "descale": ("descales",),
    "prices": ("prices",),
    "absence": ("absences",),
}
"""The fields of the facts that hold the records of a kind; other kinds are known from the start."""

MUCH = 1.1
"""A deposit so many times what it was thought to be has moved."""


def facts_without(facts: BoilerFacts, record: Record, number: int | None = None) -> BoilerFacts | None:
    """The facts without one record, told by its number where two looks say the same; None where it is not in them."""
    for field in WHERE.get(kind_of(record).name, ()):
        held = getattr(facts, field)
        if isinstance(record, Inspection) and number in facts.look_numbers:
            k = facts.look_numbers.index(number)
            numbers = facts.look_numbers[:k] + facts.look_numbers[k + 1 :]
            return replace(facts, inspections=held[:k] + held[k + 1 :], look_numbers=numbers)
        told = record.sized_by(facts.boiler) if isinstance(record, Use) else record
        if told in held:
            k = len(held) - 1 - held[::-1].index(told)
            return replace(facts, **{field: held[:k] + held[k + 1 :]})
    return None


def why_moved(before: Dated | Failure | None, after: Dated | Failure, title: str) -> str:
    """Why an answer is what it is after a record of some ``title``, against what it was before it; a sentence."""
    if isinstance(after, Failure):
        return "There is no answer now: " + after.reason + "."
    if before is None or isinstance(before, Failure):
        return f"There was no answer before this {title}."
    if after.status is Status.LOOK_AGAIN and before.status is not Status.LOOK_AGAIN:
        return f"This {title} raises an alarm, and no date is to be had until it is answered."
    if before.status is Status.LOOK_AGAIN and after.status is not Status.LOOK_AGAIN:
        return f"This {title} answers the alarm."
    return f"{_deposit_words(before, after, title)}; {_date_words(before, after)}."


def _deposit_words(before: Dated, after: Dated, title: str) -> str:
    """How the deposit is thought of now, against before."""
    was, now = before.deposit_mg_cm2, after.deposit_mg_cm2
    about = f"about {figure(now, 2)} mg/cm2"
    if now + 0.02 > MUCH * (was + 0.02):
        return f"After this {title} more scale is likely than before: {about}, not {figure(was, 2)}"
    if now + 0.02 < (was + 0.02) / MUCH:
        return f"After this {title} less scale is likely than before: {about}, not {figure(was, 2)}"
    moved = before.defer_until != after.defer_until
    return f"This {title} leaves the scale about as it was thought to be, {about}" + (
        ", but tells of its growth" if moved else ""
    )


def _date_words(before: Dated, after: Dated) -> str:
    """How the date moved."""
    if before.defer_until is None or after.defer_until is None:
        return (
            "the answer is of the same kind as before" if before.status is after.status else "that changes the answer"
        )
    days = (after.defer_until - before.defer_until).days
    if days == 0:
        return "the date stays"
    return (
        f"the descale can wait {counted(days, 'day')} longer"
        if days > 0
        else f"it is due {counted(-days, 'day')} sooner"
    )
