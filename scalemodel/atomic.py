"""How a file or a folder reaches its place: whole, or not at all. It is written beside its place, then moved there."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path


@contextmanager
def beside(place: Path) -> Iterator[Path]:
    """A path in the same folder at which nothing is, to write at first; what is then still there is removed.

    So are files whose names go on from it, such as those that SQLite writes beside a database.
    """
    part = place.with_name(f".scalemodel-{secrets.token_hex(8)}.part")
    try:
        yield part
    finally:
        for left in part.parent.glob(f"{part.name}*"):
            if left.is_dir():
                shutil.rmtree(left, ignore_errors=True)
            else:
                left.unlink(missing_ok=True)


def put(path: Path, content: bytes) -> None:
    """Write a file, down to the disk."""
    path.write_bytes(content)
    force(path)


def force(path: Path) -> None:
    """Have the system write a file to the disk."""
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def move(part: Path, place: Path, replace: bool = True) -> None:
    """Give what was written beside a place its name there; FileExistsError if it is taken, unless ``replace``."""
    if replace:
        os.replace(part, place)
    else:
        _name_new(part, place)
    with suppress(OSError):  # not every system lets a folder be opened
        handle = os.open(place.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _name_new(part: Path, place: Path) -> None:
    try:
        os.link(part, place)  # fails where there is a file by now, which no renaming does
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if place.exists():
            raise FileExistsError(str(place)) from None
        os.rename(part, place)


def write_files(contents: Mapping[Path, bytes]) -> None:
    """Write every file beside its place, then move all there; OSError, and none is moved, if one cannot be written."""
    with ExitStack() as stack:
        parts = {path: stack.enter_context(beside(path)) for path in contents}
        for path, content in contents.items():
            put(parts[path], content)
        for path, part in parts.items():
            move(part, path)
