"""The sections of a report that hold a picture: the risk by date, and the deposit with the looks on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from scalemodel.model.priors import GRADE_WORDS
from scalemodel.report.charts import (
    NARROW,
    SHAPES,
    WIDE,
    deposit_chart,
    look_words,
    no_date_words,
    risk_chart,
    wait_sentence,
    wait_word,
)
from scalemodel.report.markup import bullets, folded, section, table
from scalemodel.report.svg import MARKS, element, text_of
from scalemodel.wording import figure, percent
from scalemodel.words.account import evidence_of
from scalemodel.words.advice import deposit_words, residue_sentences

if TYPE_CHECKING:
    from scalemodel.report.contents import Contents

EVERY = 4
"""A chart's table gives every so manieth of its days, and the last."""

TRIED = (0.01, 0.05, 0.1, 0.2, 0.5)
"""Tolerances of the table that stands for the controls where no script runs; the stated one joins them."""


def risk_section(contents: Contents) -> str:
    """The risk by date: picture, controls, tables."""
    risk, answer = contents.risk, contents.answer
    kept = [k for k in range(len(risk.days)) if k % EVERY == 0 or k == len(risk.days) - 1]
    rows = [
        (f"{risk.as_of.fromordinal(risk.as_of.toordinal() + risk.days[k])}", percent(risk.own.risks[k])) for k in kept
    ]
    lead = f"Risk that scale at the {answer.site} has reached {answer.threshold_words}, if nothing is done."
    return section(
        "risk",
        "Risk by date",
        element("p", text_of(lead), id="lead"),
        _pictures(risk_chart, contents, "risk"),
        _controls(contents),
        folded("The same as a table", table(lead, ("date", "risk"), rows, "risk-table")),
        folded("Other tolerances and thresholds", _tried(contents)),
    )


def _pictures(draw, contents: Contents, readout: str) -> str:
    hint = element("p", "", class_="readout", data_readout=readout, aria_hidden="true")
    return element("div", draw(contents, WIDE), draw(contents, NARROW), hint, class_="pictures")


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
            element(
                "output", text_of(wait_sentence(contents)), id="said", for_="tolerance threshold", aria_live="polite"
            ),
            element("button", "As recorded", type="button", id="back"),
            class_="outcome",
        ),
        hidden="hidden",
        id="try",
    )


def _tried(contents: Contents) -> str:
    risk = contents.risk
    levels = [k for k, t in enumerate(risk.tolerances) if t in TRIED or k == risk.tolerance]
    words = {status: short for status, (_, short) in no_date_words(risk.horizon_days).items()}
    rows = []
    for curve in risk.curves:
        dates = [wait_word(contents, curve, k) for k in levels]
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


def deposit_section(contents: Contents) -> str:
    """The deposit with the looks on it: picture, what the boiler has shown, tables."""
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
    shown = [*evidence_of(answer.basis.facts), *said, *residue_sentences(answer)]
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
