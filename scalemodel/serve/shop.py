"""What all pages share: the logbook, opened anew for each of them, and the desk where answers are asked for."""

from __future__ import annotations

import os
from collections import OrderedDict
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from threading import Lock

from scalemodel.answers.desk import Desk, Pending
from scalemodel.answers.rows import Due, facts_of_all, facts_row, in_order, row_of
from scalemodel.answers.told import Failure
from scalemodel.logbook.records import BoilerFacts
from scalemodel.logbook.store import Logbook
from scalemodel.serve import drawing
from scalemodel.serve.settings import Settings

PATIENCE = 20.0
"""A page that is about one answer waits so long for it [s]; then it says that it is being reckoned."""

MOST_DRAWN = 12
"""So many reports and plans are kept in memory."""


class Shop:
    """The logbook and the answers behind the pages; `close` ends the workers."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        folder = None if settings.folder is None else settings.folder / "answers"
        self.desk = Desk(folder, workers=os.cpu_count() or 1)
        self._drawn: OrderedDict[object, Future] = OrderedDict()
        self._lock = Lock()

    @contextmanager
    def reading(self) -> Iterator[Logbook]:
        """The logbook as it stands; nothing can be written."""
        with Logbook.open(self.settings.logbook) as book, book.reading():
            yield book

    @contextmanager
    def writing(self) -> Iterator[Logbook]:
        """The logbook, to write to; LogbookError if it is gone, or only to be read here."""
        if self.settings.read_only or not Logbook.exists(self.settings.logbook):
            Logbook.open(self.settings.logbook).close()  # says that there is none
        with Logbook.open(self.settings.logbook, write=not self.settings.read_only) as book:
            yield book

    def facts(self, book: Logbook, boiler: str) -> BoilerFacts:
        """All that is known of a boiler today."""
        return book.facts(boiler, book.today())

    def rows(self, ahead: bool = False) -> tuple[list[Due], list[str]]:
        """The list of what is due, and the boilers that are being reckoned."""
        with self.reading() as book:
            known = list(facts_of_all(book, book.today()))
        rows, waiting = [], []
        for facts in known:
            if isinstance(facts, Due):
                rows.append(facts)
                continue
            pending = self.desk.ask(facts, ahead=ahead)
            if pending.ready:
                rows.append(row_of(facts, pending.dated(0), pending.look(0)))
            else:
                waiting.append(facts.boiler.boiler)
        return in_order(rows), waiting

    def answer(self, facts: BoilerFacts) -> Pending:
        """The answer of one boiler, the date of which is waited for."""
        pending = self.desk.ask(facts)
        wait(pending.parts["date"])
        return pending

    def drawn(self, what: str, facts: BoilerFacts, *more: str) -> object:
        """A plan or a report, or why there is none; None if it is not drawn in time."""
        key = (what, facts, more)
        with self._lock:
            future = self._drawn.get(key)
            if future is None or (future.done() and isinstance(future.result(), Failure)):
                future = self._drawn[key] = self.desk.have(drawing.DRAWINGS[what], facts, *more)
            self._drawn.move_to_end(key)
            while len(self._drawn) > MOST_DRAWN:
                self._drawn.popitem(last=False)
        return future.result() if wait(future) else None

    def close(self) -> None:
        """End the workers."""
        self.desk.close()


def wait(future: Future) -> bool:
    """Wait for a future, as long as a page may; whether it is there."""
    try:
        future.result(PATIENCE)
    except TimeoutError:
        return False
    return True


def bare_row(facts: BoilerFacts) -> Due:
    """What a boiler's facts say, while there is no answer."""
    return facts_row(facts)()
