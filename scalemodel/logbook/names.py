"""What boilers, sites and waters are called: a record holds the first name for good, people say the present one.

So a change of name touches no record. `Names` leads from the one to the other, and from a former name to the present.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from scalemodel.logbook.kinds import Record, kind_of

NAMED = ("boiler", "site", "water")
"""Kinds that bring a name, each held in the field of its own name wherever a record refers to it."""

_COMPARED = re.compile(r'(\w+)"?\s*(?:<=|>=|<>|=|<|>)\s*\?')


@dataclass(frozen=True, slots=True)
class Renamed:
    """One change of a name.

    Attributes
    ----------
    number : int
    kind : str
        boiler, site or water.
    boiler : str
        Of a site, what its boiler is called now; blank for the others.
    old, new : str
        What it was called before, and from then on.
    called : str
        What it is called now, which may be another name again.
    since : date
    named_at : str
        UTC, ISO 8601.
    reason : str
    """

    number: int
    kind: str
    boiler: str
    old: str
    new: str
    called: str
    since: date
    named_at: str
    reason: str


Key = tuple[str, str, str]
"""Kind, first name of a site's boiler (else blank), and a name."""


class Names:
    """The names of one state of a logbook; ValueError where a line is not as it was written."""

    def __init__(self, lines: Sequence[tuple]) -> None:
        self._lines = tuple((*rest, date.fromisoformat(since), at, why) for *rest, since, at, why in lines)
        self._called: dict[Key, str] = {}
        for _, kind, boiler, name, called, *_ in self._lines:
            self._called[kind, boiler, name] = called
        self._first = {(kind, boiler, called): name for (kind, boiler, name), called in self._called.items()}

    @classmethod
    def of(cls, connection: sqlite3.Connection) -> Names:
        """The names in a logbook."""
        ask = "SELECT number, kind, boiler, name, called, since, named_at, reason FROM naming ORDER BY number"
        lines = connection.execute(ask).fetchall()
        return cls(lines) if lines else _AS_THEY_ARE

    def first(self, kind: str, name: str, boiler: str = "") -> str:
        """The first name of what is called ``name``; of a site, that of a boiler called ``boiler``.

        Blank, which is no name, for a first name of what is called otherwise now: nothing is called so.
        """
        key = (kind, self._of(kind, boiler), name)
        return self._first.get(key, "" if key in self._called else name)

    def _of(self, kind: str, boiler: str) -> str:
        return self._first.get(("boiler", "", boiler), boiler) if kind == "site" else ""

    def kept(self, held: Mapping[str, object]) -> dict[str, object]:
        """Values by field, names among them, as records hold them."""
        boiler = held.get("boiler", "")
        return {f: self.first(f, v, boiler) if f in NAMED else v for f, v in held.items()} if self._lines else held

    def bound(self, where: str, values: Sequence) -> tuple:
        """The values of the marks of a condition (``boiler = ? AND ...``), names as records hold them."""
        if not self._lines:
            return tuple(values)
        fields = _COMPARED.findall(where)
        boiler = dict(zip(fields, values, strict=False)).get("boiler", "")
        pairs = zip(fields, values, strict=True)
        return tuple(self.first(field, value, boiler) if field in NAMED else value for field, value in pairs)

    def present(self, record: Record) -> Record:
        """A record that is held, as people call what it is about."""
        if not self._lines:
            return record
        columns = kind_of(record).columns
        held = {field: getattr(record, field) for field in NAMED if field in columns}
        boiler = held.get("boiler", "")
        said = {f: self._called.get((f, boiler if f == "site" else "", v), v) for f, v in held.items()}
        return record if said == held else replace(record, **said)

    def changes(self) -> Iterator[Renamed]:
        """Every change of a name, oldest first."""
        before: dict[Key, str] = {}
        for number, kind, boiler, name, new, since, named_at, reason in self._lines:
            key = (kind, boiler, name)
            owner = self._called.get(("boiler", "", boiler), boiler)
            old, called = before.get(key, name), self._called[key]
            yield Renamed(number, kind, owner, old, new, called, since, named_at, reason)
            before[key] = new

    def now(self, kind: str, name: str, boiler: str = "") -> Renamed | None:
        """The last change of what was once called ``name``, in any case; None where nothing was, or something is."""
        folded = name.casefold()
        of_kind = [one for one in self.changes() if (one.kind, one.boiler) == (kind, boiler)]
        once = [one.called for one in of_kind if one.old.casefold() == folded]
        if not once or any(one.called.casefold() == folded for one in of_kind):
            return None
        return next(one for one in reversed(of_kind) if one.called == once[-1])

    def former(self, kind: str, name: str, boiler: str = "") -> tuple[str, ...]:
        """What a boiler, site or water was called before, oldest first."""
        found = (one.old for one in self.changes() if (one.kind, one.boiler, one.called) == (kind, boiler, name))
        return tuple(dict.fromkeys(old for old in found if old != name))


_AS_THEY_ARE = Names(())


def faults(connection: sqlite3.Connection) -> Iterator[str]:
    """Changes of names that this program cannot have written."""
    called: dict[Key, str] = {}
    for number, kind, boiler, name, new, since in connection.execute(
        "SELECT number, kind, boiler, name, called, since FROM naming ORDER BY number"
    ):
        held = (boiler, name) if kind == "site" else (name,)
        marks = " AND ".join(f"{field} = ?" for field in (("boiler", "site") if kind == "site" else (kind,)))
        if kind not in NAMED:
            yield f"change of name {number} is of {kind!r}, which has none"
        elif connection.execute(f"SELECT 1 FROM {kind}_name WHERE {marks}", held).fetchone() is None:
            yield f"change of name {number} is of a {kind} {name!r} that is not there"
        try:
            date.fromisoformat(since)
        except ValueError:
            yield f"change of name {number} is since {since!r}, which is no day"
        called[kind, boiler, name] = new
    for (kind, boiler, name), new in called.items():
        twins = [one for (k, b, one), other in called.items() if (k, b, other) == (kind, boiler, new) and one < name]
        if twins:
            yield f"the {kind}s first called {twins[0]!r} and {name!r} are both called {new!r}"
