"""Standard output and error as they are found: closed, full, or of an encoding that lacks a letter."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from contextlib import suppress

import click

from scalemodel.errors import ScalemodelError


def fit_streams() -> None:
    """A letter that the encoding of standard output or error lacks is written as its escape, and stops nothing."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure") and not _is_unicode(stream):
            stream.reconfigure(errors="backslashreplace")


def json_text(body: object, default: Callable | None = None) -> str:
    """An object as one line of JSON; letters that standard output lacks are escaped as JSON has it."""
    return json.dumps(body, ensure_ascii=not _is_unicode(sys.stdout), default=default, allow_nan=False)


def _is_unicode(stream) -> bool:
    return (getattr(stream, "encoding", None) or "utf-8").lower().startswith("utf")


def say_error(line: str) -> None:
    """A line on standard error, if that can be written at all."""
    with suppress(OSError):
        click.echo(line, err=True)


def say_done(line: str, say: Callable[[str], None] = click.echo) -> None:
    """Say what was written to the logbook; ScalemodelError, which says it too, if standard output cannot be written."""
    try:
        say(line)
    except BrokenPipeError:
        raise  # whoever reads wanted no more
    except OSError as error:
        raise ScalemodelError(
            f"{line}; but the output cannot be written: {error.strerror}", "it is done: do not do it again"
        ) from error
