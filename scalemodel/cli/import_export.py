"""``scalemodel import`` and ``export``: the logbook as a folder of CSV files."""

from __future__ import annotations

import click

from scalemodel.cli.options_and_output import emit, json_option, logbook_path, reading_options
from scalemodel.cli.recording import open_to_write, sure_option
from scalemodel.cli.shell_completion import BOILERS
from scalemodel.cli.streams import say_done
from scalemodel.errors import BadValueError, RecordClashError
from scalemodel.logbook import csv_folder
from scalemodel.logbook.describe import photographed
from scalemodel.logbook.entering import Imported
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.sheet import import_sheet
from scalemodel.logbook.sheet_template import write_template
from scalemodel.logbook.store import Logbook
from scalemodel.wording import counted


def _counted(counts: Imported | csv_folder.Exported) -> str:
    """How many records, how many of each file, and how many photographs."""
    each = ", ".join(f"{KINDS[kind].file} {count}" for kind, count in counts.items() if count)
    said = counted(sum(counts.values()), "record") + (f" ({each})" if each else "")
    return said + photographed(counts.photographs)


@click.command("import")
@click.argument("folder", type=click.Path(), metavar="[FOLDER]", required=False)
@click.option("--sheet", type=click.Path(), metavar="FILE", help="Read one sheet (CSV) instead of a folder.")
@click.option("--map", "columns", type=click.Path(), metavar="COLUMNS.toml", help="Which column of it holds what.")
@click.option("--template", is_flag=True, help="Write an example of a sheet and of its map to FOLDER (default: here).")
@click.option("--only-new", is_flag=True, help="Leave out rows that the logbook holds, or ever held.")
@click.option("--again", is_flag=True, help="Enter looks, tests and descales even if a record says just the same.")
@sure_option
@json_option
@click.pass_context
def import_folder(ctx, folder, sheet, columns, template, only_new, again, sure, as_json) -> None:
    """Read a FOLDER of CSV files, or one sheet, into the logbook, all or nothing.

    The files are those that export writes (boilers.csv, waters.csv, use.csv ...; missing ones are empty): UTF-8, dates
    as YYYY-MM-DD, numbers with a decimal point, cells separated by commas, semicolons or tabs. Every fault is listed
    with its file, row and column. Photographs are read from the folder photos/ beside them, by the names that the
    column photos of inspections.csv gives.

    A sheet is as somebody keeps it: date, machine, grade, meter reading, TDS, initials, in any order and under any
    heading, which the map names; dates and numbers in the usual forms. --template writes an example of both.

    A row that says just what a record or an earlier row says is a fault. A folder or a sheet that has grown since it
    was last read: --only-new. What is hard to believe is asked about in the same way: mend it, or say --sure.

    The logbook as it was is copied aside first. `strike --import N` takes an import back.

    \b
    Example:
      scalemodel import data/demo
      scalemodel import --template office
      scalemodel import --sheet office/sheet.csv --map office/columns.toml
    """
    if template:
        if sheet is not None or columns is not None:
            raise RecordClashError("--template writes a sheet and a map", "leave --sheet and --map out")
        paths = [str(path) for path in write_template("." if folder is None else folder)]
        emit({"sheet": paths[0], "map": paths[1]}, "wrote {} and {}".format(*paths), as_json)
        return
    if (folder is None) == (sheet is None):
        raise RecordClashError("an import is of a folder or of a sheet", "give FOLDER, or --sheet FILE")
    if (sheet is None) != (columns is None):
        raise RecordClashError(
            "a sheet is read by a map of its columns", "give both --sheet FILE and --map COLUMNS.toml"
        )
    path, asked = logbook_path(ctx), {"again": again, "only_new": only_new, "sure": sure}
    source = folder if sheet is None else sheet

    def enter(book: Logbook) -> Imported:
        if sheet is None:
            return csv_folder.import_folder(book, folder, **asked)
        return import_sheet(book, sheet, columns, **asked)

    if not Logbook.exists(path):  # tried in memory first, so that a refusal leaves no file behind
        with Logbook.in_memory() as trial:
            enter(trial)
    with open_to_write(path) as book:
        counts = enter(book)
    said = f"imported {_counted(counts)} from {source}"
    if counts.left_out:
        said += f"; {counted(counts.left_out, 'row' if sheet is None else 'record')} left out, which the logbook had"
    body = {
        "folder" if sheet is None else "sheet": str(source),
        "records": dict(counts),
        "left_out": counts.left_out,
        "photographs": counts.photographs,
    }
    say_import(said, body, counts, as_json)


def say_import(said: str, body: dict, counts: Imported, as_json: bool) -> None:
    """What an import came to, its number, and where the logbook as it was is kept."""
    act = counts.act
    if act is not None:
        said += f"\nthis is import {act.number}; `scalemodel strike --import {act.number}` takes all of it back"
        said += f"\nas it was before, the logbook is kept in {act.backup}" if act.backup else ""
    said += "".join(f"\n{line}" for line in counts.notes)
    body |= {"notes": counts.notes, "import": act and act.number, "backup": act.backup or None if act else None}
    say_done(said, lambda line: emit(body, line, as_json))


@click.command("export")
@click.argument("folder", type=click.Path(), metavar="[FOLDER]", required=False)
@click.option(
    "--posterior", type=click.Path(), metavar="FILE.nc", help="Write posterior draws (ArviZ, netCDF) instead."
)
@click.option("--boiler", metavar="B", shell_complete=BOILERS, help="Whose posterior (default: the only boiler).")
@reading_options
@click.pass_context
def export_folder(ctx, folder, posterior, boiler, as_of, seed, particles, as_json) -> None:
    """Write all current records to a FOLDER of CSV files, which import reads again; or posterior draws to a file.

    Photographs of looks stand in its folder photos/, named by the column photos of inspections.csv.

    Records that were amended or struck stay in the logbook alone. A text that a spreadsheet would run as a formula is
    written behind an apostrophe, which import takes off again.

    \b
    Example:
      scalemodel export my-records
      scalemodel export --posterior kitchen.nc --boiler kitchen
    """
    if (folder is None) == (posterior is None):
        raise RecordClashError(
            "an export is of records or of a posterior", "give a FOLDER, or --posterior FILE.nc, not both"
        )
    if posterior is not None:
        path = write_posterior(ctx, posterior, boiler, as_of, seed, particles)
        emit({"posterior": str(path)}, f"wrote posterior draws to {path}", as_json)
        return
    with Logbook.open(logbook_path(ctx)) as book:
        counts = csv_folder.export_folder(book, folder)
        left = sum(not entry.is_current for entry in book.history())
    said = f"exported {_counted(counts)} to {folder}"
    if left:
        said += f"; {left} amended or struck stay{'s' * (left == 1)} in the logbook alone"
    body = {"folder": str(folder), "records": dict(counts), "left_out": left, "photographs": counts.photographs}
    emit(body, said, as_json)


def write_posterior(ctx, path, boiler, as_of, seed, particles):
    """Draw one boiler's posterior and write it as an ArviZ file."""
    from scalemodel.cli.ask import read_facts
    from scalemodel.inference.posterior import solve
    from scalemodel.validation.pymc_twin import check_draws_path, export_draws

    path = check_draws_path(path)
    if boiler is None:
        with Logbook.open(logbook_path(ctx)) as book:
            names = [b.boiler for b in book.boilers(in_use_on=book.today())]
        if len(names) != 1:
            raise BadValueError(
                "--boiler", "", f"one of {', '.join(names)}" if names else "a boiler; there is none yet"
            )
        boiler = names[0]
    return export_draws(solve(read_facts(ctx, boiler, as_of), seed, particles), path)
