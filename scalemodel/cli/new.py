"""``scalemodel new``: register a boiler, a site or a water."""

from __future__ import annotations

import click

from scalemodel.cli.echo import start_assumed
from scalemodel.cli.recording import field_argument, field_option, on_terminal, record_into, sure_option
from scalemodel.logbook import clock
from scalemodel.logbook.fields import build
from scalemodel.logbook.kinds import KINDS


@click.group()
def new() -> None:
    """Register a boiler, a site or a water.

    \b
    Example:
      scalemodel new boiler kitchen --volume 0.75 --temperature 93 --installed 2026-01-10
    """


@new.command()
@field_argument("boiler", "boiler", "NAME")
@field_option("boiler", "volume_l", "--volume", "Volume of the boiler, in L or as '750 mL'.", "L", required=True)
@field_option(
    "boiler",
    "temperature_c",
    "--temperature",
    "Temperature it holds, in C or as '200 F'.",
    "C",
    required=True,
)
@field_option("boiler", "installed_on", "--installed", "Day on which it was installed.", "DATE", required=True)
@field_option("boiler", "area_cm2", "--area", "Wetted area (default: from the volume).", "CM2")
@field_option("boiler", "steam_share", "--steam-share", "Share of the water that leaves as steam, 0 to 1.")
@field_option(
    "boiler",
    "start",
    "--start",
    "Whether it was free of scale when installed.",
    "clean|unknown",
)
@field_option(
    "boiler",
    "threshold_grade",
    "--threshold-grade",
    "Grade whose lower edge the scale is not to pass, 1 to 4.",
    "G",
)
@field_option("boiler", "tolerance", "--tolerance", "Accepted probability of passing it, such as 0.1 or 10%.")
@field_option("boiler", "litres_per_drink", "--litres-per-drink", "Litres in a drink, where drinks are counted.", "L")
@field_option("boiler", "filled_by", "--filled-by", "What fills it, for its descaling plan.", "pump|hand")
@field_option("boiler", "note", "--note", "Anything worth keeping.", "TEXT")
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
@field_argument("site", "boiler", "BOILER")
@field_argument("site", "site", "NAME")
@field_option(
    "site",
    "reference",
    "--reference",
    "The surface that the threshold is about.",
    None,
    is_flag=True,
    flag_value="yes",
    default=None,
)
@field_option(
    "site",
    "relative_deposit",
    "--relative-deposit",
    "Your belief: its deposit over that of the reference surface, such as 0.7.",
)
@field_option("site", "relative_log_sd", "--relative-log-sd", "How sure that is, as a log-sd.")
@field_option("site", "look_cost", "--look-cost", "What one look there costs, in your money.")
@field_option("site", "note", "--note", "Anything worth keeping.", "TEXT")
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
@field_argument("water", "water", "NAME")
@field_option("water", "cost_per_litre", "--cost-per-litre", "What a litre costs, in your money.")
@field_option("water", "note", "--note", "Anything worth keeping.", "TEXT")
@click.pass_context
def water(ctx: click.Context, **given) -> None:
    """Register a water under a NAME; what is in it: scalemodel add water-test.

    \b
    Example:
      scalemodel new water tap --cost-per-litre 0.004
    """
    record_into(ctx, lambda book: build(KINDS["water"], given))
