"""The figure of a calibration run: stated risk against what happened, coverage, and the histograms of ranks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from scalemodel.report.figure_style import INK, PAPER, SOFT, check_drawn, new_figure, pen, styled
from scalemodel.report.marks import SHAPES
from scalemodel.validation.calibration import RankHistogram
from scalemodel.validation.reliability import Calibration

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FROM = "scalemodel.validation.reliability.calibrate"
LINE, LIMIT, BAR, BAND = (PAPER[name] for name in ("line", "limit", "past", "g4"))
COLUMNS = 5
COVERAGE_SHAPES = tuple(SHAPES[name].sign for name in ("circle", "square", "triangle"))
WITHIN = 3.0
"""The coverage axis reaches so many standard errors, or further where a point does."""


def draw_calibration(result: Calibration, ax: Sequence[Axes] | None = None, legend: bool = True) -> Figure:
    """Reliability and coverage above, a histogram of ranks for every unknown below.

    Parameters
    ----------
    result : Calibration
    ax : Axes, optional
        Where to draw, two and as many as there are unknowns; a figure of its own by default.
    legend : bool
        Whether what is drawn is named below it.

    Returns
    -------
    matplotlib.figure.Figure
        `scalemodel.report.figure_style.save` writes it.
    """
    check_drawn(result, Calibration, FROM, ax, legend, panels=2 + len(getattr(result, "ranks", ())))
    with styled():
        left, right, *axes = _panels(result) if ax is None else ax
        reliability_diagram(result, left, legend)
        coverage_chart(result, right, legend)
        for one, histogram in zip(axes, result.ranks, strict=True):
            rank_chart(histogram, one, legend=False)
    return left.figure.figure


def _panels(result: Calibration) -> list[Axes]:
    """The axes of a figure of its own."""
    rows = -(-len(result.ranks) // COLUMNS)
    with styled():
        figure = new_figure(11.0, 4.7 + 1.55 * rows)
        title = f"Calibration on {result.replications} invented boilers, seed {result.seed}"
        figure.suptitle(title, x=0.01, ha="left", fontsize=12.5, fontweight="bold")
        above, below = figure.subfigures(2, 1, height_ratios=(4.2, 1.55 * rows + 0.5), hspace=0.03)
        left, right = above.subplots(1, 2, width_ratios=(1.0, 1.15))
        words = (
            "Rank of the truth among the draws, low to high; all bars of a flat histogram "
            "stay in the band in 95 of 100 runs"
        )
        below.suptitle(words, x=0.01, ha="left", fontsize=9.5, fontweight="bold")
        axes = below.subplots(rows, COLUMNS, squeeze=False).ravel()
        for ax in axes[len(result.ranks) :]:
            ax.set_axis_off()
    return [left, right, *axes[: len(result.ranks)]]


def reliability_diagram(result: Calibration, ax: Axes | None = None, legend: bool = True) -> Axes:
    """Share that came true [%] by stated risk [%], with the range in which it lies in 95 of 100 runs if all is right.

    Parameters
    ----------
    result : Calibration
    ax : Axes, optional
        Where to draw; a figure of its own by default.
    legend : bool
        Whether what is drawn is named below it.

    Returns
    -------
    matplotlib.axes.Axes
    """
    check_drawn(result, Calibration, FROM, ax, legend)
    reliability = result.reliability
    with styled():
        ax = new_figure(5.2, 4.4).subplots() if ax is None else ax
        ax.set_title("Did stated risks come true? (numbers: forecasts)")
        ax.set_xlabel("stated risk of scale past the threshold, %")
        ax.set_ylabel("came true, %")
        ax.set_xlim(-4.0, 104.0)
        ax.set_ylim(-4.0, 104.0)
        ax.grid(**pen("grid"))
        ax.plot(
            [0, 100], [0, 100], color=SOFT, linestyle=(0, (4, 2)), linewidth=1.0, zorder=2, label="stated = happened"
        )
        stated = [100.0 * b.stated for b in reliability.bins]
        ax.vlines(
            stated,
            [100.0 * b.expected[0] for b in reliability.bins],
            [100.0 * b.expected[1] for b in reliability.bins],
            color=BAR,
            linewidth=5.0,
            zorder=3,
            label="95 of 100 runs if right",
        )
        ax.plot(
            stated,
            [100.0 * b.happened for b in reliability.bins],
            linestyle="none",
            marker=SHAPES["circle"].sign,
            markersize=5.5,
            color=LINE,
            zorder=4,
            label="this run",
        )
        for b in reliability.bins:
            upper = b.stated < 0.5
            ax.annotate(
                str(b.forecasts),
                (100.0 * b.stated, 100.0 * (b.expected[1] if upper else b.expected[0])),
                (0, 4 if upper else -4),
                textcoords="offset points",
                ha="center",
                va="bottom" if upper else "top",
                fontsize=7,
                color=SOFT,
            )
        if legend:
            _legend_below(ax)
    return ax


def coverage_chart(result: Calibration, ax: Axes | None = None, legend: bool = True) -> Axes:
    """How often central intervals held the truth, less how often they should, in standard errors, by unknown.

    Parameters
    ----------
    result : Calibration
    ax : Axes, optional
        Where to draw; a figure of its own by default.
    legend : bool
        Whether what is drawn is named below it.

    Returns
    -------
    matplotlib.axes.Axes
    """
    check_drawn(result, Calibration, FROM, ax, legend)
    ranks = result.ranks
    with styled():
        ax = new_figure(6.0, 4.4).subplots() if ax is None else ax
        ax.set_title("Did intervals hold the truth?")
        ax.set_xlabel("more often than stated by, standard errors")
        places = range(len(ranks))
        ax.set_yticks(list(places), [h.words for h in ranks])
        ax.set_ylim(len(ranks) - 0.4, -0.6)
        reach = max([WITHIN, *(abs(c.z) for h in ranks for c in h.coverage)]) * 1.08
        ax.set_xlim(-reach, reach)
        ax.axvspan(-2.0, 2.0, color=BAND, zorder=0)
        ax.axvline(0.0, color=SOFT, linestyle=(0, (4, 2)), linewidth=1.0, zorder=1)
        ax.grid(axis="y", **pen("grid"))
        for k, shape in enumerate(COVERAGE_SHAPES):
            ax.plot(
                [h.coverage[k].z for h in ranks],
                [p + 0.22 * (k - 1) for p in places],
                linestyle="none",
                marker=shape,
                markersize=5.0,
                markerfacecolor=(LINE, BAR, PAPER["paper"])[k],
                markeredgecolor=LINE,
                zorder=3,
                label=f"{100 * ranks[0].coverage[k].level:.0f} % interval",
            )
        if legend:
            _legend_below(ax)
    return ax


def _legend_below(ax: Axes) -> None:
    ax.legend(
        loc="upper left",
        bbox_to_anchor=(-0.02, -0.15),
        ncols=4,
        borderaxespad=0.0,
        columnspacing=1.0,
        handletextpad=0.4,
    )


def rank_chart(histogram: RankHistogram, ax: Axes | None = None, legend: bool = True) -> Axes:
    """One histogram of ranks, with the band that all bars of a flat one keep to; in red where it is off.

    Parameters
    ----------
    histogram : RankHistogram
    ax : Axes, optional
        Where to draw; a figure of its own by default.
    legend : bool
        Whether what is drawn is named below it.

    Returns
    -------
    matplotlib.axes.Axes
    """
    from matplotlib.ticker import MaxNLocator

    check_drawn(histogram, RankHistogram, f"the ranks of {FROM}", ax, legend)
    low, high = histogram.band
    bins = len(histogram.counts)
    with styled():
        ax = new_figure(3.0, 2.2).subplots() if ax is None else ax
        off = "OFF: " if histogram.faults else ""
        ax.set_title(
            off + histogram.words, fontsize=8, fontweight="bold" if off else "normal", color=LIMIT if off else INK
        )
        ax.bar(range(bins), histogram.counts, width=1.0, color=BAR, edgecolor=LINE, linewidth=0.4, zorder=2)
        ax.fill_between(
            [-0.5, bins - 0.5], low, high, color=INK, alpha=0.1, linewidth=0, zorder=3, label="95 of 100 runs if flat"
        )
        for edge in (low, high):
            ax.axhline(edge, color=SOFT, linewidth=0.8, linestyle=(0, (4, 2)), zorder=4)
        ax.axhline(histogram.replications / bins, color=SOFT, linewidth=0.8, zorder=4)
        ax.set_xlim(-0.5, bins - 0.5)
        ax.set_ylim(0.0, 1.12 * max(high, *histogram.counts))
        ax.set_xticks([])
        ax.yaxis.set_major_locator(MaxNLocator(4, integer=True))
        ax.tick_params(axis="y", labelsize=7)
        ax.spines["right"].set_visible(False)
        if legend:
            ax.legend(loc="lower center", fontsize=7)
    return ax
