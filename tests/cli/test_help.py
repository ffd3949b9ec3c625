"""Every command's help has an example, and every example is a line that the command takes."""

import re
import shlex
from inspect import cleandoc
from pathlib import Path

import click
import pytest

from scalemodel.cli.main import main

README = Path(__file__).parents[2] / "README.md"


def every_command(command: click.Command = main, words: tuple[str, ...] = ()):
    yield words, command
    if isinstance(command, click.Group):
        for name in command.list_commands(click.Context(command)):
            yield from every_command(command.get_command(click.Context(command), name), (*words, name))


COMMANDS = dict(every_command())


def examples(command: click.Command) -> list[str]:
    """The lines under "Example:" in a help text."""
    _, found, after = cleandoc(command.help).partition("Example:\n")
    lines = []
    for line in after.splitlines() if found else []:
        if not line.startswith("  "):
            break
        lines.append(line.strip())
    return lines


def parsed(line: str) -> tuple[str, ...]:
    """The command that a line names, its options and arguments taken by it as a shell would; raises if they are not."""
    program, *words = shlex.split(line)
    assert program == "scalemodel", line
    command, path, context = main, [], click.Context(main, info_name="scalemodel", **main.context_settings)
    while isinstance(command, click.Group):
        name, *words = words
        command = command.get_command(context, name)
        assert command is not None, line
        path.append(name)
    command.make_context(path[-1], words, parent=context)
    return tuple(path)


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_every_help_has_examples_of_its_own_that_parse(words):
    lines = examples(COMMANDS[words])
    assert lines, "no Example"
    for line in lines:
        assert parsed(line)[: len(words)] == words


@pytest.mark.parametrize(
    "line",
    [
        "scalemodel defer",
        "scalemodel defer kitchen attic",
        "scalemodel defer kitchen --tolerence 0.1",
        "scalemodel defer kitchen --particles few",
        "scalemodel water analyse --as-of 1.1.2026",
        "scalemodel add inspection kitchen 2026-04-12 7",
        "scalemodel new boiler kitchen --volume 0.75",
        "scalemodel defre kitchen",
        "scaleodel defer kitchen",
    ],
)
def test_a_wrong_example_would_be_seen(line):
    with pytest.raises(Exception, match=r".") as caught:
        parsed(line)
    assert not isinstance(caught.value, click.exceptions.Exit)


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_every_option_and_every_command_says_what_it_is_for(words):
    command = COMMANDS[words]
    assert cleandoc(command.help).split("\n\n", 1)[0].endswith((".", "?"))
    for param in command.params:
        if isinstance(param, click.Option):
            assert param.help, param.opts
            assert param.help.endswith("."), param.help
        else:  # an argument is spoken of in the text by the word that stands for it
            assert param.make_metavar(click.Context(command)).strip("[].").split("=")[0] in command.help, param.name


def test_the_readme_names_every_command():
    table = README.read_text(encoding="utf-8").partition("## Commands")[2].partition("\n## ")[0]
    named = set(re.findall(r"`([a-z][a-z -]*)`", table))
    for words, command in COMMANDS.items():
        if words and not isinstance(command, click.Group):
            assert " ".join(words) in named, words
    assert {name for name in named if (*name.split(),) not in COMMANDS} <= {"scalemodel"}
