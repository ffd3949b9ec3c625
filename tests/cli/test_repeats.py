"""An option given twice is one clear error, for every command, in one place."""

import click
import pytest

from scalemodel.cli.main import main
from tests.cli.runner import Desk


def every_command(command=main, words=()):
    yield words, command
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            yield from every_command(command.get_command(context, name), (*words, name))


OPTIONS = [
    (words, param) for words, command in every_command() for param in command.params if isinstance(param, click.Option)
]


@pytest.mark.parametrize(
    ("words", "param"), OPTIONS, ids=[" ".join((*words, param.opts[0])) for words, param in OPTIONS]
)
def test_an_option_that_holds_one_value_is_given_once(tmp_path, words, param):
    """Every option of every command; those that are made to be repeated stay so."""
    desk = Desk(tmp_path / "logbook.sqlite3")
    once = [param.opts[0], *(["1"] * (0 if param.is_flag else param.nargs))]
    result = desk.run(*words, *once, *once)
    if param.multiple:
        assert "given twice" not in result.stderr
        return
    assert result.exit_code == 2
    name = max(param.opts, key=len)
    path = " ".join(("main", *words))
    assert result.stderr == f"error: {name} is given twice; give it once; see '{path} --help'\n"
    assert not desk.path.exists()


def test_there_are_options_of_both_sorts():
    assert {param.multiple for _, param in OPTIONS} == {True, False}


@pytest.mark.parametrize(
    "words",
    [
        ("--tds", "100", "--tds=200"),
        ("--tds", "100", "--ph", "7", "--tds", "100"),
    ],
)
def test_in_every_spelling(busy_desk, words):
    assert "--tds is given twice" in busy_desk.refuse("add", "water-test", "tap", "2025-05-01", *words)


def test_a_value_that_looks_like_the_option_is_none(busy_desk):
    busy_desk.do("add", "inspection", "kitchen", "2025-05-01", "2", "--note", "--note", "--inspector", "--site")
    assert "note: --note" in busy_desk.do("history")


def test_both_names_of_an_option_are_one(busy_desk):
    """Where an option has a yes and a no, or a short form, they are still one."""

    @click.command()
    @click.option("--yes/--no", "-y")
    @click.option("-v", count=True)
    def command(yes, v):
        click.echo(f"{yes} {v}")

    from scalemodel.cli.errors_as_typed import refuse_repeats

    for given in (["--yes", "--no"], ["-y", "--yes"]):
        with pytest.raises(click.UsageError, match="given twice"):
            refuse_repeats(command, click.Context(command), given)
    refuse_repeats(command, click.Context(command), ["-v", "-v", "--yes"])
