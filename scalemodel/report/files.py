"""Where reports and figures go, and what their files are called."""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path

from scalemodel.atomic import write_files
from scalemodel.errors import BadValueError


def check_place(path: str | Path, endings: tuple[str, ...], field: str = "out") -> Path:
    """The path as it is, if a file can go there: BadValueError for another ending or no such folder.

    ``field`` is what the path was given as.

    >>> check_place("plan.md", (".md",)).name
    'plan.md'
    """
    path = Path(path)
    if path.suffix.lower() not in endings:
        raise BadValueError(field, path, f"a file name that ends in {' or '.join(endings)}")
    if not os.path.isdir(path.parent):
        raise unwritable(path, f"there is no folder {path.parent}", field)
    return path


def write_whole(path: Path, content: bytes) -> Path:
    """Write a file beside its place, then move it there; BadValueError if that cannot be done."""
    try:
        write_files({path: content})
    except OSError as error:
        raise unwritable(path, error.strerror or str(error)) from error
    return path


def write_all(folder: Path, pages: Mapping[str, str]) -> list[Path]:
    """Write pages into a folder, which is made if there is none: each is written beside its place, then all are moved.

    Nothing is moved unless all could be written. Returns their paths, in the order given; BadValueError for a folder
    that cannot be made or written in.
    """
    contents = {folder / name: page.encode() for name, page in pages.items()}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_files(contents)
    except OSError as error:
        raise BadValueError(
            "out", folder, f"a folder where files can be written ({error.strerror or error})"
        ) from error
    return list(contents)


INDEX = "index.html"
LONGEST_STEM = 120
"""Bytes of a page's name before its ending: with a mark and an ending it stays below what file systems take."""

RESERVED = re.compile(r"(index|con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
"""Names with a meaning of their own, here or on some systems."""


def page_names(boilers: Iterable[str]) -> dict[str, str]:
    """A file name for the page of each boiler, no two alike on any system, none that leads out of its folder.

    Names whose files some system would take for one another are told apart by a mark of their own.

    >>> page_names(["kitchen", "bar 1", "Mill", "mill"])
    {'kitchen': 'kitchen.html', 'bar 1': 'bar-1.html', 'Mill': 'Mill-a5feb9.html', 'mill': 'mill-901fac.html'}
    """
    stems = {name: _cut(safe_stem(name)) for name in boilers}
    near = Counter(map(_alike, stems.values()))
    alone = {name for name, stem in stems.items() if near[_alike(stem)] == 1 and not RESERVED.fullmatch(stem)}
    taken = {_alike(stems[name]) for name in alone}
    for name in (name for name in stems if name not in alone):
        marked = f"{stems[name]}-{hashlib.sha256(name.encode()).hexdigest()[:6]}"
        while _alike(marked) in taken:
            marked += "-x"
        taken.add(_alike(marked))
        stems[name] = marked
    return {name: f"{stem}.html" for name, stem in stems.items()}


def _alike(stem: str) -> str:
    """A stem as the least discerning file system sees it."""
    return unicodedata.normalize("NFKC", stem).casefold()


def _cut(stem: str) -> str:
    """A stem of at most `LONGEST_STEM` bytes."""
    return stem.encode()[:LONGEST_STEM].decode(errors="ignore")


def safe_stem(name: str) -> str:
    """A boiler's name as part of a file name: letters, digits, points, dashes.

    >>> safe_stem("  bar: left/2 ")
    'bar-left-2'
    >>> safe_stem("...")
    'boiler'
    """
    return re.sub(r"[^\w.-]+", "-", name).strip("-.") or "boiler"


def unwritable(path: Path, why: str, field: str = "out") -> BadValueError:
    """The refusal of a place where no file can be written."""
    return BadValueError(field, path, f"a place where a file can be written ({why})")
