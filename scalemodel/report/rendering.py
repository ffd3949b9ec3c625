"""From values to a page: the templates, what they may call, and the style and scripts that go into them.

jinja2 is loaded only when a page is made. Whatever comes from people is escaped; a value that is missing is an error.
"""

from __future__ import annotations

from base64 import b64encode
from datetime import date
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from scalemodel.report.marks import COLOURS, STROKES
from scalemodel.wording import parts_of

if TYPE_CHECKING:
    from jinja2 import Environment


def render(template: str, **values: object) -> str:
    """A page, from a template of the package."""
    return environment().get_template(template).render(values)


@cache
def environment() -> Environment:
    """The templates of the package, with the filters and functions that they call."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    env = Environment(
        loader=PackageLoader("scalemodel.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    env.policies["json.dumps_kwargs"] = {"allow_nan": False, "separators": (",", ":")}
    env.filters.update(dated=dated, fingerprint=fingerprint)
    env.globals.update(asset=asset, stylesheet=stylesheet)
    return env


@cache
def asset(name: str) -> Markup:
    """A script of the package."""
    return Markup(files("scalemodel.report").joinpath("assets", name).read_text(encoding="utf-8"))


@cache
def stylesheet(more: str = "") -> Markup:
    """The style of every page, its colours and lines from `scalemodel.report.marks`; ``more`` is a sheet besides."""
    style = render("page.css", colours=_colours, stroke=_stroke)
    return Markup(style + (render(more) if more else ""))


def _colours(ground: str) -> str:
    return " ".join(f"--{name}: {colour};" for name, colour in COLOURS[ground].items())


def _stroke(name: str) -> str:
    line = STROKES[name]
    dashes = f" stroke-dasharray: {' '.join(f'{d:g}' for d in line.dashes)};" if line.dashes else ""
    return f"stroke: var(--{line.colour}); stroke-width: {line.width:g};{dashes}"


def fingerprint(text: str) -> str:
    """The hash by which a page's rules know a style or a script."""
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"


def dated(sentence: str) -> Markup:
    """A sentence as a page shows it; a date among its parts is never broken.

    >>> from scalemodel.wording import Sentence
    >>> print(dated(Sentence("wait until ", date(2027, 2, 7), " & look")), dated("not 2027-02-07"))
    wait until <time>2027-02-07</time> &amp; look not 2027-02-07
    """
    shown = (
        Markup("<time>%s</time>") % part if isinstance(part, date) else escape(part) for part in parts_of(sentence)
    )
    return Markup().join(shown)
