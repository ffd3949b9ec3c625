"""``scalemodel rename``: a boiler, a site or a water is called otherwise; all its records follow."""

from __future__ import annotations

import click

from scalemodel.cli.options_and_output import emit, json_option
from scalemodel.cli.recording import writable_logbook
from scalemodel.cli.shell_completion import BOILERS, SITES, WATERS
from scalemodel.logbook.names import Renamed

_reason = click.option("--reason", default="", metavar="TEXT", help="Why; kept with the change.")


@click.group()
def rename() -> None:
    """Call a boiler, a site or a water otherwise; all its records follow, and the old name leads to the new one.

    \b
    Example:
      scalemodel rename boiler kitchen galley
    """


@rename.command()
@click.argument("old", metavar="OLD", shell_complete=BOILERS)
@click.argument("new", metavar="NEW")
@_reason
@json_option
@click.pass_context
def boiler(ctx: click.Context, old: str, new: str, reason: str, as_json: bool) -> None:
    """Call the boiler OLD from today on NEW.

    \b
    Example:
      scalemodel rename boiler kitchen galley
    """
    _rename(ctx, "boiler", old, new, "", reason, as_json)


@rename.command()
@click.argument("boiler", metavar="BOILER", shell_complete=BOILERS)
@click.argument("old", metavar="OLD", shell_complete=SITES)
@click.argument("new", metavar="NEW")
@_reason
@json_option
@click.pass_context
def site(ctx: click.Context, boiler: str, old: str, new: str, reason: str, as_json: bool) -> None:
    """Call the place OLD in BOILER from today on NEW.

    \b
    Example:
      scalemodel rename site kitchen gauge window
    """
    _rename(ctx, "site", old, new, boiler, reason, as_json)


@rename.command()
@click.argument("old", metavar="OLD", shell_complete=WATERS)
@click.argument("new", metavar="NEW")
@_reason
@json_option
@click.pass_context
def water(ctx: click.Context, old: str, new: str, reason: str, as_json: bool) -> None:
    """Call the water OLD from today on NEW.

    \b
    Example:
      scalemodel rename water tap "mains, softened"
    """
    _rename(ctx, "water", old, new, "", reason, as_json)


def _rename(ctx, kind: str, old: str, new: str, boiler: str, reason: str, as_json: bool) -> None:
    with writable_logbook(ctx) as book:
        done: Renamed = book.rename(kind, old, new, boiler, reason)
    where = f" of {done.boiler}" if done.boiler else ""
    said = f"the {kind} {done.old!r}{where} is called {done.new!r} from {done.since} on; its records follow"
    body = {"kind": kind, "boiler": done.boiler or None, "old": done.old, "new": done.new, "since": done.since}
    emit(body, said, as_json)
