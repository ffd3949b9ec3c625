"""How a kind of record is declared: once, on its dataclass and its fields.

A field of a record is a column: of its CSV file, of its table in the database, of ``amend FIELD=VALUE``. What it may
hold, what it means to people and which option writes it stand in the field's metadata; `Kind` reads them from there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, field, fields, replace
from functools import cached_property
from typing import Any, TypeVar

from scalemodel.errors import UnknownNameError
from scalemodel.logbook.field_types import Rule

Says = str | Callable[[Any], str]
"""Words of a value that is told, ``{}`` the value itself; or what makes them of the whole record, blank for none."""

_Class = TypeVar("_Class", bound=type)


@dataclass(frozen=True)
class Column:
    """What is known of one field of a record.

    Attributes
    ----------
    rule : Rule
        What it may hold, and its unit.
    about : str
        What it means, a sentence for people.
    default : object
        What it is when it is left out; MISSING where it is required or follows another.
    says : str or callable
        What it adds to the line that says what a record says.
    option : str or None
        The option of the command line that writes it, by itself called as the field; blank where none does. A field
        that is required has none unless it says so: it is an argument.
    metavar : str
        What that option's value is called.
    follows : str
        The field whose value it takes when it is left out; blank where it is required or has a default.
    """

    rule: Rule
    about: str
    default: object
    says: Says = ""
    option: str | None = None
    metavar: str = ""
    follows: str = ""

    @property
    def required(self) -> bool:
        """Whether it may be neither missing nor blank."""
        return self.default is MISSING and not self.follows

    def called(self, name: str) -> Column:
        """The same, with the option that a field of that name has by itself."""
        if self.option is not None:
            return self
        return replace(self, option="" if self.default is MISSING else "--" + name.replace("_", "-"))

    @property
    def optional(self) -> bool:
        """Whether it may say that nothing is recorded."""
        return self.default is None


def column(rule: Rule, about: str, says: Says = "", *, default: object = MISSING, **more: str) -> Any:
    """The dataclass field of a column; ``more`` is its option, metavar and follows."""
    return field(default=default, metadata={"column": Column(rule, about, default, says, **more)})


@dataclass(frozen=True)
class Kind:
    """One kind of record.

    Attributes
    ----------
    title : str
        What people call it.
    record : type
        Its dataclass.
    file : str
        Its CSV file.
    dated_by : str or None
        The field that dates the record; None for sites and waters, which hold at all times.
    known_on : str or None
        The field whose day must have come for the record to count; differs for a stretch of use. None for sites and
        waters, and for absences, which may be planned (`scalemodel.logbook.absences.known_absences`).
    naming : tuple of str
        Fields that make up a name which other records use; empty if nothing refers to it.
    """

    title: str
    record: type
    file: str
    dated_by: str | None
    known_on: str | None
    naming: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Key in KINDS and table in the database."""
        return self.title.replace(" ", "_")

    @cached_property
    def fields(self) -> Mapping[str, Column]:
        """Every column by its name, in order."""
        return {one.name: one.metadata["column"].called(one.name) for one in fields(self.record)}

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """Fields of the record, which are the CSV columns and the database columns."""
        return tuple(self.fields)

    @cached_property
    def required(self) -> tuple[str, ...]:
        """Columns that may not be missing or blank."""
        return tuple(name for name, one in self.fields.items() if one.required)

    @cached_property
    def defaults(self) -> Mapping[str, object]:
        """Value of each field that was left blank, where it has one of its own."""
        return {name: one.default for name, one in self.fields.items() if one.default is not MISSING}

    def column(self, name: str) -> Column:
        """The column of a name; UnknownNameError (with the nearest name) if there is none."""
        if name not in self.fields:
            raise UnknownNameError(f"{self.title} field", name, self.columns)
        return self.fields[name]


def kept(
    title: str, file: str, dated_by: str | None, known_on: str | None, naming: tuple[str, ...] = ()
) -> Callable[[_Class], _Class]:
    """Declares a dataclass to be a kind of record, which it then carries as ``KIND``."""

    def declare(record: _Class) -> _Class:
        record.KIND = Kind(title, record, file, dated_by, known_on, naming)
        return record

    return declare
