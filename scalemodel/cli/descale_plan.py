"""``scalemodel descale-plan``: how to descale one boiler, on paper or on a phone."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scalemodel.api import Question
from scalemodel.cli.ask import ask
from scalemodel.cli.common import emit, reading_options
from scalemodel.cli.completing import WATERS, boiler_argument
from scalemodel.descaling.acid import ACIDS, DEFAULT_ACID, DEFAULT_STRENGTH, check_strength, find_acid
from scalemodel.descaling.phone import bullets, escaped, numbered, wrapped

if TYPE_CHECKING:
    from scalemodel.descaling.procedure import DescalePlan

ENDINGS = (".md",)


@click.command("descale-plan")
@boiler_argument
@click.option("--acid", metavar="|".join(ACIDS), help=f"What to descale with (default: {DEFAULT_ACID}).")
@click.option("--strength", type=float, metavar="X", help=f"Grams in 100 mL, % w/v (default: {DEFAULT_STRENGTH:g}).")
@click.option("--litres-per-day", type=float, metavar="X", help="Use, where none at all is on record.")
@click.option("--water", metavar="W", shell_complete=WATERS, help="Water, where no fill at all is on record.")
@click.option("--out", type=click.Path(), metavar="FILE.md", help="Write it to a file too, as Markdown.")
@reading_options
@click.pass_context
def descale_plan(ctx, boiler, acid, strength, litres_per_day, water, out, as_of, seed, particles, as_json) -> None:
    """How to descale BOILER, step by step: acid, water, time, cautions, what to record.

    The acid is reckoned from the scale that the records make likely.

    \b
    Example:
      scalemodel descale-plan kitchen --out plan.md
    """
    from scalemodel.descaling.procedure import plan_descale
    from scalemodel.report.files import check_place, write_whole

    kind, percent = find_acid(acid).kind, check_strength(strength)
    path = None if out is None else check_place(out, ENDINGS)
    question = Question(litres_per_day=litres_per_day, water=water)
    plan = plan_descale(ask(ctx, boiler, as_of, seed, particles, question).forecast, kind, percent)
    lines = plan_text(plan)
    if path is not None:
        write_whole(path, "\n".join([*plan_markdown(plan), ""]).encode())
        lines += ["", *wrapped(f"Written to {Path(path)}")]
    emit(plan_json(plan), "\n".join(lines), as_json)


def plan_json(plan: DescalePlan) -> dict:
    """The plan as scripts may rely on it."""
    return {
        "scale_g": asdict(plan.scale_g),
        "acid": plan.acid.kind,
        "acid_g": plan.acid_g,
        "solution_l": plan.solution_l,
        "strength_percent": plan.strength_percent,
        "passes": plan.passes,
        "rinse_l": plan.rinse_l,
        "residual_acid_g_l": plan.residual_acid_g_l,
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
