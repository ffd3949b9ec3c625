"""The text of a CSV file: its encoding, the mark between its cells, and cells that a spreadsheet would run."""

from __future__ import annotations

import re

_FORMULA = re.compile(r"'*[=+\-@＝＋－＠]")
_GUARDED = re.compile(r"'+[=+\-@＝＋－＠]")
_SEPARATOR_LINE = re.compile(r"\"?sep=([,;\t])\"?[,;\t ]*", re.IGNORECASE)
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")


def decoded(data: bytes) -> str:
    """The text of a file; ValueError with what is wrong and how to mend it."""
    if data.startswith(_UTF_16):
        raise ValueError(": is UTF-16; save it as 'CSV UTF-8'")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise ValueError(f" line {line}: not UTF-8; save the file as 'CSV UTF-8'") from None


def separated(text: str) -> tuple[str, str]:
    """The text without a spreadsheet's ``sep=`` line, and the mark between its cells."""
    lines = text.splitlines(keepends=True)
    if lines and (match := _SEPARATOR_LINE.fullmatch(lines[0].rstrip("\r\n"))):
        return "".join(lines[1:]), match[1]
    head = next((line for line in lines if line.strip()), "")
    return text, max(",;\t", key=head.count)


def guarded(text: str) -> str:
    """A text as a cell, behind an apostrophe where a spreadsheet would run it.

    >>> guarded("=1+1"), guarded("kitchen")
    ("'=1+1", 'kitchen')
    """
    return f"'{text}" if _FORMULA.match(text) else text


def unguarded(text: str) -> str:
    """A cell's text without the apostrophe behind which it was written.

    >>> unguarded("'=1+1"), unguarded("'tis")
    ('=1+1', "'tis")
    """
    return text[1:] if _GUARDED.match(text) else text
