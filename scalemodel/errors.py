"""The one tree of errors: each says what was wrong and what would be right.

Every error carries the same fields, so that one handler in the command line can turn any
of them into a line on standard error, exit code 2 and, with ``--json``, an object.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches

LONGEST_SHOWN = 60
"""Of what was given an error shows so many characters at most."""


def shortened(text: str) -> str:
    """A text as an error shows it.

    >>> len(shortened("x" * 1000)), shortened("kitchen")
    (60, 'kitchen')
    """
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 3] + "..."


@dataclass(frozen=True)
class Mention:
    """A record that an error names, kept apart from the words around it, so that it is decided last how it is called.

    Attributes
    ----------
    number : int
    amending : str or None
        What behind its number would amend it, as it is typed; blank where that is open; None where it is only named.

    >>> str(Mention(5)), str(Mention(5, "")), str(Mention(5, "water=..."))
    ('record 5', 'amend record 5', '`scalemodel amend 5 water=...`')
    """

    number: int
    amending: str | None = None

    def __str__(self) -> str:
        if self.amending:
            return f"`scalemodel amend {self.number} {self.amending}`"
        return f"record {self.number}" if self.amending is None else f"amend record {self.number}"


@dataclass(frozen=True)
class Remedy:
    """What would mend something, in a Python caller's words, and by name: a command line tells what to type instead.

    Attributes
    ----------
    plain : str
    name : str
        One of `scalemodel.words.commands.TYPED`.
    subject : str
        The boiler, water or file that it is about, if it is about one.
    """

    plain: str
    name: str
    subject: str = ""

    def __str__(self) -> str:
        return self.plain


Words = str | Remedy | tuple[str | Mention | Remedy, ...]
"""What an error says: a text, or texts with the records that they name, and what would mend them, between them."""


def _parts(words: Words) -> tuple[str | Mention | Remedy, ...]:
    return words if isinstance(words, tuple) else (words,)


class ScalemodelError(Exception):
    """Base of all errors that a person can mend.

    Attributes
    ----------
    problem : str
        What was wrong, naming what was given.
    remedy : str
        What would be right, as an instruction; may be empty.
    """

    exit_code = 2

    def __init__(self, problem: Words, remedy: Words = "") -> None:
        self._words = _parts(problem), _parts(remedy)
        self.problem, self.remedy = ("".join(map(str, parts)) for parts in self._words)
        super().__init__(self.problem, self.remedy)

    def __str__(self) -> str:
        return self.told(str)

    @property
    def has_remedy(self) -> bool:
        """Whether it says what would mend it in words that a command line has others for."""
        return any(isinstance(part, Remedy) for parts in self._words for part in parts)

    def told(self, called: Callable[[Mention | Remedy], str]) -> str:
        """The whole line, with every record that it names, and what would mend it, called by ``called``."""
        problem, remedy = (
            "".join(part if isinstance(part, str) else called(part) for part in parts) for parts in self._words
        )
        if not remedy:
            return problem
        return f"{problem}{' ' if problem.endswith('?') else '; '}{remedy}"


class BadValueError(ScalemodelError):
    """A value outside what its field allows."""

    def __init__(self, field: str, given: object, allowed: Words) -> None:
        self.field, self.given, self.allowed = field, given, allowed
        shown = shortened(f"{given:.10g}" if isinstance(given, float) else str(given))
        super().__init__(f"{field}: {shown!r} will not do", ("expected ", *_parts(allowed)))


class UnknownNameError(ScalemodelError):
    """A boiler, site, water or other name that the logbook does not hold; a site is one ``of`` a boiler."""

    def __init__(self, kind: str, given: str, known: Iterable[str], how_to_add: Words = "", of: str = "") -> None:
        self.kind, self.given, self.known = kind, given, sorted(known)
        folded = {name.casefold(): name for name in self.known}
        near = [folded[name] for name in get_close_matches(given.casefold(), folded, n=1, cutoff=0.6)]
        if near:
            remedy = f"did you mean {near[0]!r}?"
        elif self.known:
            listed = ", ".join(self.known[:8]) + (", ..." if len(self.known) > 8 else "")
            remedy = f"known: {listed}"
        else:
            remedy = how_to_add or f"there is no {kind} yet"
        owner = f" of {of!r}" if of else ""
        super().__init__(f"no {kind}{owner} is called {shortened(given)!r}", remedy)


class FormerNameError(UnknownNameError):
    """A name that a boiler, site or water had; ``called`` is what it is called ``since`` a day."""

    def __init__(self, kind: str, given: str, called: str, since: date) -> None:
        self.kind, self.given, self.known, self.called, self.since = kind, given, [called], called, since
        ScalemodelError.__init__(
            self, f"the {kind} {shortened(given)!r} is called {called!r} since {since}", f"say {called!r}"
        )


class RecordClashError(ScalemodelError):
    """A record that cannot stand beside one already there (overlap, second name, order)."""


class QuestionedError(RecordClashError):
    """A record that may stand but is questioned first; ``insist`` is the option that enters it all the same."""

    insist = ""
    asks = ""


class AlreadyRecordedError(QuestionedError):
    """A record equal in every field to a current one, whose ``number`` it names; entered only if insisted on."""

    insist, asks = "again", "Enter it once more?"

    def __init__(self, number: int, says: str) -> None:
        self.number = number
        super().__init__(f"record {number} says just this already ({says})", "`--again` enters it once more")


class ImplausibleError(QuestionedError):
    """A record that is hard to believe; ``doubts`` lists why, each with its field; entered only if insisted on."""

    insist, asks = "sure", "Enter it as it is?"

    def __init__(self, doubts: Iterable) -> None:
        self.doubts = tuple(doubts)
        super().__init__("; ".join(map(str, self.doubts)), "`--sure` enters it as it is")


class LogbookError(ScalemodelError):
    """The logbook file itself: missing, foreign, locked, of another version, unwritable."""


class FullDiskError(LogbookError):
    """A logbook that cannot grow because its disk is full; nothing was written."""


class ImportRefusedError(ScalemodelError):
    """A folder of CSV files that was refused whole; ``faults`` lists every bad cell."""

    def __init__(self, problem: str, faults: Iterable[str], remedy: str = "") -> None:
        self.faults = list(faults)
        super().__init__(problem, remedy)


class EvidenceError(ScalemodelError):
    """The logbook lacks what the question needs (no water, no use, a date before the first record)."""


class WantedError(EvidenceError):
    """A record that a question needs, and the logbook lacks.

    Attributes
    ----------
    missing : tuple of str and date
        What is not there.
    kind : str
        The kind of record that would mend it, by its name in the logbook.
    fields : tuple of str
        Its fields that are wanted.
    boiler : str
    day : date
        By when it is wanted.
    """

    def __init__(self, missing: tuple[str | date, ...], kind: str, fields: tuple[str, ...], boiler: str, day: date):
        self.missing, self.kind, self.fields, self.boiler, self.day = missing, kind, fields, boiler, day
        super().__init__("".join(map(str, missing)), f"record {kind} of {boiler} with {', '.join(fields)}")


class MissingPackageError(ScalemodelError):
    """A package of an ``extra`` is not installed; ``needs`` says what wants it."""

    def __init__(self, needs: str, package: str, extra: str) -> None:
        self.package, self.extra = package, extra
        super().__init__(f"{needs} {package}, which is not installed", f"install it: pip install 'scalemodel[{extra}]'")


class SamplerError(ScalemodelError):
    """The sampler met something it must not paper over (NaN everywhere, shrinking past its cap)."""
