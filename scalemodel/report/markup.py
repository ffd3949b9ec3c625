"""The shell of a page: one HTML file that asks nothing of the network, its style and script inside it."""

from __future__ import annotations

import json
import re
from base64 import b64encode
from collections.abc import Iterable, Sequence
from functools import cache
from hashlib import sha256
from html import escape
from importlib.resources import files

from scalemodel.report.svg import element, text_of


@cache
def asset(name: str) -> str:
    """A style or script of the package, as text."""
    return files("scalemodel.report").joinpath("assets", name).read_text(encoding="utf-8")


def document(title: str, body: str, script: str, data: object = None) -> str:
    """A whole page. Only the style and the script written here may run; ``data`` is there for the script to read.

    Parameters
    ----------
    title : str
        Plain text.
    body : str
        Markup, with all that came from people escaped.
    script : str
        Name of the script among the package's files.
    data : optional
        Anything that JSON can hold.
    """
    style, code = asset("page.css"), asset(script)
    rules = (
        f"default-src 'none'; base-uri 'none'; form-action 'none'; style-src {_print(style)}; script-src {_print(code)}"
    )
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{escape(rules)}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="color-scheme" content="light dark">',
            '<meta name="referrer" content="no-referrer">',
            f"<title>{text_of(title)}</title>",
            f"<style>{style}</style>",
            "</head>",
            "<body>",
            body,
            *([] if data is None else [f'<script type="application/json" id="data">{as_data(data)}</script>']),
            f"<script>{code}</script>",
            "</body>",
            "</html>",
            "",
        ]
    )


def _print(text: str) -> str:
    """The hash by which a page's rules know a style or a script."""
    return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"


def as_data(data: object) -> str:
    r"""JSON that cannot end the block it stands in.

    >>> as_data({"a": "</script>"})
    '{"a":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def dated(sentence: str) -> str:
    """A sentence as a page shows it; a date in it is never broken.

    >>> dated("wait until 2027-02-07 & look")
    'wait until <time>2027-02-07</time> &amp; look'
    """
    return re.sub(r"\b\d{4}-\d\d-\d\d\b", r"<time>\g<0></time>", text_of(sentence))


def paragraphs(sentences: Iterable[str], class_: str | None = None) -> str:
    """A paragraph a sentence."""
    return "".join(element("p", dated(sentence), class_=class_) for sentence in sentences)


def bullets(sentences: Iterable[str], class_: str | None = None) -> str:
    """A list of sentences; nothing at all for none."""
    items = [element("li", dated(sentence)) for sentence in sentences]
    return element("ul", *items, class_=class_) if items else ""


def table(caption: str, titles: Sequence[str], rows: Iterable[Sequence[object]], name: str | None = None) -> str:
    """A table with a caption, in a region that scrolls by itself where it must; the first cell heads its row."""
    head = "".join(element("th", text_of(title), scope="col") for title in titles)
    lines = [
        "<tr>"
        + element("th", text_of(row[0]), scope="row")
        + "".join(element("td", text_of(cell), class_="n" if str(cell)[:1].isdigit() else None) for cell in row[1:])
        + "</tr>"
        for row in rows
    ]
    inner = f"<caption>{text_of(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody>"
    whole = element("table", inner, id=name)
    return element("div", whole, class_="scroll", role="region", tabindex=0, aria_label=caption)


def folded(summary: str, *content: str) -> str:
    """Something folded away until it is asked for."""
    return element("details", element("summary", text_of(summary)), *content)


def section(name: str, title: str, *content: str) -> str:
    """A section that its heading names."""
    heading = element("h2", text_of(title), id=f"{name}-heading")
    return element("section", heading, *content, aria_labelledby=f"{name}-heading", id=name)
