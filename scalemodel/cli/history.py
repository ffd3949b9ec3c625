"""``scalemodel history``, ``amend`` and ``strike``: what was recorded, and how it is put right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import partial

import click

from scalemodel.cli.options_and_output import DATE, aligned, emit, json_option, logbook_path
from scalemodel.cli.recording import insisting, photo_option, pictures_from, sure_option, writable_logbook
from scalemodel.cli.shell_completion import BOILERS
from scalemodel.cli.streams import say_done
from scalemodel.errors import BadValueError, RecordClashError, ScalemodelError, UnknownNameError
from scalemodel.logbook.choosing import Choice, place_of
from scalemodel.logbook.describe import describe, photographed
from scalemodel.logbook.field_types import tidy_name
from scalemodel.logbook.imports import repeat_import, strike_import
from scalemodel.logbook.kinds import KINDS, kind_of
from scalemodel.logbook.names import Names, Renamed
from scalemodel.logbook.origins import Import
from scalemodel.logbook.records import Boiler
from scalemodel.logbook.store import Entry, Logbook
from scalemodel.wording import counted
from scalemodel.words.recorded import described, meaning

OTHER_ACTS = ("rename",)
"""What a history tells of besides records."""


class KindType(click.ParamType):
    """A kind of record as people call it, or an act that is none."""

    name = "kind"

    def convert(self, value, param, ctx) -> str:
        known = {kind.title: name for name, kind in KINDS.items()} | {act: act for act in OTHER_ACTS}
        said = value.strip().lower().replace("_", " ").replace("-", " ")
        for word in (said, said.removesuffix("s"), {"look": "inspection", "looks": "inspection"}.get(said, said)):
            if word in known:
                return known[word]
        raise UnknownNameError("kind of record", value, known)


@click.command()
@click.argument("boiler", required=False, metavar="[BOILER]", shell_complete=BOILERS)
@click.option("--from", "since", type=DATE, metavar="DATE", help="Only what is about this day or a later one.")
@click.option("--to", "until", type=DATE, metavar="DATE", help="Only what is about this day or an earlier one.")
@click.option(
    "--kind",
    "kinds",
    type=KindType(),
    multiple=True,
    metavar="KIND",
    help="Only records of this kind; may be repeated.",
)
@click.option(
    "--place", default="", metavar="PLACE", help="Only of this site, or of boilers whose note or address names it."
)
@json_option
@click.pass_context
def history(ctx: click.Context, boiler: str | None, since, until, kinds, place: str, as_json: bool) -> None:
    """Show all records, of one BOILER if named, in the order of the visits: by day, then by the moment of entry.

    What was amended, struck or renamed stands there too, when and why, and which import a record came from. Boilers,
    sites and waters stand before all visits. Days of records are yours; moments of entry are UTC, marked Z.

    With a BOILER that was descaled, also what each descale probably left.

    \b
    Example:
      scalemodel history kitchen
      scalemodel history --from 2026-01-01 --kind inspection --kind descale --place cellar
    """
    if since is not None and until is not None and since > until:
        raise BadValueError("--to", until, f"{since}, which --from says, or later")
    choice = Choice(since, until, kinds, place)
    with Logbook.open(logbook_path(ctx)) as book:
        every = book.history(boiler)
        name = None if boiler is None else tidy_name(boiler)
        left, why_not = _left_by_descales(book, boiler, every) if choice.is_all else ([], None)
        boilers = {one.boiler: one for one in book.boilers()}
        entries = choice.chosen(every, boilers)
        renames = _renames(book.names(), choice, name)
        imports = book.imports() if choice.is_all else ()
    came = {entry.imported for entry in entries}
    imports = [one for one in imports if boiler is None or one.number in came]
    body = {
        "entries": [_as_object(entry) for entry in entries],
        "renames": [asdict(one) for one in renames],
        "imports": [asdict(one) for one in imports],
    }
    text = _table(entries, renames, boilers, choice)
    if boiler is not None:
        body |= {"residue": left, "residue_reason": why_not}
    if imports:
        text += "\n\nImports:\n" + "\n".join(f"  - {_import_words(one)}" for one in imports)
    if left:
        text += "\n\nWhat the descales left:\n" + "\n".join(f"  - {one['words']}" for one in left)
    if why_not:
        text += f"\n\nWhat the descales left cannot be told yet: {why_not}"
    emit(body, text, as_json)


def _renames(names: Names, choice: Choice, boiler: str | None) -> list[Renamed]:
    """The changes of names that are asked for; of a boiler, its own and those of its sites."""
    if choice.place or (choice.kinds and "rename" not in choice.kinds):
        return []
    found = [one for one in names.changes() if choice.holds_day(one.since, one.since)]
    return [
        one for one in found if boiler in (None, one.boiler or one.called) and (boiler is None or one.kind != "water")
    ]


def _import_words(one: Import) -> str:
    """An import in a line."""
    said = f"import {one.number}, {_moment(one.imported_at)}: {counted(one.records, 'record')} from {one.source}"
    said += f"; as it was before, the logbook is kept in {one.backup}" if one.backup else ""
    return said + (f"; taken back, {counted(one.struck, 'record')} struck" if one.struck else "")


def _left_by_descales(
    book: Logbook, boiler: str | None, entries: Sequence[Entry]
) -> tuple[list[dict] | None, str | None]:
    """The residue of each descale of a boiler; or None and why it cannot be told."""
    if boiler is None or not any(e.kind == "descale" and e.is_current for e in entries):
        return [], None
    from scalemodel import api
    from scalemodel.decision.residue import residues_of
    from scalemodel.words.account import residue_object

    try:
        found = residues_of(api.posterior(book.facts(boiler, book.today())))
    except ScalemodelError as error:
        return None, error.problem
    return [residue_object(one) for one in found], None


def _as_object(entry: Entry) -> dict:
    return {**asdict(entry), "state": entry.state}


def _table(entries: Sequence[Entry], renames: Sequence[Renamed], boilers: Mapping[str, Boiler], choice: Choice) -> str:
    """Aligned columns: number, date, moment of entry, and what, with what became of it in brackets if anything did."""
    if not entries and not renames:
        return "no records yet" if choice.is_all else "no record of what was asked for"
    rows = []
    for entry in entries:
        fate = _fate(entry)
        said = describe(entry.record, boilers.get(getattr(entry.record, "boiler", None)))
        said += photographed(entry.photographs)
        what = f"{KINDS[entry.kind].title}: {said}" + (f" [{fate}]" if fate else "")
        rows.append(
            ((place_of(entry), 0, entry.number), (entry.number, entry.day or "-", _moment(entry.entered_at), what))
        )
    for one in renames:
        where = f" of {one.boiler}" if one.boiler else ""
        what = f"rename: the {one.kind} {one.old}{where} is called {one.new}" + (f": {one.reason}" * bool(one.reason))
        rows.append(((one.since, 1, one.number), ("-", one.since, _moment(one.named_at), what)))
    rows.sort(key=lambda row: row[0])
    return "\n".join(aligned(("number", "date", "entered", "what"), [row for _, row in rows]))


def _fate(entry: Entry) -> str:
    """What became of an entry, when and why, and which it amends; nothing of one that simply stands."""
    said = [f"import {entry.imported}"] if entry.imported else []
    said += [f"amends {entry.replaces}"] if entry.replaces else []
    if entry.struck_at is not None:
        said.append(f"struck {_moment(entry.struck_at)}: {entry.strike_reason}")
    elif entry.replaced_by is not None:
        said.append(f"amended by {entry.replaced_by}" + (f": {entry.replace_reason}" if entry.replace_reason else ""))
    return "; ".join(said)


def _moment(utc: str) -> str:
    """A moment as people read it: date and minute, Z for UTC."""
    return f"{utc[:10]} {utc[11:16]}Z"


@click.command()
@click.argument("number", type=click.IntRange(min=1), metavar="NUMBER")
@click.argument("changes", nargs=-1, metavar="FIELD=VALUE...")
@photo_option("A photograph that a look lacks, JPEG or PNG; may be given several times.")
@click.option("--reason", default="", metavar="TEXT", help="Why; kept with the record.")
@click.option("--again", is_flag=True, help="Even if another record says just this already.")
@sure_option
@click.pass_context
def amend(ctx: click.Context, number: int, changes, photos, reason: str, again: bool, sure: bool) -> None:
    """Correct record NUMBER (see history); the old one is kept.

    FIELD is a column of its CSV file; FIELD= (nothing behind it) means not recorded. A look keeps its photographs.

    \b
    Example:
      scalemodel amend 12 grade=2 --reason "misread my own writing"
      scalemodel amend 12 --photo chamber.jpg
    """
    if bool(changes) == bool(photos):
        raise RecordClashError("an amendment is of fields or adds photographs", "give FIELD=VALUE, or --photo FILE")
    texts: dict[str, str] = {}
    for change in changes:
        field, equals, text = change.partition("=")
        field = field.strip()
        if not equals or not field:
            raise BadValueError("change", change, "FIELD=VALUE, such as grade=2")
        if field in texts:
            raise BadValueError("change", change, f"each field once; {field} is given twice")
        texts[field] = text
    with writable_logbook(ctx) as book:
        if photos:
            successor = book.add_photographs(number, pictures_from(photos), reason)
        else:
            successor = insisting(partial(book.amend, number, texts, reason), {"again": again, "sure": sure})
        entry = book.entry(successor)
        record, said = entry.record, described(book, entry.record) + photographed(entry.photographs)
        lines = [f"recorded {kind_of(record).title} {successor}, which amends {number}: {said}"]
        lines += [f"  {line}" for line in meaning(book, record)]
    say_done("\n".join(lines))


@click.command()
@click.argument("number", type=click.IntRange(min=1), required=False, metavar="[NUMBER]")
@click.option(
    "--import", "of_import", type=click.IntRange(min=1), metavar="N", help="All records of an import instead, or none."
)
@click.option("--undo", is_flag=True, help="With --import: enter once more what was struck with it.")
@click.option("--reason", default=None, metavar="TEXT", help="Why; kept with the record.")
@json_option
@click.pass_context
def strike(
    ctx: click.Context, number: int | None, of_import: int | None, undo: bool, reason: str | None, as_json: bool
) -> None:
    """Strike record NUMBER (see history), which then counts no longer but is kept, marked.

    With --import N all that came in with import N is struck, amended or not; nothing is, where a record of another
    origin needs one of it. --undo enters it once more, as a new import.

    \b
    Example:
      scalemodel strike 12 --reason "another boiler's look"
      scalemodel strike --import 3 --reason "the wrong folder"
      scalemodel strike --import 3 --undo
    """
    if (number is None) == (of_import is None):
        raise RecordClashError("a strike is of a record or of an import", "give NUMBER, or --import N")
    if undo and of_import is None:
        raise RecordClashError(
            "--undo is of an import", f"a record is entered once more with `scalemodel add`; see `history` for {number}"
        )
    if reason is None and not undo:
        raise click.UsageError("Missing option '--reason'", ctx)
    with writable_logbook(ctx) as book:
        if undo:
            act = repeat_import(book, of_import)
            body = {"import": act.number, "repeats": of_import, "records": act.records, "backup": act.backup}
            said = f"entered {counted(act.records, 'record')} of import {of_import} once more, as import {act.number}"
            said += f"\nas it was before, the logbook is kept in {act.backup}"
        elif of_import is not None:
            struck = strike_import(book, of_import, reason)
            body = {"import": of_import, "struck": struck}
            back = f"`scalemodel strike --import {of_import} --undo` enters them once more"
            said = f"struck {counted(struck, 'record')} of import {of_import}; {back}"
        else:
            book.strike(number, reason)
            entry = book.entry(number)
            body = {"record": number, "struck": 1}
            said = f"struck {KINDS[entry.kind].title} {number}: {describe(entry.record)}"
    say_done(said, lambda line: emit(body, line, as_json))
