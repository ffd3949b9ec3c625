"""The map of a sheet: which of its columns holds what, and how it is written. A small TOML file of its owner's."""

from __future__ import annotations

import codecs
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from scalemodel.errors import ImportRefusedError, shortened
from scalemodel.logbook.usual_forms import MARKS, ORDERS

FIELDS = {
    "date": "the day",
    "boiler": "the machine",
    "place": "where it stands, where machines of two places are called alike",
    "site": "the place inside it that was looked at",
    "grade": "the grade seen",
    "method": "how it was looked at",
    "inspector": "who looked: initials or a name",
    "note": "anything else",
    "meter": "the reading of its water meter",
    "tds": "the TDS of the water that it draws",
    "conductivity": "the conductivity of that water",
    "water": "the water, where it is not the one on record",
    "kit": "what the water was tested with",
    "tds_factor": "the factor of the TDS meter",
}
"""What a column of a sheet may hold."""

REQUIRED = ("date", "boiler")
NAMES = {"boilers": "boiler", "sites": "site", "waters": "water", "inspectors": "inspector"}
"""Tables that translate what stands in the sheet, and the field of each."""

UNITS = ("meter", "tds", "conductivity")
READING = ("dates", "decimal", "months", "blank", "encoding")
TABLES = ("columns", "always", "reading", "units", *NAMES)

BLANK = ("", "-", "–", "—", "n/a", "na")
"""Cells that say nothing, in any case."""


@dataclass(frozen=True)
class SheetMap:
    """How a sheet is read.

    Attributes
    ----------
    columns : mapping of str to str
        The heading of each field that has a column.
    always : mapping of str to str
        What a field is in every row, where its cell is blank or it has no column.
    units : mapping of str to str
        The unit of a field where its cells name none.
    names : mapping of str to mapping of str to str
        By field, what a cell (casefolded) is called in the logbook.
    dates, decimal : str
        One of ORDERS, of MARKS; blank where the sheet decides.
    months : sequence of str
        Twelve names of months besides the English ones; or none.
    blank : sequence of str
        Cells (casefolded) that say nothing.
    encoding : str
        Of the file; blank for UTF-8.
    """

    columns: Mapping[str, str]
    always: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    names: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    dates: str = ""
    decimal: str = ""
    months: Sequence[str] = ()
    blank: Sequence[str] = BLANK
    encoding: str = ""

    def called(self, name: str, text: str) -> str:
        """What a cell says in the words of the logbook."""
        return self.names.get(name, {}).get(text.casefold(), text)


def read_map(path: Path) -> SheetMap:
    """The map in a file; ImportRefusedError, in one line, for one that cannot be read or says what is not known."""
    try:
        whole = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise _refused(path, f"cannot be read: {error.strerror or error}", "name a TOML file") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        said = " ".join(str(error).split())
        raise _refused(path, f"is no TOML ({shortened(said)})", "`import --template` writes an example") from error
    return _made(path, whole)


def _refused(path: Path, said: str, right: str) -> ImportRefusedError:
    return ImportRefusedError(f"the map {str(path)!r} {said}", (), right)


def _made(path: Path, whole: dict) -> SheetMap:
    _known(path, "a table", whole, TABLES)
    for name in whole:
        if not isinstance(whole[name], dict):
            raise _refused(path, f"has {name!r} outside a table", f"write it under [{TABLES[0]}] or another table")
    columns = _texts(path, "columns", whole, tuple(FIELDS))
    missing = [name for name in REQUIRED if name not in columns]
    if missing:
        raise _refused(path, f"names no column for {' and '.join(missing)}", f'write: {missing[0]} = "Heading"')
    always = _texts(path, "always", whole, tuple(name for name in FIELDS if name not in ("date", "boiler")))
    units = _texts(path, "units", whole, UNITS)
    names = {one: _folded(_texts(path, table, whole)) for table, one in NAMES.items()}
    return SheetMap(columns, always, units, names, **_reading(path, whole.get("reading", {})))


def _known(path: Path, what: str, given: dict, known: Sequence[str]) -> None:
    for name in given:
        if name not in known:
            near = get_close_matches(name, known, n=1, cutoff=0.6)
            hint = f"did you mean {near[0]!r}?" if near else "known: " + ", ".join(known)
            raise _refused(path, f"has {what} {shortened(name)!r}, which is none", hint)


def _texts(path: Path, table: str, whole: dict, known: Sequence[str] = ()) -> dict[str, str]:
    """A table of texts; numbers are taken as texts."""
    held = whole.get(table, {})
    if known:
        _known(path, f"in [{table}]", held, known)
    for name, value in held.items():
        if isinstance(value, bool) or not isinstance(value, (str, int, float)) or not str(value).strip():
            raise _refused(path, f"has {table}.{name} = {shortened(repr(value))}", "a text in quotation marks")
    return {name: str(value).strip() for name, value in held.items()}


def _folded(names: dict[str, str]) -> dict[str, str]:
    return {name.strip().casefold(): value for name, value in names.items()}


def _reading(path: Path, held: dict) -> dict:
    _known(path, "in [reading]", held, READING)
    made = {}
    for name, options in (("dates", ORDERS), ("decimal", MARKS)):
        value = held.get(name, "")
        if value and value not in options:
            said = " or ".join(f'"{one}"' for one in options)
            raise _refused(path, f"has reading.{name} = {shortened(repr(value))}", f"{name} = {said}")
        made[name] = value
    for name, count in (("months", 12), ("blank", None)):
        value = held.get(name, [])
        right = isinstance(value, list) and all(isinstance(one, str) for one in value)
        if not right or (value and count not in (None, len(value))):
            raise _refused(path, f"has reading.{name} = {shortened(repr(value))}", f"a list of {count or 'some'} texts")
        made[name] = tuple(one.strip().casefold() for one in value)
    made["blank"] = (*BLANK, *made["blank"])
    made["encoding"] = held.get("encoding", "")
    try:
        codecs.lookup(made["encoding"] or "utf-8")
    except (LookupError, TypeError, ValueError):
        raise _refused(
            path, f"has reading.encoding = {shortened(repr(made['encoding']))}", 'one such as "utf-8" or "cp1252"'
        ) from None
    return made
