"""A simulated fleet as files: a folder of CSV as import reads it, and the hidden truth beside it."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from scalemodel import atomic
from scalemodel.errors import BadValueError
from scalemodel.logbook.csv_folder import cell_text
from scalemodel.logbook.kinds import KINDS, Record, kind_of

if TYPE_CHECKING:
    from scalemodel.logbook.records import BoilerFacts
    from scalemodel.validation.fleets import Simulated, Truth

WRITTEN = ("boiler", "site", "water", "water_test", "fill", "use", "inspection", "descale")
"""Kinds of record that a simulated fleet has."""

TRUTH_COLUMNS = ("boiler", "unknown", "value")
"""Of the file of truths: a row for each unknown, by the name that is printed of it, and two for what came of them."""


def write_fleet(
    fleet: Iterable[Simulated],
    folder: Path,
    truth: Path | None = None,
    done: Callable[[int], None] = lambda count: None,
) -> dict[str, int]:
    """Write a fleet boiler by boiler; gives how many records of each kind.

    ``folder`` is new or empty, and is there whole or not at all; ``truth`` is a file, where it is asked for.
    ``done`` is told how many boilers are written. BadValueError for a place that will not do.
    """
    _check(folder)
    try:
        with ExitStack() as stack:
            aside = stack.enter_context(atomic.beside(folder))
            aside.mkdir(parents=True)
            told_aside = None if truth is None else stack.enter_context(atomic.beside(truth))
            counts = _write(fleet, aside, told_aside, done)
            if told_aside is not None:
                atomic.move(told_aside, truth)
            if folder.exists():
                folder.rmdir()
            atomic.move(aside, folder)
    except OSError as error:
        raise BadValueError("out", folder, f"a folder that can be written ({error.strerror or error})") from error
    return counts


def _check(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadValueError("out", folder, "a new or an empty folder")


def _write(fleet: Iterable[Simulated], folder: Path, truth: Path | None, done: Callable[[int], None]) -> dict[str, int]:
    """Write each record as it comes; a water and its tests once."""
    counts, written = dict.fromkeys(WRITTEN, 0), set()
    with ExitStack() as stack:

        def opened(path: Path, header: Iterable[str]) -> csv.writer:
            file: TextIO = stack.enter_context(path.open("w", encoding="utf-8", newline=""))
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(header)
            return writer

        files = {name: opened(folder / KINDS[name].file, KINDS[name].columns) for name in WRITTEN}
        told = None if truth is None else opened(truth, TRUTH_COLUMNS)
        for count, one in enumerate(fleet, start=1):
            for record in _records(one.facts, written):
                kind = kind_of(record)
                files[kind.name].writerow([cell_text(kind, name, getattr(record, name)) for name in kind.columns])
                counts[kind.name] += 1
            if told is not None:
                told.writerows(truth_rows(one.truth))
            done(count)
    return counts


def _records(facts: BoilerFacts, written: set[str]) -> Iterable[Record]:
    """The records of a boiler, without waters that are written already."""
    new = {water.water for water in facts.waters} - written
    written |= new
    yield facts.boiler
    yield from facts.sites
    yield from (water for water in facts.waters if water.water in new)
    yield from (test for test in facts.water_tests if test.water in new)
    yield from (*facts.fills, *facts.uses, *facts.inspections, *facts.descales)


def truth_rows(truth: Truth) -> list[tuple[str, str, str]]:
    """What is hidden of a boiler, a row each: the deposit now, when it reaches the threshold, the unknowns."""
    passes = "" if truth.passes_on is None else truth.passes_on.isoformat()
    rows = [("deposit_mg_cm2", f"{truth.deposit_mg_cm2:.6g}"), ("passes_on", passes)]
    rows += [(name, f"{value:.6g}") for name, value in truth.unknowns.items()]
    return [(truth.boiler, name, value) for name, value in rows]
