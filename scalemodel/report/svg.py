"""Plain SVG by hand: elements, and a panel that turns days and heights into places on paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape


def element(tag: str, *content: str, **attributes: object) -> str:
    """One element: attributes quoted, ``content`` as it is (escape text with `text_of`); None attributes left out.

    An underline in an attribute's name stands for a dash, and one at its end for nothing.

    >>> element("line", x1=1.0, y2=2.25, class_="axis", stroke_width=None)
    '<line x1="1" y2="2.25" class="axis"/>'
    >>> element("text", text_of("a < b"), x=3)
    '<text x="3">a &lt; b</text>'
    """
    shown = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(place(value), quote=True)}"'
        for name, value in attributes.items()
        if value is not None
    )
    return f"<{tag}{shown}>{''.join(content)}</{tag}>" if content else f"<{tag}{shown}/>"


def text_of(text: object) -> str:
    """Text as a page shows it, sign for sign."""
    return escape(str(text), quote=False)


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


MARKS = {
    "circle": "M-4.2 0a4.2 4.2 0 1 0 8.4 0a4.2 4.2 0 1 0 -8.4 0Z",
    "square": "M-3.9 -3.9H3.9V3.9H-3.9Z",
    "triangle": "M0 -4.8L4.6 3.6H-4.6Z",
    "diamond": "M0 -5.2L5.2 0L0 5.2L-5.2 0Z",
    "cross": "M-4 -4L4 4M-4 4L4 -4",
}
"""Shapes around (0, 0), as paths."""


def mark(shape: str, x: float, y: float, class_: str) -> str:
    """A marker at a place."""
    return element("path", d=MARKS[shape], transform=f"translate({place(x)} {place(y)})", class_=class_)


MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120, 240)


def date_ticks(first: date, last: date, most: int) -> list[tuple[date, str]]:
    """Round dates with their words: first days of months, at most so many; days where a month has too few.

    >>> [words for _, words in date_ticks(date(2026, 11, 1), date(2027, 6, 1), 5)]
    ['2026-11', '2027-01', '2027-03', '2027-05']
    >>> [words for _, words in date_ticks(date(2026, 11, 1), date(2026, 12, 1), 5)]
    ['11-01', '11-08', '11-15', '11-22', '11-29']
    """
    if (last - first).days < 75:
        step = next(s for s in (7, 14, 28) if (last - first).days / s <= most or s == 28)
        days = [first + timedelta(days=d) for d in range(0, (last - first).days + 1, step)]
        return [(day, f"{day:%m-%d}") for day in days]
    months = range(first.year * 12 + first.month - (first.day == 1), last.year * 12 + last.month)
    found = [date(m // 12, m % 12 + 1, 1) for m in months]
    for step in MONTH_STEPS:
        kept = [day for day in found if (day.year * 12 + day.month - 1) % step == 0]
        if len(kept) <= most:
            break
    words = "{:%Y}" if step >= 12 else "{:%Y-%m}"
    return [(day, words.format(day)) for day in kept]


def drawing(panel: Panel, name: str, title: str, description: str, parts: Sequence[str], **data: object) -> str:
    """A whole picture with its accessible name and description; ``name`` is its own on the page."""
    return element(
        "svg",
        element("title", text_of(title), id=f"{name}-title"),
        element("desc", text_of(description), id=f"{name}-desc"),
        *parts,
        viewBox=f"0 0 {place(panel.width)} {place(panel.height)}",
        role="img",
        id=name,
        aria_labelledby=f"{name}-title",
        aria_describedby=f"{name}-desc",
        **data,
    )
