"""The report of one boiler as a page: for the owner first, the method folded away."""

from __future__ import annotations

from shlex import quote
from typing import TYPE_CHECKING

from scalemodel.decision.status import Status
from scalemodel.report.advice import cost_section, folded_steps, look_section, plan_section, water_section
from scalemodel.report.charts import no_date_words, wait_word
from scalemodel.report.markup import bullets, dated, document, folded, paragraphs, section, table
from scalemodel.report.pictured import deposit_section, risk_section
from scalemodel.report.svg import element, text_of
from scalemodel.wording import counted, percent
from scalemodel.words.account import assumptions_of, chemistry_of, hardness_of
from scalemodel.words.answer import horizon_words, opening

if TYPE_CHECKING:
    from scalemodel.decision.deferral import Deferral
    from scalemodel.report.contents import Contents


LONG_NAME = 24
"""A longer name is set smaller in the title."""


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
            risk_section(contents),
            deposit_section(contents),
            '<div class="rest">',
            look_section(contents),
            water_section(contents),
            cost_section(contents),
            plan_section(contents),
            section("cautions", "Cautions", bullets(contents.plan.cautions), folded_steps(contents)),
            section("assumptions", "What was assumed", *_assumptions(answer)),
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
        "instead": {str(status): words for status, words in no_date_words(risk.horizon_days).items()},
        "site": contents.answer.site,
        "days": list(risk.days),
        "tolerances": [{"share": share, "words": percent(share)} for share in risk.tolerances],
        "thresholds": [
            {
                "words": curve.threshold.words,
                "risks": [round(value, 12) for value in curve.risks],
                "until": [wait_word(contents, curve, k) for k in range(len(risk.tolerances))],
                "waits": list(curve.waits),
            }
            for curve in risk.curves
        ],
        "threshold": risk.threshold,
        "tolerance": risk.tolerance,
        "deposit": {"days": days, **edges},
    }


def _header(contents: Contents, home: str | None) -> str:
    answer, boiler = contents.answer, contents.facts.boiler
    begun = opening(answer)
    alarmed = "alarm" if answer.status is Status.LOOK_AGAIN else None
    long = " long" if len(answer.boiler) > LONG_NAME else ""
    name = element("span", element("bdi", text_of(answer.boiler)), ":", class_=f"name{long}")
    lede, more = [*begun.rest[:2], *horizon_words(answer)], begun.rest[2:]
    nav = element("nav", element("a", "All boilers", href=home), aria_label="Reports") if home else ""
    return element(
        "header",
        nav,
        element(
            "p",
            dated(f"{boiler.note}; as of {answer.as_of}" if boiler.note else f"As of {answer.as_of}"),
            class_="eyebrow",
        ),
        element("h1", name, dated(f" {begun.head}"), class_=alarmed),
        paragraphs(begun.warnings, "warning"),
        element("p", dated(" ".join(lede)), class_="lede"),
        element("p", dated(" ".join(more)), class_="small") if more else "",
    )


def _assumptions(answer: Deferral) -> tuple[str, str]:
    """What was assumed; of the waters in a line, and the rest of that folded away."""
    basis, chemistry = answer.basis, chemistry_of(answer.basis)
    return (
        bullets((*assumptions_of(basis), hardness_of(basis))),
        folded("How that hardness came about", bullets(chemistry)) if chemistry else "",
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
        ("steps by which the records were let in (tempering)", engine.levels),
        ("rounds of moves (sweeps)", engine.sweeps),
        ("do the runs agree on that risk? (R-hat: 1.000 where they do)", f"{engine.r_hat:.3f}"),
        ("random error of the date", "none" if answer.mc_error_days is None else f"{answer.mc_error_days:.1f} days"),
        ("rounds ended at their limit", "yes" if engine.capped else "no"),
        ("points refused as no number", engine.refused),
        ("days looked ahead", counted(answer.horizon_days, "day")),
    ]
    inner = [
        paragraphs(METHOD),
        table("How this report was drawn", ("what", "value"), rows, "engine-table"),
        element("p", text_of(f"Check it by another sampler: scalemodel check {quote(answer.boiler)}."), class_="small"),
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
