"""The logbook: an append-only ledger of dated records in one SQLite file."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from types import TracebackType

from scalemodel.errors import (
    AlreadyRecordedError,
    BadValueError,
    EvidenceError,
    ImplausibleError,
    LogbookError,
    RecordClashError,
)
from scalemodel.logbook import clock, database, meters, rules
from scalemodel.logbook.absences import known_absences, local_day
from scalemodel.logbook.describe import describe
from scalemodel.logbook.doubt import Doubt
from scalemodel.logbook.entries import Entry
from scalemodel.logbook.fields import clean, loader, read, rule, spread
from scalemodel.logbook.kinds import KINDS, Kind, Record, kind_of
from scalemodel.logbook.plausible import doubts_about, known_beside
from scalemodel.logbook.presumed import only_site
from scalemodel.logbook.records import WALL, Absence, Boiler, BoilerFacts, Site, Water, WaterTest
from scalemodel.logbook.rules import Numbered
from scalemodel.logbook.values import Text, tidy_name
from scalemodel.logbook.verify import Findings, examine

_CURRENT = (
    "NOT EXISTS (SELECT 1 FROM entry AS later WHERE later.replaces = held.entry) "
    "AND NOT EXISTS (SELECT 1 FROM strike WHERE strike.entry = held.entry)"
)
_REASON = Text(500)


class Logbook:
    """Records in, facts out; a context manager that closes the file.

    A record is current while nothing replaces it and nothing strikes it. Only current records make
    up the facts; ``history`` shows all. Made by `open`, `create` or `in_memory`.
    """

    def __init__(self, connection: sqlite3.Connection, place: str, today: Callable[[], date] = clock.today):
        self._connection = connection
        self._place = place
        self._today = today

    @classmethod
    def open(
        cls,
        path: str | Path,
        write: bool = False,
        today: Callable[[], date] = clock.today,
        told: Callable[[str], None] = database.untold,
    ) -> Logbook:
        """The logbook in a file; with ``write`` a missing one is made, without it nothing is written.

        With ``write`` a logbook of an earlier version is brought up to date; ``told`` is called with a line that says
        so and names the copy of the old one. Raises LogbookError if the file is missing (reading), is no logbook, is of
        a newer version or cannot be used.
        """
        opened = database.open_writing(Path(path), told) if write else database.open_reading(Path(path))
        return cls(opened, str(path), today)

    @classmethod
    def create(cls, path: str | Path, today: Callable[[], date] = clock.today) -> Logbook:
        """A new logbook, open for writing; LogbookError if there is a file already."""
        if cls.exists(path):
            raise LogbookError(f"there is a file at {str(path)!r} already", "choose another path")
        return cls.open(path, write=True, today=today)

    @staticmethod
    def exists(path: str | Path) -> bool:
        """Whether there is a file at the path; LogbookError if that cannot be told."""
        return database.exists(Path(path))

    @classmethod
    def in_memory(cls, today: Callable[[], date] = clock.today) -> Logbook:
        """A new logbook that lives only in memory."""
        return cls(database.open_memory(), ":memory:", today)

    def __enter__(self) -> Logbook:
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; further calls fail."""
        self._connection.close()

    def today(self) -> date:
        """The day after which no record may be dated."""
        return self._today()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything inside is written, or nothing; inner transactions can fail alone."""
        with database.said_plainly(self._place), database.transaction(self._connection):
            yield

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Everything inside reads one state of the file, whatever others write meanwhile."""
        with database.said_plainly(self._place), database.snapshot(self._connection):
            yield

    # ---- reading

    def current(
        self,
        kind: str,
        where: str = "",
        values: Sequence = (),
        besides: int | None = None,
        first_by: str = "",
        most: int = 1,
    ) -> list[Numbered]:
        """Current records of a kind by number; only the first ``most`` in an order if ``first_by`` gives one.

        ``where`` and ``first_by`` are SQL over its columns, never a person's text.
        """
        conditions = [_CURRENT, *([f"({where})"] if where else []), *(["held.entry <> ?"] if besides else [])]
        bound = (*values, *((besides,) if besides else ()))
        order = f"{first_by} LIMIT {most}" if first_by else "held.entry"
        return self._rows(KINDS[kind], " AND ".join(conditions), bound, order)

    def _rows(self, kind: Kind, where: str, values: Sequence, order: str = "held.entry") -> list[Numbered]:
        columns = ", ".join(f'held."{name}"' for name in kind.columns)
        query = f"SELECT held.entry, {columns} FROM {kind.name} AS held WHERE {where} ORDER BY {order}"
        with database.said_plainly(self._place):
            rows = self._connection.execute(query, tuple(values)).fetchall()
        loaded, found = loader(kind), []
        for number, *held in rows:
            try:
                found.append(Numbered(number, loaded(held)))
            except (TypeError, ValueError) as error:
                raise database.damaged(self._place, f"record {number}") from error
        return found

    def records(self, kind: str, boiler: str | None = None) -> tuple[Record, ...]:
        """Current records of a kind by date, then by order of first entry; of one boiler if named.

        Boilers, sites and waters come in the order of first entry; an amended record keeps the place
        of the one it replaced. UnknownNameError for an unknown boiler.
        """
        if boiler is None:
            return self._in_order(KINDS[kind])
        self.boiler(boiler)
        return self._in_order(KINDS[kind], "boiler = ?", (tidy_name(boiler),))

    def _in_order(self, kind: Kind, where: str = "", values: Sequence = ()) -> tuple[Record, ...]:
        with self.reading():
            first = self._first_entries()
            found = self.current(kind.name, where, values)

        def place(one: Numbered) -> tuple:
            day = date.min if kind.naming else getattr(one.record, kind.dated_by)
            return day, first.get(one.number, one.number)

        return tuple(one.record for one in sorted(found, key=place))

    def _first_entries(self) -> dict[int, int]:
        """For each entry that replaces another, the number of the first of its line."""
        first: dict[int, int] = {}
        amended = self._connection.execute(
            "SELECT number, replaces FROM entry WHERE replaces IS NOT NULL ORDER BY number"
        )
        for number, replaces in amended:
            first[number] = first.get(replaces, replaces)
        return first

    def boilers(self) -> tuple[Boiler, ...]:
        """Every boiler, in the order of entry."""
        return self.records("boiler")

    def boiler(self, name: str) -> Boiler:
        """The boiler of a name; UnknownNameError if there is none."""
        return rules.find_boiler(self, tidy_name(name)).record

    def sites(self, boiler: str) -> tuple[Site, ...]:
        """The registered sites of a boiler; its wall is a site even if it is not among them."""
        return self.records("site", boiler)

    def site_names(self, boiler: str) -> tuple[str, ...]:
        """Names of all sites of a boiler, its wall first."""
        return tuple(rules.site_names(self, self.boiler(boiler).boiler))

    def reference_site(self, boiler: str) -> str:
        """The site marked as a boiler's reference surface, else its wall."""
        return next((site.site for site in self.sites(boiler) if site.reference), WALL)

    def site_of_look(self, boiler: str) -> str | None:
        """The site of a look that names none; None where it must be named (`scalemodel.logbook.presumed.only_site`)."""
        with self.reading():
            return only_site(self.site_names(boiler), [look.site for look in self.records("inspection", boiler)])

    def waters(self) -> tuple[Water, ...]:
        """Every water, in the order of entry."""
        return self.records("water")

    def water_tests(self, water: str, as_of: date | None = None) -> tuple[WaterTest, ...]:
        """The tests of a water up to a day, by date; UnknownNameError for an unknown water."""
        name = rules.find_water(self, tidy_name(water)).record.water
        tests = self._in_order(KINDS["water_test"], "water = ?", (name,))
        return tuple(test for test in tests if as_of is None or test.date <= as_of)

    def facts(self, boiler_name: str, as_of: date) -> BoilerFacts:
        """All that was known of a boiler on a day, as `BoilerFacts` describes.

        Raises UnknownNameError for an unknown boiler, EvidenceError for a day before its installation.
        """
        with self.reading():
            boiler = self.boiler(boiler_name)
            if as_of < boiler.installed_on:
                raise EvidenceError(
                    f"{boiler.boiler!r} was installed on {boiler.installed_on}, after {as_of}",
                    f"ask as of {boiler.installed_on} or later",
                )

            def known(name: str, of_boiler: bool = True) -> tuple:
                found = self.records(name, boiler.boiler if of_boiler else None)
                field = KINDS[name].known_on
                for one in found:
                    self._check_sound(one)
                return tuple(one for one in found if field is None or getattr(one, field) <= as_of)

            return BoilerFacts(
                boiler=boiler,
                as_of=as_of,
                sites=known("site"),
                waters=known("water", False),
                water_tests=known("water_test", False),
                fills=known("fill"),
                uses=tuple(use.sized_by(boiler) for use in known("use")),
                inspections=known("inspection"),
                descales=known("descale"),
                prices=known("prices"),
                absences=self._absences(boiler.boiler, as_of),
            )

    def _check_sound(self, record: Record) -> None:
        """LogbookError for a record that could not have been entered as it stands."""
        try:
            clean(record)
        except BadValueError as error:
            raise database.damaged(self._place, f"an entry of {kind_of(record).name!r} ({error.problem})") from error

    def _absences(self, boiler: str, as_of: date) -> tuple[Absence, ...]:
        found = self.current("absence", "boiler = ?", (boiler,))
        if as_of >= self.today():
            return known_absences([(one.record, as_of) for one in found], as_of)
        marks = ", ".join("?" for _ in found)
        query = f"SELECT number, entered_at FROM entry WHERE number IN ({marks})"
        entered = dict(self._connection.execute(query, [one.number for one in found]).fetchall())
        try:
            told = [(one.record, local_day(entered[one.number])) for one in found]
        except (TypeError, ValueError, KeyError) as error:
            raise database.damaged(self._place, "the moment of an entry") from error
        return known_absences(told, as_of)

    def history(self, boiler: str | None = None) -> tuple[Entry, ...]:
        """Every entry by number, oldest first, with what became of it; of one boiler if named.

        A boiler all of whose entries were struck can still be named; UnknownNameError for one that
        never was.
        """
        name = None if boiler is None else tidy_name(boiler)
        with self.reading():
            entries = [
                entry
                for entry in self._entries("1", ())
                if name is None or getattr(entry.record, "boiler", None) == name
            ]
            if name is not None and not entries:
                rules.find_boiler(self, name)
        return tuple(entries)

    def entry(self, number: int) -> Entry:
        """The entry of a number; BadValueError if there is none."""
        if 0 < number < 2**63:
            for entry in self._entries("entry.number = ?", (number,)):
                return entry
        raise BadValueError("record number", number, "a number that `scalemodel history` shows")

    def _entries(self, where: str, values: Sequence) -> Iterator[Entry]:
        query = (
            "SELECT entry.number, entry.kind, entry.entered_at, entry.replaces, entry.reason, later.number, "
            "strike.struck_at, coalesce(strike.reason, ''), later.entered_at, coalesce(later.reason, '') FROM entry "
            "LEFT JOIN entry AS later ON later.replaces = entry.number "
            f"LEFT JOIN strike ON strike.entry = entry.number WHERE {where} ORDER BY entry.number"
        )
        with database.said_plainly(self._place):
            lines = self._connection.execute(query, tuple(values)).fetchall()
        held: dict[int, Record] = {}
        one = ("held.entry = ?", (lines[0][0],)) if len(lines) == 1 else ("1", ())
        for kind in {line[1] for line in lines} & KINDS.keys():
            held.update(self._rows(KINDS[kind], *one))
        for number, kind, *rest in lines:
            if number not in held or kind_of(held[number]).name != kind:
                raise database.damaged(self._place, f"record {number}")
            yield Entry(number, kind, held[number], *rest)

    # ---- writing

    def add(self, record: Record, again: bool = False, sure: bool = False) -> int:
        """Enter a record and give its number.

        Raises BadValueError, UnknownNameError or RecordClashError if the record cannot stand, AlreadyRecordedError
        if a current one is equal to it and ``again`` does not insist, and ImplausibleError if it is hard to believe
        and ``sure`` does not insist; then nothing is written.
        """
        tidy = clean(record)
        with self.transaction():
            rules.check(self, tidy)
            self._question(tidy, None, again, sure)
            return self._enter(tidy)

    def doubts(self, record: Record, besides: int | None = None, typed: bool = True) -> tuple[Doubt, ...]:
        """What is hard to believe of a record that may stand, as `scalemodel.logbook.plausible` has it.

        ``besides`` is the number of the entry that it is, or replaces; ``typed`` says that it is made just now.
        """
        return doubts_about(record, known_beside(self, record, besides, typed))

    def _question(self, record: Record, replacing: int | None, again: bool, sure: bool) -> None:
        if not again and (same := self.same_as(record)):
            raise AlreadyRecordedError(same[0], describe(record))
        if not sure and (doubts := self.doubts(record, replacing)):
            raise ImplausibleError(doubts)

    def same_as(self, record: Record) -> list[int]:
        """Numbers of the current records that equal a record in every field, oldest first."""
        tidy = clean(record)
        kind = kind_of(tidy)
        stored = self._stored(tidy)
        where = " AND ".join(
            f'held."{name}" ' + ("IS NULL" if value is None else "= ?")
            for name, value in zip(kind.columns, stored, strict=True)
        )
        bound = [value for value in stored if value is not None]
        return [one.number for one in self.current(kind.name, where, bound)]

    @staticmethod
    def _stored(record: Record) -> list:
        """The values of a record as its table holds them."""
        kind = kind_of(record)
        values = ((name, getattr(record, name)) for name in kind.columns)
        return [None if value is None else rule(kind, name).store(value) for name, value in values]

    def amend(
        self, number: int, changes: Mapping[str, str], reason: str = "", again: bool = False, sure: bool = False
    ) -> int:
        """Enter a corrected copy of a current record and give its number; the old entry is kept.

        ``changes`` maps fields to text, blank for "not recorded"; short forms such as ``grade=1-2``
        serve too. Raises as `add` does, and RecordClashError if the record is not current, nothing
        would change, or a name would.
        """
        why = _REASON.clean(reason, "reason")
        with self.transaction():
            entry = self._current_entry(number, "amend")
            kind = KINDS[entry.kind]
            corrected = clean(kind.record(**self._changed(entry, spread(kind, changes))))
            rules.check_names_kept(entry.record, corrected)
            if corrected == entry.record:
                raise RecordClashError(f"record {number} says so already", "give a FIELD=VALUE that differs")
            rules.check(self, corrected, replacing=number)
            self._question(corrected, number, again, sure)
            successor = self._enter(corrected, replaces=number, reason=why)
            meters.check_gap_left(self, entry.record)
            return successor

    @staticmethod
    def _changed(entry: Entry, texts: Mapping[str, str]) -> dict[str, object]:
        kind = KINDS[entry.kind]
        values = {name: getattr(entry.record, name) for name in kind.columns}
        for field, text in texts.items():
            meaning = rule(kind, field)
            if text.strip():
                values[field] = read(kind, field, text)
            elif field in kind.defaults and field != "grade_high":
                values[field] = kind.defaults[field]
            else:
                raise BadValueError(field, text, meaning.allowed)
        return values

    def strike(self, number: int, reason: str) -> None:
        """Strike a current record, which stays in the history with the reason.

        Raises BadValueError for a blank reason or an unknown number, RecordClashError if the record is
        not current or other records need it.
        """
        why = _REASON.clean(reason, "reason")
        if not why:
            raise BadValueError("reason", reason, "why it is struck, in a few words")
        with self.transaction():
            entry = self._current_entry(number, "strike")
            rules.check_unused(self, Numbered(number, entry.record))
            self._connection.execute("INSERT INTO strike VALUES (?, ?, ?)", (number, _now(), why))
            meters.check_gap_left(self, entry.record)

    # ---- keeping it safe

    def verify(self) -> Findings:
        """What is wrong with the file, the ledger or a record; see `scalemodel.logbook.verify`."""
        with self.reading():
            return examine(self, self._connection)

    def backup(self, path: str | Path, replace: bool = False) -> int:
        """Copy the whole logbook to a file, also while others write; gives how many entries the copy holds.

        The copy is checked before it gets its name. Raises LogbookError if there is a file already (with ``replace``:
        one that is no logbook, or is in use), or the copy cannot be written.
        """
        return database.back_up(self._connection, Path(path), replace)

    def _current_entry(self, number: int, what: str) -> Entry:
        entry = self.entry(number)
        if entry.struck_at is not None:
            raise RecordClashError(f"record {number} was struck: {entry.strike_reason}", "add a new one instead")
        if entry.replaced_by is not None:
            raise RecordClashError(
                f"record {number} was amended by {entry.replaced_by}", f"{what} {entry.replaced_by} instead"
            )
        return entry

    def _enter(self, record: Record, replaces: int | None = None, reason: str = "") -> int:
        kind = kind_of(record)
        run = self._connection.execute
        number = run(
            "INSERT INTO entry (kind, entered_at, replaces, reason) VALUES (?, ?, ?, ?)",
            (kind.name, _now(), replaces, reason),
        ).lastrowid
        if kind.naming:
            marks = ", ".join("?" for _ in kind.naming)
            names = tuple(getattr(record, field) for field in kind.naming)
            run(f"INSERT INTO {kind.name}_name VALUES ({marks}) ON CONFLICT DO NOTHING", names)
        if kind.name == "boiler":
            run("INSERT INTO site_name VALUES (?, ?) ON CONFLICT DO NOTHING", (record.boiler, WALL))
        stored = [number, *self._stored(record)]
        run(f"INSERT INTO {kind.name} VALUES ({', '.join('?' for _ in stored)})", stored)
        return number


def _now() -> str:
    return clock.now().isoformat(timespec="seconds")
