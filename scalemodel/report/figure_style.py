"""The house style of figures, and how a figure reaches a file.

matplotlib is loaded only when a figure is made, without its interactive state and whatever the user has set.
"""

from __future__ import annotations

import warnings
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from scalemodel.report.files import check_place, write_whole
from scalemodel.report.marks import COLOURS, STROKES

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS = (".png", ".svg")
DOTS_PER_INCH = 150
PAPER = COLOURS["print"]
"""Colours by their names, as on a page that is printed."""

INK, SOFT = PAPER["ink"], PAPER["soft"]

HOUSE_STYLE = {
    "font.family": ["DejaVu Sans"],
    "font.size": 9.0,
    "text.color": INK,
    "text.parse_math": False,  # a name may hold a dollar sign
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "legend.fontsize": 8.0,
    "legend.frameon": False,
    "svg.fonttype": "none",  # text stays text
    "svg.hashsalt": "scalemodel",  # the same figure gives the same bytes
}


def pen(name: str) -> dict:
    """A line of `scalemodel.report.marks.STROKES` as matplotlib takes it; its dashes count in widths there.

    >>> pen("limit")["color"], pen("limit")["linestyle"]
    ('#963718', (0, (5.625, 1.875, 1.25, 1.875)))
    """
    line = STROKES[name]
    dashes = (0, tuple(d / line.width for d in line.dashes)) if line.dashes else "-"
    return {"color": PAPER[line.colour], "linewidth": line.width, "linestyle": dashes}


@contextmanager
def styled():
    """The house style over the library's own defaults, for as long as the block runs."""
    from matplotlib import style

    with style.context(["default", HOUSE_STYLE]):
        yield


def new_figure(width: float, height: float) -> Figure:
    """An empty figure of a size [inch], apart from any interactive session."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), dpi=DOTS_PER_INCH, layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def check_drawn(given: object, kind: type, source: str, ax: object, legend: object, panels: int = 1) -> None:
    """TypeError, before anything is drawn, unless what is given is of a kind, axes, and yes or no, in this order.

    ``source`` says where one of that kind comes from; a figure of several ``panels`` has so many axes in a list.
    """
    from matplotlib.axes import Axes

    if not isinstance(given, kind):
        raise TypeError(f"this is drawn of {kind.__name__}, from {source}, not of {type(given).__name__}")
    if ax is not None:
        several = list(ax.flat) if hasattr(ax, "flat") else list(ax) if isinstance(ax, list | tuple) else [ax]
        if not all(isinstance(one, Axes) for one in several) or (panels == 1 and several != [ax]):
            raise TypeError(f"ax is matplotlib axes, not {type(ax).__name__}")
        if len(several) != panels:
            raise TypeError(f"ax is a list of {panels} axes here, a panel each, not of {len(several)}")
    if not isinstance(legend, bool):
        raise TypeError(f"legend is True or False, not {type(legend).__name__}")


def save(figure: Figure, path: str | Path) -> Path:
    """Write a figure as PNG or SVG, by the extension; the same figure gives the same bytes.

    The file appears whole or not at all: it is written beside its place and then moved there. The places of a
    figure's parts are settled when it is first saved.

    Returns
    -------
    Path
        ``path``.

    Raises
    ------
    BadValueError
        If the extension is another one, or the file cannot be written there.
    """
    path = check_path(path)
    kind = path.suffix.lower()[1:]
    buffer = BytesIO()
    metadata = {"Software": None} if kind == "png" else {"Date": None, "Creator": None}
    with styled(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from", category=UserWarning)
        if figure.get_layout_engine() is not None:  # laid out once: each further pass would shift it a little
            figure.draw_without_rendering()
            figure.set_layout_engine("none")
        figure.savefig(buffer, format=kind, dpi=DOTS_PER_INCH, metadata=metadata)
    return write_whole(path, buffer.getvalue())


def check_path(path: str | Path) -> Path:
    """The path as it is, if a figure can go there: BadValueError for another extension or no such folder.

    >>> check_path("risk.svg").name
    'risk.svg'
    """
    return check_place(path, FORMATS)
