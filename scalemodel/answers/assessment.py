"""Many boilers assessed: a row each as it comes, or all of them, soonest first."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from scalemodel.answers.rows import Due, DueRows, in_order, rows_of, watched
from scalemodel.answers.told import DATE_ALONE

if TYPE_CHECKING:
    from distributed import Client

    from scalemodel.answers.desk import Desk
    from scalemodel.decision.question import Question
    from scalemodel.logbook.records import BoilerFacts


@dataclass(frozen=True)
class Means:
    """By what many boilers are asked: ``workers`` processes here, one a core by default, or a Dask ``scheduler``.

    ``folder`` is where answers are kept, if anywhere.
    """

    workers: int | None = None
    folder: Path | None = None
    scheduler: str | Client | None = None

    def desk(self, question: Question, seed: int | None = None, particles: int | None = None) -> Desk:
        """A desk with these workers."""
        from scalemodel.answers.desk import Desk

        crew = None
        if self.scheduler is not None:
            from scalemodel.answers.cluster import Cluster

            crew = Cluster(self.scheduler)
        return Desk(self.folder, self.count, question, seed, particles, crew)

    @property
    def count(self) -> int:
        """Processes of this machine."""
        return (os.cpu_count() or 1) if self.workers is None else self.workers

    @property
    def here(self) -> bool:
        """Whether all is done in this process."""
        return self.scheduler is None and self.count < 2


class Assessment:
    """The rows of many boilers. Walked through, it gives each as it comes; it remembers them, which are small.

    Facts are read as they are needed, so that they may come from a generator, and only once.
    """

    def __init__(self, rows: Iterator[Due]) -> None:
        self._coming, self._here = rows, []

    def __iter__(self) -> Iterator[Due]:
        k = 0
        while True:
            while k < len(self._here):
                yield self._here[k]
                k += 1
            row = next(self._coming, None)
            if row is None:
                return
            self._here.append(row)

    def __repr__(self) -> str:
        return f"<Assessment: {len(self._here)} boilers answered so far>"

    def rows(self) -> list[Due]:
        """All rows, alarms on top, then the soonest; those without an answer last."""
        return in_order(self)

    def to_frame(self):
        """The same as a pandas DataFrame, a row a boiler, all fields of `Due` and ``days``; dates as Timestamps."""
        return DueRows(self.rows()).to_frame()


def assessed(
    asked: Iterable[BoilerFacts | Due],
    question: Question,
    means: Means,
    drawn: dict[str, int | None],
    parts: tuple[str, ...] = DATE_ALONE,
    count: int | None = None,
    done: Callable[[float], None] = lambda share: None,
) -> Iterator[Due]:
    """The row of each of some boilers as it comes, by some parts of its answer; workers are there until the last.

    ``drawn`` holds ``seed`` and ``particles``; ``done`` is told what share of ``count`` boilers is done.
    """
    with means.desk(question, drawn.get("seed"), drawn.get("particles")) as desk:
        yield from watched(rows_of(desk, asked, parts, means.here), count, done)
