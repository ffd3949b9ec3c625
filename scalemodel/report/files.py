"""How a file reaches its place: whole, or not at all."""

from __future__ import annotations

import os
import re
import secrets
from pathlib import Path

from scalemodel.errors import BadValueError


def check_place(path: str | Path, endings: tuple[str, ...]) -> Path:
    """The path as it is, if a file can go there: BadValueError for another ending or no such folder.

    >>> check_place("plan.md", (".md",)).name
    'plan.md'
    """
    path = Path(path)
    if path.suffix.lower() not in endings:
        raise BadValueError("out", path, f"a file name that ends in {' or '.join(endings)}")
    if not os.path.isdir(path.parent):
        raise unwritable(path, f"there is no folder {path.parent}")
    return path


def write_whole(path: Path, content: bytes) -> Path:
    """Write a file beside its place, then move it there; BadValueError if that cannot be done."""
    beside = path.with_name(f".{secrets.token_hex(6)}.part")
    try:
        beside.write_bytes(content)
        os.replace(beside, path)
    except OSError as error:
        raise unwritable(path, error.strerror or str(error)) from error
    finally:
        beside.unlink(missing_ok=True)
    return path


def safe_stem(name: str) -> str:
    """A boiler's name as part of a file name: letters, digits, points, dashes.

    >>> safe_stem("  bar: left/2 ")
    'bar-left-2'
    >>> safe_stem("...")
    'boiler'
    """
    return re.sub(r"[^\w.-]+", "-", name).strip("-.") or "boiler"


def unwritable(path: Path, why: str) -> BadValueError:
    """The refusal of a place where no file can be written."""
    return BadValueError("out", path, f"a place where a file can be written ({why})")
