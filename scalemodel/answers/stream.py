"""Many boilers asked one after the other: as many at once as there are hands for, each told when it is answered."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING

from scalemodel.logbook.records import BoilerFacts

if TYPE_CHECKING:
    from scalemodel.answers.desk import Desk, Pending

LOOKED_AFTER = 5.0
"""Where nothing comes for so long [s], it is asked whether the workers can still go on."""

Answered = tuple[BoilerFacts, "Pending"]


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
    """The answers of a desk's workers, as many on the way at once as it may have."""
    ready: SimpleQueue[Answered] = SimpleQueue()
    on_the_way, more = 0, True
    while more or on_the_way:
        while more and on_the_way < desk.most_at_once and ready.empty():
            facts = next(source, None)
            if facts is None:
                more = False
                desk.flush()
            else:
                pending = desk.ask(facts, parts=parts)
                on_the_way += 1
                pending.when_ready(lambda told, facts=facts: ready.put((facts, told)))
        if on_the_way:
            try:
                answered = ready.get(timeout=LOOKED_AFTER)
            except Empty:
                desk.check()
                continue
            desk.check()
            yield answered
            on_the_way -= 1
