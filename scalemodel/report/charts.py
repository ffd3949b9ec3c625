"""The two pictures of a report, as SVG: the risk by date, and the deposit with the looks on it."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from math import log10
from typing import TYPE_CHECKING, NamedTuple

from scalemodel.decision.band import graded_range
from scalemodel.decision.status import Status
from scalemodel.model.priors import CUT_POINTS_MG_CM2, GRADE_WORDS, deposit_to_thickness, thickness_to_deposit
from scalemodel.report.figures import LINEAR_BELOW_MG_CM2, LINEAR_HEIGHT
from scalemodel.report.svg import Panel, date_ticks, drawing, element, mark, path_of, place, text_of
from scalemodel.wording import counted, figure, percent
from scalemodel.words.account import grade_words

if TYPE_CHECKING:
    from scalemodel.decision.band import DepositBand
    from scalemodel.decision.curves import RiskCurve
    from scalemodel.logbook.records import Inspection
    from scalemodel.report.contents import Contents


class Sheet(NamedTuple):
    """A size of picture: for a page as broad as a hand is long, or for a phone."""

    name: str
    width: float
    risk_height: float
    deposit_height: float
    margin: float
    ticks: int


WIDE = Sheet("wide", 720.0, 300.0, 380.0, 128.0, 7)
NARROW = Sheet("narrow", 348.0, 270.0, 330.0, 16.0, 4)

SHAPES = {"eye": "circle", "mirror": "square", "camera": "triangle", "glance": "diamond"}
"""The marker of each method of looking."""

RISK_TICKS = (0.0, 0.25, 0.5, 0.75, 1.0)

TOP_MG_CM2 = 60.0
"""The deposit's scale reaches this far, or further where something drawn does."""

DATE_BREADTH = 100.0
"""A date written out at the left edge, and half of the next, take so much."""

LETTER = 8.0
"""No letter is broader on the average, for words that stand side by side."""

SIDE_STEP = 7.0
"""Looks of one day stand so far apart."""


def risk_chart(contents: Contents, sheet: Sheet) -> str:
    """Risk by date from as_of on, with the tolerance and the last safe date."""
    table, answer = contents.risk, contents.answer
    last = table.as_of + timedelta(days=table.days[-1])
    panel = Panel(sheet.width, sheet.risk_height, 38.0, 14.0, 24.0, 24.0, table.as_of, last)
    shown = [panel.left + day * panel.per_day for day in table.days]
    points = [(x, panel.y(risk)) for x, risk in zip(shown, table.own.risks, strict=True)]
    until = table.until(table.own, table.tolerance)
    within, *answered = _answer(panel, contents, until)
    parts = [
        within,
        *(_level(panel, panel.y(tick), f"{tick:.0%}") for tick in RISK_TICKS),
        *_dates(panel, sheet.ticks, table.as_of),
        element("path", d=path_of(points), class_="risk line"),
        *answered,
        _hair(panel),
    ]
    return drawing(
        panel,
        f"risk-{sheet.name}",
        f"Risk by date that scale at the {answer.site} has reached {answer.threshold_words}",
        _risk_description(contents),
        parts,
        class_=f"chart {sheet.name}",
        data_chart="risk",
        data_x=panel.left,
        data_per_day=f"{panel.per_day:.8f}",
        data_floor=panel.floor,
        data_tall=panel.tall,
        data_end=panel.end,
    )


def _risk_description(contents: Contents) -> str:
    table, answer = contents.risk, contents.answer
    end = table.as_of + timedelta(days=table.days[-1])
    return (
        f"A rising curve from {percent(table.own.risks[0])} on {table.as_of} to {percent(table.own.risks[-1])} on "
        f"{end}; a level line at the {percent(answer.tolerance)} that you accept. {wait_sentence(contents)}"
    )


def wait_word(contents: Contents, curve: RiskCurve, tolerance: int) -> str:
    """The last safe date at a tolerance of the table, or the status that stands in its place."""
    until = contents.risk.until(curve, tolerance)
    return str(curve.statuses[tolerance]) if until is None else until.isoformat()


NO_DATE = {
    Status.LOOK_AGAIN: ("Look again now, do not defer.", "look again now"),
    Status.PAST: ("Do not defer: the risk is above that already.", "already more than you accept"),
}
"""What stands in the place of a date: as a sentence, and on a picture. The page's script is given both."""


def no_date_words(horizon_days: int) -> dict[str, tuple[str, str]]:
    """`NO_DATE` with what is said where no descale is due within so many days."""
    horizon = counted(horizon_days, "day")
    return {**NO_DATE, Status.BEYOND: (f"No descale is due within {horizon}.", f"not within {horizon}")}


def wait_sentence(contents: Contents) -> str:
    """What the page says of the date before anything is moved; its script words it alike."""
    table = contents.risk
    word = wait_word(contents, table.own, table.tolerance)
    instead = no_date_words(table.horizon_days).get(word)
    if instead is not None:
        return instead[0]
    return f"The descale can wait until {word} ({counted(table.own.waits[table.tolerance], 'day')})."


def _answer(panel: Panel, contents: Contents, until: date | None) -> list[str]:
    """What may be waited for as a tinted ground, and the tolerance; the last safe date, if there is one, as a line.

    A diamond stands where they meet. The page's script moves all of it, by the same rules.
    """
    table, tolerance = contents.risk, contents.answer.tolerance
    word = wait_word(contents, table.own, table.tolerance)
    x, level = panel.left if until is None else panel.x(until), panel.y(tolerance)
    shown = None if until is not None and x <= panel.end else "none"
    middle = (panel.left + panel.end) / 2
    breadth = (panel.end if word == Status.BEYOND else min(x, panel.end)) - panel.left
    words = {status: short for status, (_, short) in no_date_words(table.horizon_days).items()}
    left, aside = x <= middle, panel.left + 4 if x > middle else panel.end - 4
    return [
        element("rect", x=panel.left, y=panel.top, width=breadth, height=panel.tall, class_="within"),
        element("line", x1=panel.left, x2=panel.end, y1=level, y2=level, class_="limit"),
        element(
            "text",
            text_of(f"you accept {percent(tolerance)}"),
            x=aside,
            y=level - 5,
            class_="limit-word" + (" end" if left else ""),
        ),
        element("line", x1=x, x2=x, y1=panel.top, y2=panel.floor, class_="answer", display=shown),
        element(
            "path",
            d="M0 -5.6L5.6 0L0 5.6L-5.6 0Z",
            transform=f"translate({place(x)} {place(level)})",
            class_="answer-mark",
            display=shown,
        ),
        element(
            "text",
            text_of(words.get(word, f"wait until {word}")),
            x=min(x, panel.end) + (6 if left else -6),
            y=panel.top - 8,
            class_="answer-word" + ("" if left else " end"),
        ),
    ]


def _hair(panel: Panel) -> str:
    """Where one points, moved by the page's script."""
    return element("line", x1=0, x2=0, y1=panel.top, y2=panel.floor, class_="hair", display="none")


def _level(panel: Panel, y: float, words: str) -> str:
    return element("line", x1=panel.left, x2=panel.end, y1=y, y2=y, class_="grid") + element(
        "text", text_of(words), x=panel.left - 6, y=y + 4, class_="tick end"
    )


def _dates(panel: Panel, most: int, marked: date | None = None) -> list[str]:
    """The axis of dates: round ones, and one that is always written out, before those that it would touch."""
    parts = [element("line", x1=panel.left, x2=panel.end, y1=panel.floor, y2=panel.floor, class_="axis")]
    ticks = date_ticks(panel.first, panel.last, most)
    if marked is not None:
        apart = panel.x(marked) + DATE_BREADTH
        ticks = [(marked, str(marked)), *(tick for tick in ticks if panel.x(tick[0]) > apart)]
    for day, words in ticks:
        x = panel.x(day)
        side = "tick" if x < panel.left + 12 else "tick end" if x > panel.end - 12 else "tick middle"
        parts.append(element("line", x1=x, x2=x, y1=panel.floor, y2=panel.floor + 4, class_="axis"))
        parts.append(element("text", text_of(words), x=x, y=panel.floor + 17, class_=side))
    return parts


class Depth:
    """Heights of deposits: linear up to the first cut point, logarithmic above."""

    def __init__(self, top_mg_cm2: float) -> None:
        self.top = top_mg_cm2
        self.whole = LINEAR_HEIGHT + log10(top_mg_cm2 / LINEAR_BELOW_MG_CM2)

    def share(self, mg_cm2: float) -> float:
        """Height of a deposit as a share, 0 to 1.

        >>> Depth(60.0).share(0.0), round(Depth(60.0).share(60.0), 12)
        (0.0, 1.0)
        """
        if mg_cm2 <= LINEAR_BELOW_MG_CM2:
            return LINEAR_HEIGHT * max(0.0, mg_cm2) / LINEAR_BELOW_MG_CM2 / self.whole
        return (LINEAR_HEIGHT + log10(min(mg_cm2, self.top) / LINEAR_BELOW_MG_CM2)) / self.whole


def deposit_chart(contents: Contents, sheet: Sheet) -> str:
    """Deposit by date: grades as bands, the draws' middle, looks and descales, the threshold, the last safe date."""
    table, answer, facts = contents.risk, contents.answer, contents.facts
    past, future = contents.past, contents.future
    last = table.as_of + timedelta(days=table.days[-1])
    panel = Panel(sheet.width, sheet.deposit_height, 38.0, sheet.margin, 24.0, 24.0, past.dates[0], last)
    highest = max(past.p90.max(), future.p90.max(), *(curve.threshold.mg_cm2 for curve in table.curves))
    depth = Depth(max(TOP_MG_CM2, 1.5 * float(highest)))
    until = table.until(table.own, table.tolerance)
    limit = panel.y(depth.share(contents.threshold.mg_cm2))
    parts = [
        *_grades(panel, depth, sheet),
        *_dates(panel, sheet.ticks),
        _band(panel, depth, past, "past"),
        _band(panel, depth, future, "ahead"),
        element("line", x1=panel.left, x2=panel.end, y1=limit, y2=limit, class_="limit"),
        element("text", "threshold", x=panel.end - 4, y=limit - 5, class_="limit-word end"),
        *_descales(panel, contents),
        *_looks(panel, depth, contents),
        _today(panel, sheet, facts.as_of),
        _until(panel, facts.as_of, until),
        _hair(panel),
    ]
    return drawing(
        panel,
        f"deposit-{sheet.name}",
        f"Deposit at the {answer.site} by date, with the looks on it",
        _deposit_description(contents),
        parts,
        class_=f"chart {sheet.name}",
        data_chart="deposit",
        data_x=panel.x(table.as_of),
        data_per_day=f"{panel.per_day:.8f}",
        data_left=panel.left,
        data_end=panel.end,
        data_levels=" ".join(place(panel.y(depth.share(curve.threshold.mg_cm2))) for curve in table.curves),
    )


def _deposit_description(contents: Contents) -> str:
    past, future, facts = contents.past, contents.future, contents.facts
    return (
        f"The middle eight tenths of the deposit from {past.dates[0]}: about {figure(float(past.p50[-1]), 2)} mg/cm2 "
        f"on {facts.as_of}, and about {figure(float(future.p50[-1]), 2)} mg/cm2 by {future.dates[-1]} if nothing is "
        f"done; threshold {figure(contents.threshold.mg_cm2)} mg/cm2. Looks on record: {len(facts.inspections)}; "
        f"descales: {len(facts.descales)}."
    )


def _grades(panel: Panel, depth: Depth, sheet: Sheet) -> list[str]:
    """A band a grade with its number, and on a broad page its words and the thickness at its edge."""
    parts = []
    for grade, (low, high) in enumerate(pairwise((0.0, *CUT_POINTS_MG_CM2, depth.top))):
        top, bottom = panel.y(depth.share(high)), panel.y(depth.share(low))
        parts.append(
            element(
                "rect", x=panel.left, y=top, width=panel.end - panel.left, height=bottom - top, class_=f"grade g{grade}"
            )
        )
        parts.append(element("text", text_of(figure(low)), x=panel.left - 6, y=bottom + 4, class_="tick end"))
        parts.append(element("line", x1=panel.left, x2=panel.end, y1=bottom, y2=bottom, class_="grid"))
        middle = (top + bottom) / 2
        if sheet.name == NARROW.name:
            parts.append(element("text", str(grade), x=panel.end + 5, y=middle + 4, class_="tick"))
            continue
        lines = [f"grade {grade}", *_two_lines(GRADE_WORDS[grade])]
        for k, line in enumerate(lines):
            parts.append(
                element(
                    "text",
                    text_of(line),
                    x=panel.end + 8,
                    y=middle + 4 + 13 * (k - (len(lines) - 1) / 2),
                    class_="tick" if k else "tick strong",
                )
            )
    return [*parts, element("text", text_of(_unit(sheet)), x=2, y=panel.top - 10, class_="tick")]


def _unit(sheet: Sheet) -> str:
    """The unit of the deposit, above its scale."""
    return "mg/cm2" + ("" if sheet.name == NARROW.name else f" (1 is {deposit_to_thickness(1.0):g} um)")


def _two_lines(words: str) -> list[str]:
    head, comma, tail = words.partition(", ")
    return [head + comma.strip(), tail] if tail else [head]


def _band(panel: Panel, depth: Depth, band: DepositBand, kind: str) -> str:
    places = [panel.x(day) for day in band.dates]
    low, mid, high = (
        [(x, panel.y(depth.share(float(v)))) for x, v in zip(places, edge, strict=True)]
        for edge in (band.p10, band.p50, band.p90)
    )
    area = element("path", d=path_of([*high, *reversed(low)], closed=True), class_=f"band {kind}")
    return area + element("path", d=path_of(mid), class_=f"middle {kind}")


def _today(panel: Panel, sheet: Sheet, as_of: date) -> str:
    """A line across all heights at as_of; its words end above it, or begin after the unit where that is in the way."""
    x, words = panel.x(as_of), f"as of {as_of}"
    free = 2 + LETTER * (len(_unit(sheet)) + 1)
    end = x + 3 - LETTER * len(words) > free
    return element("line", x1=x, x2=x, y1=panel.top, y2=panel.floor, class_="today") + element(
        "text",
        text_of(words),
        x=x + 3 if end else max(x, free),
        y=panel.top - 8,
        class_="today-word" + (" end" if end else ""),
    )


def _until(panel: Panel, as_of: date, until: date | None) -> str:
    x = panel.x(as_of if until is None else until)
    shown = None if until is not None and x <= panel.end else "none"
    return element("line", x1=x, x2=x, y1=panel.top, y2=panel.floor, class_="answer", display=shown)


def _descales(panel: Panel, contents: Contents) -> list[str]:
    return [
        element(
            "g",
            element("title", text_of(f"{d.date}: {d.scope} descale")),
            element("line", x1=panel.x(d.date), x2=panel.x(d.date), y1=panel.top, y2=panel.floor, class_="descale"),
        )
        for d in contents.facts.descales
        if d.date >= panel.first
    ]


def _looks(panel: Panel, depth: Depth, contents: Contents) -> list[str]:
    """Each look as the range its grades cover: filled at the site asked about, hollow elsewhere, shaped by method."""
    by_day: dict[date, list[Inspection]] = {}
    for look in sorted(contents.facts.inspections, key=lambda e: e.after_descale):
        if look.date >= panel.first:
            by_day.setdefault(look.date, []).append(look)
    parts = []
    for day, looks in by_day.items():
        for k, look in enumerate(looks):
            x = panel.x(day) + SIDE_STEP * (k - (len(looks) - 1) / 2)
            parts.append(_look(panel, depth, look, x, "here" if look.site == contents.answer.site else "there"))
    return parts


def look_words(look: Inspection) -> str:
    """A look in a line."""
    thick = "" if look.thickness_um is None else f", {look.thickness_um:g} um thick"
    after = ", after the descale" if look.after_descale else ""
    return f"{look.date}, {look.site}, by {look.method}{after}: {grade_words(look)}{thick}"


def _look(panel: Panel, depth: Depth, look: Inspection, x: float, where: str) -> str:
    low, high = (depth.share(edge) for edge in graded_range(look))
    parts = [
        element("title", text_of(look_words(look))),
        element("line", x1=x, x2=x, y1=panel.y(low), y2=panel.y(high), class_="reach"),
        mark(SHAPES[look.method], x, panel.y((low + high) / 2), "mark"),
    ]
    if look.thickness_um is not None:
        parts.append(mark("cross", x, panel.y(depth.share(thickness_to_deposit(look.thickness_um))), "mark thick"))
    return element("g", *parts, class_=f"look {where}")
