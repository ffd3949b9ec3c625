"""An import as a whole: struck, all of it or nothing, and entered once more."""

from __future__ import annotations

from scalemodel.errors import BadValueError, RecordClashError, Remedy
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.origins import Import
from scalemodel.logbook.store import Logbook


def find_import(book: Logbook, number: int) -> Import:
    """The import of a number; BadValueError if there is none."""
    known = book.imports()
    for one in known:
        if one.number == number:
            return one
    listed = ", ".join(f"{one.number} ({one.source})" for one in known[-5:]) or "there is none yet"
    raise BadValueError("import", number, (Remedy("the number of an import", "import"), f": {listed}"))


def strike_import(book: Logbook, number: int, reason: str) -> int:
    """Strike every current record that came from an import, or amends one that did; gives how many.

    Raises RecordClashError, and strikes nothing, if nothing of it stands or a record of another origin needs one of it.
    """
    with book.transaction():
        find_import(book, number)
        standing = book.standing_of(number)
        if not standing:
            raise RecordClashError(f"nothing of import {number} stands any more", "`history` shows what became of it")
        book.strike_all(standing, reason, of_import=number)
    return len(standing)


def repeat_import(book: Logbook, number: int) -> Import:
    """Enter once more what was struck with an import, as it stood then; as a new import, which it gives.

    Raises RecordClashError if nothing was, or that was done already; and as `Logbook.add` does for a record that can
    no longer stand; then nothing is entered.
    """
    with book.transaction():
        one = find_import(book, number)
        gone = book.taken_back_of(number)
        if not gone:
            raise RecordClashError(f"import {number} was not struck as a whole", "name one that was")
        again = [later for later in book.imports() if later.repeats == number]
        if again:
            raise RecordClashError(
                f"import {number} was entered once more, as import {again[-1].number}", f"name {again[-1].number}"
            )
        entered, kinds = [], list(KINDS)  # what others refer to comes first
        for entry in sorted(map(book.entry, gone), key=lambda one: kinds.index(one.kind)):
            photos = [one.jpeg for one in book.photographs(entry.number)]
            entered.append(book.add(entry.record, again=True, sure=True, photos=photos))
        return book.record_import(f"import {number}, once more ({one.source})", entered, repeats=number)
