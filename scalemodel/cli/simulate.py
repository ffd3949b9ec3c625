"""``scalemodel simulate``: an invented fleet as CSV files, with its hidden truth on request."""

from __future__ import annotations

from pathlib import Path

import click

from scalemodel.cli.options_and_output import DATE, PRIORS_FILE, WholeType, emit, json_option, seed_option, watched
from scalemodel.validation.fleet_size import LAST_DAY, LOOKS, MOST_BOILERS, MOST_LOOKS
from scalemodel.wording import counted


@click.command()
@click.option("--boilers", type=WholeType(1, MOST_BOILERS), required=True, metavar="N", help="How many boilers.")
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FOLDER", help="Where the files go.")
@click.option(
    "--looks", type=WholeType(0, MOST_LOOKS), default=LOOKS, metavar="N", help=f"Looks at each (default: {LOOKS})."
)
@click.option(
    "--until", type=DATE, default=LAST_DAY, metavar="DATE", help=f"The records end on that day (default: {LAST_DAY})."
)
@click.option("--truth", type=click.Path(path_type=Path), metavar="FILE.csv", help="Write the hidden truth there.")
@click.option("--priors", type=PRIORS_FILE, metavar="FILE", default=None, help="Draw from a TOML file of priors.")
@seed_option
@json_option
def simulate(boilers, out, looks, until, truth, priors, seed, as_json) -> None:
    """Invent a fleet from the priors, for trials and for teaching: a FOLDER that import reads.

    Twenty boilers at a time share a water and the people who look. The hidden truth is told only where it is asked for:
    what is in each boiler, when it will reach its threshold, and every unknown.

    With --priors FILE they are drawn from priors of your own (see scalemodel priors show), where it differs.

    \b
    Example:
      scalemodel simulate --boilers 40 --seed 1 --out my-fleet --truth my-truth.csv
    """
    from scalemodel import api
    from scalemodel.report.files import check_place
    from scalemodel.validation.fleet_files import write_fleet

    if truth is not None:
        check_place(truth, (".csv",), "truth")
    fleet = api.simulate(boilers, seed=seed, looks=looks, last_day=until, priors=priors or ())
    with watched("inventing boilers") as progress:
        records = write_fleet(fleet, out, truth, lambda done: progress(done / boilers))
    said = f"{counted(boilers, 'invented boiler')} in {out}, as on {until}"
    lines = [said, f"read them with: scalemodel --logbook fleet.sqlite3 import {out}"]
    if truth is not None:
        lines.append(f"their hidden truth: {truth}")
    if priors is not None:
        lines.append(f"drawn from the priors of {priors}; every question about them takes --priors too")
    body = {"boilers": boilers, "as_of": until, "folder": str(out), "truth": truth and str(truth), "records": records}
    body["priors"] = priors
    emit(body, "\n".join(lines), as_json)
