"""``scalemodel fleet pool``: what boilers teach of each other."""

from __future__ import annotations

from dataclasses import asdict
from math import hypot
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scalemodel.cli.options_and_output import (
    DATE,
    aligned,
    emit,
    opened,
    reading_options,
    watched,
    workers_options,
)
from scalemodel.cli.priors import adopted_into
from scalemodel.cli.recording import writable_logbook
from scalemodel.errors import BadValueError, RecordClashError
from scalemodel.logbook import clock
from scalemodel.logbook.days import day_or

if TYPE_CHECKING:
    from datetime import date

    from scalemodel.fleet.pool import Learned, Pool

TITLES = ("unknown", "of", "mean", "sd", "house mean", "house sd", "boilers", "looks")


@click.command()
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.toml", help="Write the priors file there.")
@click.option("--adopt", is_flag=True, help="Have the logbook adopt them: every question believes them from then on.")
@click.option(
    "--date", "adopted_on", type=DATE, metavar="DATE", help="With --adopt: from this day on (default: that of --as-of)."
)
@workers_options
@reading_options
@click.pass_context
def pool(ctx, out, adopt, adopted_on, scheduler, jobs, as_of, seed, particles, as_json) -> None:
    """What the boilers of the logbook teach of each other, as priors for the next one.

    How much a boiler here keeps, what a descale leaves, how each inspector grades, how strong each water is: means and
    spreads, from every boiler solved by itself and the population drawn from them all, in rounds. It takes minutes.
    The file is for --priors, and for priors adopt: for each of the boilers that were asked it holds what all the others
    say, for every other boiler what all of them do. --adopt writes the same into the logbook, as a record: history
    shows it, strike takes it back. Priors that were adopted before are set aside while it learns.

    \b
    Example:
      scalemodel fleet pool --out ours.toml
      scalemodel fleet pool --adopt
      scalemodel fleet pool --as-of 2026-11-01 --jobs 4
    """
    from scalemodel import api
    from scalemodel.fleet.told import priors_text, sentences
    from scalemodel.report.files import check_place, write_whole

    if out is not None:
        check_place(out, (".toml",))
    day = day_or(as_of, clock.today())
    if adopt:
        check_adoption(ctx, adopted_on or day, day)
    elif adopted_on is not None:
        raise RecordClashError("--date is the day of an adoption", "give --adopt too")
    with opened(ctx) as book, watched("learning from the boilers") as progress:
        found = api.pool(
            book, day, workers=jobs, scheduler=scheduler, seed=seed, particles=particles, progress=progress
        )
    if out is not None:
        write_whole(out, priors_text(found).encode())
    lines = [*sentences(found), "", *table(found)]
    if out is not None:
        lines += ["", f"{out}: priors for --priors, and for priors adopt"]
    number = None
    if adopt:
        number, said = adopted_into(ctx, found, adopted_on)
        lines += ["", said]
    emit({**as_object(found), "out": out and str(out), "adopted": number}, "\n".join(lines), as_json)


def check_adoption(ctx: click.Context, day: date, asked: date) -> None:
    """Refuse, before any work, a day on which the result could not be adopted, and a logbook that cannot be written."""
    if not asked <= day <= clock.today():
        raise BadValueError("--date", day, f"a day from {asked}, as on which it is asked, to today, {clock.today()}")
    writable_logbook(ctx).close()


def table(found: Pool) -> list[str]:
    """All that was learned, a line an unknown, on the scales of the priors."""
    rows = [
        (row.unknown, row.subject, *(f"{value:.3g}" for value in figures(row)), row.boilers, row.looks)
        for row in (*found.population, *found.waters, *found.inspectors)
    ]
    return aligned(TITLES, rows)


def figures(row: Learned) -> tuple[float, ...]:
    """What is believed of one more boiler, or of the one water or inspector, and what the house believes."""
    return row.mean, hypot(row.sd, row.mean_error), row.house_mean, row.house_sd


def as_object(found: Pool) -> dict:
    """What scripts may rely on."""
    from scalemodel.fleet.told import interval, standing

    def of(row: Learned, whose: str) -> dict:
        low, high = interval(row)
        told = asdict(row)
        return {whose: told.pop("subject"), **told, "p05": low, "p95": high}

    return {
        "as_of": found.as_of,
        "population": [of(row, "of") for row in found.population],
        "waters": [of(row, "water") for row in found.waters],
        "inspectors": [{**of(row, "inspector"), "grades": standing(row).split()[0]} for row in found.inspectors],
        "rounds": found.rounds,
        "effective_share": found.effective_share,
        "settled": found.settled,
        "boilers": found.boilers,
        "looks": found.looks,
        "left_out": [{"boiler": boiler, "reason": reason} for boiler, reason in found.left_out],
    }
