"""The logbook: an append-only ledger of dated records in one SQLite file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from scalemodel.errors import (
    AlreadyRecordedError,
    BadValueError,
    EvidenceError,
    ImplausibleError,
    RecordClashError,
)
from scalemodel.logbook import album, clock, database, meters, rules
from scalemodel.logbook.absences import known_absences, local_day
from scalemodel.logbook.acts import REASON, Acts
from scalemodel.logbook.adopted import adopted_by, by_present_names
from scalemodel.logbook.belief import Priors
from scalemodel.logbook.book import Numbered
from scalemodel.logbook.days import Day, as_day
from scalemodel.logbook.describe import describe
from scalemodel.logbook.doubt import Doubt
from scalemodel.logbook.entries import Entry
from scalemodel.logbook.field_types import tidy_name
from scalemodel.logbook.fields import clean, read, spread
from scalemodel.logbook.keys import check_key, check_same, check_same_photographs
from scalemodel.logbook.kinds import KINDS, Record, kind_of
from scalemodel.logbook.ledger import Lineage, Shared
from scalemodel.logbook.photographs import prepare_all
from scalemodel.logbook.plausible import doubts_about, known_beside
from scalemodel.logbook.presumed import only_site
from scalemodel.logbook.records import WALL, Absence, Boiler, BoilerFacts, Fill, Site, Water, WaterTest
from scalemodel.logbook.tables import Tabled

if TYPE_CHECKING:
    from scalemodel.logbook.verify import Findings


class Logbook(Tabled, Acts):
    """Records in, facts out; a context manager that closes the file.

    A record is current while nothing replaces it and nothing strikes it. Only current records make
    up the facts; ``history`` shows all. Made by `open`, `create` or `in_memory`.
    """

    priors: Priors | None = None
    """Priors that every boiler's facts are to carry; None for those that the logbook adopted, else the house's."""

    # ---- reading

    def records(self, kind: str, boiler: str | None = None) -> tuple[Record, ...]:
        """Current records of a kind by date, then by order of first entry; of one boiler if named.

        Boilers, sites and waters come in the order of first entry; an amended record keeps the place
        of the one it replaced. UnknownNameError for an unknown boiler.
        """
        return tuple(one.record for one in self.numbered(kind, boiler))

    def numbered(self, kind: str, boiler: str | None = None) -> tuple[Numbered, ...]:
        """The same records, each with its number."""
        owned = () if boiler is None else ("boiler = ?", (self.boiler(boiler).boiler,))
        return tuple(self._in_order(KINDS[kind], *owned))

    def boilers(self, in_use_on: date | None = None) -> tuple[Boiler, ...]:
        """Every boiler, in the order of entry; with a day only those that were not retired by then."""
        return tuple(one for one in self.records("boiler") if in_use_on is None or not one.is_retired(in_use_on))

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
        return tuple(one.record for one in tests if as_of is None or one.record.date <= as_of)

    def shared(self) -> Shared:
        """What the facts of all boilers have in common, read once for many of them; within one `reading`."""
        lineage = self._lineage()
        adoptions = [] if self.priors else [one.record for one in self._sound("adoption", lineage)]
        told = [self._sound(name, lineage) for name in ("water", "water_test")]
        return Shared(lineage, *told, tuple(by_present_names(adoptions, self.names())))

    def _sound(self, name: str, lineage: Lineage, boiler: str | None = None) -> list[Numbered]:
        """Current records of a kind in order, of one boiler if named; LogbookError for one that cannot be sound."""
        found = self._in_order(KINDS[name], *(("", ()) if boiler is None else ("boiler = ?", (boiler,))), lineage)
        for one in found:
            self._check_sound(one.record)
        return found

    def facts(self, boiler_name: str, as_of: Day, shared: Shared | None = None) -> BoilerFacts:
        """All that was known of a boiler on a day, as `BoilerFacts` describes.

        ``shared`` is what `shared` gave within the same reading. Raises UnknownNameError for an unknown boiler,
        EvidenceError for a day before its installation.
        """
        as_of = as_day(as_of, "as of")
        with self.reading():
            boiler = self.boiler(boiler_name)
            if as_of < boiler.installed_on:
                raise EvidenceError(
                    f"{boiler.boiler!r} was installed on {boiler.installed_on}, after {as_of}",
                    f"ask as of {boiler.installed_on} or later",
                )

            shared = shared or self.shared()
            lineage = shared.lineage

            def ever(name: str) -> list[Numbered]:
                return self._sound(name, lineage, boiler.boiler)

            def by_then(name: str, found: list[Numbered]) -> list[Numbered]:
                field = KINDS[name].known_on
                return [one for one in found if field is None or getattr(one.record, field) <= as_of]

            def numbered(name: str) -> list[Numbered]:
                return by_then(name, ever(name))

            def known(name: str) -> tuple:
                return tuple(one.record for one in numbered(name))

            looks, fills = numbered("inspection"), ever("fill")
            adoptions = adopted_by(shared.adopted, boiler.boiler, as_of, self.names())
            return BoilerFacts(
                boiler=boiler,
                as_of=as_of,
                sites=known("site"),
                waters=tuple(one.record for one in by_then("water", shared.waters)),
                water_tests=tuple(one.record for one in by_then("water_test", shared.water_tests)),
                fills=tuple(one.record for one in fills if one.record.from_date <= as_of),
                uses=tuple(use.sized_by(boiler) for use in known("use")),
                inspections=tuple(one.record for one in looks),
                descales=known("descale"),
                prices=known("prices"),
                absences=self._absences(boiler.boiler, as_of, lineage),
                planned_fills=self._planned_fills(fills, as_of, lineage),
                look_numbers=tuple(one.number for one in looks),
                beliefs=self.priors.of(boiler.boiler) if self.priors else adoptions[-1].beliefs if adoptions else (),
                adoptions=adoptions,
            )

    def _check_sound(self, record: Record) -> None:
        """LogbookError for a record that could not have been entered as it stands."""
        try:
            clean(record)
        except BadValueError as error:
            raise database.damaged(self._place, f"an entry of {kind_of(record).name!r} ({error.problem})") from error

    def _absences(self, boiler: str, as_of: date, lineage: Lineage) -> tuple[Absence, ...]:
        found = self.current("absence", "boiler = ?", (boiler,))
        return known_absences([(one.record, self._entered_on(one, as_of, lineage)) for one in found], as_of)

    def _planned_fills(self, fills: list[Numbered], as_of: date, lineage: Lineage) -> tuple[Fill, ...]:
        """Of the changes of water, by date, those after ``as_of`` that were entered by then."""
        ahead = [one for one in fills if one.record.from_date > as_of]
        return tuple(one.record for one in ahead if self._entered_on(one, as_of, lineage) <= as_of)

    def _entered_on(self, one: Numbered, as_of: date, lineage: Lineage) -> date:
        """The day of a record's entry, by which a plan is known; ``as_of`` where that is today or later."""
        if as_of >= self.today():
            return as_of
        try:
            return local_day(lineage.entered_at[one.number])
        except (TypeError, ValueError, KeyError) as error:
            raise database.damaged(self._place, "the moment of an entry") from error

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

    def pictured(self, boiler: str | None = None) -> tuple[tuple[Numbered, tuple[str, ...]], ...]:
        """Every current look, of one boiler if named, by date, each with the SHA-256 of its photographs in order."""
        with self.reading():
            looks = self.numbered("inspection", boiler)
            return tuple((look, album.hashes(self._connection, look.number)) for look in looks)

    # ---- writing

    def add(
        self,
        record: Record,
        again: bool = False,
        sure: bool = False,
        key: str | None = None,
        photos: Iterable[bytes] = (),
    ) -> int:
        """Enter a record and give its number; an inspection with its photographs, each the bytes of a JPEG or PNG.

        A ``key`` is the record's own: the same record sent again under it is not entered again, whatever became of it
        since, and its number is given. Raises BadValueError, UnknownNameError or RecordClashError if the record cannot
        stand or its key is another's, AlreadyRecordedError if a current one is equal to it and ``again`` does not
        insist, and ImplausibleError if it is hard to believe and ``sure`` does not insist; then nothing is written.
        """
        tidy, pictures = clean(record), prepare_all(photos)
        album.check_belongs(tidy, pictures)
        with self.transaction():
            if (held := self._under(key)) is not None:
                check_same(held, tidy)
                check_same_photographs(held, album.hashes(self._connection, held.number), pictures)
                return held.number
            rules.check(self, tidy)
            self._question(tidy, None, again, sure)
            number = self._enter(tidy, key=key)
            album.keep(self._connection, number, pictures)
            return number

    def _under(self, key: str | None) -> Entry | None:
        """The entry that has a key, None for none; BadValueError for what is no key."""
        if key is None:
            return None
        check_key(key)
        return next(self._entries("entry.key = ?", (key,)), None)

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
        """Numbers of the current records that equal a tidy record in every field, oldest first."""
        kind = kind_of(record)
        stored = self._stored(record)
        where = " AND ".join(
            f'held."{name}" ' + ("IS NULL" if value is None else "= ?")
            for name, value in zip(kind.columns, stored, strict=True)
        )
        bound = [value for value in stored if value is not None]
        return [one.number for one in self.current(kind.name, where, bound)]

    @staticmethod
    def _stored(record: Record) -> list:
        """The values of a record as its table holds them."""
        held = ((one.rule, getattr(record, name)) for name, one in kind_of(record).fields.items())
        return [None if value is None else rule.store(value) for rule, value in held]

    def amend(
        self,
        number: int,
        changes: Mapping[str, str],
        reason: str = "",
        again: bool = False,
        sure: bool = False,
        key: str | None = None,
    ) -> int:
        """Enter a corrected copy of a current record and give its number; the old entry is kept.

        ``changes`` maps fields to text, blank for "not recorded"; short forms such as ``grade=1-2``
        serve too. The same amendment sent again under a ``key`` is entered once. Raises as `add` does, and
        RecordClashError if the record is not current, nothing would change, or a name would.
        """
        why = REASON.clean(reason, "reason")
        with self.transaction():
            held = self._under(key)
            entry = self._current_entry(number, "amend") if held is None else self.entry(number)
            kind = KINDS[entry.kind]
            corrected = clean(kind.record(**self._changed(entry, spread(kind, changes))))
            if held is not None:
                check_same(held, corrected, number)
                return held.number
            rules.check_names_kept(entry.record, corrected)
            if corrected == entry.record:
                raise RecordClashError(f"record {number} says so already", "give a FIELD=VALUE that differs")
            rules.check(self, corrected, replacing=number)
            self._question(corrected, number, again, sure)
            successor = self._enter(corrected, number, why, key)
            album.inherit(self._connection, successor, number)
            meters.check_gap_left(self, entry.record)
            return successor

    def add_photographs(self, number: int, photos: Iterable[bytes], reason: str = "", key: str | None = None) -> int:
        """Enter a current look once more, with photographs behind those that it has; the number of the new entry.

        Raises as `add` and `amend` do; RecordClashError where it has all of them already.
        """
        why, pictures = REASON.clean(reason, "reason"), prepare_all(photos)
        with self.transaction():
            under = self._under(key)
            entry = self._current_entry(number, "amend") if under is None else self.entry(number)
            album.check_belongs(entry.record, pictures)
            held = album.hashes(self._connection, number)
            more = album.new_ones(held, pictures)
            if under is not None:
                check_same(under, entry.record, number)
                there = album.hashes(self._connection, under.number)
                check_same_photographs(under, there[len(held) :], more)
                return under.number
            if not more:
                raise RecordClashError(f"record {number} has these photographs already", "give one that it has not")
            successor = self._enter(entry.record, number, why, key)
            album.inherit(self._connection, successor, number)
            album.keep(self._connection, successor, more, len(held))
            return successor

    @staticmethod
    def _changed(entry: Entry, texts: Mapping[str, str]) -> dict[str, object]:
        kind = KINDS[entry.kind]
        values = {name: getattr(entry.record, name) for name in kind.columns}
        for field, text in texts.items():
            meaning = kind.column(field).rule
            if text.strip():
                values[field] = read(kind, field, text)
            elif field in kind.defaults:
                values[field] = kind.defaults[field]
            else:
                raise BadValueError(field, text, meaning.allowed)
        return values

    def strike(self, number: int, reason: str) -> None:
        """Strike a current record, which stays in the history with the reason.

        Raises BadValueError for a blank reason or an unknown number, RecordClashError if the record is
        not current or other records need it.
        """
        self.strike_all((number,), reason)

    def strike_all(self, numbers: Sequence[int], reason: str, of_import: int | None = None) -> None:
        """Strike several current records or none, as `strike` does; with the number of the import that is taken back.

        What stands is looked at when all are struck: a boiler may go together with all its records.
        """
        why = REASON.clean(reason, "reason")
        if not why:
            raise BadValueError("reason", reason, "why it is struck, in a few words")
        with self.transaction():
            gone = [self._current_entry(number, "strike") for number in numbers]
            lines = [(entry.number, clock.stamp(), why, of_import) for entry in gone]
            self._connection.executemany("INSERT INTO strike VALUES (?, ?, ?, ?)", lines)
            for entry in gone:
                rules.check_unused(self, Numbered(entry.number, entry.record))
                meters.check_gap_left(self, entry.record)

    # ---- keeping it safe

    def verify(self) -> Findings:
        """What is wrong with the file, the ledger or a record; see `scalemodel.logbook.verify`."""
        from scalemodel.logbook.verify import examine

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

    def _enter(self, record: Record, replaces: int | None = None, reason: str = "", key: str | None = None) -> int:
        kind, run = kind_of(record), self._connection.execute
        held = self.names().kept({name: getattr(record, name) for name in kind.columns})
        number = run(
            "INSERT INTO entry (kind, entered_at, replaces, reason, key) VALUES (?, ?, ?, ?, ?)",
            (kind.name, clock.stamp(), replaces, reason, key),
        ).lastrowid
        if kind.naming:
            marks = ", ".join("?" for _ in kind.naming)
            names = tuple(held[field] for field in kind.naming)
            run(f"INSERT INTO {kind.name}_name VALUES ({marks}) ON CONFLICT DO NOTHING", names)
        if kind.name == "boiler":
            run("INSERT INTO site_name VALUES (?, ?) ON CONFLICT DO NOTHING", (held["boiler"], WALL))
        stored = [number, *self._stored(kind.record(**held))]
        run(f"INSERT INTO {kind.name} VALUES ({', '.join('?' for _ in stored)})", stored)
        return number
