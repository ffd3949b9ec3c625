"""The reference page, written from ``--help``: ``python -m scalemodel.cli.manual > docs/cli.md``."""

from __future__ import annotations

from collections.abc import Iterator

import click

from scalemodel.cli.main import main

WIDTH = 96


def commands(command: click.Command, words: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    """Every command below this one with its help, in the order in which the program lists them."""
    more = {"help_option_names": ["-h", "--help"], "terminal_width": WIDTH, "max_content_width": WIDTH}
    context = click.Context(command, info_name=" ".join(words), **more)
    yield " ".join(words), command.get_help(context).rstrip()
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            yield from commands(command.get_command(context, name), (*words, name))


def page() -> str:
    """The whole page, Markdown."""
    parts = ["# Commands", "", "Written from `--help` by `python -m scalemodel.cli.manual > docs/cli.md`."]
    for name, text in commands(main, ("scalemodel",)):
        parts += ["", f"## {name}", "", "```text", text, "```"]
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    click.echo(page(), nl=False)
