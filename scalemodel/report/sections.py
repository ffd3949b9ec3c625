"""What each section of a report says, as values for its template: sentences, titles, rows, pictures."""

from __future__ import annotations

from datetime import timedelta
from shlex import quote
from typing import TYPE_CHECKING

from scalemodel.decision.assumed import OfWater
from scalemodel.descaling.procedure import summary
from scalemodel.errors import WantedError
from scalemodel.model.priors import GRADE_WORDS
from scalemodel.report.charts import NARROW, WIDE, deposit_chart, deposit_key, look_words, risk_chart
from scalemodel.report.waits import no_date_words, wait_sentence, wait_word
from scalemodel.wording import Sentence, figure, percent
from scalemodel.words.account import assumptions_of, chemistry_of, evidence_of, hardness_of
from scalemodel.words.advice import (
    amount_unit,
    cost_sentences,
    deposit_words,
    next_look_words,
    residue_sentences,
    unpriced_sites,
    water_sentences,
    without_words,
)
from scalemodel.words.assumed import assumed_words
from scalemodel.words.commands import wanted_words
from scalemodel.words.looking_back import (
    LOOK_BACK_TITLES,
    SCORE_TITLES,
    date_words,
    hindsight_sentence,
    look_back_rows,
    rank_words,
    score_rows,
    score_words,
    unseen_words,
    untold_words,
    watch_note,
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
    from scalemodel.decision.cost import Cost
    from scalemodel.decision.curves import RiskTable
    from scalemodel.decision.deferral import Deferral
    from scalemodel.decision.inspection_value import NextInspection
    from scalemodel.decision.water_plan import WaterPlans
    from scalemodel.decision.water_sheet import WaterSheet
    from scalemodel.descaling.procedure import DescalePlan
    from scalemodel.report.contents import Contents

EVERY = 4
"""A chart's table gives every so manieth of its days, and the last."""

TRIED = (0.01, 0.05, 0.1, 0.2, 0.5)
"""Tolerances of the table that stands for the controls where no script runs; the stated one joins them."""


def _kept(days: int) -> list[int]:
    """The places, among so many days, of those that a table gives."""
    return [k for k in range(days) if k % EVERY == 0 or k == days - 1]


def risk_values(contents: Contents) -> dict:
    """The risk by date: pictures, controls, tables."""
    risk, answer = contents.risk, contents.answer
    return {
        "lead": f"Risk that scale at the {answer.site} has reached {answer.threshold_words}, if nothing is done.",
        "pictures": [risk_chart(contents, sheet) for sheet in (WIDE, NARROW)],
        "thresholds": [curve.threshold.words for curve in risk.curves],
        "threshold": risk.threshold,
        "tolerance": risk.tolerance,
        "last": len(risk.tolerances) - 1,
        "accepted": percent(answer.tolerance),
        "said": wait_sentence(risk),
        "rows": [
            (risk.as_of + timedelta(days=risk.days[k]), percent(risk.own.risks[k])) for k in _kept(len(risk.days))
        ],
        "tried": _tried(risk),
    }


def _tried(risk: RiskTable) -> dict:
    """How long the descale can wait, by threshold and tolerance."""
    levels = [k for k, t in enumerate(risk.tolerances) if t in TRIED or k == risk.tolerance]
    words = {status: short for status, (_, short) in no_date_words(risk.horizon_days).items()}
    waits = [(curve.threshold.words, [wait_word(risk, curve, k) for k in levels]) for curve in risk.curves]
    return {
        "titles": ("threshold", *(f"accepting {percent(risk.tolerances[k])}" for k in levels)),
        "rows": [(threshold, *(words.get(wait, wait) for wait in told)) for threshold, told in waits],
    }


def deposit_values(contents: Contents) -> dict:
    """The deposit with the looks on it: pictures, what the boiler has shown, tables."""
    answer, facts = contents.answer, contents.facts
    said = f"{deposit_words(answer.site, answer.deposit_now_mg_cm2)}; threshold {answer.threshold_mg_cm2:g}."
    return {
        "pictures": [deposit_chart(contents, sheet) for sheet in (WIDE, NARROW)],
        "key": deposit_key(contents),
        "grades": "; ".join(f"{grade} {words}" for grade, words in enumerate(GRADE_WORDS)),
        "shown": [*evidence_of(answer.basis.facts), said, *residue_sentences(answer)],
        "caption": f"Deposit at the {answer.site} by date, mg/cm2: middle eight tenths and median of the draws",
        "rows": [
            (band.dates[k], kind, *(figure(float(edge[k]), 2) for edge in (band.p10, band.p50, band.p90)))
            for band, kind in ((contents.past, "so far"), (contents.future, "ahead"))
            for k in _kept(len(band.dates))
        ],
        "looks": [(look.date, look_words(look), look.inspector, look.note) for look in facts.inspections],
    }


def look_values(contents: Contents) -> dict:
    """The next look, what it may show, and the others that were weighed."""
    looks, missing = contents.looks, unpriced_sites(contents.facts)
    return {
        "next": next_look_words(quote(contents.answer.boiler), looks)[0],
        "found": {"titles": FINDING_TITLES, "rows": finding_rows(looks)} if looks.findings else None,
        "without": [without_words(looks), *([missing] if missing else [])],
        "weighed": _weighed(looks) if looks.options and not looks.alarms else None,
    }


def _weighed(looks: NextInspection) -> dict:
    return {
        "caption": f"Best date of each look, in {amount_unit(looks)}",
        "titles": LOOK_TITLES,
        "rows": look_rows(looks),
        "assumptions": assumed_words(looks.assumptions),
    }


def seen_values(contents: Contents) -> dict:
    """Whether the looks were as foretold, and what of it stands in tables."""
    found, command = contents.seen, f"scalemodel hindsight {quote(contents.answer.boiler)}"
    if found is None:
        looks = len(contents.facts.inspections)
        return {"said": [Sentence(f"{unseen_words(looks)} ({command}).").begun()], "looks": None}
    return {
        "said": [
            Sentence(hindsight_sentence(found)).begun(),
            *(said for said in (score_words(found), date_words(found), untold_words(found)) if said),
        ],
        "looks": look_back_rows(found.looks),
        "titles": LOOK_BACK_TITLES,
        "score": {"titles": SCORE_TITLES, "rows": score_rows(found)},
        "notes": [said for said in (rank_words(found), watch_note()) if said],
    }


def water_values(sheet: WaterSheet, plans: WaterPlans) -> dict:
    """What the water can drop, and the waters of the logbook side by side."""
    short, whole = water_table(plans.options, SHORT_WATER_TITLES), water_table(plans.options)
    return {
        "name": sheet.water,
        "said": water_sentences(sheet),
        "notes": [f"Mind: {note}." for note in sheet.notes],
        "sheet": {"titles": SHEET_TITLES, "rows": water_sheet_rows(sheet)},
        "caption": f"Waters of the logbook, each descaled at a risk of {percent(plans.tolerance)}",
        "waters": {"titles": short[0], "rows": short[1]},
        "whole": {"titles": whole[0], "rows": whole[1]},
        "assumptions": (*assumed_words(plans.assumptions), *_said_of(sheet, plans)),
    }


def _said_of(sheet: WaterSheet, plans: WaterPlans) -> list[str]:
    """What was assumed of the water alone, without what is said of it among the others."""
    named = {one.text for one in plans.assumptions if isinstance(one, OfWater) and one.water == sheet.water}
    return [said for said in sheet.assumptions if said not in named]


def cost_values(cost: Cost | WantedError) -> dict:
    """The age that costs least, or which prices to record."""
    if isinstance(cost, WantedError):
        return {"said": [Sentence(wanted_words(cost), ".").begun()], "ages": None}
    return {
        "said": [Sentence(sentence).begun() for sentence in cost_sentences(cost)],
        "ages": {
            "titles": AGE_TITLES,
            "rows": [age_row(point) for point in cost.curve],
            "assumptions": assumed_words(cost.assumptions),
        },
    }


def plan_values(plan: DescalePlan) -> dict:
    """What a descale takes, what to beware of, and every step."""
    return {
        "summary": summary(plan),
        "command": f"scalemodel descale-plan {quote(plan.boiler)}",
        "cautions": plan.cautions,
        "steps": plan.steps,
    }


def assumed_values(answer: Deferral) -> dict:
    """What was assumed; of the waters in a line, and how that came about."""
    basis = answer.basis
    return {"said": (*assumptions_of(basis), hardness_of(basis)), "chemistry": chemistry_of(basis)}
