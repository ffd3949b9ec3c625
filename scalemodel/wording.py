"""How figures and counts are written for people, in one place."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date


class Sentence(str):
    """A text that keeps what it was made of, so that nobody has to look in it for a date.

    Attributes
    ----------
    parts : tuple of str and date

    >>> said = Sentence("the descale can wait until ", date(2027, 2, 7), ".")
    >>> str(said), said.begun().parts
    ('the descale can wait until 2027-02-07.', ('The descale can wait until ', datetime.date(2027, 2, 7), '.'))
    """

    parts: tuple[str | date, ...]

    def __new__(cls, *parts: str | date) -> Sentence:
        """A sentence of texts, dates and other sentences, one behind the other."""
        flat = tuple(one for part in parts for one in parts_of(part) if one != "")
        made = super().__new__(cls, "".join(map(str, flat)))
        made.parts = flat
        return made

    def begun(self) -> Sentence:
        """The same with a capital letter."""
        return self._with_first(self[:1].upper())

    def going_on(self) -> Sentence:
        """The same with a small letter, to stand behind a name."""
        return self._with_first(self[:1].lower())

    def _with_first(self, letter: str) -> Sentence:
        first = self.parts[0] if self.parts else ""
        return self if isinstance(first, date) else Sentence(f"{letter}{first[1:]}", *self.parts[1:])


def parts_of(text: str | date) -> tuple[str | date, ...]:
    """The texts and dates that a text is made of: itself alone where it is plain."""
    return text.parts if isinstance(text, Sentence) else (text,)


def joined(sentences: Iterable[str], between: str = " ") -> Sentence:
    """Several sentences as one.

    >>> joined(["Look.", Sentence("Today is ", date(2027, 2, 7), ".")])
    'Look. Today is 2027-02-07.'
    """
    parts = [part for sentence in sentences for part in (between, sentence)]
    return Sentence(*parts[1:])


def figure(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, never with an exponent.

    >>> figure(1030.4), figure(0.41234), figure(424.2, 2), figure(0.0)
    ('1030', '0.412', '424', '0')
    """
    if abs(value) >= 10.0 ** (digits - 1):
        return f"{value:.0f}"
    text = f"{value:.{digits}g}"
    return f"{value:.12f}".rstrip("0").rstrip(".") if "e" in text else text


def counted(number: int, thing: str, blank: str = " ") -> str:
    """A count with its noun, and what stands between the two.

    >>> counted(1, "day"), counted(3, "look")
    ('1 day', '3 looks')
    """
    return f"{number}{blank}{thing}" + ("" if number == 1 else "s")


def gathered(said: Iterable[tuple[str, str]]) -> list[str]:
    """What is said of several, once for all of whom it is said.

    >>> gathered([("town", "no pH measured"), ("town", "no calcium"), ("blend", "no pH measured")])
    ['town, blend: no pH measured', 'town: no calcium']
    """
    names: dict[str, dict[str, None]] = {}
    for name, text in said:
        names.setdefault(text, {})[name] = None
    return [f"{', '.join(those)}: {text}" for text, those in names.items()]


def percent(share: float) -> str:
    """A probability in per cent, as finely as it needs.

    >>> percent(0.0004), percent(0.0351), percent(0.42), percent(0.1), percent(0.125), percent(0.9996)
    ('under 0.1%', '3.5%', '42%', '10%', '12.5%', 'over 99.9%')
    """
    if share < 0.001:
        return "under 0.1%"
    if share > 0.999:
        return "over 99.9%"
    return f"{100.0 * share:.1f}".removesuffix(".0") + "%"
