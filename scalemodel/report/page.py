"""The report of one boiler as a page: what its template is given, and what its script looks up."""

from __future__ import annotations

from shlex import quote
from typing import TYPE_CHECKING

from scalemodel.decision.status import Status
from scalemodel.report.photographs import photograph_values
from scalemodel.report.rendering import render
from scalemodel.report.sections import (
    assumed_values,
    cost_values,
    deposit_values,
    look_values,
    plan_values,
    risk_values,
    seen_values,
    water_values,
)
from scalemodel.report.waits import no_date_words, wait_word
from scalemodel.wording import Sentence, counted, joined, percent
from scalemodel.words.answer import horizon_words, opening

if TYPE_CHECKING:
    from collections.abc import Sequence

    from scalemodel.logbook.series import Series
    from scalemodel.report.contents import Contents


LONG_NAME = 24
"""A longer name is set smaller in the title."""


def report_page(contents: Contents, home: str | None = None, photographs: Sequence[Series] = ()) -> str:
    """A whole page, the same for the same contents.

    Parameters
    ----------
    contents : Contents
        From `scalemodel.report.contents.report_contents`.
    home : str, optional
        Where the page of all boilers is, as a relative address.
    photographs : sequence of Series, optional
        From `scalemodel.report.photographs.photographs_for_page`.
    """
    return render("boiler.html", home=home, **page_values(contents, photographs))


def page_values(contents: Contents, photographs: Sequence[Series] = ()) -> dict:
    """All that the template of a report shows, by section."""
    return {
        "boiler": contents.answer.boiler,
        "as_of": contents.answer.as_of,
        "opening": _opening_values(contents),
        "risk": risk_values(contents),
        "deposit": deposit_values(contents),
        "photographs": photograph_values(photographs),
        "look": look_values(contents),
        "seen": seen_values(contents),
        "water": water_values(contents.water, contents.waters),
        "cost": cost_values(contents.cost),
        "plan": plan_values(contents.plan),
        "assumed": assumed_values(contents.answer),
        "method": _method_values(contents),
        "data": page_data(contents),
    }


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
                "until": [wait_word(risk, curve, k) for k in range(len(risk.tolerances))],
                "waits": list(curve.waits),
            }
            for curve in risk.curves
        ],
        "threshold": risk.threshold,
        "tolerance": risk.tolerance,
        "deposit": {"days": days, **edges},
    }


def _opening_values(contents: Contents) -> dict:
    """What stands above all sections: the answer in a line, what must be heard first, the risk."""
    answer, boiler = contents.answer, contents.facts.boiler
    begun, whose = opening(answer), ", ".join(filter(None, (boiler.owner, boiler.owner_address)))
    place = [words for words in (whose, boiler.note) if words]
    return {
        "eyebrow": Sentence(f"{'; '.join(place)}; as of " if place else "As of ", answer.as_of),
        "head": Sentence(" ", begun.head),
        "alarmed": answer.status is Status.LOOK_AGAIN,
        "long_name": len(answer.boiler) > LONG_NAME,
        "warnings": begun.warnings,
        "lede": joined([*begun.rest[:2], *horizon_words(answer)]),
        "more": joined(begun.rest[2:]),
    }


def _method_values(contents: Contents) -> dict:
    """How the report was drawn, and the command that checks it."""
    answer, engine = contents.answer, contents.answer.engine
    return {
        "rows": [
            ("draws", engine.particles),
            ("seed", contents.seed),
            ("steps by which the records were let in (tempering)", engine.levels),
            ("rounds of moves (sweeps)", engine.sweeps),
            ("do the runs agree on that risk? (R-hat: 1.000 where they do)", f"{engine.r_hat:.3f}"),
            (
                "random error of the date",
                "none" if answer.mc_error_days is None else f"{answer.mc_error_days:.1f} days",
            ),
            ("rounds ended at their limit", "yes" if engine.capped else "no"),
            ("points refused as no number", engine.refused),
            ("days looked ahead", counted(answer.horizon_days, "day")),
        ],
        "command": f"scalemodel check {quote(answer.boiler)}",
    }
