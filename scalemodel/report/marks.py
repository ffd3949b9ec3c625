"""One list of colours, lines and markers, for the pages (style sheet, SVG) and the figures (matplotlib) alike."""

from __future__ import annotations

from typing import NamedTuple

GRADE_SHADES = ("g0", "g1", "g2", "g3", "g4")
"""The ground behind each grade, by the name of its colour."""

COLOURS = {
    "light": {
        "paper": "#fbfaf6",
        "ink": "#1e2529",
        "soft": "#545d63",
        "rule": "#c9ccc8",
        "tint": "#f0efe9",
        "line": "#17485a",
        "limit": "#963718",
        "past": "#8fb0ba",
        "ahead": "#d3e1e3",
        "within": "#e3ece4",
        **dict(zip(GRADE_SHADES, ("#fbfaf6", "#f6f5f0", "#f0efe9", "#e9e7e0", "#e1dfd7"), strict=True)),
    },
    "dark": {
        "paper": "#15191b",
        "ink": "#e9e6df",
        "soft": "#a9b2b6",
        "rule": "#3c4447",
        "tint": "#1f2527",
        "line": "#8ccbdd",
        "limit": "#f29b78",
        "past": "#3d6673",
        "ahead": "#26414a",
        "within": "#1d2a25",
        **dict(zip(GRADE_SHADES, ("#15191b", "#191d1f", "#1d2224", "#222729", "#272d2f"), strict=True)),
    },
    "print": {
        "paper": "#fff",
        "ink": "#000",
        "soft": "#40464a",
        "rule": "#c9ccc8",
        "tint": "#f4f4f0",
        "line": "#17485a",
        "limit": "#963718",
        "past": "#8fb0ba",
        "ahead": "#d3e1e3",
        "within": "#eaf0ea",
        **dict(zip(GRADE_SHADES, ("#fff", "#f8f8f5", "#f3f2ee", "#edebe6", "#e6e4de"), strict=True)),
    },
}
"""Colours by their names, on a light and a dark screen and on paper, where figures stand too."""


class Stroke(NamedTuple):
    """A line: the name of its colour, its width and its dashes (none: unbroken), in px on a page, in pt on a figure."""

    colour: str
    width: float
    dashes: tuple[float, ...] = ()


STROKES = {
    "grid": Stroke("rule", 0.7),
    "axis": Stroke("soft", 1.0),
    "risk": Stroke("line", 2.6),
    "limit": Stroke("limit", 1.6, (9.0, 3.0, 2.0, 3.0)),
    "answer": Stroke("limit", 1.8, (4.0, 3.0)),
    "today": Stroke("ink", 1.2),
    "descale": Stroke("ink", 1.4, (1.5, 3.0)),
    "edge": Stroke("line", 0.6),
    "median": Stroke("line", 1.8),
    "median-ahead": Stroke("line", 1.8, (6.0, 4.0)),
    "reach": Stroke("ink", 1.0),
}
"""Lines by what they stand for: no two that share a picture have the same dashes and the same colour."""


class Shape(NamedTuple):
    """A marker: as a path around (0, 0) on a page, by its sign on a figure."""

    path: str
    sign: str


SHAPES = {
    "circle": Shape("M-4.2 0a4.2 4.2 0 1 0 8.4 0a4.2 4.2 0 1 0 -8.4 0Z", "o"),
    "square": Shape("M-3.9 -3.9H3.9V3.9H-3.9Z", "s"),
    "triangle": Shape("M0 -4.8L4.6 3.6H-4.6Z", "^"),
    "diamond": Shape("M0 -5.2L5.2 0L0 5.2L-5.2 0Z", "D"),
    "cross": Shape("M-4 -4L4 4M-4 4L4 -4", "x"),
}

METHOD_SHAPES = {"eye": "circle", "mirror": "square", "camera": "triangle", "glance": "diamond"}
"""The marker of each method of looking."""

THICKNESS_SHAPE = "cross"
"""The marker of a thickness that was read."""
