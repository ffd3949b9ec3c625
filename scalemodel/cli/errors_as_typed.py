"""What errors call things: the option or argument as the person typed it."""

from __future__ import annotations

import click

from scalemodel.errors import BadValueError, ImplausibleError, Mention, Remedy, ScalemodelError, WantedError, shortened


def typed_label(param: click.Parameter | None) -> str:
    """What an option or argument is called on the command line.

    >>> typed_label(click.Option(["-x", "--threshold-um"])), typed_label(click.Argument(["day"], metavar="DATE"))
    ('--threshold-um', 'DATE')
    """
    if isinstance(param, click.Option):
        return max(param.opts, key=len)
    return param.human_readable_name if param else "value"


def find_command(group: click.Command, words: list[str]) -> click.Command:
    """The command that words lead to, below a group, as far as they name one."""
    found = group
    for word in words:
        if isinstance(found, click.Group):
            found = found.get_command(click.Context(found), word) or found
    return found


def in_typed_words(error: ScalemodelError, command: click.Command) -> ScalemodelError:
    """The error with its fields called as the command's own options or arguments, where it has some of that name.

    Rooms further in know a field by its column or in words ("threshold um"); a person typed ``--threshold-um``. Where a
    record is wanted, the command that adds it.
    """
    if isinstance(error, ImplausibleError):
        return ImplausibleError(one._replace(field=_typed_field(one.field, command)) for one in error.doubts)
    if isinstance(error, BadValueError):
        error = BadValueError(_typed_field(error.field, command), error.given, error.allowed)
    if isinstance(error, WantedError):
        from scalemodel.words.commands import wanted_words

        return ScalemodelError(wanted_words(error))
    return ScalemodelError(error.told(_typed)) if error.has_remedy else error


def _typed(part: Mention | Remedy) -> str:
    """A record as it is called, and what would mend something as it is typed."""
    from scalemodel.words.commands import typed_remedy

    return typed_remedy(part) if isinstance(part, Remedy) else str(part)


def _typed_field(name: str, command: click.Command) -> str:
    """What a command calls a field: its own option or argument, else the field's name."""
    field = name.lstrip("-").replace(" ", "_").replace("-", "_").lower()
    for param in command.params:
        label = typed_label(param)
        if param.name in (field, f"{field}s") or field == label.lstrip("-").replace("-", "_").lower():
            return label
    return name


def refuse_no_text(words: list[str]) -> None:
    """ScalemodelError for a word that is no text: bytes that are no UTF-8, or a NUL; it can be neither kept nor shown.

    >>> refuse_no_text(["caf\\udce9"])
    Traceback (most recent call last):
    scalemodel.errors.ScalemodelError: 'caf\\udce9' is no text; write it in UTF-8, or rename the file
    """
    for word in words:
        if "\0" in word or any("\ud800" <= sign <= "\udfff" for sign in word):
            raise ScalemodelError(f"{shortened(word)!r} is no text", "write it in UTF-8, or rename the file")


def refuse_repeats(command: click.Command, ctx: click.Context, args: list[str]) -> None:
    """UsageError if an option that holds one value is given twice, to this command or to one below it.

    The words are only read here, as the command itself will read them; what else is wrong with them it says itself.
    """
    try:
        _, rest, order = command.make_parser(ctx).parse_args(list(args))
    except click.UsageError:
        return
    given = [param for param in order if isinstance(param, click.Option) and not (param.multiple or param.count)]
    for param in given:
        if given.count(param) > 1:
            raise click.UsageError(f"{typed_label(param)} is given twice; give it once", ctx)
    if isinstance(command, click.Group) and rest:
        below = command.get_command(ctx, rest[0])
        if below is not None:
            refuse_repeats(below, click.Context(below, parent=ctx, info_name=rest[0]), rest[1:])
