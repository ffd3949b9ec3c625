"""``scalemodel calendar``: by when to descale, and the next looks, as a file that calendars read."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from scalemodel.cli.ask import question_options
from scalemodel.cli.options_and_output import aligned, answers_folder, emit, opened, reading_options, watched
from scalemodel.cli.shell_completion import BOILERS
from scalemodel.errors import BadValueError
from scalemodel.logbook.days import day_or
from scalemodel.wording import counted


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
    with opened(ctx) as book:
        day = day_or(as_of, book.today())
        with watched("asking the boilers") as progress:
            written = api.calendar(
                book,
                boilers,
                day,
                earlier,
                folder=answers_folder(),
                progress=progress,
                seed=seed,
                particles=particles,
                **asdict(question),
            )
    write_whole(out, written.content)
    said = f"{counted(len(written.events), 'event')} in {out}"
    if written.cancelled:
        said += f", and {written.cancelled} that an earlier one held cancelled"
    lines = [*aligned(("date", "what"), [(one.date, one.summary) for one in written.events]), "", said]
    lines += [f"no event for {name}: {why}" for name, why in written.missing.items()]
    body = {"as_of": day, "out": str(out), "events": [asdict(one) for one in written.events]}
    emit(body | {"cancelled": written.cancelled, "missing": written.missing}, "\n".join(lines), as_json)


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
