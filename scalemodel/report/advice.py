"""The sections of a report that say what to do: the next look, the water, the costs, how to descale."""

from __future__ import annotations

from shlex import quote
from typing import TYPE_CHECKING

from scalemodel.descaling.procedure import summary
from scalemodel.report.markup import bullets, folded, paragraphs, section, table
from scalemodel.report.svg import element, text_of
from scalemodel.wording import percent
from scalemodel.words.advice import (
    amount_unit,
    cost_sentences,
    next_look_words,
    unpriced_sites,
    water_sentences,
    without_words,
)
from scalemodel.words.tables import (
    AGE_TITLES,
    FINDING_TITLES,
    LOOK_TITLES,
    SHEET_TITLES,
    SHORT_WATER_TITLES,
    age_row,
    finding_rows,
    look_rows,
    water_sheet_rows,
    water_table,
)

if TYPE_CHECKING:
    from scalemodel.decision.water_plan import WaterPlans
    from scalemodel.decision.water_sheet import WaterSheet
    from scalemodel.descaling.phone import Step
    from scalemodel.report.contents import Contents


def look_section(contents: Contents) -> str:
    """The next look, what it may show, and the others that were weighed."""
    looks, name = contents.looks, contents.answer.boiler
    lines = next_look_words(quote(name), looks)[:1]
    missing = unpriced_sites(contents.facts)
    found = weighed = ""
    if looks.findings:
        found = table(
            "What that look may show, and what to do then", FINDING_TITLES, finding_rows(looks), "found-table"
        )
    if looks.options and not looks.alarms:
        weighed = folded(
            "Looks that were weighed",
            table(f"Best date of each look, in {amount_unit(looks)}", LOOK_TITLES, look_rows(looks), "weighed-table"),
            bullets(looks.assumptions),
        )
    return section(
        "look",
        "The next look",
        paragraphs(lines),
        found,
        paragraphs([without_words(looks), *([missing] if missing else [])]),
        weighed,
    )


def water_section(contents: Contents) -> str:
    """What the water can drop, and the waters of the logbook side by side."""
    sheet, plans = contents.water, contents.waters
    titles, rows = water_table(plans.options, SHORT_WATER_TITLES)
    caption = f"Waters of the logbook, each descaled at a risk of {percent(plans.tolerance)}"
    return section(
        "water",
        "The water",
        paragraphs(water_sentences(sheet)),
        bullets((f"Mind: {note}." for note in sheet.notes), "notes"),
        table(caption, titles, rows, "waters-table") if len(rows) > 1 else "",
        folded(
            "What is known of it",
            table(f"{sheet.water}, by its tests", SHEET_TITLES, water_sheet_rows(sheet), "water-table"),
            table(f"{caption}, in full", *water_table(plans.options), "waters-whole-table"),
            bullets((*plans.assumptions, *_said_of(sheet, plans))),
        ),
    )


def _said_of(sheet: WaterSheet, plans: WaterPlans) -> list[str]:
    """What was assumed of the water alone, without what is said of it among the others."""
    those = [said.partition(": ") for said in plans.assumptions]
    named = {text for names, _, text in those if sheet.water in names.split(", ")}
    return [said for said in sheet.assumptions if said not in named]


def cost_section(contents: Contents) -> str:
    """The age that costs least, or which prices to record."""
    cost = contents.cost
    if isinstance(cost, str):
        return section("cost", "Costs", paragraphs([f"{cost[:1].upper()}{cost[1:]}."]))
    return section(
        "cost",
        "Costs",
        paragraphs(f"{sentence[:1].upper()}{sentence[1:]}" for sentence in cost_sentences(cost)),
        folded(
            "Cost by age",
            table(
                "Cost a year of descaling at a fixed age", AGE_TITLES, [age_row(p) for p in cost.curve], "cost-table"
            ),
            bullets(cost.assumptions),
        ),
    )


def plan_section(contents: Contents) -> str:
    """What a descale takes."""
    plan = contents.plan
    where = f"The steps, for a phone or on paper: scalemodel descale-plan {quote(plan.boiler)}."
    return section("plan", "How to descale", bullets(summary(plan)), paragraphs([where], "small"))


def folded_steps(contents: Contents) -> str:
    """Every step of a descale, with the commands that record it."""
    return folded(
        "The steps, one by one", element("ol", *(_step(step) for step in contents.plan.steps), class_="steps")
    )


def _step(step: Step) -> str:
    commands = "\n".join(" ".join(words) for words in step.commands)
    return element(
        "li", text_of(step.text), element("pre", element("code", text_of(commands)), tabindex=0) if commands else ""
    )
