"""The figure of hindsight: what was foretold of every look and what was seen, the watch for a change, and the ranks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from scalemodel.logbook.fields import parse_grade
from scalemodel.report.figure_style import INK, PAPER, SOFT, check_drawn, new_figure, pen, styled
from scalemodel.report.marks import SHAPES
from scalemodel.validation.hindsight import Hindsight
from scalemodel.words.looking_back import hindsight_headline

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from scalemodel.validation.hindsight import LookBack

FROM = "scalemodel.hindsight"
LINE, LIMIT, BAR = (PAPER[name] for name in ("line", "limit", "past"))
LINE_OF_HEAD = 108
"""A headline is broken after so many letters."""


def draw_hindsight(found: Hindsight, ax: Sequence[Axes] | None = None, legend: bool = True) -> Figure:
    """The looks above; the watch for a change and the ranks below.

    Parameters
    ----------
    found : Hindsight
    ax : three Axes, optional
        Where to draw the three; a figure of its own by default.
    legend : bool
        Whether what is drawn is named beside it.

    Returns
    -------
    matplotlib.figure.Figure
        `scalemodel.report.figure_style.save` writes it.
    """
    from textwrap import fill

    check_drawn(found, Hindsight, FROM, ax, legend, panels=3)
    with styled():
        if ax is None:
            figure = new_figure(9.5, 6.4)
            figure.suptitle(
                fill(hindsight_headline(found), LINE_OF_HEAD), x=0.01, ha="left", fontsize=10.5, fontweight="bold"
            )
            upper, lower = figure.subfigures(2, 1, height_ratios=(1.15, 1.0), hspace=0.03)
            ax = [upper.subplots(), *lower.subplots(1, 2, width_ratios=(1.3, 1.0))]
        above, left, right = ax
        looks_chart(found, above, legend)
        watch_chart(found, left, legend)
        rank_chart(found, right, legend)
    return above.figure.figure


def looks_chart(found: Hindsight, ax: Axes | None = None, legend: bool = True) -> Axes:
    """The chance of each grade as foretold, the wider the likelier, and the grade that was seen, look by look.

    Parameters
    ----------
    found : Hindsight
    ax : Axes, optional
        Where to draw; a figure of its own by default.
    legend : bool
        Whether what is drawn is named in it.
    """
    check_drawn(found, Hindsight, FROM, ax, legend)
    looks = found.looks
    with styled():
        ax = new_figure(9.0, 3.4).subplots() if ax is None else ax
        ax.set_title("Each look: what was foretold (bars: the wider the likelier) and what was seen")
        ax.set_ylabel("grade")
        ax.set_ylim(-0.6, 4.6)
        ax.set_yticks(range(5))
        ax.grid(axis="y", **pen("grid"))
        for place, one in enumerate(looks):
            widths = [0.9 * chance for chance in one.probabilities]
            lefts = [place - width / 2.0 for width in widths]
            ax.barh(range(len(widths)), widths, left=lefts, height=0.62, color=BAR, zorder=2)
        for kept, shape, colour, words in (
            (True, "circle", LINE, "seen, as foretold"),
            (False, "square", LIMIT, "seen, not as foretold (one in ten or rarer)"),
        ):
            mine = [(k, one) for k, one in enumerate(looks) if one.as_foretold is kept]
            ax.vlines([k for k, _ in mine], *_ends([one for _, one in mine]), color=colour, linewidth=1.6, zorder=3)
            ax.plot(
                [k for k, _ in mine],
                [sum(parse_grade(one.grade)) / 2.0 for _, one in mine],
                linestyle="none",
                marker=SHAPES[shape].sign,
                markersize=6.0,
                color=colour,
                zorder=4,
                label=words,
            )
        ax.set_xticks(range(len(looks)), [f"{one.date}\n{one.site}" for one in looks], rotation=60, fontsize=6.5)
        ax.set_xlim(-0.8, max(len(looks), 4) - 0.2)
        if legend:
            ax.legend(loc="upper left", ncols=2)
    return ax


def _ends(looks: list[LookBack]) -> tuple[list[int], list[int]]:
    spans = [parse_grade(one.grade) for one in looks]
    return [low for low, _ in spans], [high for _, high in spans]


def watch_chart(found: Hindsight, ax: Axes | None = None, legend: bool = True) -> Axes:
    """The evidence for a change after each look, and where it is an alarm.

    Parameters
    ----------
    found : Hindsight
    ax : Axes, optional
        Where to draw; a figure of its own by default.
    legend : bool
        Whether what is drawn is named in it.
    """
    from scalemodel.decision.sequential import RATE

    check_drawn(found, Hindsight, FROM, ax, legend)
    with styled():
        ax = new_figure(5.0, 3.0).subplots() if ax is None else ax
        ax.set_title("Has something changed? Evidence after each look")
        ax.set_yscale("log")
        ax.set_ylim(min([0.05, *found.evidence]) / 1.5, max([3.0 / RATE, *found.evidence]) * 1.5)
        ax.axhline(1.0 / RATE, label=f"alarm: {RATE:.0%} of sound boilers ever get here", **pen("limit"))
        ax.axhline(1.0, color=SOFT, linewidth=0.8, linestyle=(0, (4, 2)))
        count = len(found.evidence)
        ax.plot(
            range(1, count + 1), found.evidence, color=LINE, linewidth=1.8, marker=SHAPES["circle"].sign, markersize=4
        )
        ax.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        ax.yaxis.minorticks_off()
        ax.set_xlim(0.5, max(count, 4) + 0.5)
        ax.set_xticks(range(1, count + 1, 1 + count // 12))
        ax.set_xlabel("looks")
        ax.spines["right"].set_visible(False)
        if legend:
            ax.legend(loc="upper left", bbox_to_anchor=(0.0, 0.86))
    return ax


def rank_chart(found: Hindsight, ax: Axes | None = None, legend: bool = True) -> Axes:
    """The share of looks up to each rank among what was foretold, with the band of right forecasts.

    Parameters
    ----------
    found : Hindsight
    ax : Axes, optional
        Where to draw; a figure of its own by default.
    legend : bool
        Whether what is drawn is named in it.
    """
    check_drawn(found, Hindsight, FROM, ax, legend)
    pit = found.pit
    with styled():
        ax = new_figure(3.6, 3.0).subplots() if ax is None else ax
        ax.set_title("Ranks of what was seen")
        ax.set_xlabel("rank among what was foretold")
        ax.set_ylabel("share of looks")
        ax.set_xlim(0.0, 1.0)
        ax.set_ylim(0.0, 1.0)
        ax.spines["right"].set_visible(False)
        ax.plot([0, 1], [0, 1], color=SOFT, linestyle=(0, (4, 2)), linewidth=1.0)
        if pit is not None:
            edges = [0.0, 1.0]
            below, above = ([e + sign * pit.band for e in edges] for sign in (-1.0, 1.0))
            ax.fill_between(edges, below, above, color=INK, alpha=0.1, linewidth=0, label="95 of 100 runs if right")
            ordered = sorted(pit.values)
            shares = [k / len(ordered) for k in range(len(ordered) + 1)]
            ax.stairs(shares, [0.0, *ordered, 1.0], baseline=None, color=LINE if pit.inside else LIMIT, linewidth=1.8)
            if legend:
                ax.legend(loc="lower right")
    return ax
