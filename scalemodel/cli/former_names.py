"""A former name, wherever a command was given one: what it is called now."""

from __future__ import annotations

from pathlib import Path

from scalemodel.errors import FormerNameError, ScalemodelError, UnknownNameError


def told_now(error: UnknownNameError, path: Path) -> UnknownNameError:
    """The error, or one that says what is called so no more, where the logbook at a path knows it by another name.

    Rooms further in know only the present names. A site is looked for in all boilers where its own is not said.
    """
    from scalemodel.logbook.store import Logbook

    if isinstance(error, FormerNameError):
        return error
    try:
        with Logbook.open(path) as book:
            changes = [one for one in book.names().changes() if one.kind == error.kind]
            names = book.names()
    except ScalemodelError:
        return error
    for boiler in dict.fromkeys(one.boiler for one in changes):
        was = names.now(error.kind, error.given, boiler)
        if was is not None:
            return FormerNameError(error.kind, error.given, was.called, was.since)
    return error
