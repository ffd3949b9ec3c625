"""Where answers are asked for: what is kept is given at once, the rest is reckoned, once for all who ask."""

from __future__ import annotations

from concurrent.futures import Future
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

from scalemodel.answers.crew import AT_ONCE, IN_TIME, Crew, Tell
from scalemodel.answers.kept import Kept
from scalemodel.answers.key import key_of
from scalemodel.answers.relevant import relevant
from scalemodel.answers.solving import solved
from scalemodel.answers.told import WHOLE, Dated, Failure, NextLook
from scalemodel.answers.worker import END, Solve, parts_of
from scalemodel.decision.question import Question
from scalemodel.logbook.records import BoilerFacts

if TYPE_CHECKING:
    from scalemodel.answers.cluster import Cluster


class Pending:
    """An answer that may still be on its way: a future for each of the parts that were asked for."""

    def __init__(self, parts: tuple[str, ...] = WHOLE) -> None:
        self.parts: dict[str, Future] = {name: Future() for name in parts}

    def tell(self, name: str, part: object) -> None:
        """Settle a part; at the end, all parts that have not come are the failure that ended it."""
        settled = list(self.parts) if name == END else [name]
        for one in settled:
            if not self.parts[one].done():
                self.parts[one].set_result(part)

    @property
    def ready(self) -> bool:
        """Whether the whole answer is there."""
        return all(future.done() for future in self.parts.values())

    @property
    def last(self) -> Future:
        """The part that comes last: once it is there, all are."""
        *_, last = self.parts.values()
        return last

    def dated(self, timeout: float | None = None) -> Dated | Failure:
        """Until when the descale can wait; TimeoutError if that is not known in time [s]."""
        return self.parts["date"].result(timeout)

    def look(self, timeout: float | None = None) -> NextLook | Failure:
        """The next look; TimeoutError if it is not known in time [s]."""
        return self.parts["look"].result(timeout)


class Desk:
    """Answers to one question about boilers, kept in ``folder`` too if one is given; `close` ends its workers.

    ``crew`` takes the place of ``workers`` processes of this machine.
    """

    def __init__(
        self,
        folder: Path | None = None,
        workers: int = 1,
        question: Question | None = None,
        seed: int | None = None,
        particles: int | None = None,
        crew: Cluster | None = None,
    ) -> None:
        self.kept = Kept(folder)
        self._asked = (question or Question(), seed, particles)
        self._crew = Crew(workers) if crew is None else crew
        self._lock = Lock()
        self._on_the_way: dict[tuple, Pending] = {}

    @property
    def far(self) -> bool:
        """Whether all work is done by other machines."""
        return self._crew.far

    @property
    def most_at_once(self) -> int:
        """So many answers on the way keep all workers at work."""
        return self._crew.most_at_once

    def flush(self) -> None:
        """Nothing more is asked for now: what was held back to go together goes."""
        self._crew.flush()

    def key(self, facts: BoilerFacts) -> str:
        """Under which what follows from some facts, all of them, is kept."""
        return key_of(facts, *self._asked)

    @property
    def asked(self) -> tuple[Question, int | None, int | None]:
        """The question, the seed and the number of particles."""
        return self._asked

    def check(self) -> None:
        """Raise what keeps the workers from going on at all."""
        self._crew.check()

    def ask(self, facts: BoilerFacts, ahead: bool = False, parts: tuple[str, ...] = WHOLE) -> Pending:
        """The answer for some facts, from a worker if it is not kept; ``ahead``: after all that somebody waits for."""
        facts = relevant(facts, self._asked[0])
        key = self.key(facts)
        with self._lock:
            if (found := self._found(key, parts)) is not None:
                return found
            if (pending := self._on_the_way.get((key, parts))) is not None:
                return pending
            pending = self._on_the_way[key, parts] = Pending(parts)
        job = (solved, facts, *self._asked, parts)
        self._crew.give(job, self._telling(key, pending), IN_TIME if ahead else AT_ONCE)
        return pending

    def have(self, solve: Solve, facts: BoilerFacts, *more: object) -> Future:
        """The one part of another job about some facts, from a worker; it is not kept."""
        future: Future = Future()

        def tell(name: str, part: object) -> None:
            if not future.done():
                future.set_result(part)

        self._crew.give((solve, facts, *more), tell)
        return future

    def ask_here(self, facts: BoilerFacts, parts: tuple[str, ...] = WHOLE) -> Pending:
        """The answer for some facts, reckoned in this process if it is not kept."""
        facts = relevant(facts, self._asked[0])
        key = self.key(facts)
        pending = self._found(key, parts)
        if pending is None:
            pending = Pending(parts)
            tell = self._telling(key, pending)
            for name, part in parts_of(solved, facts, *self._asked, parts):
                tell(name, part)
        return pending

    def knows(self, facts: BoilerFacts, parts: tuple[str, ...] = WHOLE) -> bool:
        """Whether the answer for some facts is kept."""
        return self._found(self.key(relevant(facts, self._asked[0])), parts) is not None

    def close(self) -> None:
        """End the workers."""
        self._crew.close()

    def __enter__(self) -> Desk:
        return self

    def __exit__(self, *problem: object) -> None:
        self.close()

    def _found(self, key: str, parts: tuple[str, ...]) -> Pending | None:
        """An answer all of whose parts are kept."""
        pending = Pending(parts)
        for name in parts:
            part = self.kept.get(key, name)
            if part is None:
                return None
            pending.tell(name, part)
        return pending

    def _telling(self, key: str, pending: Pending) -> Tell:
        """What takes the parts of an answer: they are kept and told."""
        parts = tuple(pending.parts)

        def tell(name: str, part: object) -> None:
            if name != END:
                self.kept.put(key, name, part)
            elif isinstance(part, Failure) and part.lasting:
                self.kept.put_refused(key, part)
            pending.tell(name, part)
            if pending.ready:
                with self._lock:
                    self._on_the_way.pop((key, parts), None)

        return tell
