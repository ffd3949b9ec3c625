"""``scalemodel serve``: the pages at the machine, for the phone in the hand."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from scalemodel.cli.options_and_output import WholeType, answers_folder, logbook_path


@click.command()
@click.option(
    "--port", type=WholeType(0, 65535), default=8765, metavar="N", help="Port (default: 8765; 0: any that is free)."
)
@click.option("--lan", is_flag=True, help="Listen to the local network too, rather than to this machine alone.")
@click.option("--read-only", is_flag=True, help="Show, but record nothing.")
@click.option("--behind-proxy", is_flag=True, help="A proxy on this machine stands before it, and speaks TLS.")
@click.option(
    "--host", "hosts", multiple=True, metavar="NAME", help="A name by which it is reached too; may be repeated."
)
@click.pass_context
def serve(ctx, port, lan, read_only, behind_proxy, hosts) -> None:
    """Serve the pages at the machine: grade in, date out, for the phone in your hand, over the same logbook.

    Its first line is an address that pairs one device, once; a terminal shows it as a code to scan, too. Only paired
    devices see anything. Ctrl-C ends it.

    \b
    Example:
      scalemodel serve --lan
    """
    from scalemodel.serve.run import serve as run
    from scalemodel.serve.settings import Settings

    place = Path(logbook_path(ctx))
    settings = Settings(place, answers_folder().parent, port, lan, read_only, behind_proxy, tuple(hosts))

    def say(line: str) -> None:
        click.echo(line)
        sys.stdout.flush()

    run(settings, say)
