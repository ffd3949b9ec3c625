"""``scalemodel import`` and ``export``: the logbook as a folder of CSV files."""

from __future__ import annotations

from collections.abc import Mapping

import click

from scalemodel.cli.common import logbook_path
from scalemodel.logbook import tables
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.store import Logbook


def _counted(counts: Mapping[str, int]) -> str:
    """How many records, and how many of each file."""
    total = sum(counts.values())
    each = ", ".join(f"{KINDS[kind].file} {count}" for kind, count in counts.items() if count)
    return f"{total} record{'' if total == 1 else 's'}" + (f" ({each})" if each else "")


@click.command("import")
@click.argument("folder", type=click.Path(), metavar="FOLDER")
@click.pass_context
def import_folder(ctx: click.Context, folder: str) -> None:
    """Read a FOLDER of CSV files into the logbook, all or nothing.

    \b
    Example:
      scalemodel import data/demo
    """
    path = logbook_path(ctx)
    if not Logbook.exists(path):  # tried in memory first, so that a refusal leaves no file behind
        with Logbook.in_memory() as trial:
            tables.import_folder(trial, folder)
    with Logbook.open(path, write=True) as book:
        counts = tables.import_folder(book, folder)
    click.echo(f"imported {_counted(counts)} from {folder}")


@click.command("export")
@click.argument("folder", type=click.Path(), metavar="FOLDER")
@click.pass_context
def export_folder(ctx: click.Context, folder: str) -> None:
    """Write all current records to a FOLDER of CSV files, which import reads again.

    \b
    Example:
      scalemodel export my-records
    """
    with Logbook.open(logbook_path(ctx)) as book:
        counts = tables.export_folder(book, folder)
    click.echo(f"exported {_counted(counts)} to {folder}")
