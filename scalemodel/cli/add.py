"""``scalemodel add``: record a look, a water test, use, a fill, a descale, prices or an absence."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from shlex import quote

import click

from scalemodel.cli.recording import (
    FieldType,
    GradeType,
    again_option,
    field_arguments,
    field_option,
    field_options,
    insisting,
    on_terminal,
    photo_option,
    pictures_from,
    record_into,
    sure_option,
)
from scalemodel.errors import RecordClashError
from scalemodel.logbook.fields import build, read
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.records import QUANTITIES, Use
from scalemodel.logbook.store import Logbook
from scalemodel.logbook.visit import keep_drink_size


@click.group()
def add() -> None:
    """Record a look, a water test, use, a fill, a descale, prices or an absence.

    \b
    Example:
      scalemodel add inspection kitchen 2026-04-12 1-2
    """


@add.command()
@field_arguments("inspection", boiler="BOILER", date="DATE")
@click.argument("grade", type=GradeType(), metavar="GRADE")
@field_option("inspection", "site", otherwise="the only place looked at so far")
@field_options("inspection", "method", "inspector", "thickness_um", "after_descale", "note")
@photo_option("A photograph of it, JPEG or PNG; may be given several times.")
@again_option
@sure_option
@click.pass_context
def inspection(
    ctx: click.Context, grade: tuple[int, int], photos: tuple[Path, ...], again: bool, sure: bool, **given
) -> None:
    """Record that somebody saw GRADE in BOILER on DATE.

    GRADE is 2, 1-2, 3+ (at least 3) or 1- (at most 1): 0 bare metal, 1 a haze, 2 a thin chalky coat,
    3 a rough crust, 4 thick, flaking or bridging.

    A photograph is kept in the logbook, upright, at most 1,600 pixels and 400 kB, without whatever else its file
    tells (place, device).

    \b
    Example:
      scalemodel add inspection kitchen 2026-04-12 1-2 --method mirror
      scalemodel add inspection kitchen 2026-04-12 2 --photo chamber.jpg --photo wall.jpg
    """
    pictures = pictures_from(photos)

    def make(book):
        site = given["site"] or _site_of_look(book, given["boiler"])
        low, high = grade
        return build(KINDS["inspection"], {**given, "site": site, "grade_low": low, "grade_high": high})

    record_into(ctx, make, again, sure, photos=pictures)


def _site_of_look(book: Logbook, boiler: str) -> str:
    """The site of a look that names none: the only one there can be, or as answered on a terminal."""
    site = book.site_of_look(boiler)
    if site is not None:
        return site
    names = book.site_names(boiler)
    if on_terminal():
        return click.prompt("Where was that?", type=click.Choice(names), err=True)
    named = " or ".join(f"--site {quote(name)}" for name in names)
    raise RecordClashError(f"{boiler!r} can be looked at in more than one place", f"say where it was: {named}")


@add.command("water-test")
@field_arguments("water_test", water="WATER", date="DATE")
@field_options("water_test")
@again_option
@sure_option
@click.pass_context
def water_test(ctx: click.Context, again: bool, sure: bool, **given) -> None:
    """Record what a test of WATER on DATE found.

    Hardness, calcium and alkalinity take a unit (mg/L, mmol/L, dH, fH, e or gpg); a bare number is
    mg/L as CaCO3.

    \b
    Example:
      scalemodel add water-test tap 2026-01-10 --hardness "9 dH" --alkalinity "6 dH" --kit drops
    """
    for quantity in QUANTITIES:
        if given[quantity] is not None:
            given[quantity], given[f"{quantity}_unit"] = given[quantity]
    record_into(ctx, lambda book: build(KINDS["water_test"], given), again, sure)


@add.command()
@field_arguments("fill", boiler="BOILER", from_date="DATE", water="WATER")
@sure_option
@click.pass_context
def fill(ctx: click.Context, sure: bool, **given) -> None:
    """Record that from DATE on BOILER draws WATER; a DATE to come is a plan, and every question reckons with it.

    \b
    Example:
      scalemodel add fill kitchen 2026-01-10 tap
    """
    record_into(ctx, lambda book: build(KINDS["fill"], given), sure=sure)


@add.command(short_help="Record the water that a boiler drew between two days.")
@field_arguments("use", boiler="BOILER", from_date="FROM", to_date="TO")
@field_options("use")
@click.option("--meter", nargs=2, metavar="FROM_L TO_L", help="Two readings of a water meter.")
@sure_option
@click.pass_context
def use(ctx: click.Context, meter: tuple[str, str] | None, sure: bool, **given) -> None:
    """Record the water that BOILER drew FROM one day TO another: litres, drinks, or two readings of a meter.

    The next stretch may begin on the day TO. A meter runs on from one stretch to the next; if it was changed or set
    back, give that stretch as litres, and go on with the new meter in the next.

    \b
    Example:
      scalemodel add use kitchen 2026-01-10 2026-02-10 --litres 42
    """
    if meter:
        first, second = (read(KINDS["use"], "meter_from_l", text, "--meter") for text in meter)
        given |= {"meter_from_l": first, "meter_to_l": second}

    def make(book):
        if given["drinks"] is not None and given["litres_per_drink"] is None:
            _ask_drink_size(book, given["boiler"])
        return build(KINDS["use"], given)

    record_into(ctx, make, sure=sure)


def _ask_drink_size(book: Logbook, name: str) -> None:
    """Ask on a terminal, once a boiler, how much a drink is, and keep the answer with the boiler."""
    if book.boiler(name).litres_per_drink is not None or not on_terminal():
        return
    asked = f"How many litres is a drink from {name}? It is kept with the boiler"
    size = click.prompt(asked, type=FieldType("boiler", "litres_per_drink"), default=Use.LITRES_PER_DRINK, err=True)
    insisting(partial(keep_drink_size, book, name, size), {})


@add.command()
@field_arguments("descale", boiler="BOILER", date="DATE")
@field_options("descale", "scope", "acid", "acid_g", "scale_recovered_g")
@click.option(
    "--acid-spent-g",
    type=FieldType("descale", "acid_g"),
    metavar="G",
    help="Instead: acid spent as titrated, from which the scale is reckoned.",
)
@field_option("descale", "note")
@again_option
@sure_option
@click.pass_context
def descale(ctx: click.Context, acid_spent_g: float | None, again: bool, sure: bool, **given) -> None:
    """Record that BOILER was descaled on DATE.

    --acid-spent-g is what went in less what titrating the spent baths, their gas stirred out, to pH 8.3 still finds;
    it needs --acid citric-monohydrate, citric-anhydrous or sulfamic.

    \b
    Example:
      scalemodel add descale kitchen 2026-06-01 --acid citric --acid-g 30
    """
    if acid_spent_g is not None:
        from scalemodel.descaling.acid import reckoned_by_titration

        known = (given["acid"], given["acid_g"], given["scale_recovered_g"], given["note"])
        given |= reckoned_by_titration(acid_spent_g, *known)
    record_into(ctx, lambda book: build(KINDS["descale"], given), again, sure)


@add.command(short_help="Record what things cost for a boiler.")
@field_arguments("prices", boiler="BOILER", from_date="FROM_DATE")
@field_options("prices")
@click.pass_context
def prices(ctx: click.Context, **given) -> None:
    """Record what things cost for BOILER from FROM_DATE on, in your own money; what is left out costs nothing.

    The last list begun counts whole: repeat what has not changed.

    \b
    Example:
      scalemodel add prices kitchen 2026-01-10 --descale-materials 4 --descale-hours 1 --hour-cost 20 --strip-down 150
    """
    record_into(ctx, lambda book: build(KINDS["prices"], given))


@add.command(short_help="Record days on which nothing is drawn, past or planned.")
@field_arguments("absence", boiler="BOILER", from_date="FROM", to_date="TO")
@field_options("absence")
@sure_option
@click.pass_context
def absence(ctx: click.Context, sure: bool, **given) -> None:
    """Record that nothing is drawn from BOILER from FROM until TO (drawn again on TO); may lie ahead.

    \b
    Example:
      scalemodel add absence kitchen 2026-08-01 2026-08-22 --note holidays
    """
    record_into(ctx, lambda book: build(KINDS["absence"], given), sure=sure)
