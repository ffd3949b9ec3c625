"""Results as pandas DataFrames: dates as Timestamps, words as text, what is missing as pandas has it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import date
from enum import Enum
from functools import cache
from types import UnionType
from typing import TYPE_CHECKING, NamedTuple, get_args, get_type_hints

if TYPE_CHECKING:
    from pandas import DataFrame as DataFrame


def table(rows: Iterable[Mapping[str, object]], columns: Sequence[str], dates: Iterable[str] = ()) -> DataFrame:
    """Rows as a DataFrame of ``columns`` in that order; those in ``dates`` hold Timestamps, and NaT for None.

    A number that is None is NaN; a word, one of an enumeration too, is a str.
    """
    import pandas as pd

    listed = list(rows)
    made = {}
    for name in columns:
        values = [row.get(name) for row in listed]
        if name in set(dates):
            made[name] = pd.to_datetime(pd.Series(values, dtype="object"), errors="raise")
        else:
            made[name] = [str(value) if isinstance(value, Enum) else value for value in values]
    return pd.DataFrame(made, columns=list(columns))


def date_fields(kind: type) -> tuple[str, ...]:
    """The fields of a dataclass that hold dates."""
    return tuple(one.name for one in fields(kind) if str(one.type).split(" ")[0] == "date")


def flat(results: Iterable[object], without: Sequence[str] = ()) -> DataFrame:
    """Results of one kind as rows: every field of the dataclass, but those ``without``; a Timestamp for a date.

    A field that holds a dataclass, a named tuple or a mapping is as many columns, the field's name before each, and as
    many of nothing where it is None; a number that is None is NaN, whatever else its column holds. A tuple of what may
    be seen is the same a grade (``shown_3_probability``); another tuple of dataclasses is a text of what each says, and
    any other tuple one cell.
    """
    return _as_table([list(_cells(type(result), result, without)) for result in results])


def each_of(
    result: object,
    rows: Sequence[object],
    kind: type,
    word: str,
    without: Sequence[str],
    beside: Sequence[Mapping[str, object]] = (),
) -> DataFrame:
    """A row for each of ``rows``, all of a dataclass ``kind``: its fields, then those of the ``result``.

    A field of the row that the result has too is named after the row's own ``word``: ``look_site`` beside ``site``.
    Fields of both that are ``without``, such as the one that holds the rows, are left out; ``beside`` are further
    columns of each row, by name. Where there are no rows there are columns all the same.
    """
    whole = list(_cells(type(result), result, without))
    taken = {cell.name for cell in whole}

    def row(one: object, more: Mapping[str, object]) -> list[Cell]:
        own = [*_cells(kind, one, without), *(Cell(name, value, False) for name, value in more.items())]
        return [cell._replace(name=f"{word}_{cell.name}") if cell.name in taken else cell for cell in own] + whole

    listed = [row(one, more) for one, more in zip(rows, beside or [{}] * len(rows), strict=True)]
    return _as_table(listed) if listed else _as_table([row(None, {})]).iloc[:0]


class Cell(NamedTuple):
    """What one row holds in one column, and whether that is a date, even where it is None."""

    name: str
    value: object
    dated: bool


def _as_table(rows: Sequence[Sequence[Cell]]) -> DataFrame:
    columns = list(dict.fromkeys(cell.name for row in rows for cell in row))
    dated = {cell.name for row in rows for cell in row if cell.dated}
    return table([{cell.name: cell.value for cell in row} for row in rows], columns, dated)


@cache
def _hints(kind: type) -> dict[str, object]:
    """The fields of a dataclass or a named tuple, with their types."""
    hints = get_type_hints(kind)
    return {
        name: hints[name] for name in (kind._fields if hasattr(kind, "_fields") else [f.name for f in fields(kind)])
    }


def _alternatives(hint: object) -> list[object]:
    """The types of which a field holds one; None apart."""
    return [one for one in get_args(hint) if one is not type(None)] if isinstance(hint, UnionType) else [hint]


def _has_fields(kind: object) -> bool:
    return isinstance(kind, type) and (is_dataclass(kind) or hasattr(kind, "_fields"))


def _cells(kind: type, held: object, without: Iterable[str] = (), before: str = "") -> Iterator[Cell]:
    for name, hint in _hints(kind).items():
        if name not in without and not name.startswith("_"):
            yield from _cell(before + name, hint, None if held is None else getattr(held, name))


def _cell(name: str, hint: object, value: object) -> Iterator[Cell]:
    kinds = _alternatives(hint)
    inside = get_args(kinds[0])
    if len(kinds) == 1 and _has_fields(kinds[0]):
        yield from _cells(kinds[0], value, (), f"{name}_")
    elif isinstance(value, Mapping):
        for key, one in value.items():
            yield Cell(f"{name}_{key}", one, date in _alternatives(inside[1]))
    elif isinstance(value, tuple) and value and _has_fields(inside[0]) and _hints(inside[0]).get("grade") is int:
        for one in value:
            yield from (cell for cell in _cells(inside[0], one, ("grade",), f"{name}_{one.grade}_"))
    elif isinstance(value, tuple) and any(_has_fields(type(one)) for one in value):
        yield Cell(name, "; ".join(map(_said, value)), False)
    else:
        missing = float("nan") if set(kinds) <= {int, float} else None
        yield Cell(name, missing if value is None else "" if value == () else value, date in kinds)


def _said(one: object) -> str:
    """What a dataclass says in a cell: where it was seen, its whole text, or its fields."""
    return next((said for name in ("seen", "whole") if isinstance(said := getattr(one, name, None), str)), str(one))
