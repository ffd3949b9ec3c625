"""``scalemodel report``: one boiler, or all of them, as pages for any browser."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path

import click

from scalemodel.api import Question
from scalemodel.cli.ask import ask, question_options
from scalemodel.cli.options_and_output import emit, opened, reading_options
from scalemodel.cli.shell_completion import BOILERS
from scalemodel.errors import EvidenceError, RecordClashError, SamplerError, UnknownNameError
from scalemodel.logbook import clock
from scalemodel.logbook.days import day_or
from scalemodel.logbook.field_types import tidy_name
from scalemodel.logbook.records import Boiler, BoilerFacts
from scalemodel.wording import counted

FOLDER = "reports"


@click.command()
@click.argument("boiler", required=False, shell_complete=BOILERS)
@click.option("--all", "whole", is_flag=True, help="A page for every boiler, and one that lists them, soonest first.")
@click.option("--owner", metavar="NAME", help="The same for the boilers of one owner, without a word of any other.")
@click.option(
    "--out",
    type=click.Path(),
    default=None,
    metavar="FOLDER",
    help=f"Where the pages go (default: {FOLDER}; of an owner, a folder in it).",
)
@question_options
@reading_options
@click.pass_context
def report(ctx, boiler, whole, owner, out, question, as_of, seed, particles, as_json) -> None:
    """Write a page on BOILER for any browser: the answer, risk, deposit, next look, water, costs, how to descale.

    The page is one file that needs no network: it may be sent, kept or printed (two sheets). What --owner writes names
    only that owner's boilers and the waters that they draw, so that the whole folder may be handed over.

    \b
    Example:
      scalemodel report kitchen
      scalemodel report --all --out workshop
      scalemodel report --owner "Mill Street Cafe"
    """
    if [whole, boiler is not None, owner is not None].count(True) != 1:
        raise RecordClashError("give one boiler, --all or --owner", "for instance: scalemodel report kitchen")
    from scalemodel.report.files import safe_stem, write_all

    folder = Path(FOLDER if out is None else out)
    if owner is not None and out is None:
        folder /= safe_stem(owner)
    listed = whole or owner is not None
    day = day_or(as_of, clock.today())
    drawn = {"seed": seed, "particles": particles}
    pages, missing = (
        all_pages(ctx, day, question, drawn, owner) if listed else (one_page(ctx, boiler, day, question, drawn), {})
    )
    paths = write_all(folder, pages)
    lines = [str(path) for path in (paths[-1:] if listed else paths)]
    if listed:
        lines.append(f"and beside it {counted(len(paths) - 1, 'page')}, one a boiler")
        lines += [f"no page for {name}: {why}" for name, why in missing.items()]
    emit({"as_of": day, "paths": [str(path) for path in paths], "missing": missing}, "\n".join(lines), as_json)


def one_page(ctx: click.Context, boiler: str, day: date, question: Question, drawn: dict) -> dict[str, str]:
    """The page of one boiler by the name of its file."""
    from scalemodel.report.contents import report_contents
    from scalemodel.report.files import page_names
    from scalemodel.report.page import report_page
    from scalemodel.report.photographs import photographs_for_page

    with opened(ctx) as book:
        known = [b.boiler for b in book.boilers()]
    contents = report_contents(ask(ctx, boiler, day, question=question, **drawn))
    name = contents.answer.boiler
    with opened(ctx) as book:
        photographs = photographs_for_page(book, name, day)
    return {page_names(known)[name]: report_page(contents, photographs=photographs)}


def all_pages(
    ctx: click.Context, day: date, question: Question, drawn: dict, owner: str | None = None
) -> tuple[dict[str, str], dict[str, str]]:
    """Every page by the name of its file, the list of all last; and why a boiler has none.

    With an owner only of the boilers of that one, which then know of no others' waters.

    A boiler whose records do not suffice, or that has no such site, is listed without a page; where none has a page,
    the first reason is raised.
    """
    from scalemodel import api
    from scalemodel.answers.rows import Due
    from scalemodel.report.contents import report_contents
    from scalemodel.report.files import INDEX, page_names
    from scalemodel.report.index import entry_of, index_page
    from scalemodel.report.page import report_page
    from scalemodel.report.photographs import photographs_for_page

    with opened(ctx) as book:
        boilers = book.boilers(in_use_on=day)
        if owner is not None:
            boilers = owned_by(owner, boilers)
        facts = [book.facts(b.boiler, day) for b in boilers if b.installed_on <= day]
    if owner is not None:
        facts = alone(facts)
    names = page_names([b.boiler for b in boilers])
    pages, entries, refused = {}, [], {}
    hidden = not sys.stderr.isatty()
    with click.progressbar(facts, label="drawing the reports", file=sys.stderr, hidden=hidden) as watched:
        for one in watched:
            name = one.boiler.boiler
            try:
                contents = report_contents(api.prepare(one, **drawn, **asdict(question)))
            except (EvidenceError, UnknownNameError, SamplerError) as error:
                refused[name] = error
                entries.append(Due(name, day, reason=str(error)))
                continue
            with opened(ctx) as book:
                photographs = photographs_for_page(book, name, day)
            pages[names[name]] = report_page(contents, INDEX, photographs)
            entries.append(entry_of(contents))
    if not pages:
        raise next(iter(refused.values()), EvidenceError(f"no boiler was installed by {day}", "ask as of a later day"))
    pages[INDEX] = index_page(entries, day, names)
    return pages, {name: str(error) for name, error in refused.items()}


def owned_by(owner: str, boilers: Sequence[Boiler]) -> tuple[Boiler, ...]:
    """The boilers of an owner, in any case; UnknownNameError if there is none."""
    wanted = tidy_name(owner).casefold()
    found = tuple(one for one in boilers if tidy_name(one.owner).casefold() == wanted and wanted)
    if not found:
        known = {one.owner for one in boilers if one.owner}
        raise UnknownNameError("owner", owner, known, "say whose a boiler is: scalemodel amend NUMBER owner=NAME")
    return found


def alone(facts: Sequence[BoilerFacts]) -> list[BoilerFacts]:
    """Facts of some boilers, with those waters only that one of them draws, drew or will draw."""
    drawn = {fill.water for one in facts for fill in (*one.fills, *one.planned_fills)}

    def of_those(records: Sequence) -> tuple:
        return tuple(record for record in records if record.water in drawn)

    return [replace(one, waters=of_those(one.waters), water_tests=of_those(one.water_tests)) for one in facts]
