"""From values to a page of the server: its templates, which share the report's look."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING

from scalemodel.errors import ScalemodelError, UnknownNameError
from scalemodel.report.rendering import environment, stylesheet
from scalemodel.serve.guard import FORM_TOKEN, Refusal
from scalemodel.serve.web import Asked, Reply, address

if TYPE_CHECKING:
    from jinja2 import Environment

STYLE, ICON, SCRIPTS = "/style.css", "/icon.svg", ("/page.js", "/drafts.js", "/keep.js")
FIXED = {
    STYLE: "text/css; charset=utf-8",
    ICON: "image/svg+xml",
    **dict.fromkeys(SCRIPTS, "text/javascript; charset=utf-8"),
}
"""What is the same for everybody, and its sort."""


@cache
def templates() -> Environment:
    """The server's templates, and the report's behind them."""
    from jinja2 import ChoiceLoader, PackageLoader

    own = environment().overlay(
        loader=ChoiceLoader([PackageLoader("scalemodel.serve"), PackageLoader("scalemodel.report")])
    )
    own.globals = {
        **environment().globals,
        "address": address,
        "style": versioned(STYLE),
        "scripts": [versioned(script) for script in SCRIPTS],
        "icon": versioned(ICON),
    }
    return own


@cache
def asset(path: str) -> tuple[str, str]:
    """What a fixed address holds, and its sort."""
    name = {STYLE: "serve.css"}.get(path, path.removeprefix("/"))
    text = files("scalemodel.serve").joinpath("assets", name).read_text(encoding="utf-8")
    return (f"{stylesheet()}\n{text}" if path == STYLE else text), FIXED[path]


def versioned(path: str) -> str:
    """A fixed address with a mark of what it holds, so that it may be kept for good."""
    return address(path, v=sha256(asset(path)[0].encode()).hexdigest()[:12])


def page(template: str, asked: Asked | None, *, read_only: bool, status: int = 200, **values: object) -> Reply:
    """A page of the server."""
    shared = {
        "form_name": FORM_TOKEN,
        "form_token": asked.device.form_token if asked else "",
        "paired": asked is not None,
        "read_only": read_only,
    }
    return Reply(templates().get_template(template).render({**shared, **values}), status)


def refused(refusal: Refusal, asked: Asked | None = None, read_only: bool = True) -> Reply:
    """The page of a refusal."""
    return page(
        "refused.html", asked, read_only=read_only, status=refusal.status, title=refusal.title, words=refusal.words
    )


def failed(error: ScalemodelError, status: int, asked: Asked | None, read_only: bool) -> Reply:
    """The page of an error that a person can mend."""
    title = "Not found" if isinstance(error, UnknownNameError) else "That did not work"
    return refused(Refusal(status, title, str(error)), asked, read_only)
