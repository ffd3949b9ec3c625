"""The tables of the decisions for people: titles, and rows of text or dates, for any page or terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from scalemodel.decision.horizon import LONGEST_INTERVAL_DAYS
from scalemodel.decision.inspection_value import latest_of_equals
from scalemodel.wording import counted, figure, percent
from scalemodel.words.advice import act_words, amount

if TYPE_CHECKING:
    from scalemodel.decision.cost import AgePoint
    from scalemodel.decision.inspection_value import NextInspection
    from scalemodel.decision.water_plan import WaterOption
    from scalemodel.decision.water_sheet import WaterSheet

LOOK_TITLES = ("site", "method", "date", "saves", "+/-", "costs", "left over")
FINDING_TITLES = ("grade", "chance", "then")
AGE_TITLES = ("every", "passes first", "descales", "strip-downs", "cost a year", "eight in ten")
WATER_TITLES = (
    "water",
    "days between",
    "eight in ten",
    "litres between",
    "cartridges a year",
    "cost a year",
    "(8 in 10)",
)
SHORT_WATER_TITLES = ("water", "days between", "eight in ten", "cost a year")
OVER_LONGEST = f"over {LONGEST_INTERVAL_DAYS}"
NOTHING = "-"
"""Stands for what means nothing in a row."""


def look_rows(answer: NextInspection) -> list[tuple]:
    """The best date of each site and method, best first."""
    rows = []
    for kind in dict.fromkeys((option.site, option.method) for option in answer.options):
        option = latest_of_equals([o for o in answer.options if (o.site, o.method) == kind])
        figures = (amount(x, answer) for x in (option.value, option.mc_error, option.cost, option.net))
        rows.append((option.site, option.method, option.date, *figures))
    return rows


def finding_rows(answer: NextInspection) -> list[tuple]:
    """What the best look may show, and what to do then."""
    return [(f.grade, f"{f.probability:.1%}", act_words(f, answer)) for f in answer.findings]


def age_words(days: int) -> str:
    """An age; in years where no boiler lasts so long.

    >>> age_words(1), age_words(219150)
    ('1 day', 'over 20 years')
    """
    return f"over {LONGEST_INTERVAL_DAYS // 365} years" if days > LONGEST_INTERVAL_DAYS else counted(days, "day")


def age_row(point: AgePoint) -> tuple[str, ...]:
    """One age; descales and strip-downs are a year's."""
    return (
        age_words(point.age_days),
        percent(point.passed),
        f"{point.descales:.2f}",
        f"{point.strip_downs:.2f}",
        f"{point.cost_a_year:.2f}",
        f"{point.p10:.2f} to {point.p90:.2f}",
    )


def _stretch(low: float, high: float) -> str:
    """A range of intervals [days], which end at twenty years.

    >>> _stretch(383.2, 2339.0), _stretch(383.2, 7300.0), _stretch(7299.9, 7300.0)
    ('383 to 2339', '383 to over 7300', 'over 7300')
    """
    first, last = (OVER_LONGEST if days > LONGEST_INTERVAL_DAYS - 1 else f"{days:.0f}" for days in (low, high))
    return first if first == last == OVER_LONGEST else f"{first} to {last}"


def water_row(option: WaterOption) -> tuple[str, ...]:
    """One water."""
    draws, cost = option.interval_draws_days, option.cost_draws_a_year
    return (
        option.water + (" (now)" if option.now else ""),
        OVER_LONGEST if option.interval_days is None else str(option.interval_days),
        _stretch(draws.p10, draws.p90),
        NOTHING if option.litres is None else figure(option.litres),
        NOTHING if option.cartridges_a_year is None else f"{option.cartridges_a_year:.1f}",
        NOTHING if cost is None else f"{option.cost_a_year:.2f}",
        NOTHING if cost is None else f"{cost.p10:.0f} to {cost.p90:.0f}",
    )


def water_table(
    options: tuple[WaterOption, ...], columns: tuple[str, ...] = WATER_TITLES
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Titles and rows of waters side by side, without the columns that mean nothing for any of them."""
    rows = [water_row(option) for option in options]
    wanted = [k for k, title in enumerate(WATER_TITLES) if title in columns]
    kept = [k for k in wanted if any(row[k] != NOTHING for row in rows)]
    return tuple(WATER_TITLES[k] for k in kept), [tuple(row[k] for k in kept) for row in rows]


SHEET_TITLES = ("water", "amount", "unit")


def water_sheet_rows(sheet: WaterSheet) -> list[tuple[str, str, str]]:
    """What is known of it, a line each."""
    index = sheet.saturation_index
    return [
        ("hardness", figure(sheet.hardness), "mg/L as CaCO3"),
        ("alkalinity", figure(sheet.alkalinity), "mg/L as CaCO3"),
        ("dissolved solids (TDS)", figure(sheet.tds_mg_l), "mg/L"),
        ("pH of the sample", f"{sheet.ph:.2f}", ""),
        ("saturation index in the boiler", "none" if index is None else f"{index:+.2f}", ""),
    ]
