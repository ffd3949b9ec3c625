"""Text for a phone: paragraphs, numbered steps and commands in lines of at most 60 characters."""

from __future__ import annotations

import re
import shlex
import textwrap
from collections.abc import Iterable, Sequence
from typing import NamedTuple

WIDTH = 60

_TIE = "\N{NO-BREAK SPACE}"


class Step(NamedTuple):
    """One step: what to do, and the commands that record it, each as words that belong on one line."""

    text: str
    commands: tuple[tuple[str, ...], ...] = ()

    @property
    def whole(self) -> str:
        """The step for scripts: its text, then each command on a line of its own."""
        return "\n".join([self.text, *(" ".join(words) for words in self.commands)])


def wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    """A paragraph as lines of at most `WIDTH` characters, led by ``first``, then by ``rest`` (as many blanks).

    A figure is not parted from the word after it.

    >>> wrapped("x" * 56 + " 5 L", "- ")
    ['- xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx', '  5 L']
    """
    rest = " " * len(first) if rest is None else rest
    joined = re.sub(r"(?<=\d) (?=\S)", _TIE, text)
    lines = textwrap.wrap(joined, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return [line.replace(_TIE, " ") for line in lines]


def bullets(paragraphs: Iterable[str]) -> list[str]:
    """Paragraphs as a list of points."""
    return [line for text in paragraphs for line in wrapped(text, "- ")]


def command_lines(words: Sequence[str], indent: str) -> list[str]:
    r"""A command broken only between its words, with a backslash at each line's end, so that a shell takes it.

    >>> words = ["scalemodel add descale kitchen 2026-11-01", "--acid sulfamic", "--acid-g 300"]
    >>> print(*command_lines(words, ""), sep="\n")
    scalemodel add descale kitchen 2026-11-01 --acid sulfamic \
      --acid-g 300
    """
    lines = [indent + words[0]]
    for word in words[1:]:
        if len(lines[-1]) + len(word) + 3 <= WIDTH:  # a blank before it, and room for a blank and a backslash
            lines[-1] += " " + word
        else:
            lines[-1] += " \\"
            lines.append(f"{indent}  {word}")
    return lines


def numbered(steps: Sequence[Step], fenced: bool = False) -> list[str]:
    """Steps as a numbered list, commands below their step; ``fenced`` as Markdown code."""
    lines = []
    for number, step in enumerate(steps, 1):
        lead = f"{number}. ".ljust(4)
        lines += wrapped(step.text, lead)
        if step.commands and fenced:
            lines += ["", "    ```sh"]
        for words in step.commands:
            lines += command_lines(words, " " * 4)
        if step.commands and fenced:
            lines += ["    ```", ""]
    return lines


def quoted(name: str) -> str:
    """A name as a shell takes it.

    >>> quoted("bar left")
    "'bar left'"
    """
    return shlex.quote(name)


def escaped(text: str) -> str:
    r"""Text as Markdown shows it, sign for sign.

    >>> escaped("a*b")
    'a\\*b'
    """
    return re.sub(r"([\\`*_\[\]<>#|~])", r"\\\1", text)
