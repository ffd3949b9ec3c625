"""``scalemodel new``: register a boiler, a site or a water."""

from __future__ import annotations

import click

from scalemodel.cli.recording import field_arguments, field_options, on_terminal, record_into, sure_option
from scalemodel.logbook import clock
from scalemodel.logbook.fields import build
from scalemodel.logbook.kinds import KINDS
from scalemodel.words.recorded import start_assumed


@click.group()
def new() -> None:
    """Register a boiler, a site or a water.

    \b
    Example:
      scalemodel new boiler kitchen --volume 0.75 --temperature 93 --installed 2026-01-10
    """


@new.command()
@field_arguments("boiler", boiler="NAME")
@field_options("boiler")
@sure_option
@click.pass_context
def boiler(ctx: click.Context, sure: bool, **given) -> None:
    """Register a boiler under a NAME.

    Its plate or its papers say the volume and the temperature; the wetted area follows from the volume unless given.

    \b
    Example:
      scalemodel new boiler kitchen --volume 0.75 --temperature 93 --installed 2026-01-10
    """
    if given["start"] is None and on_terminal() and given["installed_on"] < clock.today():
        asked = f"{given['boiler']} was installed on {given['installed_on']}: was it new then, or used before?"
        answer = click.prompt(asked, type=click.Choice(("new", "used")), err=True)
        given["start"] = {"new": "clean", "used": "unknown"}[answer]
    assumed = given["start"] is None
    record_into(
        ctx,
        lambda book: build(KINDS["boiler"], given),
        sure=sure,
        added=lambda number: [start_assumed(number)] if assumed else [],
    )


@new.command(short_help="Register a place in a boiler that can be looked at.")
@field_arguments("site", boiler="BOILER", site="NAME")
@field_options("site")
@sure_option
@click.pass_context
def site(ctx: click.Context, sure: bool, **given) -> None:
    """Register a place in BOILER that can be looked at, under a NAME; every boiler has its wall already.

    \b
    Example:
      scalemodel new site kitchen gauge --look-cost 2
    """
    record_into(ctx, lambda book: build(KINDS["site"], given), sure=sure)


@new.command()
@field_arguments("water", water="NAME")
@field_options("water")
@click.pass_context
def water(ctx: click.Context, **given) -> None:
    """Register a water under a NAME; what is in it: scalemodel add water-test.

    \b
    Example:
      scalemodel new water tap --cost-per-litre 0.004
    """
    record_into(ctx, lambda book: build(KINDS["water"], given))
