"""What a page is asked and what it replies, without the web framework: plain values, so that a page is a function."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import quote, urlencode

from scalemodel.errors import BadValueError, FullDiskError, LogbookError, ScalemodelError, UnknownNameError

HTML = "text/html; charset=utf-8"
LONGEST_NUMBER = 12
"""A number of a record has at most so many digits."""

UNNAMED = "one of the page's own links; go back to the list"


@dataclass(frozen=True)
class Device:
    """A paired device: its ``mark`` (no secret), the token of its forms, and who looks by it (kept on the device)."""

    mark: str
    form_token: str
    inspector: str = ""


@dataclass(frozen=True)
class Asked:
    """A request: its words, what its form holds, the photographs with it, and the device that sent it."""

    path: str
    words: Mapping[str, str]
    form: Mapping[str, str]
    device: Device
    photos: tuple[bytes, ...] = ()

    def word(self, name: str) -> str:
        """A word of the address or the form; BadValueError if it is missing."""
        if name in self.form or name in self.words:
            return self.form.get(name, self.words.get(name, ""))
        raise BadValueError(name, "", UNNAMED)

    def number(self, name: str) -> int:
        """A whole number of the address or the form; BadValueError for anything else."""
        text = self.word(name)
        if not (text.isascii() and text.isdigit() and len(text) <= LONGEST_NUMBER):
            raise BadValueError(name, text, UNNAMED)
        return int(text)


@dataclass
class Reply:
    """A reply: what is sent, and what the device is to keep."""

    body: str | bytes = ""
    status: int = 200
    sort: str = HTML
    headers: dict[str, str] = field(default_factory=dict)
    keep: dict[str, str] = field(default_factory=dict)


def as_data(told: Mapping[str, object]) -> Reply:
    """A reply to a script."""
    return Reply(json.dumps(told), sort="application/json")


def status_of(error: ScalemodelError) -> int:
    """The status of an error that a person can mend."""
    kinds = ((UnknownNameError, 404), (FullDiskError, 507), (LogbookError, 503), (BadValueError, 400))
    return next((status for kind, status in kinds if isinstance(error, kind)), 409)


def address(path: str, **words: object) -> str:
    """An address of this server.

    >>> address("/boiler", name="bar left/2")
    '/boiler?name=bar+left%2F2'
    """
    return quote(path) + (f"?{urlencode(words)}" if words else "")


def go_to(path: str, **words: object) -> Reply:
    """Send the device on to another page, which it then gets by itself."""
    return Reply(status=303, headers={"Location": address(path, **words)})
