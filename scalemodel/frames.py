"""Results as pandas DataFrames: dates as Timestamps, words as text, what is missing as pandas has it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
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
