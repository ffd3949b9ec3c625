"""``scalemodel calendar``: by when to descale, and the next looks, as a file that calendars read."""

from __future__ import annotations

import sys
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scalemodel.api import Question
from scalemodel.cli.ask import question_options
from scalemodel.cli.options_and_output import aligned, emit, logbook_path, reading_options
from scalemodel.cli.shell_completion import BOILERS
from scalemodel.errors import BadValueError, EvidenceError, SamplerError, UnknownNameError
from scalemodel.logbook import clock
from scalemodel.wording import counted

if TYPE_CHECKING:
    from scalemodel.decision.case import Case
    from scalemodel.logbook.records import Boiler


@click.command()
@click.argument("boilers", nargs=-1, metavar="[BOILER]...", shell_complete=BOILERS)
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FILE.ics", help="Where it is written.")
@question_options
@reading_options
@click.pass_context
def calendar(ctx, boilers, out, question, as_of, seed, particles, as_json) -> None:
    """Write by when to descale each BOILER (default: all), and its next look, as a calendar file (iCalendar).

    Every calendar program reads it. Written again over the same FILE.ics, events that moved are moved and those that
    are gone are cancelled, so that nothing stands twice. An alarm is an event today.

    \b
    Example:
      scalemodel calendar --out boilers.ics
      scalemodel calendar kitchen --out kitchen.ics
    """
    from scalemodel import api
    from scalemodel.report.files import check_place, write_whole

    check_place(out, (".ics",))
    earlier = _earlier(out)
    api.calendar([], earlier)  # says now, before any sampling, that the file is another program's
    day = clock.today() if as_of is None else as_of
    cases, kept, missing = _cases(ctx, boilers, day, question, {"seed": seed, "particles": particles})
    written = api.calendar(cases, earlier, kept)
    write_whole(out, written.content)
    said = f"{counted(len(written.events), 'event')} in {out}"
    if written.cancelled:
        said += f", and {written.cancelled} that an earlier one held cancelled"
    lines = [*aligned(("date", "what"), [(one.date, one.summary) for one in written.events]), "", said]
    lines += [f"no event for {name}: {why}" for name, why in missing.items()]
    body = {"as_of": day, "out": str(out), "events": [asdict(one) for one in written.events]}
    emit(body | {"cancelled": written.cancelled, "missing": missing}, "\n".join(lines), as_json)


def _earlier(out: Path) -> bytes:
    """The file as it was written before; nothing where there is none."""
    from scalemodel.report.calendar import LARGEST

    if out.exists() and not (out.is_file() or out.is_dir()):  # a pipe would be waited for without end
        raise BadValueError("out", out, "a file, not a pipe or a device")
    try:
        with out.open("rb") as file:
            held = file.read(LARGEST + 1)
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise BadValueError("out", out, f"a file that can be read ({error.strerror})") from error
    if len(held) > LARGEST:
        raise BadValueError("out", out, f"a calendar of at most {LARGEST // 1_000_000} MB; name another file")
    return held


def _cases(
    ctx: click.Context, names: tuple[str, ...], day: date, question: Question, drawn: dict
) -> tuple[list[Case], list[Boiler] | None, dict[str, str]]:
    """A case of each boiler named; of all, but for those whose records do not suffice, with the reasons.

    Between them stand the boilers whose earlier events stay as they are, None for all others. Where no boiler can be
    answered, the first reason is raised.
    """
    from scalemodel import api

    with api.open_logbook(logbook_path(ctx)) as book:
        known = book.boilers()
        asked = list(dict.fromkeys(book.boiler(name).boiler for name in names)) or [one.boiler for one in known]
        facts, refused = [], {}
        for name in asked:
            try:
                facts.append(book.facts(name, day))
            except EvidenceError as error:
                refused[name] = error
    cases = []
    with click.progressbar(facts, label="asking", file=sys.stderr, hidden=not sys.stderr.isatty()) as watched:
        for one in watched:
            try:
                cases.append(api.prepare(one, **drawn, **asdict(question)))
            except (EvidenceError, UnknownNameError, SamplerError) as error:
                refused[one.boiler.boiler] = error
    if refused and (names or not cases):
        raise next(iter(refused.values()))
    kept = None if names else [one for one in known if one.boiler in refused]
    return cases, kept, {name: str(error) for name, error in refused.items()}
