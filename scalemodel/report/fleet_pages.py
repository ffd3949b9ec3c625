"""The reports of a whole fleet: a page a boiler, drawn several at once and written as each comes, and a list of all."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from scalemodel.answers.rows import Due, count_of, facts_of_all
from scalemodel.answers.stream import as_done
from scalemodel.answers.told import Drawn, Failure
from scalemodel.answers.worker import parts_of
from scalemodel.report.files import INDEX, page_names, write_all

if TYPE_CHECKING:
    from scalemodel.answers.desk import Desk
    from scalemodel.decision.question import Question
    from scalemodel.logbook.records import BoilerFacts
    from scalemodel.logbook.series import Series
    from scalemodel.logbook.store import Logbook


@dataclass(frozen=True)
class FleetPages:
    """The list of all, how many pages there are beside it, how many of these were drawn, and why others are missing."""

    index: Path
    pages: int
    drawn: int
    missing: Mapping[str, str]


class Ready(NamedTuple):
    """A boiler whose page is to be there: its facts and photographs, and whether it stands there as it would be."""

    facts: BoilerFacts
    photographs: tuple[Series, ...]
    key: str
    stands: bool


def page(
    facts: BoilerFacts,
    question: Question,
    seed: int | None,
    particles: int | None,
    photographs: Sequence[Series] = (),
) -> Iterator[tuple[str, str]]:
    """The report of a boiler as the one part of a job, with a way back to the list."""
    from scalemodel.decision.asking import prepare
    from scalemodel.report.contents import report_contents
    from scalemodel.report.page import report_page

    yield "page", report_page(report_contents(prepare(facts, question, seed, particles)), INDEX, photographs)


def write_pages(
    book: Logbook,
    as_of: date,
    rows: Sequence[Due],
    desk: Desk,
    folder: Path,
    here: bool = False,
    done: Callable[[float], None] = lambda share: None,
) -> FleetPages:
    """Write the pages of all boilers of a logbook, then the list, of their ``rows``; ``here`` in this process alone."""
    from scalemodel.report.index import index_page

    names = page_names([boiler.boiler for boiler in book.boilers()])
    count, missing, drawn = count_of(book, as_of), {}, 0
    begin = _beginning(desk, here)
    for k, (ready, future) in enumerate(as_done(desk, _ready(book, as_of, desk, folder, names), begin, _itself)):
        name, text = ready.facts.boiler.boiler, future.result()
        if isinstance(text, Failure):
            missing[name] = text.reason
        elif text is not None:
            write_all(folder, {names[name]: text})
            desk.kept.put(ready.key, "page", Drawn(digest(text.encode())))
            drawn += 1
        done((k + 1) / count)
    missing |= {row.boiler: row.reason for row in rows if row.reason}
    listed = [Due(row.boiler, row.as_of, reason=missing[row.boiler]) if row.boiler in missing else row for row in rows]
    (index,) = write_all(folder, {INDEX: index_page(listed, as_of, names)})
    return FleetPages(index, len(rows) - len(missing), drawn, missing)


def digest(content: bytes) -> str:
    """The hash of a page as it is written."""
    return hashlib.sha256(content).hexdigest()


def _itself(future: Future) -> Future:
    return future


def _ready(book: Logbook, as_of: date, desk: Desk, folder: Path, names: Mapping[str, str]) -> Iterator[Ready]:
    """Each boiler with its photographs, read as it is needed."""
    from scalemodel.report.photographs import photographs_for_page

    for facts in facts_of_all(book, as_of):
        if isinstance(facts, Due):
            continue
        name = facts.boiler.boiler
        photographs = photographs_for_page(book, name, as_of)
        key = digest((desk.key(facts) + repr(photographs)).encode())
        yield Ready(facts, photographs, key, _stands(folder / names[name], desk.kept.get(key, "page")))


def _stands(path: Path, drawn: object) -> bool:
    """Whether a page is there as it was drawn."""
    try:
        return isinstance(drawn, Drawn) and digest(path.read_bytes()) == drawn.sha256
    except OSError:
        return False


def _beginning(desk: Desk, here: bool) -> Callable[[Ready], Future]:
    """What has a page drawn, and gives its text, or why there is none, or None where it stands already."""

    def begin(ready: Ready) -> Future:
        job = (page, ready.facts, *desk.asked, ready.photographs)
        if not (ready.stands or here):
            return desk.have(*job)
        future: Future = Future()
        future.set_result(None if ready.stands else next(part for _, part in parts_of(*job)))
        return future

    return begin
