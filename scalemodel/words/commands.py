"""The command to type for a record that is wanted."""

from __future__ import annotations

from shlex import quote

from scalemodel.errors import WantedError
from scalemodel.wording import Sentence

EXAMPLES = {"descale_materials": "4", "descale_hours": "1", "hour_cost": "20", "strip_down": "150"}
"""What a field may be told as, where a command is shown."""


def wanted_words(error: WantedError) -> Sentence:
    """What is wanted, and the command that adds it."""
    told = " ".join(f"--{field.replace('_', '-')} {EXAMPLES[field]}" for field in error.fields)
    command = (f"scalemodel add {error.kind.replace('_', '-')} {quote(error.boiler)} ", error.day, f" {told}")
    return Sentence(*error.missing, "; add them: ", *command)
