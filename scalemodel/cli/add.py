"""``scalemodel add``: record a look, a water test, use, a fill, a descale, prices or an absence."""

from __future__ import annotations

from functools import partial

import click

from scalemodel.cli.echo import number_of
from scalemodel.cli.recording import (
    FieldType,
    GradeType,
    HardnessType,
    again_option,
    field_argument,
    field_option,
    insisting,
    on_terminal,
    record_into,
    sure_option,
)
from scalemodel.errors import BadValueError
from scalemodel.logbook.fields import QUANTITIES, build, read
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.records import Use
from scalemodel.logbook.store import Logbook


@click.group()
def add() -> None:
    """Record a look, a water test, use, a fill, a descale, prices or an absence.

    \b
    Example:
      scalemodel add inspection kitchen 2026-04-12 1-2
    """


@add.command()
@field_argument("inspection", "boiler", "BOILER")
@field_argument("inspection", "date", "DATE")
@click.argument("grade", type=GradeType(), metavar="GRADE")
@field_option("inspection", "site", "--site", "Where (default: the only place looked at so far).", "S")
@field_option("inspection", "method", "--method", "How it was looked at.", "eye|mirror|camera|glance")
@field_option("inspection", "inspector", "--inspector", "Who looked.", "NAME")
@field_option("inspection", "thickness_um", "--thickness-um", "Thickness, if it was measured.")
@field_option(
    "inspection",
    "after_descale",
    "--after-descale",
    "A look made after that day's descale.",
    None,
    is_flag=True,
    flag_value="yes",
    default=None,
)
@field_option("inspection", "note", "--note", "Anything worth keeping.", "TEXT")
@again_option
@sure_option
@click.pass_context
def inspection(ctx: click.Context, grade: tuple[int, int], again: bool, sure: bool, **given) -> None:
    """Record that somebody saw GRADE in BOILER on DATE.

    GRADE is 2, 1-2, 3+ (at least 3) or 1- (at most 1): 0 bare metal, 1 a haze, 2 a thin chalky coat,
    3 a rough crust, 4 thick, flaking or bridging.

    \b
    Example:
      scalemodel add inspection kitchen 2026-04-12 1-2 --method mirror
    """

    def make(book):
        site = given["site"] or _site_of_look(book, given["boiler"])
        low, high = grade
        return build(KINDS["inspection"], {**given, "site": site, "grade_low": low, "grade_high": high})

    record_into(ctx, make, again, sure)


def _site_of_look(book: Logbook, boiler: str) -> str:
    """The site of a look that names none: the only one there can be, or as answered on a terminal."""
    site = book.site_of_look(boiler)
    if site is not None:
        return site
    names = book.site_names(boiler)
    if on_terminal():
        return click.prompt("Where was that?", type=click.Choice(names), err=True)
    raise BadValueError("--site", "", f"where it was looked at: {' or '.join(names)}")


@add.command("water-test")
@field_argument("water_test", "water", "WATER")
@field_argument("water_test", "date", "DATE")
@field_option("water_test", "tds_mg_l", "--tds", "Reading of a TDS meter.", "MG/L")
@field_option("water_test", "tds_factor", "--tds-factor", "The meter's mg/L in one uS/cm.")
@field_option("water_test", "conductivity_us_cm", "--conductivity", "At 25 C, in uS/cm or as '0.62 mS/cm'.", "US/CM")
@click.option("--hardness", type=HardnessType(), metavar="X", help="Total hardness, such as '9 dH'.")
@click.option("--calcium", type=HardnessType(), metavar="X", help="Calcium hardness, such as '120 mg/L'.")
@click.option("--alkalinity", type=HardnessType(), metavar="X", help="Alkalinity, such as '6 dH'.")
@field_option("water_test", "ph", "--ph", "pH of the sample.")
@field_option("water_test", "temperature_c", "--temperature", "Of the sample, in C or as '59 F'.", "C")
@field_option("water_test", "kit", "--kit", "What it was tested with.", "meter|drops|laboratory")
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
@field_argument("fill", "boiler", "BOILER")
@field_argument("fill", "from_date", "DATE")
@field_argument("fill", "water", "WATER")
@sure_option
@click.pass_context
def fill(ctx: click.Context, sure: bool, **given) -> None:
    """Record that from DATE on BOILER draws WATER.

    \b
    Example:
      scalemodel add fill kitchen 2026-01-10 tap
    """
    record_into(ctx, lambda book: build(KINDS["fill"], given), sure=sure)


@add.command(short_help="Record the water that a boiler drew between two days.")
@field_argument("use", "boiler", "BOILER")
@field_argument("use", "from_date", "FROM")
@field_argument("use", "to_date", "TO")
@field_option("use", "litres", "--litres", "Litres drawn.", "L")
@field_option("use", "drinks", "--drinks", "Drinks drawn.", "N")
@field_option(
    "use",
    "litres_per_drink",
    "--litres-per-drink",
    f"Litres in a drink (default: the boiler's own, else {Use.LITRES_PER_DRINK}).",
    "L",
)
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
    change = {"litres_per_drink": f"{size:.12g}"}
    insisting(partial(book.amend, number_of(book, name), change, "asked with its first drinks"), {})


@add.command()
@field_argument("descale", "boiler", "BOILER")
@field_argument("descale", "date", "DATE")
@field_option("descale", "scope", "--scope", "Whether all of it was reached.", "full|partial")
@field_option("descale", "acid", "--acid", "What it was descaled with.", "NAME")
@field_option("descale", "acid_g", "--acid-g", "Acid spent, dry.", "G")
@field_option("descale", "scale_recovered_g", "--scale-recovered-g", "Dry scale that came out.", "G")
@click.option(
    "--acid-spent-g",
    type=FieldType("descale", "acid_g"),
    metavar="G",
    help="Instead: acid spent as titrated, from which the scale is reckoned.",
)
@field_option("descale", "note", "--note", "Anything worth keeping.", "TEXT")
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
        given |= reckoned(acid_spent_g, given)
    record_into(ctx, lambda book: build(KINDS["descale"], given), again, sure)


def reckoned(acid_spent_g: float, given: dict) -> dict:
    """The fields of a descale that follow from the acid found spent by titration; the note says how."""
    from scalemodel.descaling.acid import recovered_by_titration

    if given["scale_recovered_g"] is not None:
        raise BadValueError("--acid-spent-g", f"{acid_spent_g:g}", "either it or --scale-recovered-g, not both")
    acid, scale_g, how = recovered_by_titration(given["acid"] or "", acid_spent_g, given["acid_g"])
    note = f"{given['note']}; {how}" if given["note"] else how
    return {"acid": acid.kind, "scale_recovered_g": scale_g, "note": note}


@add.command(short_help="Record what things cost for a boiler.")
@field_argument("prices", "boiler", "BOILER")
@field_argument("prices", "from_date", "FROM_DATE")
@field_option("prices", "descale_materials", "--descale-materials", "Acid and whatever else a descale uses up.")
@field_option("prices", "descale_hours", "--descale-hours", "Hours of work that a descale takes.", "H")
@field_option("prices", "hour_cost", "--hour-cost", "What an hour costs.")
@field_option("prices", "descale_wear", "--descale-wear", "What a descale wears off the boiler, as you put it.")
@field_option("prices", "strip_down", "--strip-down", "What scale past the threshold costs beyond a descale.")
@field_option("prices", "cartridge_cost", "--cartridge-cost", "A cartridge of demineraliser.")
@field_option("prices", "cartridge_litres", "--cartridge-litres", "Treated water that one makes.", "L")
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
@field_argument("absence", "boiler", "BOILER")
@field_argument("absence", "from_date", "FROM")
@field_argument("absence", "to_date", "TO")
@field_option("absence", "note", "--note", "Anything worth keeping.", "TEXT")
@sure_option
@click.pass_context
def absence(ctx: click.Context, sure: bool, **given) -> None:
    """Record that nothing is drawn from BOILER from FROM until TO (drawn again on TO); may lie ahead.

    \b
    Example:
      scalemodel add absence kitchen 2026-08-01 2026-08-22 --note holidays
    """
    record_into(ctx, lambda book: build(KINDS["absence"], given), sure=sure)
