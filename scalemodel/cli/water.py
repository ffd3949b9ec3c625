"""``water``: what a water can drop in a boiler, and how to mix one that drops less."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import click

from scalemodel.cli.options_and_output import as_of_option, emit, json_option, logbook_path
from scalemodel.cli.recording import FieldType
from scalemodel.cli.shell_completion import WATERS
from scalemodel.cli.water_plan import compare
from scalemodel.errors import EvidenceError, RecordClashError
from scalemodel.logbook import clock
from scalemodel.logbook.records import WaterTest
from scalemodel.wording import figure

if TYPE_CHECKING:
    from scalemodel.water.analysis import WaterAnalysis

HARDNESS_HELP = 'such as "9 dH", "160 mg/L" (as CaCO3) or "1.6 mmol/L"'


@click.group()
def water() -> None:
    """Analyse a water, mix one, or lay some side by side for a boiler.

    \b
    Example:
      scalemodel water analyse --tds 310
      scalemodel water mix --tap-tds 310 --target-tds 120
    """


water.add_command(compare)


@water.command()
@click.option(
    "--water", "name", metavar="W", shell_complete=WATERS, help="Take the tests of this water from the logbook."
)
@click.option("--tds", type=FieldType("water_test", "tds_mg_l"), metavar="X", help="Reading of a TDS meter, mg/L.")
@click.option(
    "--tds-factor",
    type=FieldType("water_test", "tds_factor"),
    metavar="X",
    help="The meter's TDS over conductivity (default: 0.5).",
)
@click.option(
    "--conductivity",
    type=FieldType("water_test", "conductivity_us_cm"),
    metavar="X",
    help="Conductivity at 25 C, uS/cm.",
)
@click.option("--hardness", metavar="Q", help=f"Total hardness, {HARDNESS_HELP}.")
@click.option("--calcium", metavar="Q", help="Calcium hardness, in the same units.")
@click.option(
    "--alkalinity",
    metavar="Q",
    help="Alkalinity (carbonate hardness), in the same units; a mmol/L is of acid taken up.",
)
@click.option("--ph", type=FieldType("water_test", "ph"), metavar="X", help="pH of the sample.")
@click.option("--sample-temperature", metavar="T", help='Temperature of the sample, "15" (C) or "60 F".')
@click.option("--boiler-temperature", metavar="T", help="Temperature of the boiler (default: 93 C).")
@as_of_option
@json_option
@click.pass_context
def analyse(ctx: click.Context, name, boiler_temperature, as_of, as_json, **given) -> None:
    """Tell what a litre of this water can drop at the boiler's temperature.

    Give what you know, of one test: a reading of a pocket meter is enough, a drop kit's hardness and alkalinity are
    better. What is not given is assumed, and said.

    \b
    Example:
      scalemodel water analyse --tds 310 --boiler-temperature 93
      scalemodel water analyse --hardness "9 dH" --alkalinity "6 dH" --ph 7.6
      scalemodel water analyse --water tap
    """
    from scalemodel.water.analysis import analyse_tests
    from scalemodel.water.defaults import DEFAULTS
    from scalemodel.water.hardness import parse_temperature

    named = [option for option, value in given.items() if value is not None]
    if name is not None and named:
        raise RecordClashError(
            f"--water and --{named[0].replace('_', '-')} given together",
            "name a water of the logbook or give values by hand, not both",
        )
    if name is None and as_of is not None:
        raise RecordClashError("--as-of given without --water", "values given by hand have no date")
    temperature = DEFAULTS.boiler_temperature_c
    if boiler_temperature is not None:
        temperature = parse_temperature(boiler_temperature, "boiler temperature")
    tests = [_by_hand(**given)] if name is None else _from_logbook(ctx, name, as_of)
    analysis = analyse_tests(tests)
    result = _analysis_result(analysis, temperature)
    emit(result, _analysis_text(result, analysis, temperature), as_json)


@water.command(short_help="How much tap water to mix with treated water.")
@click.option("--tap-tds", type=FieldType("water_test", "tds_mg_l"), metavar="X", help="TDS of the tap water, mg/L.")
@click.option("--tap-hardness", metavar="Q", help=f"Its hardness, {HARDNESS_HELP}.")
@click.option("--tap-alkalinity", metavar="Q", help="Its alkalinity.")
@click.option("--tap-ph", type=FieldType("water_test", "ph"), metavar="X", help="Its pH.")
@click.option(
    "--target-tds", type=FieldType("water_test", "tds_mg_l"), metavar="X", help="TDS that the mix is to have, mg/L."
)
@click.option("--target-hardness", metavar="Q", help="Or the hardness that it is to have.")
@click.option(
    "--treated-tds",
    type=FieldType("water_test", "tds_mg_l"),
    metavar="X",
    help="TDS of the treated water, mg/L (default: 0).",
)
@click.option("--treated-hardness", metavar="Q", help="Its hardness.")
@click.option("--treated-alkalinity", metavar="Q", help="Its alkalinity.")
@click.option(
    "--cartridge-litres",
    type=float,
    metavar="X",
    help="Treated water that one cartridge makes from this tap, L.",
)
@click.option("--cartridge-cost", type=float, metavar="X", help="What a cartridge costs.")
@click.option("--tap-cost-per-litre", type=float, default=0.0, metavar="X", help="What a litre of tap water costs.")
@click.option("--boiler-temperature", metavar="T", help="Temperature of the boiler (default: 93 C).")
@json_option
def mix(
    target_tds,
    target_hardness,
    cartridge_litres,
    cartridge_cost,
    tap_cost_per_litre,
    boiler_temperature,
    as_json,
    **given,
) -> None:
    """Tell what share of tap water to mix with treated water, and how far a cartridge goes.

    Treated water is taken as free of minerals unless you say what is in it.

    \b
    Example:
      scalemodel water mix --tap-tds 310 --target-tds 120 --cartridge-litres 60 --cartridge-cost 14
      scalemodel water mix --tap-hardness "14 dH" --target-hardness "4 dH"
    """
    from scalemodel.water.analysis import analyse_tests
    from scalemodel.water.defaults import DEFAULTS
    from scalemodel.water.hardness import parse_quantity, parse_temperature, to_mg_l
    from scalemodel.water.mixing import cartridge_use, tap_share_for
    from scalemodel.water.mixing import mix as mix_waters

    if (target_tds is None) == (target_hardness is None):
        raise RecordClashError("a mix needs one target", "give --target-tds or --target-hardness")
    if (cartridge_litres is None) != (cartridge_cost is None) and (cartridge_cost is not None or tap_cost_per_litre):
        raise EvidenceError("a cost needs --cartridge-litres and --cartridge-cost", "give both")
    if given["tap_tds"] is None and given["tap_hardness"] is None:
        raise EvidenceError("the tap water is not known", "give --tap-tds, or --tap-hardness")
    temperature = DEFAULTS.boiler_temperature_c
    if boiler_temperature is not None:
        temperature = parse_temperature(boiler_temperature, "boiler temperature")
    tap = analyse_tests([_by_hand(**_part(given, "tap_"))])
    treated_given = _part(given, "treated_")
    pure = all(value is None for value in treated_given.values())
    treated = analyse_tests([_by_hand(**({"tds": 0.0} if pure else treated_given))])
    if pure:
        treated = replace(treated, assumptions=("taken as free of minerals",))
    if target_tds is not None:
        share = tap_share_for(tap.tds_mg_l, treated.tds_mg_l, target_tds, "TDS")
    else:
        wanted = to_mg_l(*parse_quantity(target_hardness, "target hardness"))
        share = tap_share_for(tap.hardness, treated.hardness, wanted, "hardness")
    mixed = mix_waters(tap, treated, share)
    use = None
    if cartridge_litres is not None:
        use = cartridge_use(share, cartridge_litres, cartridge_cost, tap_cost_per_litre)
    result = {
        "tap_share": _figure(share),
        "tds_mg_l": _figure(mixed.tds_mg_l),
        "hardness": _figure(mixed.hardness),
        "alkalinity": _figure(mixed.alkalinity),
        "litres_per_cartridge": _figure(use.mix_litres) if use else None,
        "cost_per_litre": _figure(use.cost_per_litre) if use else None,
    }
    emit(result, _mix_text(result, mixed, cartridge_litres, temperature), as_json)


def _part(given: dict, prefix: str) -> dict:
    return {name.removeprefix(prefix): value for name, value in given.items() if name.startswith(prefix)}


def _by_hand(
    tds=None,
    tds_factor=None,
    conductivity=None,
    hardness=None,
    calcium=None,
    alkalinity=None,
    ph=None,
    sample_temperature=None,
) -> WaterTest:
    """A test made of values given by hand, taken at their word."""
    from scalemodel.water.hardness import parse_quantity, parse_temperature

    quantities = {"hardness": hardness, "calcium": calcium, "alkalinity": alkalinity}
    parsed = {}
    for field, text in quantities.items():
        if text is not None:
            parsed[field], parsed[f"{field}_unit"] = parse_quantity(text, field)
    if sample_temperature is not None:
        parsed["temperature_c"] = parse_temperature(sample_temperature, "sample temperature")
    return WaterTest(
        "by hand",
        clock.today(),
        tds_mg_l=tds,
        tds_factor=tds_factor,
        conductivity_us_cm=conductivity,
        ph=ph,
        kit="laboratory",
        **parsed,
    )


def _from_logbook(ctx: click.Context, name: str, as_of: date | None) -> tuple[WaterTest, ...]:
    from scalemodel.logbook.store import Logbook

    day = as_of or clock.today()
    with Logbook.open(logbook_path(ctx)) as logbook:
        tests = logbook.water_tests(name, day)
    if not tests:
        raise EvidenceError(
            f"water {name} has no test by {day}",
            f"one meter reading will do: scalemodel add water-test {name} DATE --tds 310",
        )
    return tests


def _figure(value: float | None) -> float | None:
    """Five significant digits; None for what has no finite value."""
    if value is None or value in (float("inf"), float("-inf")):
        return None
    return float(f"{value:.5g}")


def _analysis_result(analysis: WaterAnalysis, temperature_c: float) -> dict:
    from scalemodel.water import indices, potential

    _, at_sample = potential.saturation(analysis, analysis.temperature_c)
    ph_hot, at_boiler = potential.saturation(analysis, temperature_c)
    langelier = ryznar = None
    if min(analysis.tds_mg_l, analysis.calcium, analysis.alkalinity) > 0.0:
        ph_s = indices.saturation_ph(analysis.tds_mg_l, analysis.calcium, analysis.alkalinity, temperature_c)
        langelier, ryznar = indices.langelier_index(ph_hot, ph_s), indices.ryznar_index(ph_hot, ph_s)
    amounts = ("hardness", "calcium", "magnesium", "alkalinity", "tds_mg_l", "ph", "temperature_c")
    return {
        **{name: _figure(getattr(analysis, name)) for name in amounts},
        "boiler_temperature_c": _figure(temperature_c),
        "saturation_index": {"sample": _figure(at_sample), "boiler": _figure(at_boiler)},
        "langelier_index": _figure(langelier),
        "ryznar_index": _figure(ryznar),
        "potential_closed_mg_l": _figure(float(potential.closed_system_potential(analysis, temperature_c))),
        "potential_open_mg_l": _figure(float(potential.open_system_potential(analysis, temperature_c))),
        "assumptions": [*analysis.assumptions, *potential.range_note(temperature_c)],
    }


def _row(label: str, value: float | None, unit: str = "", form: str = "") -> str:
    shown = "none" if value is None else format(value, form) if form else figure(value)
    return f"  {label:<34}{shown:>9}  {unit}".rstrip()


def _section(title: str, lines) -> list[str]:
    return ["", f"{title}:", *(f"  - {line}" for line in lines)] if lines else []


def _analysis_text(result: dict, analysis: WaterAnalysis, temperature_c: float) -> str:
    from scalemodel.water.cautions import cautions

    closed, opened = result["potential_closed_mg_l"], result["potential_open_mg_l"]
    index = result["saturation_index"]
    lines = [
        f"At {temperature_c:.4g} C a litre can drop {figure(closed)} mg of lime with its CO2 kept, "
        f"{figure(opened)} mg once the CO2 has left.",
        "",
        _row("hardness", analysis.hardness, "mg/L as CaCO3"),
        _row("calcium", analysis.calcium, "mg/L as CaCO3"),
        _row("magnesium", analysis.magnesium, "mg/L as CaCO3"),
        _row("alkalinity", analysis.alkalinity, "mg/L as CaCO3"),
        _row("dissolved solids (TDS)", analysis.tds_mg_l, "mg/L"),
        _row("pH of the sample", analysis.ph, form=".2f"),
        _row("temperature of the sample", analysis.temperature_c, "C"),
        _row("saturation index of the sample", index["sample"], form="+.2f"),
        _row("saturation index in the boiler", index["boiler"], form="+.2f"),
        _row("Langelier index in the boiler", result["langelier_index"], form="+.2f"),
        _row("Ryznar index in the boiler", result["ryznar_index"], form=".2f"),
        *_section("Assumed", result["assumptions"]),
        *_section("Mind", cautions(analysis, temperature_c)),
    ]
    return "\n".join(lines)


def _mix_text(result: dict, mixed: WaterAnalysis, cartridge_litres: float | None, temperature_c: float) -> str:
    from scalemodel.water.cautions import cautions
    from scalemodel.water.potential import closed_system_potential, open_system_potential, range_note

    lines = [
        f"Mix {result['tap_share']:.1%} of tap water with {1.0 - result['tap_share']:.1%} of treated water."
        if result["tap_share"] < 1.0
        else "The tap water is at the target already: no treated water is needed.",
        "",
        _row("dissolved solids (TDS)", mixed.tds_mg_l, "mg/L"),
        _row("hardness", mixed.hardness, "mg/L as CaCO3"),
        _row("alkalinity", mixed.alkalinity, "mg/L as CaCO3"),
        _row("pH", mixed.ph, form=".2f"),
        _row(
            f"can drop at {temperature_c:.4g} C, CO2 kept",
            float(closed_system_potential(mixed, temperature_c)),
            "mg/L as CaCO3",
        ),
        _row(
            f"can drop at {temperature_c:.4g} C, CO2 gone",
            float(open_system_potential(mixed, temperature_c)),
            "mg/L as CaCO3",
        ),
    ]
    if cartridge_litres is not None:
        lines.append(_row("treated water per cartridge", cartridge_litres, "L"))
        lines.append(_row("mix per cartridge", result["litres_per_cartridge"], "L"))
    if result["cost_per_litre"] is not None:
        lines.append(_row("cost per litre of mix", result["cost_per_litre"]))
    lines += _section("Assumed", (*mixed.assumptions, *range_note(temperature_c)))
    lines += _section("Mind", cautions(mixed, temperature_c))
    return "\n".join(lines)
