"""Results as pandas DataFrames: dates as Timestamps, words as text, what is missing as pandas has it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import date
from enum import Enum
from typing import TYPE_CHECKING

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
    """Results as rows: every field of a dataclass, but those ``without``; a Timestamp for a date.

    A field that holds a dataclass, or a mapping, is as many columns, the field's name before each; a tuple of these is
    a text of what each says, by its own ``str``; other tuples are one cell.
    """
    rows = [dict(_cells(result, without)) for result in results]
    columns = list(dict.fromkeys(name for row in rows for name in row))
    dates = [name for name in columns if any(isinstance(row.get(name), date) for row in rows)]
    named = [name for name in columns if name.rpartition("_")[2] in ("on", "until", "of", "p10", "p50", "p90")]
    empty = [name for name in named if all(row.get(name) is None for row in rows)]
    return table(rows, columns, [*dates, *empty])


def _cells(result: object, without: Sequence[str], before: str = "") -> Iterator[tuple[str, object]]:
    held = result if isinstance(result, Mapping) else {one.name: getattr(result, one.name) for one in fields(result)}
    for name, value in held.items():
        if name in without:
            continue
        if isinstance(value, Mapping) or (is_dataclass(value) and not isinstance(value, type)):
            yield from _cells(value, (), f"{before}{name}_")
        elif isinstance(value, tuple) and any(map(is_dataclass, value)):
            yield before + name, "; ".join(str(getattr(one, "seen", one)) for one in value)
        else:
            yield before + name, ("" if value == () else value)
