"""What is kept of an answer: a few values and its sentences, all of it plain, so that it can be written to a file.

An answer comes in two parts, as the second takes longer: until when the descale can wait, and the next look.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import TYPE_CHECKING

from scalemodel.decision.status import Status

if TYPE_CHECKING:
    from scalemodel.decision.deferral import Deferral
    from scalemodel.decision.inspection_value import NextInspection

URGENT = (Status.LOOK_AGAIN, Status.PAST)
"""Due whatever the date."""


class Waiting:
    """How long an answer, or a row of a list, lets a descale wait: from its status, day and date."""

    __slots__ = ()
    status: Status | None
    as_of: date
    defer_until: date | None

    @property
    def days(self) -> int | None:
        """Days from ``as_of`` to the date; None where there is none."""
        return None if self.defer_until is None else (self.defer_until - self.as_of).days

    @property
    def pressing(self) -> bool:
        """Whether its descale, or a look, cannot wait until tomorrow."""
        return self.status in URGENT or self.days == 0


@dataclass(frozen=True)
class Dated(Waiting):
    """Until when a descale can wait: the values of a list, and the sentences of a page.

    ``p50`` is the first date with a risk of one half, if any; ``deposit_mg_cm2`` the median now and
    ``deposit_mean_mg_cm2`` the mean [mg/cm2]; ``r_hat`` how well the runs agreed; ``verdict`` the answer in a few
    words, ``head`` in a sentence; ``shown`` what the boiler has shown, ``assumed`` what was assumed.
    """

    boiler: str
    as_of: date
    status: Status
    defer_until: date | None
    risk_now: float
    tolerance: float
    p50: date | None
    deposit_mg_cm2: float
    deposit_mean_mg_cm2: float
    r_hat: float
    verdict: str
    head: str
    warnings: tuple[str, ...]
    rest: tuple[str, ...]
    shown: tuple[str, ...]
    assumed: tuple[str, ...]


@dataclass(frozen=True)
class NextLook:
    """The next look: its day, place and method, all None where none pays, and the sentences that say why."""

    date: date | None
    site: str | None
    method: str | None
    words: tuple[str, ...]


@dataclass(frozen=True)
class Drawn:
    """That a page was drawn, and the hash of what was written."""

    sha256: str


@dataclass(frozen=True)
class Failure:
    """Why there is no answer, in a line; ``lasting`` where asking again would say the same."""

    reason: str
    lasting: bool = False


PARTS: Mapping[str, type] = {"date": Dated, "look": NextLook}
"""The parts of an answer by name, in the order in which they come."""

KEPT: Mapping[str, type] = {**PARTS, "page": Drawn}
"""All that may be kept, by name."""

WHOLE = tuple(PARTS)
"""All of an answer."""

DATE_ALONE = ("date",)
"""Without the next look, which takes longer to find."""


def dated(answer: Deferral) -> Dated:
    """What is kept of a deferral."""
    from scalemodel.words.account import assumptions_of, evidence_of, hardness_of
    from scalemodel.words.advice import verdict
    from scalemodel.words.answer import horizon_words, opening

    begun, basis = opening(answer), answer.basis
    return Dated(
        boiler=answer.boiler,
        as_of=answer.as_of,
        status=answer.status,
        defer_until=answer.defer_until,
        risk_now=answer.risk_now,
        tolerance=answer.tolerance,
        p50=answer.crossing["p50"],
        deposit_mg_cm2=answer.deposit_now_mg_cm2.p50,
        deposit_mean_mg_cm2=answer.deposit_now_mg_cm2.mean,
        r_hat=answer.engine.r_hat,
        verdict=verdict(answer),
        head=begun.head,
        warnings=tuple(begun.warnings),
        rest=(*begun.rest, *horizon_words(answer)),
        shown=evidence_of(basis.facts),
        assumed=(*assumptions_of(basis), hardness_of(basis)),
    )


def next_look(looks: NextInspection) -> NextLook:
    """What is kept of the advice on the next look."""
    from scalemodel.words.advice import look_sentences

    best, words = looks.best, tuple(look_sentences(looks))
    if best is None:
        return NextLook(None, None, None, words)
    return NextLook(best.date, best.site, best.method, words)


def plain(part: Dated | NextLook | Drawn) -> dict:
    """A part as JSON has it."""
    return {name: value.isoformat() if isinstance(value, date) else value for name, value in asdict(part).items()}


def from_plain(name: str, held: object) -> Dated | NextLook | Drawn:
    """A part from what `plain` made of it; ValueError for anything else."""
    kind = KEPT[name]
    if not isinstance(held, dict) or set(held) != {one.name for one in fields(kind)}:
        raise ValueError(f"no {name} part of an answer")
    try:
        return kind(**{one.name: _value(str(one.type), held[one.name]) for one in fields(kind)})
    except TypeError as error:
        raise ValueError(str(error)) from error


def _value(sort: str, held: object) -> object:
    """A value of a field from what JSON holds."""
    if held is None and sort.endswith("| None"):
        return None
    match sort.removesuffix(" | None"):
        case "date":
            return date.fromisoformat(held)
        case "Status":
            return Status(held)
        case "float":
            return float(held)
        case "str" if isinstance(held, str):
            return held
        case "tuple[str, ...]" if isinstance(held, list) and all(isinstance(one, str) for one in held):
            return tuple(held)
    raise ValueError(f"{held!r} is no {sort}")
