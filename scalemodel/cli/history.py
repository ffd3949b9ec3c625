"""``scalemodel history``, ``amend`` and ``strike``: what was recorded, and how it is put right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import partial

import click

from scalemodel.cli.options_and_output import aligned, emit, json_option, logbook_path
from scalemodel.cli.recording import insisting, photo_option, pictures_from, sure_option, writable_logbook
from scalemodel.cli.shell_completion import BOILERS
from scalemodel.cli.streams import say_done
from scalemodel.errors import BadValueError, RecordClashError, ScalemodelError
from scalemodel.logbook.describe import describe, photographed
from scalemodel.logbook.kinds import KINDS, kind_of
from scalemodel.logbook.records import Boiler
from scalemodel.logbook.store import Entry, Logbook
from scalemodel.words.recorded import described, meaning


@click.command()
@click.argument("boiler", required=False, metavar="[BOILER]", shell_complete=BOILERS)
@json_option
@click.pass_context
def history(ctx: click.Context, boiler: str | None, as_json: bool) -> None:
    """Show all records, of one BOILER if named, newest last, with what was amended or struck, when and why.

    Days of records are yours; moments of entry are UTC, marked Z.

    With a BOILER that was descaled, also what each descale probably left.

    \b
    Example:
      scalemodel history kitchen
    """
    with Logbook.open(logbook_path(ctx)) as book:
        entries = book.history(boiler)
        left, why_not = _left_by_descales(book, boiler, entries)
        boilers = {one.boiler: one for one in book.boilers()}
    body, text = {"entries": [_as_object(entry) for entry in entries]}, _table(entries, boilers)
    if boiler is not None:
        body |= {"residue": left, "residue_reason": why_not}
    if left:
        text += "\n\nWhat the descales left:\n" + "\n".join(f"  - {one['words']}" for one in left)
    if why_not:
        text += f"\n\nWhat the descales left cannot be told yet: {why_not}"
    emit(body, text, as_json)


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


def _table(entries: Sequence[Entry], boilers: Mapping[str, Boiler]) -> str:
    """Aligned columns: number, date, moment of entry, and what, with what became of it in brackets if anything did."""
    if not entries:
        return "no records yet"
    rows = []
    for entry in entries:
        fate = _fate(entry)
        said = describe(entry.record, boilers.get(getattr(entry.record, "boiler", None)))
        said += photographed(entry.photographs)
        what = f"{KINDS[entry.kind].title}: {said}" + (f" [{fate}]" if fate else "")
        rows.append((entry.number, entry.day or "-", _moment(entry.entered_at), what))
    return "\n".join(aligned(("number", "date", "entered", "what"), rows))


def _fate(entry: Entry) -> str:
    """What became of an entry, when and why, and which it amends; nothing of one that simply stands."""
    said = [f"amends {entry.replaces}"] if entry.replaces else []
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
@click.argument("number", type=click.IntRange(min=1), metavar="NUMBER")
@click.option("--reason", required=True, metavar="TEXT", help="Why; kept with the record.")
@click.pass_context
def strike(ctx: click.Context, number: int, reason: str) -> None:
    """Strike record NUMBER (see history), which then counts no longer but is kept, marked.

    \b
    Example:
      scalemodel strike 12 --reason "another boiler's look"
    """
    with writable_logbook(ctx) as book:
        book.strike(number, reason)
        entry = book.entry(number)
    say_done(f"struck {KINDS[entry.kind].title} {number}: {describe(entry.record)}")
