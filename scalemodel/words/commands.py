"""The command to type for a record that is wanted."""

from __future__ import annotations

from shlex import quote

from scalemodel.errors import Remedy, WantedError
from scalemodel.wording import Sentence

TYPED = {
    "use": "add it (scalemodel add use {} FROM TO --litres X) or state --litres-per-day",
    "fill": "say which it draws (scalemodel add fill {} DATE WATER) or state --water",
    "water": "register it: scalemodel new water {}",
    "water test": "one meter reading will do: scalemodel add water-test {} DATE --tds 310",
    "reading": "one meter reading will do, such as --tds 310",
    "first boiler": "register one with `scalemodel new boiler NAME ...`",
    "first water": "register one with `scalemodel new water NAME`",
    "name": "`scalemodel rename {0} ...` does it, and all its records follow",
    "import": "the number of an import that `scalemodel history` shows",
    "unretire": "if it is in use again: scalemodel retire {} --undo",
    "number": "a number that `scalemodel history` shows",
    "start": "start one with `scalemodel new boiler ...` or `scalemodel import FOLDER`",
    "another file": "name another file with --logbook",
    "replace": "name another, or say --replace",
    "acid spent": "with --acid-spent-g ",
    "scale recovered": "--scale-recovered-g",
    "by hand": "--filled-by hand",
    "earlier day": " (or an earlier --as-of)",
}
"""What is typed to mend something, by the name of the remedy; braces hold what it is about."""


def typed_remedy(remedy: Remedy) -> str:
    """What to type.

    >>> typed_remedy(Remedy("record it first", "water", "well water"))
    "register it: scalemodel new water 'well water'"
    """
    return TYPED[remedy.name].format(quote(remedy.subject) if remedy.subject else "")


EXAMPLES = {"descale_materials": "4", "descale_hours": "1", "hour_cost": "20", "strip_down": "150"}
"""What a field may be told as, where a command is shown."""


def wanted_words(error: WantedError) -> Sentence:
    """What is wanted, and the command that adds it."""
    told = " ".join(f"--{field.replace('_', '-')} {EXAMPLES[field]}" for field in error.fields)
    command = (f"scalemodel add {error.kind.replace('_', '-')} {quote(error.boiler)} ", error.day, f" {told}")
    return Sentence(*error.missing, "; add them: ", *command)
