"""The two pictures of a report, as SVG: the risk by date, and the deposit with the looks on it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, NamedTuple

from scalemodel.decision.deposit_by_date import graded_range
from scalemodel.decision.status import Status
from scalemodel.model.grading import grading_of
from scalemodel.model.priors import GRADE_WORDS
from scalemodel.report.marks import METHOD_SHAPES, THICKNESS_SHAPE
from scalemodel.report.scales import RISK_TICKS, DepositScale, date_ticks, side_by_side
from scalemodel.report.svg import Panel, drawing, element, mark, path_of, place
from scalemodel.report.waits import no_date_words, wait_sentence, wait_word
from scalemodel.wording import figure, percent
from scalemodel.words.account import grade_words

if TYPE_CHECKING:
    from markupsafe import Markup

    from scalemodel.decision.deposit_by_date import DepositBand
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

DATE_BREADTH = 100.0
"""A date written out at the left edge, and half of the next, take so much."""

LETTER = 8.0
"""No letter is broader on the average, for words that stand side by side."""


def risk_chart(contents: Contents, sheet: Sheet) -> Markup:
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
        f"{end}; a level line at the {percent(answer.tolerance)} that you accept. {wait_sentence(table)}"
    )


def _answer(panel: Panel, contents: Contents, until: date | None) -> list[Markup]:
    """What may be waited for as a tinted ground, and the tolerance; the last safe date, if there is one, as a line.

    A diamond stands where they meet. The page's script moves all of it, by the same rules.
    """
    table, tolerance = contents.risk, contents.answer.tolerance
    word = wait_word(table, table.own, table.tolerance)
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
            f"you accept {percent(tolerance)}",
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
            words.get(word, f"wait until {word}"),
            x=min(x, panel.end) + (6 if left else -6),
            y=panel.top - 8,
            class_="answer-word" + ("" if left else " end"),
        ),
    ]


def _hair(panel: Panel) -> Markup:
    """Where one points, moved by the page's script."""
    return element("line", x1=0, x2=0, y1=panel.top, y2=panel.floor, class_="hair", display="none")


def _level(panel: Panel, y: float, words: str) -> Markup:
    return element("line", x1=panel.left, x2=panel.end, y1=y, y2=y, class_="grid") + element(
        "text", words, x=panel.left - 6, y=y + 4, class_="tick end"
    )


def _dates(panel: Panel, most: int, marked: date | None = None) -> list[Markup]:
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
        parts.append(element("text", words, x=x, y=panel.floor + 17, class_=side))
    return parts


def deposit_chart(contents: Contents, sheet: Sheet) -> Markup:
    """Deposit by date: grades as bands, the draws' middle, looks and descales, the threshold, the last safe date."""
    table, answer, facts = contents.risk, contents.answer, contents.facts
    past, future = contents.past, contents.future
    last = table.as_of + timedelta(days=table.days[-1])
    panel = Panel(sheet.width, sheet.deposit_height, 38.0, sheet.margin, 24.0, 24.0, past.dates[0], last)
    thresholds = (curve.threshold.mg_cm2 for curve in table.curves)
    scale = DepositScale.for_drawing(past.p90.max(), future.p90.max(), *thresholds, grading=grading_of(facts.beliefs))
    until = table.until(table.own, table.tolerance)
    limit = panel.y(scale.share(contents.threshold.mg_cm2))
    parts = [
        *_grades(panel, scale, sheet),
        *_dates(panel, sheet.ticks),
        _band(panel, scale, past, "past"),
        _band(panel, scale, future, "ahead"),
        element("line", x1=panel.left, x2=panel.end, y1=limit, y2=limit, class_="limit"),
        element("text", "threshold", x=panel.end - 4, y=limit - 5, class_="limit-word end"),
        *_descales(panel, contents),
        *_looks(panel, scale, contents),
        _today(panel, sheet, scale, facts.as_of),
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
        data_levels=" ".join(place(panel.y(scale.share(curve.threshold.mg_cm2))) for curve in table.curves),
    )


def _deposit_description(contents: Contents) -> str:
    past, future, facts = contents.past, contents.future, contents.facts
    return (
        f"The middle eight tenths of the deposit from {past.dates[0]}: about {figure(float(past.p50[-1]), 2)} mg/cm2 "
        f"on {facts.as_of}, and about {figure(float(future.p50[-1]), 2)} mg/cm2 by {future.dates[-1]} if nothing is "
        f"done; threshold {figure(contents.threshold.mg_cm2)} mg/cm2. Looks on record: {len(facts.inspections)}; "
        f"descales: {len(facts.descales)}."
    )


def _grades(panel: Panel, scale: DepositScale, sheet: Sheet) -> list[Markup]:
    """A band a grade with its number, and on a broad page its words and the thickness at its edge."""
    parts = []
    for grade, (low, high) in enumerate(scale.grades):
        top, bottom = panel.y(scale.share(high)), panel.y(scale.share(low))
        parts.append(
            element(
                "rect", x=panel.left, y=top, width=panel.end - panel.left, height=bottom - top, class_=f"grade g{grade}"
            )
        )
        parts.append(element("text", figure(low), x=panel.left - 6, y=bottom + 4, class_="tick end"))
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
                    line,
                    x=panel.end + 8,
                    y=middle + 4 + 13 * (k - (len(lines) - 1) / 2),
                    class_="tick" if k else "tick strong",
                )
            )
    above = [_level(panel, panel.y(scale.share(tick)), figure(tick)) for tick in scale.ticks[len(scale.grades) :]]
    return [*parts, *above, element("text", _unit(sheet, scale), x=2, y=panel.top - 10, class_="tick")]


def _unit(sheet: Sheet, scale: DepositScale) -> str:
    """The unit of the deposit, above its scale."""
    return "mg/cm2" + ("" if sheet.name == NARROW.name else f" (1 is {scale.grading.thickness(1.0):.3g} um)")


def _two_lines(words: str) -> list[str]:
    head, comma, tail = words.partition(", ")
    return [head + comma.strip(), tail] if tail else [head]


def _band(panel: Panel, scale: DepositScale, band: DepositBand, kind: str) -> Markup:
    places = [panel.x(day) for day in band.dates]
    low, mid, high = (
        [(x, panel.y(scale.share(float(v)))) for x, v in zip(places, edge, strict=True)]
        for edge in (band.p10, band.p50, band.p90)
    )
    area = element("path", d=path_of([*high, *reversed(low)], closed=True), class_=f"band {kind}")
    return area + element("path", d=path_of(mid), class_=f"middle {kind}")


def _today(panel: Panel, sheet: Sheet, scale: DepositScale, as_of: date) -> Markup:
    """A line across all heights at as_of; its words end above it, or begin after the unit where that is in the way."""
    x, words = panel.x(as_of), f"as of {as_of}"
    free = 2 + LETTER * (len(_unit(sheet, scale)) + 1)
    end = x + 3 - LETTER * len(words) > free
    return element("line", x1=x, x2=x, y1=panel.top, y2=panel.floor, class_="today") + element(
        "text",
        words,
        x=x + 3 if end else max(x, free),
        y=panel.top - 8,
        class_="today-word" + (" end" if end else ""),
    )


def _until(panel: Panel, as_of: date, until: date | None) -> Markup:
    x = panel.x(as_of if until is None else until)
    shown = None if until is not None and x <= panel.end else "none"
    return element("line", x1=x, x2=x, y1=panel.top, y2=panel.floor, class_="answer", display=shown)


def _descales(panel: Panel, contents: Contents) -> list[Markup]:
    return [
        element(
            "g",
            element("title", f"{d.date}: {d.scope} descale"),
            element("line", x1=panel.x(d.date), x2=panel.x(d.date), y1=panel.top, y2=panel.floor, class_="descale"),
        )
        for d in contents.facts.descales
        if d.date >= panel.first
    ]


def _looks(panel: Panel, scale: DepositScale, contents: Contents) -> list[Markup]:
    """Each look as the range its grades cover: filled at the site asked about, hollow elsewhere, shaped by method."""
    site = contents.answer.site
    return [
        _look(panel, scale, look, panel.x(look.date) + beside, "here" if look.site == site else "there")
        for look, beside in side_by_side(contents.facts.inspections, panel.first)
    ]


def look_words(look: Inspection) -> str:
    """A look in a line, without its day."""
    thick = "" if look.thickness_um is None else f", {look.thickness_um:g} um thick"
    after = ", after the descale" if look.after_descale else ""
    return f"{look.site}, by {look.method}{after}: {grade_words(look)}{thick}"


def _look(panel: Panel, scale: DepositScale, look: Inspection, x: float, where: str) -> Markup:
    low, high = (scale.share(edge) for edge in graded_range(look, scale.grading))
    parts = [
        element("title", f"{look.date}, {look_words(look)}"),
        element("line", x1=x, x2=x, y1=panel.y(low), y2=panel.y(high), class_="reach"),
        mark(METHOD_SHAPES[look.method], x, panel.y((low + high) / 2), "mark"),
    ]
    if look.thickness_um is not None:
        y = panel.y(scale.share(scale.grading.deposit(look.thickness_um)))
        parts.append(mark(THICKNESS_SHAPE, x, y, "mark thick"))
    return element("g", *parts, class_=f"look {where}")


def deposit_key(contents: Contents) -> list[tuple[Markup, str]]:
    """What stands on the picture of the deposit: a sample of each, and its words."""
    facts, site = contents.facts, contents.answer.site
    used = dict.fromkeys((look.method, look.site == site) for look in facts.inspections)
    key = [
        (_sample(*_area("past")), "so far: median, middle 80%"),
        (_sample(*_area("ahead")), "if nothing is done"),
        (_sample(element("path", d="M0 8H24", class_="limit")), "threshold"),
        (_sample(element("path", d="M12 0V16", class_="answer")), "last safe date"),
    ]
    if facts.descales:
        key.append((_sample(element("path", d="M12 0V16", class_="descale")), "descale"))
    for method, here in sorted(used, key=lambda pair: (not pair[1], list(METHOD_SHAPES).index(pair[0]))):
        marked = _marked(METHOD_SHAPES[method], "here" if here else "there")
        key.append((_sample(marked), f"look by {method}" + ("" if here else ", at another site")))
    if any(look.thickness_um is not None for look in facts.inspections):
        key.append((_sample(_marked(THICKNESS_SHAPE, "there thick")), "thickness reading"))
    return key


def _sample(*parts: Markup) -> Markup:
    return element("svg", *parts, viewBox="0 0 24 16", width=24, height=16, aria_hidden="true")


def _area(kind: str) -> tuple[Markup, Markup]:
    return (
        element("rect", x=1, y=3, width=22, height=10, class_=f"band {kind}"),
        element("path", d="M1 8H23", class_=f"middle {kind}"),
    )


def _marked(shape: str, class_: str) -> Markup:
    return element("g", mark(shape, 12, 8, "mark"), class_=f"look {class_}")
