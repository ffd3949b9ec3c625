"""Command lines made from what the commands themselves declare: a new command is fuzzed without an edit here."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

import click
from hypothesis import strategies as st

from scalemodel.cli.main import main
from scalemodel.cli.options_and_output import DateType, WholeType
from scalemodel.cli.recording import FieldType, GradeType, HardnessType
from scalemodel.descaling.acid import ACIDS
from scalemodel.logbook.field_types import Choice, Day, Name, Number, Rule, Temperature, Whole, YesNo
from scalemodel.logbook.fields import rule
from scalemodel.logbook.kinds import KINDS
from tests.fuzz.hostile import TEXTS
from tests.fuzz.sandbox import BOILERS, RECORDS, SITES, WATERS

PASSWD = "../../../etc/passwd"
"""From the desk: a file of the workshop's root, which stands for the real one."""

PLACES = (
    "out", "deep/er/out", "records", "empty", "broken", "data/demo", "notes.txt", "notes.txt/x", "logbook.sqlite3",
    "other.sqlite3", "backup.sqlite3", "new.sqlite3", "a.png", "a.svg", "A.PNG", "nowhere/a.png", "plan.md", "a.nc",
    "empty/plan.md", "../a.png", "../../x", PASSWD, PASSWD + "/x.md", PASSWD + ".png", ".", "..", "a\nb.png", "é☕.svg",
    "x" * 300 + ".png", "records/waters.csv", "-.png",
)  # fmt: skip
"""For options that name a file or a folder; nothing outside the workshop is named, in case a refusal should fail."""

NAMES = {"boiler": BOILERS, "site": SITES, "water": WATERS, "waters": WATERS, "tried": WATERS, "acid": tuple(ACIDS)}
QUANTITIES = ("9 dH", "160", "1.6 mmol/L", "12 fH", "4 dH", "0", "250 mg/L", "280 dH", "5 e", "3gpg", "2 ppm")
TEMPERATURES = ("93", "15 C", "200 F", "0", "100", "121", "20", "130")
MIXES = ("tap:0.4,demin:0.6", "tap:1,demin:0", "rain:0.5,demin:0.5", "tap:0.3,untested:0.7", "tap:0.2,demin:0.2")
FIELDS = (*dict.fromkeys(column for kind in KINDS.values() for column in kind.columns), "grade")
LOOSE = ("grade=2", "note=", "note=x", "hardness=9 dH", "litres=41", "threshold_grade=4", "a few words", "citric")


class Leaf(NamedTuple):
    """A command that does something, and the words that lead to it."""

    words: tuple[str, ...]
    command: click.Command

    @property
    def asks(self) -> bool:
        """Whether it draws a posterior."""
        return any(param.name == "particles" for param in self.command.params)


def leaves(command: click.Command = main, words: tuple[str, ...] = ()) -> Iterator[Leaf]:
    """Every command below a group."""
    if not isinstance(command, click.Group):
        yield Leaf(words, command)
        return
    context = click.Context(command)
    for name in command.list_commands(context):
        yield from leaves(command.get_command(context, name), (*words, name))


def by_rule(meaning: Rule) -> st.SearchStrategy[str]:
    """Texts that a field may well hold."""
    if isinstance(meaning, Temperature):
        return st.sampled_from(TEMPERATURES)
    if isinstance(meaning, Number):
        ends = (meaning.low, meaning.high, 0.5 * meaning.high, meaning.low * 1.5, 1.0, 2.0, 20.0)
        return st.sampled_from(ends).map("{:.12g}".format) | st.floats(meaning.low, meaning.high).map(repr)
    if isinstance(meaning, Whole):
        return st.sampled_from((meaning.low, meaning.high, meaning.low - 1, meaning.high + 1)).map(str) | st.integers(
            meaning.low, meaning.high
        ).map(str)
    if isinstance(meaning, Choice):
        return st.sampled_from((*meaning.options, meaning.options[0].upper()))
    if isinstance(meaning, YesNo):
        return st.sampled_from(("yes", "no"))
    if isinstance(meaning, Day):
        return days()
    if isinstance(meaning, Name):
        return st.sampled_from((*BOILERS, *WATERS, *SITES, "bar", "Küche 2"))
    return st.sampled_from(("a note", "x", "two\nlines", "=1+1", "citric", "sulfamic", "citric-anhydrous"))


def days() -> st.SearchStrategy[str]:
    """Days near the records."""
    return st.sampled_from(("2026-01-10", "2026-05-01", "2026-08-01", "2026-11-25", "2027-03-01", "2126-11-25")) | (
        st.dates(date(2025, 12, 1), date(2027, 6, 1)).map(str)
    )


def plausible(param: click.Parameter) -> st.SearchStrategy[str]:
    """Texts that a parameter may well be given."""
    kind = param.type
    if isinstance(kind, FieldType):
        names = NAMES.get(param.name)
        known = st.sampled_from(names) if names else st.nothing()
        return known | by_rule(rule(kind.kind, kind.name))
    if isinstance(kind, DateType):
        return days()
    if isinstance(kind, WholeType):
        return by_rule(kind.rule)
    if isinstance(kind, GradeType):
        return st.sampled_from(("0", "2", "1-2", "3+", "1-", "0-4"))
    if isinstance(kind, HardnessType):
        return st.sampled_from(QUANTITIES)
    if isinstance(kind, click.types.IntParamType):
        return st.integers(0, len(RECORDS) + 3).map(str) | st.sampled_from(("60", "365", "1460", "3650", "36500"))
    if isinstance(kind, click.types.FloatParamType):
        return st.sampled_from(("0", "0.05", "0.1", "0.5", "1", "6", "30", "60", "100", "1e4", "0.9", "1e-3", "9999"))
    if isinstance(kind, click.Path):
        return st.sampled_from(PLACES)
    if param.name in NAMES:
        return st.sampled_from(NAMES[param.name])
    fields = st.builds("{}={}".format, st.sampled_from(FIELDS), st.sampled_from(("1", "2026-05-01", "yes", "tap", "")))
    return fields if param.name == "changes" else st.sampled_from((*QUANTITIES, *TEMPERATURES, *MIXES, *LOOSE))


def examples(leaf: Leaf) -> list[dict[str, tuple[str, ...]]]:
    """What each parameter is given in the examples that the command's own help shows."""
    path = ["scalemodel", *leaf.words]
    lines = [shlex.split(line) for line in (leaf.command.help or "").splitlines() if "scalemodel " in line]
    found = []
    for line in lines:
        if line[: len(path)] == path:
            context = click.Context(leaf.command, resilient_parsing=True)
            given, _, _ = leaf.command.make_parser(context).parse_args(line[len(path) :])
            found.append(
                {name: _texts(value) for name, value in given.items() if isinstance(value, str | tuple | list)}
            )
    return found or [{}]


def _texts(value: str | tuple | list) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value)


def value(param: click.Parameter, shown: str | None = None) -> st.SearchStrategy[str]:
    """Mostly what the help's example shows, or else what the parameter may well be given; now and then anything.

    The first choices are the sound ones, so that a failure shrinks to one hostile word among sound ones.
    """
    sound = plausible(param)
    first = sound if shown is None else st.just(shown)
    return st.integers(0, 9).flatmap(lambda k: TEXTS if k == 8 else sound if k in (5, 6) else first)


@st.composite
def option_words(draw, param: click.Option, shown: tuple[str, ...]) -> list[str]:
    """An option with its values; now and then the value is missing, or stands behind an equals sign."""
    name = draw(st.sampled_from((*param.opts, *param.secondary_opts)))
    if param.is_flag or param.count:
        return [name]
    values = [draw(value(param, shown[k] if k < len(shown) else None)) for k in range(param.nargs)]
    form = draw(st.integers(0, 29))
    if form == 17:
        return [name, *values[1:]]
    if form in (18, 19) and name.startswith("--") and len(values) == 1:
        return [f"{name}={values[0]}"]
    return [name, *values]


@st.composite
def command_lines(draw, leaf: Leaf, forced: tuple[str, ...] = ()) -> list[str]:
    """A command line for a command; ``forced`` options are not left to chance."""
    shown = draw(st.sampled_from(examples(leaf)))
    parts: list[list[str]] = []
    placed: list[str] = []
    for param in leaf.command.params:
        told = shown.get(param.name, ())
        if isinstance(param, click.Argument):
            count = max(param.nargs, len(told), 1) if param.required or told or draw(st.integers(0, 2)) else 0
            placed += [draw(value(param, told[k] if k < len(told) else None)) for k in range(count)]
        elif not set(param.opts) & {"--json", *forced}:
            usual = bool(told) or param.required
            if draw(st.integers(0, 11)) in (range(11) if usual else (4, 5)):
                parts.append(draw(option_words(param, told)))
    odd = draw(st.integers(0, 39))
    if odd == 31 and placed:
        placed.pop()
    elif odd == 32:
        placed.append(draw(TEXTS))
    elif odd == 33:
        parts.append([draw(st.sampled_from(("--no-such-option", "-q", "--help", "-h", "--out=", "--", "-")))])
    elif odd == 34 and parts:
        parts.append(parts[0])
    words = [word for part in draw(st.permutations(parts)) for word in part]
    if any(word.startswith("-") for word in placed) and draw(st.integers(0, 3)) < 3:
        return [*words, "--", *placed]
    return [*placed, *words] if draw(st.booleans()) else [*words, *placed]
