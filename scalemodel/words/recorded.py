"""What is said of a record that was written: what was stored, and what that was understood to mean."""

from __future__ import annotations

from scalemodel.errors import ScalemodelError
from scalemodel.logbook.describe import describe
from scalemodel.logbook.kinds import Record
from scalemodel.logbook.records import Use, WaterTest
from scalemodel.logbook.store import Logbook
from scalemodel.wording import figure


def described(book: Logbook, record: Record) -> str:
    """What a record says beside its boiler."""
    return describe(record, book.boiler(record.boiler) if isinstance(record, Use) else None)


def meaning(book: Logbook, record: Record) -> list[str]:
    """What a record was understood to mean, a line each, where that is more than it says."""
    if isinstance(record, WaterTest):
        return _of_test(record)
    if isinstance(record, Use) and record.sized_by(book.boiler(record.boiler)).drinks_unsized:
        return [
            f"nobody has said how much a drink from {record.boiler} is: taken as {Use.LITRES_PER_DRINK} L; otherwise "
            f"scalemodel amend {number_of(book, record.boiler)} litres_per_drink=..."
        ]
    return []


def number_of(book: Logbook, boiler: str) -> int:
    """The number of the current record of a boiler."""
    return next(one.number for one in book.current("boiler", "boiler = ?", (boiler,)))


def start_assumed(number: int) -> str:
    """That a boiler was taken as clean because nobody said otherwise, and how to say so."""
    return f"taken as free of scale when installed; if it was used before: scalemodel amend {number} start=unknown"


def _of_test(test: WaterTest) -> list[str]:
    """Hardness and alkalinity that one test tells by itself, in mg/L and in degrees."""
    from scalemodel.water.analysis import analyse_tests
    from scalemodel.water.hardness import from_mg_l

    try:
        water = analyse_tests([test])
    except ScalemodelError:  # it tells neither, or contradicts itself: nothing was understood of it alone
        return []
    degrees = figure(from_mg_l(water.hardness, "dH"))
    return [
        f"understood as: hardness about {figure(water.hardness)} mg/L as CaCO3, {degrees} dH; "
        f"alkalinity about {figure(water.alkalinity)} mg/L as CaCO3"
    ]
