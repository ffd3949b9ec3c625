"""``scalemodel descale-plan``: how to descale one boiler, on paper or on a phone."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scalemodel.api import Question
from scalemodel.cli.ask import ask, read_facts
from scalemodel.cli.options_and_output import emit, reading_options
from scalemodel.cli.shell_completion import WATERS, boiler_argument
from scalemodel.descaling.acid import ACIDS, DEFAULT_ACID
from scalemodel.descaling.filling import FILLINGS, PUMP_UP_TO_L
from scalemodel.descaling.narrow_layout import bullets, escaped, numbered, wrapped

if TYPE_CHECKING:
    from scalemodel.descaling.procedure import DescalePlan

ENDINGS = (".md",)


@click.command("descale-plan")
@boiler_argument
@click.option("--acid", metavar="|".join(ACIDS), help=f"What to descale with (default: {DEFAULT_ACID}).")
@click.option(
    "--strength",
    "strength_percent",
    type=float,
    metavar="X",
    help="Grams in 100 mL, % w/v (default: what the scale needs).",
)
@click.option(
    "--filled-by",
    metavar="|".join(FILLINGS),
    help=f"What fills the boiler (default: as on record, else pump up to {PUMP_UP_TO_L:g} L, hand above).",
)
@click.option(
    "--fill-to", "fill_l", type=float, metavar="X", help="Litres of a bath, by hand, if no scale sits higher."
)
@click.option("--litres-per-day", type=float, metavar="X", help="Use, where none at all is on record.")
@click.option("--water", metavar="W", shell_complete=WATERS, help="Water, where no fill at all is on record.")
@click.option("--out", type=click.Path(), metavar="FILE.md", help="Write it to a file too, as Markdown.")
@reading_options
@click.pass_context
def descale_plan(ctx, boiler, out, as_of, seed, particles, as_json, **asked) -> None:
    """How to descale BOILER, step by step: acid, water, time, cautions, what to record.

    The acid is reckoned from the scale that the records make likely, and from how the boiler is filled.

    \b
    Example:
      scalemodel descale-plan kitchen --out plan.md
    """
    from scalemodel import api
    from scalemodel.descaling.procedure import check_wishes
    from scalemodel.report.files import check_place, write_whole

    path = None if out is None else check_place(out, ENDINGS)
    question = Question(litres_per_day=asked.pop("litres_per_day"), water=asked.pop("water"))
    check_wishes(read_facts(ctx, boiler, as_of), **asked)
    plan = api.descale_plan(ask(ctx, boiler, as_of, seed, particles, question), **asked)
    lines = plan_text(plan)
    if path is not None:
        write_whole(path, "\n".join([*plan_markdown(plan), ""]).encode())
        lines += ["", *wrapped(f"Written to {Path(path)}")]
    emit(plan_json(plan), "\n".join(lines), as_json)


def plan_json(plan: DescalePlan) -> dict:
    """The plan as scripts may rely on it."""
    takes = plan.takes
    return {
        "scale_g": asdict(plan.scale_g),
        "site": plan.site,
        "acid": plan.acid.kind,
        "filled_by": takes.filling.kind,
        "acid_g": takes.acid_g,
        "solution_l": takes.solution_l,
        "strength_percent": takes.strength_percent,
        "passes": takes.passes,
        "rinse_l": takes.rinse_l,
        "residual_acid_g_l": takes.residual_acid_g_l,
        "steps": [step.whole for step in plan.steps],
        "cautions": list(plan.cautions),
    }


def plan_text(plan: DescalePlan) -> list[str]:
    """The plan as lines for a phone: cautions first, then what it takes, then the steps."""
    from scalemodel.descaling.procedure import summary

    return [
        *wrapped(f"Descaling plan for {plan.boiler}, as on {plan.as_of}"),
        "",
        "CAUTIONS",
        *bullets(plan.cautions),
        "",
        "WHAT IT TAKES",
        *bullets(summary(plan)),
        "",
        "STEPS",
        *numbered(plan.steps),
    ]


def plan_markdown(plan: DescalePlan) -> list[str]:
    """The same as Markdown."""
    from scalemodel.descaling.procedure import summary

    return [
        f"# Descaling plan for {escaped(plan.boiler)}, as on {plan.as_of}",
        "",
        "## Cautions",
        "",
        *bullets(plan.cautions),
        "",
        "## What it takes",
        "",
        *bullets(summary(plan)),
        "",
        "## Steps",
        "",
        *numbered(plan.steps, fenced=True),
    ]
