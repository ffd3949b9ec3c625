"""The photographs in a logbook: which belong to which look, and whether they are what they were."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence

from scalemodel.errors import BadValueError
from scalemodel.logbook.kinds import Record
from scalemodel.logbook.photographs import MOST_A_LOOK, Photograph, fault_of
from scalemodel.logbook.records import Inspection


def check_belongs(record: Record, photographs: Sequence[Photograph]) -> None:
    """BadValueError for photographs of anything but a look."""
    if photographs and not isinstance(record, Inspection):
        raise BadValueError("photo", record.KIND.title, "photographs of an inspection alone")


def keep(connection: sqlite3.Connection, entry: int, photographs: Sequence[Photograph], behind: int = 0) -> None:
    """Write the photographs of a new entry, in their order, behind so many that it has; none is held twice."""
    for place, one in enumerate(photographs, start=behind + 1):
        held = (one.sha256, one.width, one.height, one.jpeg)
        connection.execute("INSERT INTO photograph VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING", held)
        connection.execute("INSERT INTO look_photograph VALUES (?, ?, ?)", (entry, place, one.sha256))


def new_ones(held: Sequence[str], photographs: Sequence[Photograph]) -> tuple[Photograph, ...]:
    """The photographs that a look with those hashes lacks; BadValueError where that would be too many."""
    found = tuple(one for one in photographs if one.sha256 not in held)
    if len(held) + len(found) > MOST_A_LOOK:
        raise BadValueError("photo", f"photograph {MOST_A_LOOK + 1}", f"at most {MOST_A_LOOK} photographs of a look")
    return found


def inherit(connection: sqlite3.Connection, successor: int, entry: int) -> None:
    """Give the photographs of an entry to the one that replaces it too."""
    connection.execute(
        "INSERT INTO look_photograph SELECT ?, place, sha256 FROM look_photograph WHERE entry = ?", (successor, entry)
    )


def hashes(connection: sqlite3.Connection, entry: int) -> tuple[str, ...]:
    """The SHA-256 of each photograph of an entry, in their order."""
    found = connection.execute("SELECT sha256 FROM look_photograph WHERE entry = ? ORDER BY place", (entry,))
    return tuple(sha256 for (sha256,) in found)


def photograph(connection: sqlite3.Connection, sha256: str) -> Photograph | None:
    """The photograph of a hash; None if there is none."""
    held = connection.execute("SELECT sha256, width, height, jpeg FROM photograph WHERE sha256 = ?", (sha256,))
    return next((Photograph(*one) for one in held), None)


def is_held(connection: sqlite3.Connection, sha256: str) -> bool:
    """Whether there is a photograph of a hash; it is not read."""
    return connection.execute("SELECT 1 FROM photograph WHERE sha256 = ?", (sha256,)).fetchone() is not None


def faults(connection: sqlite3.Connection) -> Iterator[tuple[int | None, str]]:
    """Photographs that are not what they were, belong to no look or do not stand in order, by entry; None for none."""
    looks: dict[str, int] = {}
    places: dict[int, list[int]] = {}
    for entry, place, sha256 in connection.execute("SELECT entry, place, sha256 FROM look_photograph ORDER BY 1, 2"):
        looks.setdefault(sha256, entry)
        places.setdefault(entry, []).append(place)
    others = connection.execute(
        "SELECT DISTINCT entry FROM look_photograph JOIN entry ON entry = number WHERE kind <> 'inspection'"
    )
    for (entry,) in others:
        yield entry, "it is no inspection, but has photographs"
    for entry, taken in places.items():
        if taken != list(range(1, len(taken) + 1)):
            yield entry, f"its photographs stand at {', '.join(map(str, taken))}, not at 1 to {len(taken)}"
    for row in connection.execute("SELECT sha256, width, height, jpeg FROM photograph"):
        one = Photograph(*row)
        wrong = fault_of(one)
        if wrong:
            yield looks.get(one.sha256), f"the photograph {one.sha256[:12]} {wrong}"
        if one.sha256 not in looks:
            yield None, f"the photograph {one.sha256[:12]} belongs to no look"
