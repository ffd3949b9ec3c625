"""The report of one boiler as a page: for the owner first, the method folded away."""

from __future__ import annotations

from typing import TYPE_CHECKING

from scalemodel.decision.account import first_sentences
from scalemodel.decision.rows import (
    AGE_TITLES,
    FINDING_TITLES,
    LOOK_TITLES,
    SHORT_WATER_TITLES,
    age_row,
    finding_rows,
    look_rows,
    water_table,
)
from scalemodel.decision.sentences import (
    ages_words,
    cost_words,
    deposit_words,
    due_words,
    look_sentences,
    next_look_words,
    unpriced_sites,
)
from scalemodel.decision.water_sheet import SHEET_TITLES, water_sentences, water_sheet_rows
from scalemodel.descaling.phone import quoted
from scalemodel.descaling.procedure import summary
from scalemodel.model.priors import GRADE_WORDS
from scalemodel.report.charts import NARROW, SHAPES, WIDE, deposit_chart, look_words, risk_chart
from scalemodel.report.markup import bullets, document, folded, paragraphs, section, table
from scalemodel.report.svg import MARKS, element, text_of
from scalemodel.wording import counted, figure, percent

if TYPE_CHECKING:
    from scalemodel.descaling.phone import Step
    from scalemodel.report.contents import Contents

EVERY = 4
"""A chart's table gives every so manieth of its days, and the last."""

TRIED = (0.01, 0.05, 0.1, 0.2, 0.5)
"""Tolerances of the table that stands for the controls where no script runs; the stated one joins them."""


def report_page(contents: Contents, home: str | None = None) -> str:
    """A whole page, the same for the same contents.

    Parameters
    ----------
    contents : Contents
        From `scalemodel.report.contents.gather`.
    home : str, optional
        Where the page of all boilers is, as a relative address.
    """
    answer = contents.answer
    body = "\n".join(
        [
            _header(contents, home),
            "<main>",
            _risk(contents),
            _deposit(contents),
            '<div class="rest">',
            _look(contents),
            _water(contents),
            _cost(contents),
            _plan(contents),
            section("cautions", "Cautions", bullets(contents.plan.cautions), _steps(contents)),
            section("assumptions", "What was assumed", bullets(answer.assumptions)),
            "</div>",
            _method(contents),
            "</main>",
            _footer(),
        ]
    )
    return document(f"{answer.boiler}: descale report as of {answer.as_of}", body, "page.js", page_data(contents))


def page_data(contents: Contents) -> dict:
    """What the page's script looks up: curves, last safe dates, the deposit; nothing in it is reckoned there."""
    risk = contents.risk
    days = [(day - risk.as_of).days for band in (contents.past, contents.future) for day in band.dates]
    edges = {
        name: [float(f"{v:.3g}") for band in (contents.past, contents.future) for v in getattr(band, name)]
        for name in ("p10", "p50", "p90")
    }
    return {
        "asOf": risk.as_of.isoformat(),
        "horizon": counted(risk.horizon_days, "day"),
        "site": contents.answer.site,
        "days": list(risk.days),
        "tolerances": [{"share": share, "words": percent(share)} for share in risk.tolerances],
        "thresholds": [
            {
                "words": curve.threshold.words,
                "risks": [round(value, 12) for value in curve.risks],
                "until": [_until(contents, curve, k) for k in range(len(risk.tolerances))],
                "waits": list(curve.waits),
            }
            for curve in risk.curves
        ],
        "threshold": risk.threshold,
        "tolerance": risk.tolerance,
        "deposit": {"days": days, **edges},
    }


def _until(contents: Contents, curve, tolerance: int) -> str:
    until = contents.risk.until(curve, tolerance)
    if until is not None:
        return until.isoformat()
    return "past" if curve.waits[tolerance] is None else "beyond"


def _header(contents: Contents, home: str | None) -> str:
    answer, boiler = contents.answer, contents.facts.boiler
    head, *rest = first_sentences(answer)
    name = element("span", text_of(f"{answer.boiler}:"), class_="name")
    beyond = answer.reason and answer.reason.startswith("beyond")
    lede = [*rest[:2], *([f"Reason: {answer.reason}."] if beyond else [])]
    more, warned = [s for s in rest[2:] if not s.startswith("Caution")], [s for s in rest if s.startswith("Caution")]
    nav = element("nav", element("a", "All boilers", href=home), aria_label="Reports") if home else ""
    return element(
        "header",
        nav,
        element(
            "p",
            text_of(f"{boiler.note}; as of {answer.as_of}" if boiler.note else f"As of {answer.as_of}"),
            class_="eyebrow",
        ),
        element("h1", name, text_of(head.removeprefix(f"{answer.boiler}:"))),
        element("p", text_of(" ".join(lede)), class_="lede"),
        element("p", text_of(" ".join(more)), class_="small") if more else "",
        paragraphs(warned, "warning"),
    )


def _pictures(draw, contents: Contents, readout: str) -> str:
    hint = element("p", "", class_="readout", data_readout=readout, aria_hidden="true")
    return element("div", draw(contents, WIDE), draw(contents, NARROW), hint, class_="pictures")


def _risk(contents: Contents) -> str:
    risk, answer = contents.risk, contents.answer
    kept = [k for k in range(len(risk.days)) if k % EVERY == 0 or k == len(risk.days) - 1]
    rows = [
        (f"{risk.as_of.fromordinal(risk.as_of.toordinal() + risk.days[k])}", f"{risk.own.risks[k]:.1%}") for k in kept
    ]
    lead = f"Risk that scale at the {answer.site} has reached {answer.threshold_words}, if nothing is done."
    return section(
        "risk",
        "Risk by date",
        paragraphs([lead]),
        _pictures(risk_chart, contents, "risk"),
        _controls(contents),
        folded("The same as a table", table(lead, ("date", "risk"), rows, "risk-table")),
        folded("Other tolerances and thresholds", _tried(contents)),
    )


def _controls(contents: Contents) -> str:
    """Tolerance and threshold, for the script to show and to listen to."""
    risk, answer = contents.risk, contents.answer
    choices = [
        element("option", text_of(curve.threshold.words), value=k, selected="selected" if k == risk.threshold else None)
        for k, curve in enumerate(risk.curves)
    ]
    slider = element(
        "input",
        type="range",
        id="tolerance",
        min=0,
        max=len(risk.tolerances) - 1,
        step=1,
        value=risk.tolerance,
        aria_valuetext=percent(answer.tolerance),
    ).replace("/>", ">")
    accepted = element("output", text_of(percent(answer.tolerance)), id="accepted", for_="tolerance", aria_live="off")
    return element(
        "fieldset",
        element("legend", "Try another tolerance or threshold"),
        element("div", element("label", "Risk you accept ", for_="tolerance"), accepted, slider),
        element("div", element("label", "Threshold", for_="threshold"), element("select", *choices, id="threshold")),
        element(
            "div",
            element("output", text_of(_said(contents)), id="said", for_="tolerance threshold", aria_live="polite"),
            element("button", "As recorded", type="button", id="back"),
            class_="outcome",
        ),
        hidden="hidden",
        id="try",
    )


def _said(contents: Contents) -> str:
    """What the moved date says before anything is moved; the script words it alike."""
    until = _until(contents, contents.risk.own, contents.risk.tolerance)
    if until == "past":
        return "Do not defer: the risk is above that already."
    if until == "beyond":
        return f"No descale is due within {counted(contents.risk.horizon_days, 'day')}."
    return f"The descale can wait until {until} ({counted(contents.risk.own.waits[contents.risk.tolerance], 'day')})."


def _tried(contents: Contents) -> str:
    risk = contents.risk
    levels = [k for k, t in enumerate(risk.tolerances) if t in TRIED or k == risk.tolerance]
    words = {"past": "already past", "beyond": f"beyond {contents.risk.horizon_days} days"}
    rows = []
    for curve in risk.curves:
        dates = [_until(contents, curve, k) for k in levels]
        rows.append((curve.threshold.words, *(words.get(d, d) for d in dates)))
    titles = ("threshold", *(f"accepting {percent(risk.tolerances[k])}" for k in levels))
    return table("How long the descale can wait, by threshold and by the risk you accept", titles, rows, "tried-table")


def _key(shape: str, class_: str, words: str) -> str:
    """A line of a picture's legend."""
    box = 'x="1" y="3" width="22" height="10"'
    sample = {
        "band": f'<rect {box} class="band past"/><path d="M1 8H23" class="middle past"/>',
        "ahead": f'<rect {box} class="band ahead"/><path d="M1 8H23" class="middle ahead"/>',
        "limit": '<path d="M0 8H24" class="limit"/>',
        "answer": '<path d="M12 0V16" class="answer"/>',
        "descale": '<path d="M12 0V16" class="descale"/>',
    }.get(shape) or f'<g class="look {class_}"><path d="{MARKS[shape]}" transform="translate(12 8)" class="mark"/></g>'
    drawn = element("svg", sample, viewBox="0 0 24 16", width=24, height=16, aria_hidden="true")
    return element("li", drawn, element("span", text_of(words)))


def _deposit(contents: Contents) -> str:
    answer, facts = contents.answer, contents.facts
    used = dict.fromkeys((look.method, look.site == answer.site) for look in facts.inspections)
    looks = [
        _key(SHAPES[method], "here" if here else "there", f"look by {method}" + ("" if here else ", at another site"))
        for method, here in sorted(used, key=lambda pair: (not pair[1], list(SHAPES).index(pair[0])))
    ]
    thick = any(look.thickness_um is not None for look in facts.inspections)
    key = element(
        "ul",
        _key("band", "", "so far: median, middle 80%"),
        _key("ahead", "", "if nothing is done"),
        _key("limit", "", "threshold"),
        _key("answer", "", "last safe date"),
        *([_key("descale", "", "descale")] if facts.descales else []),
        *looks,
        *([_key("cross", "there thick", "thickness reading")] if thick else []),
        class_="key",
    )
    grades = "; ".join(f"{grade} {words}" for grade, words in enumerate(GRADE_WORDS))
    said = [f"{deposit_words(answer.site, answer.deposit_now_mg_cm2)}; threshold {answer.threshold_mg_cm2:g}."]
    shown = [*answer.evidence, *said, *(one.words for one in answer.residue)]
    band = [(contents.past, "so far"), (contents.future, "ahead")]
    rows = [
        (day, kind, *(figure(float(edge[k]), 2) for edge in (b.p10, b.p50, b.p90)))
        for b, kind in band
        for k, day in enumerate(b.dates)
        if k % EVERY == 0 or k == len(b.dates) - 1
    ]
    seen = [(*_split(look_words(look)), look.inspector, look.note) for look in facts.inspections]
    return section(
        "deposit",
        "Deposit and looks",
        _pictures(deposit_chart, contents, "deposit"),
        key,
        element("p", text_of(f"Grades, at the right: {grades}."), class_="small grades"),
        element("h3", "What the boiler has shown"),
        bullets(shown),
        folded(
            "The same as tables",
            table(
                f"Deposit at the {answer.site} by date, mg/cm2: middle eight tenths and median of the draws",
                ("date", "", "low", "median", "high"),
                rows,
                "deposit-table",
            ),
            table("Looks on record", ("date", "what was seen", "inspector", "note"), seen, "looks-table")
            if seen
            else "",
        ),
    )


def _split(words: str) -> tuple[str, str]:
    day, _, rest = words.partition(", ")
    return day, rest


def _look(contents: Contents) -> str:
    looks, name = contents.looks, contents.answer.boiler
    lines = [next_look_words(quoted(name), looks.best)]
    missing = unpriced_sites(contents.facts)
    unit = "money as the logbook has it" if looks.priced else "descales"
    found = ""
    if looks.best is not None:
        found = table(
            "What that look may show, and what to do then", FINDING_TITLES, finding_rows(looks), "found-table"
        )
    return section(
        "look",
        "The next look",
        paragraphs(lines),
        found,
        paragraphs([look_sentences(looks)[-1], *([missing] if missing else [])]),
        folded(
            "Other looks that were weighed",
            table(f"Best date of each look, in {unit}", LOOK_TITLES, look_rows(looks), "weighed-table"),
            bullets(looks.assumptions),
        ),
    )


def _water(contents: Contents) -> str:
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
            bullets(dict.fromkeys((*plans.assumptions, *sheet.assumptions))),
        ),
    )


def _cost(contents: Contents) -> str:
    cost = contents.cost
    if isinstance(cost, str):
        return section("cost", "Costs", paragraphs([f"{cost[:1].upper()}{cost[1:]}."]))
    due = [] if cost.best_age_days is None else [due_words(cost)]
    return section(
        "cost",
        "Costs",
        paragraphs(
            [
                cost_words(quoted(contents.answer.boiler), cost),
                *due,
                f"{ages_words(*cost.nearly_best_days)} within 5% of that.",
            ]
        ),
        folded(
            "Cost by age",
            table(
                "Cost a year of descaling at a fixed age", AGE_TITLES, [age_row(p) for p in cost.curve], "cost-table"
            ),
            bullets(cost.assumptions),
        ),
    )


def _plan(contents: Contents) -> str:
    plan = contents.plan
    where = f"The steps, for a phone or on paper: scalemodel descale-plan {quoted(plan.boiler)}."
    return section("plan", "How to descale", bullets(summary(plan)), paragraphs([where], "small"))


def _steps(contents: Contents) -> str:
    return folded(
        "The steps, one by one", element("ol", *(_step(step) for step in contents.plan.steps), class_="steps")
    )


def _step(step: Step) -> str:
    commands = "\n".join(" ".join(words) for words in step.commands)
    return element(
        "li", text_of(step.text), element("pre", element("code", text_of(commands)), tabindex=0) if commands else ""
    )


METHOD = (
    "The deposit grows with the litres drawn, with what each litre can drop, and with the share of that which this "
    "boiler keeps; growth is irregular and never falls but at a descale.",
    "Everything unknown is believed with a probability, beforehand and after every look and water test; the posterior "
    "is drawn anew from the records for each report.",
    "The risk on a date is the mean over the draws of the exact chance that growth to come carries scale past the "
    "threshold by then; the last safe date is the last on which it is within what you accept.",
)


def _method(contents: Contents) -> str:
    answer, engine = contents.answer, contents.answer.engine
    rows = [
        ("draws", engine.particles),
        ("seed", contents.seed),
        ("tempering levels", engine.levels),
        ("sweeps", engine.sweeps),
        ("R-hat of the risk on that date", f"{engine.r_hat:.3f}"),
        ("random error of the date", "none" if answer.mc_error_days is None else f"{answer.mc_error_days:.1f} days"),
        ("sweeps ended at their cap", "yes" if engine.capped else "no"),
        ("points refused", engine.refused),
        ("horizon", counted(answer.horizon_days, "day")),
    ]
    inner = [
        paragraphs(METHOD),
        table("How this report was drawn", ("what", "value"), rows, "engine-table"),
        element(
            "p", text_of(f"Check it by another sampler: scalemodel check {quoted(answer.boiler)}."), class_="small"
        ),
    ]
    heading = element("h2", "Method and diagnostics", id="method-heading")
    return element(
        "section",
        element("details", element("summary", heading), *inner),
        aria_labelledby="method-heading",
        id="method",
    )


def _footer() -> str:
    return element(
        "footer",
        element("p", "A date is a probability, not a promise: look inside when you doubt it. Written by scalemodel."),
    )
