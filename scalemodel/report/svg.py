"""Plain SVG by hand: elements, and a panel that turns days and heights into places on paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup, escape

from scalemodel.report.marks import SHAPES


def element(tag: str, *content: object, **attributes: object) -> Markup:
    """One element. Text and attributes are escaped, elements inside it stand as they are; None attributes are left out.

    An underline in an attribute's name stands for a dash, and one at its end for nothing.

    >>> print(element("line", x1=1.0, y2=2.25, class_="axis", stroke_width=None))
    <line x1="1" y2="2.25" class="axis"/>
    >>> print(element("g", element("text", "a < b", x=3)))
    <g><text x="3">a &lt; b</text></g>
    """
    shown = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(place(value))}"'
        for name, value in attributes.items()
        if value is not None
    )
    inside = "".join(map(escape, content))
    return Markup(f"<{tag}{shown}>{inside}</{tag}>" if content else f"<{tag}{shown}/>")  # all of it is escaped above


def place(value: object) -> str:
    """A place on paper, to a tenth or so of a hair; anything else as it is.

    >>> place(12.3456), place(7.0), place("M1")
    ('12.35', '7', 'M1')
    """
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


def path_of(points: Iterable[tuple[float, float]], closed: bool = False) -> str:
    """The ``d`` of a path through points.

    >>> path_of([(0.0, 1.0), (2.5, 3.0)], closed=True)
    'M0 1L2.5 3Z'
    """
    return "M" + "L".join(f"{place(x)} {place(y)}" for x, y in points) + "Z" * closed


@dataclass(frozen=True)
class Panel:
    """A rectangle of paper whose breadth is days from ``first`` to ``last`` and whose height is a share, 0 to 1."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    first: date
    last: date

    @property
    def per_day(self) -> float:
        """Breadth of a day."""
        return (self.width - self.left - self.right) / max(1, (self.last - self.first).days)

    @property
    def tall(self) -> float:
        """Height of the whole."""
        return self.height - self.top - self.bottom

    @property
    def end(self) -> float:
        """The right edge."""
        return self.width - self.right

    @property
    def floor(self) -> float:
        """The lower edge."""
        return self.height - self.bottom

    def x(self, day: date) -> float:
        """The place of a day."""
        return self.left + (day - self.first).days * self.per_day

    def y(self, share: float) -> float:
        """The place of a height."""
        return self.floor - share * self.tall


def mark(shape: str, x: float, y: float, class_: str) -> Markup:
    """A marker at a place."""
    return element("path", d=SHAPES[shape].path, transform=f"translate({place(x)} {place(y)})", class_=class_)


def drawing(panel: Panel, name: str, title: str, description: str, parts: Sequence[Markup], **data: object) -> Markup:
    """A whole picture with its accessible name and description; ``name`` is its own on the page."""
    return element(
        "svg",
        element("title", title, id=f"{name}-title"),
        element("desc", description, id=f"{name}-desc"),
        *parts,
        viewBox=f"0 0 {place(panel.width)} {place(panel.height)}",
        role="img",
        id=name,
        aria_labelledby=f"{name}-title",
        aria_describedby=f"{name}-desc",
        **data,
    )
