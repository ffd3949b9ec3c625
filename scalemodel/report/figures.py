"""Figures of one boiler: the deposit by date and the risk by date, readable without colour."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from textwrap import fill
from typing import TYPE_CHECKING

from scalemodel.decision.case import Case
from scalemodel.decision.deferral import defer_until
from scalemodel.decision.deposit_by_date import (
    first_shown,
    future_band,
    graded_range,
    past_band,
    risk_by_day,
    span_ahead,
)
from scalemodel.decision.status import Status
from scalemodel.model.grading import grading_of
from scalemodel.model.priors import GRADE_WORDS
from scalemodel.report.figure_style import INK, PAPER, SOFT, check_drawn, new_figure, pen, save, styled
from scalemodel.report.marks import GRADE_SHADES, METHOD_SHAPES, SHAPES, THICKNESS_SHAPE
from scalemodel.report.scales import (
    LINEAR_HEIGHT,
    RISK_TICKS,
    SIDE_STEP,
    DepositScale,
    date_ticks,
    side_by_side,
)
from scalemodel.words.answer import reason_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from scalemodel.decision.deferral import Deferral
    from scalemodel.decision.deposit_by_date import DepositBand
    from scalemodel.logbook.records import BoilerFacts, Inspection

__all__ = ["deposit_band", "draw_figure", "risk_curve", "save"]

FROM = "scalemodel.prepare"

ON_PAPER = {"facecolor": PAPER["paper"], "alpha": 0.8, "edgecolor": "none", "pad": 0.8}
"""The box behind words inside a panel."""

CROSSING_MARKS = {
    "p10": (10, "circle", "one in ten"),
    "p50": (50, "square", "even chance"),
    "p90": (90, "triangle", "nine in ten"),
}

DATE_TICKS = 8
"""At most so many dates are written at the axis."""


def draw_figure(case: Case, ax: Sequence[Axes] | None = None, legend: bool = True) -> Figure:
    """The deposit by date above the risk by date, on one axis of dates.

    Parameters
    ----------
    case : Case
    ax : two Axes, optional
        Where to draw the two; a figure of its own by default.
    legend : bool
        Whether what is drawn is named beside it.

    Returns
    -------
    matplotlib.figure.Figure
        Two panels; `save` writes it.
    """
    check_drawn(case, Case, FROM, ax, legend, panels=2)
    facts = case.facts
    with styled():
        if ax is None:
            figure = new_figure(10.5, 7.6)
            above, below = figure.subplots(2, 1, sharex=True, height_ratios=(1.4, 1.0))
            title = f"{facts.boiler.boiler}: scale at the {case.forecast.site}, as of {facts.as_of}"
            figure.suptitle(fill(title, 80), x=0.01, ha="left", fontsize=12.5, fontweight="bold")
        else:
            above, below = ax
        deposit_band(case, above, legend)
        risk_curve(case, below, legend)
        above.set_xlabel("")
    return above.figure.figure


def deposit_band(case: Case, ax: Axes | None = None, legend: bool = True) -> Axes:
    """Deposit at the site by date [mg/cm2 and um]: the band of the draws, looks, descales and the threshold.

    The band holds the middle 80 % of the draws, from the installation through ``as_of`` to a little past the
    last crossing or the horizon. A look stands as the range of deposits that its grades nominally cover:
    filled at the site asked about, hollow elsewhere, its shape by method.

    Parameters
    ----------
    case : Case
    ax : Axes, optional
        Where to draw; a figure of its own by default.
    legend : bool
        Whether what is drawn is named beside it.

    Returns
    -------
    matplotlib.axes.Axes
        The thickness in um stands on a twin of it.
    """
    check_drawn(case, Case, FROM, ax, legend)
    facts, forecast, threshold = case.facts, case.forecast, case.threshold
    ahead = span_ahead(case)
    since = first_shown(facts, ahead)
    past, future = past_band(forecast, since), future_band(forecast, ahead)
    with styled():
        ax = new_figure(10.5, 4.6).subplots() if ax is None else ax
        scale = DepositScale.for_drawing(
            past.p90.max(), future.p90.max(), threshold.mg_cm2, grading=grading_of(facts.beliefs)
        )
        _date_axis(ax, facts, ahead)
        _deposit_axis(ax, scale)
        ax.set_ylabel(f"deposit at the {fill(forecast.site, 40)}, mg/cm2")
        handles = {
            "so far: median and middle 80 %": _draw_band(ax, past, "past", "median", "so far"),
            "if nothing is done: the same": _draw_band(ax, future, "ahead", "median-ahead", "if nothing is done"),
        }
        handles[f"threshold: {threshold.words}"] = ax.axhline(
            threshold.mg_cm2, **pen("limit"), zorder=4, label="threshold"
        )
        for descale in facts.descales:
            words = "descale" if descale.scope == "full" else f"{descale.scope} descale"
            _mark_day(ax, descale.date, words, "descale")
        handles |= _draw_looks(ax, facts, forecast.site, scale, since)
        _mark_day(ax, facts.as_of, f"as of {facts.as_of}", "today", "right")  # looks crowd the left
        if legend:
            ax.legend(
                handles.values(),
                handles.keys(),
                loc="lower left",
                bbox_to_anchor=(0.0, 1.0),
                ncols=3,
                borderaxespad=0.3,
                columnspacing=1.6,
                handlelength=2.6,
            )
    return ax


def risk_curve(case: Case, ax: Axes | None = None, legend: bool = True) -> Axes:
    """Probability [%] by date that scale has passed the threshold, with the tolerance and the deferral date.

    Parameters
    ----------
    case : Case
    ax : Axes, optional
        Where to draw; a figure of its own by default.
    legend : bool
        Whether what is drawn is named beside it.

    Returns
    -------
    matplotlib.axes.Axes
    """
    check_drawn(case, Case, FROM, ax, legend)
    facts, tolerance = case.facts, case.tolerance
    answer, ahead = defer_until(case), span_ahead(case)
    dates, risks = risk_by_day(case, ahead)
    with styled():
        ax = new_figure(10.5, 3.6).subplots() if ax is None else ax
        _date_axis(ax, facts, ahead)
        ax.set_ylim(0.0, 100.0)
        ax.set_yticks(
            sorted({100.0 * tick for tick in RISK_TICKS} | {level for level, _, _ in CROSSING_MARKS.values()})
        )
        ax.set_ylabel(f"risk of scale past\n{case.mg_cm2:g} mg/cm2, %")
        ax.grid(axis="y", **pen("grid"))
        ax.plot(_numbers(dates), 100.0 * risks, **pen("risk"), zorder=3, label="risk")
        ax.axhline(
            100.0 * tolerance,
            **pen("limit"),
            zorder=2,
            label=f"tolerance {100.0 * tolerance:g} %",
        )
        _mark_day(ax, facts.as_of, f"as of {facts.as_of}", "today")
        _mark_answer(ax, answer)
        if legend:
            outside = {"loc": "upper left", "bbox_to_anchor": (1.01, 1.0), "borderaxespad": 0.0}
            ax.legend(**outside, handlelength=2.6, labelspacing=0.8)
    return ax


def _numbers(dates):
    """Dates on the axis's own scale, independent of any converter that other code registered."""
    from matplotlib.dates import date2num

    return date2num(dates)


def _date_axis(ax: Axes, facts: BoilerFacts, ahead_days: int) -> None:
    first, last = first_shown(facts, ahead_days), facts.as_of + timedelta(days=ahead_days)
    margin = 0.02 * max(1, (last - first).days)
    ax.set_xlim(_numbers(first) - margin, _numbers(last) + margin)
    days, words = zip(*date_ticks(first, last, DATE_TICKS), strict=True)
    ax.set_xticks(_numbers(days), words)
    hidden = first > facts.boiler.installed_on
    ax.set_xlabel(f"date (nothing before {first} is shown)" if hidden else "date")


def _deposit_axis(ax: Axes, scale: DepositScale) -> None:
    """Scale, grade bands with their words in the margin, and the same in um on the other side."""
    from matplotlib.ticker import NullLocator

    twin, height = ax.twinx(), (1.0 - 1.0 / 10.0) * LINEAR_HEIGHT  # a symlog axis divides by that again
    for side, factor in ((ax, 1.0), (twin, scale.grading.thickness(1.0))):
        side.set_yscale("symlog", linthresh=factor * scale.linear_below, linscale=height)
        side.set_ylim(0.0, factor * scale.top)
        side.set_yticks([factor * t for t in scale.ticks], [f"{factor * t:g}" for t in scale.ticks])
        side.yaxis.set_minor_locator(NullLocator())
    twin.set_ylabel("thickness, um")
    for grade, (low, high) in enumerate(scale.grades):
        ax.axhspan(low, high, facecolor=PAPER[GRADE_SHADES[grade]], edgecolor="none", zorder=0)
        ax.text(
            1.1,
            scale.middle(low, high),
            fill(f"{grade}: {GRADE_WORDS[grade]}", 22),
            color=SOFT,
            fontsize=8,
            va="center",
            transform=ax.get_yaxis_transform(),
        )
        ax.axhline(low, **pen("grid"), zorder=1)


def _draw_band(ax: Axes, band: DepositBand, shade: str, line: str, words: str) -> tuple:
    from matplotlib.patches import Patch

    days, edge = _numbers(band.dates), pen("edge")
    area = {"facecolor": PAPER[shade], "edgecolor": edge["color"], "linewidth": edge["linewidth"]}
    ax.fill_between(days, band.p10, band.p90, **area, zorder=2, label=f"middle 80 % {words}")
    (median,) = ax.plot(days, band.p50, **pen(line), zorder=3, label=f"median {words}")
    return Patch(**area), median


def _draw_looks(ax: Axes, facts: BoilerFacts, site: str, scale: DepositScale, since: date) -> dict:
    """Every look as a range with its method's shape; the legend's entries by their words."""
    handles = {}
    descaled = {d.date for d in facts.descales}
    alone = {day for day, count in Counter(look.date for look in facts.inspections).items() if count == 1}
    for look, right in side_by_side(facts.inspections, since):
        if look.date in descaled & alone:
            right = SIDE_STEP * (0.6 if look.after_descale else -0.6)
        marker = _draw_look(ax, look, look.site == site, right, scale)
        words = f"look, {look.method}" + ("" if look.site == site else ", at another site")
        handles.setdefault(words, marker)
        if look.thickness_um is not None:
            handles.setdefault("thickness reading", _draw_thickness(ax, look, right, scale))
    return dict(sorted(handles.items()))


def _beside(ax: Axes, points: float):
    from matplotlib.transforms import ScaledTranslation

    return ax.transData + ScaledTranslation(points / 72.0, 0.0, ax.figure.dpi_scale_trans)


def _draw_look(ax: Axes, look: Inspection, here: bool, right: float, scale: DepositScale):
    low, high = graded_range(look, scale.grading)
    high = min(high, scale.top)
    day, shape = _numbers(look.date), SHAPES[METHOD_SHAPES[look.method]].sign
    common = {"color": INK if here else SOFT, "transform": _beside(ax, right), "markersize": 6}
    ax.plot(
        [day, day], [low, high], linewidth=1.3 if here else 0.9, marker="_", zorder=5, label="range of a look", **common
    )
    (marker,) = ax.plot(
        [day],
        [scale.middle(low, high)],
        linestyle="none",
        marker=shape,
        zorder=6,
        markerfacecolor=INK if here else PAPER["paper"],
        label=f"look at the {look.site}",
        **common,
    )
    return marker


def _draw_thickness(ax: Axes, look: Inspection, right: float, scale: DepositScale):
    day, deposit = _numbers(look.date), scale.grading.deposit(look.thickness_um)
    (marker,) = ax.plot(
        [day],
        [deposit],
        linestyle="none",
        marker=SHAPES[THICKNESS_SHAPE].sign,
        markersize=7,
        markeredgewidth=2.0,
        color=INK,
        transform=_beside(ax, right),
        zorder=6,
        label="thickness reading",
    )
    return marker


def _mark_day(ax: Axes, day: date, words: str, line: str, beside: str = "left") -> None:
    """A vertical line at a day, its words written along it, down from the top."""
    place = _numbers(day)
    if place < ax.get_xlim()[0]:
        return
    ax.axvline(place, **pen(line), zorder=4, label=f"_{words}")
    ax.annotate(
        words,
        (place, 1.0),
        (-2 if beside == "left" else 3, -3),
        xycoords=ax.get_xaxis_transform(),
        textcoords="offset points",
        rotation=90,
        ha="right" if beside == "left" else "left",
        va="top",
        fontsize=8,
        color=pen(line)["color"],
        bbox=ON_PAPER,
        zorder=7,
    )


def _mark_answer(ax: Axes, answer: Deferral) -> None:
    """The deferral date or the reason why there is none, and the crossing dates; none of them with an alarm."""
    if answer.status is Status.LOOK_AGAIN:
        ax.set_title(fill(reason_of(answer), 90))
        return
    if answer.status is not Status.WITHIN:
        ax.set_title(reason_of(answer))
    else:
        left, right = ax.get_xlim()
        days = (answer.defer_until - answer.as_of).days
        _mark_day(
            ax,
            answer.defer_until,
            f"defer until {answer.defer_until}",
            "answer",
            "left" if days > 0.035 * (right - left) else "right",
        )
        ax.set_title(f"the descale can wait until {answer.defer_until} ({days} day{'s' * (days != 1)})")
    for key, (percent, shape, words) in CROSSING_MARKS.items():
        day = answer.crossing[key]
        if day is None or day == answer.as_of:
            when = "beyond the horizon" if day is None else "already"
            ax.plot([], [], linestyle="none", label=f"{words} {when}")
        else:
            ax.plot(
                [_numbers(day)],
                [percent],
                linestyle="none",
                marker=SHAPES[shape].sign,
                markersize=7,
                markerfacecolor=PAPER["paper"],
                markeredgecolor=PAPER["line"],
                markeredgewidth=1.4,
                zorder=5,
                label=f"{words} by {day}",
            )
