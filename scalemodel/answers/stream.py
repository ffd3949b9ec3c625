"""Many boilers asked one after the other: as many at once as there are hands for, each told when it is answered."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future
from itertools import chain
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, TypeVar

from scalemodel.logbook.records import BoilerFacts

if TYPE_CHECKING:
    from scalemodel.answers.desk import Desk, Pending

LOOKED_AFTER = 5.0
"""Where nothing comes for so long [s], it is asked whether the workers can still go on."""

Answered = tuple[BoilerFacts, "Pending"]
Asked, Begun = TypeVar("Asked"), TypeVar("Begun")


def streamed(
    desk: Desk, asked: Iterable[BoilerFacts], parts: tuple[str, ...], here: bool = False
) -> Iterator[Answered]:
    """Each boiler with its answer, the whole of which is there, in the order in which they come.

    ``asked`` is read no further ahead than there are hands to work, so that neither facts nor answers pile up.
    ``here``: in this process alone, as is done too where there is but one answer to be worked out.
    """
    source, unknown = iter(asked), []
    if not (here or desk.far):
        for facts in source:
            if desk.knows(facts, parts):
                yield facts, desk.ask(facts, parts=parts)
                continue
            unknown.append(facts)
            if len(unknown) > 1:
                yield from _by_workers(desk, chain(unknown, source), parts)
                return
    elif desk.far:
        yield from _by_workers(desk, source, parts)
        return
    for facts in chain(unknown, source):
        yield facts, desk.ask_here(facts, parts)


def _by_workers(desk: Desk, source: Iterator[BoilerFacts], parts: tuple[str, ...]) -> Iterator[Answered]:
    """The answers of a desk's workers."""
    return as_done(desk, source, lambda facts: desk.ask(facts, parts=parts), lambda pending: pending.last)


def as_done(
    desk: Desk, source: Iterator[Asked], begin: Callable[[Asked], Begun], future_of: Callable[[Begun], Future]
) -> Iterator[tuple[Asked, Begun]]:
    """What ``begin`` began for each of a source, in the order in which it is done.

    As many are on the way at once as the desk may have; whatever keeps its workers from going on is raised.
    """
    ready: SimpleQueue[tuple[Asked, Begun]] = SimpleQueue()
    on_the_way, more = 0, True
    while more or on_the_way:
        while more and on_the_way < desk.most_at_once and ready.empty():
            try:
                asked = next(source)
            except StopIteration:
                more = False
                desk.flush()
                break
            begun = begin(asked)
            on_the_way += 1
            future_of(begun).add_done_callback(lambda done, told=(asked, begun): ready.put(told))
        if on_the_way:
            try:
                told = ready.get(timeout=LOOKED_AFTER)
            except Empty:
                desk.check()
                continue
            desk.check()
            yield told
            on_the_way -= 1
