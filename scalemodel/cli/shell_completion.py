"""Completion in the shell: names from the logbook, read quickly, without a word and without ever failing."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import click

from scalemodel.cli.options_and_output import logbook_path
from scalemodel.logbook.field_types import Choice
from scalemodel.logbook.fields import rule
from scalemodel.logbook.kinds import Kind
from scalemodel.logbook.store import Logbook


def names_of(kind: str, ctx: click.Context) -> tuple[str, ...]:
    """The names of a kind ("boiler", "water" or "site") in the logbook; sites of the boiler typed so far, if any."""
    with Logbook.open(logbook_path(ctx)) as book:
        if kind == "site":
            boiler = ctx.params.get("boiler") or next(iter(ctx.args), None)  # args: while an option awaits its value
            return book.site_names(boiler) if boiler else tuple(dict.fromkeys(s.site for s in book.records("site")))
        return tuple(getattr(record, kind) for record in book.records(kind))


def items(words: Iterable[str]) -> list:
    """Words as click hands them to the shell."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(word) for word in words]


def completing(kind: str) -> Callable:
    """What a parameter that takes a name of that kind hands to click as ``shell_complete``."""

    def complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list:
        try:
            names = names_of(kind, ctx)
        except Exception:  # a shell waits at its prompt: no names are better than a traceback
            return []
        return items(name for name in names if name.casefold().startswith(incomplete.casefold()))

    return complete


_OF_NAMES = {kind: completing(kind) for kind in ("boiler", "site", "water")}
BOILERS, SITES, WATERS = _OF_NAMES.values()

boiler_argument = click.argument("boiler", metavar="BOILER", shell_complete=BOILERS)
"""The boiler that a question is about."""


def completing_field(kind: Kind, field: str) -> Callable | None:
    """Completion of a record's field: names that the record refers to, or the words that it may hold; else None."""
    if field in kind.naming[-1:]:
        return None  # the record brings this name itself
    if field in _OF_NAMES:
        return _OF_NAMES[field]
    meaning = rule(kind, field)
    if not isinstance(meaning, Choice):
        return None
    return lambda ctx, param, incomplete: items(w for w in meaning.options if w.startswith(incomplete.lower()))
