"""``scalemodel logbook``: is it sound, and a copy to keep elsewhere."""

from __future__ import annotations

import click

from scalemodel.cli.main import report_error
from scalemodel.cli.options_and_output import emit, json_option, logbook_path
from scalemodel.logbook.store import Logbook
from scalemodel.logbook.verify import Finding, Findings
from scalemodel.wording import counted


@click.group()
def logbook() -> None:
    """Check the logbook, or back it up.

    \b
    Example:
      scalemodel logbook verify
    """


@logbook.command()
@json_option
@click.pass_context
def verify(ctx: click.Context, as_json: bool) -> None:
    """Check the file, the ledger, and every record by the rules by which it was entered.

    Each fault is a line with the number of the record; with any fault the exit code is 2. Remarks, on what is allowed
    but worth a second thought, and questions, on what is hard to believe, change nothing.

    \b
    Example:
      scalemodel logbook verify
    """
    path = logbook_path(ctx)
    with Logbook.open(path) as book:
        found = book.verify()
    line = (
        f"the logbook at {str(path)!r} has {counted(len(found.faults), 'fault')}; restore a backup, or mend the records"
    )
    body = _as_object(str(path), found)
    if found.faults:
        report_error(line, [], found.faults)
        if as_json:
            emit({**body, "error": line}, "", True)
        ctx.exit(2)
    records = f"{counted(found.entries, 'record')}, {found.current} of them current"
    lines = [f"no fault found: {records}", *(f"  remark on {one}" for one in found.remarks)]
    lines += [f"  question on {one}" for one in found.questions]
    emit(body, "\n".join(lines), as_json)


def _as_object(path: str, found: Findings) -> dict:
    def listed(findings: tuple[Finding, ...]) -> list[dict]:
        return [one._asdict() for one in findings]

    return {
        "logbook": path,
        "records": found.entries,
        "current": found.current,
        "faults": listed(found.faults),
        "remarks": listed(found.remarks),
        "questions": listed(found.questions),
    }


@logbook.command()
@click.argument("file", type=click.Path(), metavar="FILE")
@click.option("--replace", is_flag=True, help="Put it in the place of an earlier backup.")
@json_option
@click.pass_context
def backup(ctx: click.Context, file: str, replace: bool, as_json: bool) -> None:
    """Copy the whole logbook to FILE, also while somebody writes to it.

    The copy is one file, checked before it gets its name, and is itself a logbook: --logbook FILE reads it.

    \b
    Example:
      scalemodel logbook backup kitchen-2026-06.sqlite3
    """
    with Logbook.open(logbook_path(ctx)) as book:
        records = book.backup(file, replace)
    emit({"backup": file, "records": records}, f"backed up {counted(records, 'record')} to {file}", as_json)
