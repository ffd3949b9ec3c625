"""What is wrong with a folder of CSV files, or is asked about it: gathered, so that all can be mended at once."""

from __future__ import annotations

from pathlib import Path

from scalemodel.errors import ImportRefusedError, ScalemodelError, UnknownNameError
from scalemodel.logbook.doubt import Doubt
from scalemodel.logbook.field_types import tidy_name
from scalemodel.logbook.kinds import KINDS, Kind
from scalemodel.wording import counted

FAULTS_LISTED = 50
"""Of more faults than this the rest are only counted."""

TO_BE_SURE = "check what is asked; --sure enters it as it is"
TO_LEAVE_OUT = "--only-new leaves out what the logbook holds, --again enters looks, tests and descales once more"

OUR_FILES = {kind.file: kind for kind in KINDS.values()}

Place = tuple[str, int]
"""A file and its row; row 0 is the file as a whole."""


class Faults:
    """Bad cells and clashes, gathered so that a person can mend them all at once.

    Attributes
    ----------
    found : list of (Place, str)
    lost : dict of str to set of str
        By kind, names (folded) that rows which could not be read may have meant to register.
    blind : set of str
        Kinds of which a whole file could not be read, so that any name may have stood in it.
    held : bool
        Whether a row says just what a record says.
    doubts : int
        How many of what was found are questions, which somebody who is sure may answer.
    """

    def __init__(self) -> None:
        self.found: list[tuple[Place, str]] = []
        self.lost: dict[str, set[str]] = {}
        self.blind: set[str] = set()
        self.held, self.doubts = False, 0

    def add(self, place: Place, what: object) -> None:
        file, row = place
        self.found.append((place, f"{file} row {row}{what}" if row else f"{file}{what}"))

    def add_row(self, kind: Kind, place: Place, name: str, said: str) -> None:
        """A fault of a row; the name that it would have registered is not missed in other rows."""
        self.add(place, said)
        self.lost.setdefault(kind.name, set()).add(tidy_name(name).casefold())

    def add_file(self, kind: Kind, row: int, what: object) -> None:
        """A fault for which a file cannot be read to its end."""
        self.add((kind.file, row), what)
        self.blind.add(kind.name)

    def add_doubt(self, place: Place, doubt: Doubt) -> None:
        """Something hard to believe in a row that may stand."""
        self.add(place, f", {doubt}")
        self.doubts += 1

    def explains(self, error: ScalemodelError) -> bool:
        """Whether a name is unknown only because the row that would have registered it is at fault."""
        if not isinstance(error, UnknownNameError):
            return False
        return error.kind in self.blind or error.given.casefold() in self.lost.get(error.kind, ())

    def stop_if_any(self, folder: Path) -> None:
        if not self.found:
            return
        files = list(OUR_FILES)
        self.found.sort(key=lambda one: (files.index(one[0][0]) if one[0][0] in files else -1, one[0][1]))
        listed, more = [said for _, said in self.found[:FAULTS_LISTED]], len(self.found) - FAULTS_LISTED
        if more > 0:
            listed.append(f"... and {more} more")
        faults = len(self.found) - self.doubts
        counts = [counted(n, what) for n, what in ((faults, "fault"), (self.doubts, "question")) if n]
        remedies = (
            ("mend what is listed and import again", faults),
            (TO_LEAVE_OUT, self.held),
            (TO_BE_SURE, self.doubts),
        )
        raise ImportRefusedError(
            f"nothing was imported from {str(folder)!r}: {' and '.join(counts)}",
            listed,
            "; ".join(remedy for remedy, wanted in remedies if wanted),
        )
