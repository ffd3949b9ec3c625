"""The figure of one boiler, from the command line."""

from __future__ import annotations

from pathlib import Path

import click

from scalemodel.cli.ask import ask, question_options
from scalemodel.cli.options_and_output import emit, reading_options
from scalemodel.cli.shell_completion import boiler_argument


@click.command()
@boiler_argument
@click.option(
    "--out",
    type=click.Path(),
    default=None,
    metavar="FILE",
    help="Where to write; .png or .svg (default: BOILER-risk.png here).",
)
@question_options
@reading_options
@click.pass_context
def plot(ctx, boiler, out, question, as_of, seed, particles, as_json) -> None:
    """Draw the deposit in BOILER and the risk by date, and print where the figure is.

    \b
    Example:
      scalemodel plot kitchen --out kitchen.svg
    """
    from scalemodel.report.figure_style import check_path, save
    from scalemodel.report.figures import draw_figure
    from scalemodel.report.files import safe_stem

    path = check_path(Path(f"{safe_stem(boiler)}-risk.png") if out is None else out)
    save(draw_figure(ask(ctx, boiler, as_of, seed, particles, question)), path)
    emit({"boiler": boiler, "path": str(path)}, str(path), as_json)
