"""The key of a record: its own, given by whoever sends it, so that what is sent twice is stored once."""

from __future__ import annotations

import re
from collections.abc import Sequence

from scalemodel.errors import BadValueError, RecordClashError
from scalemodel.logbook.describe import describe
from scalemodel.logbook.entries import Entry
from scalemodel.logbook.kinds import Record
from scalemodel.logbook.photographs import Photograph

_FORM = re.compile(r"[A-Za-z0-9_-]{8,80}")


def check_key(key: str) -> None:
    """BadValueError for what is no key; a random UUID is a good one."""
    if not (isinstance(key, str) and _FORM.fullmatch(key)):
        raise BadValueError("key", key, "8 to 80 letters a-z, digits, '-' or '_', such as a random UUID")


def check_same(held: Entry, record: Record, replaces: int | None = None) -> None:
    """RecordClashError unless the entry under a key is just the record that is sent under it."""
    if held.record != record or held.replaces != replaces:
        raise _clash(held, f"says something else ({describe(held.record)})")


def check_same_photographs(held: Entry, hashes: Sequence[str], sent: Sequence[Photograph]) -> None:
    """RecordClashError unless the entry under a key has just the photographs that are sent under it."""
    if list(hashes) != [one.sha256 for one in sent]:
        raise _clash(held, "has other photographs")


def _clash(held: Entry, what: str) -> RecordClashError:
    return RecordClashError(
        f"its key is that of record {held.number}, which {what}", "give each record a key of its own"
    )
