"""Photographs beside inspections.csv: a folder ``photos`` of JPEG files, and a column that names those of each look."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from hashlib import sha256
from pathlib import Path

from scalemodel import atomic
from scalemodel.errors import BadValueError, LogbookError
from scalemodel.logbook.columns import Kind
from scalemodel.logbook.faults import Faults
from scalemodel.logbook.photographs import prepare, read_file
from scalemodel.logbook.records import Inspection

COLUMN = "photos"
"""The column of inspections.csv that names the photographs of a look, and the folder in which these are."""

_BETWEEN = ";"
_ALLOWED = f"names of files in {COLUMN}/, each once, with {_BETWEEN!r} between them"
_PICTURES = (".jpg", ".jpeg", ".png", ".heic", ".webp", ".gif", ".bmp", ".tif", ".tiff")


def more_columns(kind: Kind) -> tuple[str, ...]:
    """The columns that a kind's file may have besides the fields of its record."""
    return (COLUMN,) if kind is Inspection.KIND else ()


# ---- in


def names_in(cell: str) -> tuple[str, ...]:
    """The files that a cell names; BadValueError for what would leave the folder, and for one named twice."""
    names = [part.strip() for part in cell.split(_BETWEEN) if part.strip()]
    for place, name in enumerate(names):
        twice = name.casefold() in (other.casefold() for other in names[:place])
        if twice or name in (".", "..") or re.search(r"[/\\:\0]", name):
            raise BadValueError(COLUMN, name, _ALLOWED)
    return tuple(names)


def read_photographs(folder: Path, names: Sequence[str]) -> list[bytes]:
    """The photographs of those names beside the CSV files, each ready to be kept; BadValueError for the first that is
    none."""
    place = folder / COLUMN
    if names and place.is_symlink():
        raise BadValueError(COLUMN, names[0], f"a file in a folder {COLUMN}/ that is no link")
    return [prepare(read_file(place / name, follow=False), name).jpeg for name in names]


def note_unnamed(folder: Path, named: Iterable[str], faults: Faults) -> None:
    """Note every picture in the folder that no row names, so that none is left behind unseen."""
    place, known = folder / COLUMN, {name.casefold() for name in named}
    if place.is_symlink() or not place.is_dir():
        return
    for one in sorted(place.iterdir()):
        if one.suffix.lower() in _PICTURES and not one.name.startswith(".") and one.name.casefold() not in known:
            file = Inspection.KIND.file
            faults.add((f"{COLUMN}/{one.name}", 0), f": no row of {file} names it; name it in its column {COLUMN!r}")


# ---- out


def names_for(looks: Iterable[tuple[Inspection, Sequence[str]]]) -> tuple[list[str], dict[str, str]]:
    """For looks and the hashes of their photographs: what each row says, and the hash of each file by its name."""
    cells, files, taken = [], {}, Counter()
    for look, hashes in looks:
        names = []
        for one in hashes:
            base = f"{look.date}-{_slug(look.boiler)}-{_slug(look.site)}"
            taken[base] += 1
            names.append(f"{base}-{taken[base]}.jpg")
            files[names[-1]] = one
        cells.append(f"{_BETWEEN} ".join(names))
    return cells, files


def _slug(name: str) -> str:
    """A name in small letters and digits that every file system knows.

    >>> _slug("Küche 2 / links"), _slug("厨房")
    ('kuche-2-links', 'x')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub("[^a-z0-9]+", "-", plain)[:30].strip("-") or "x"


def check_folder(place: Path, ours: Callable[[str], bool]) -> None:
    """LogbookError for a folder of photographs in which anything is that is none of this logbook; ``ours`` knows them
    by their hashes."""
    if place.is_symlink() or not place.is_dir():
        raise LogbookError(f"{str(place)!r} is no folder of photographs", "name an empty or a new folder")
    for one in sorted(place.iterdir()):
        if one.is_symlink() or not one.is_file() or not ours(sha256(one.read_bytes()).hexdigest()):
            raise LogbookError(
                f"{str(place)!r} holds {one.name!r}, which is no photograph of this logbook",
                "name an empty or a new folder",
            )


def write_folder(place: Path, files: Mapping[str, str], jpeg: Callable[[str], bytes]) -> None:
    """Write photographs to a new folder by their names and hashes; none for none."""
    if files:
        place.mkdir()
    for name, one in files.items():
        atomic.put(place / name, jpeg(one))


def move_folder(written: Path, target: Path) -> None:
    """Move what was written into a folder that is there, or make it."""
    if written.is_dir():
        target.mkdir(exist_ok=True)
        for one in sorted(written.iterdir()):
            atomic.move(one, target / one.name)


def clear_folder(target: Path, keep: Iterable[str]) -> None:
    """Take away photographs that no row names any more; the folder was checked to hold only those of the logbook."""
    kept = set(keep)
    for one in sorted(target.iterdir()) if target.is_dir() else ():
        if one.name not in kept:
            one.unlink()
    if target.is_dir() and not kept:
        target.rmdir()
