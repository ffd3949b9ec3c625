"""The sorts of value a field may hold: each reads text, checks a value, and writes it as text again.

``read`` takes what a person typed, ``clean`` what a program gave; both return the tidy value or
raise BadValueError with what is allowed. ``write`` is the inverse of ``read``; ``store`` and
``load`` are the way to the database and back.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from numbers import Integral, Real
from typing import ClassVar

from scalemodel.errors import BadValueError
from scalemodel.logbook.days import DATE_ALLOWED, EARLIEST, as_day, parse_date
from scalemodel.logbook.units import factor_to, other_quantity

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d+(\.0*)?", re.ASCII)
_WITH_COMMA = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}(\.\d{3}(\.\d{3})*,\d+|,\d{3}(,\d{3})*\.\d+)", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)
_TEMPERATURE = re.compile(r"(.*?)\s*[°º]?\s*([CcFf])")
_WITH_UNIT = re.compile(r"([+-]?[\d.,]+(?:[eE][+-]?\d+)?)\s*(.*)", re.ASCII)
_JOINERS = "\u200c\u200d"


class Rule:
    """What one field may hold; ``allowed`` says it in words, ``stored_as`` is the sort that the database holds."""

    allowed = "text"
    stored_as: ClassVar[type] = str

    def read(self, text: str, field: str) -> object:
        """The value that a person's text means."""
        return self.clean(text, field)

    def clean(self, value: object, field: str) -> object:
        """The value, tidied; BadValueError if it is not allowed."""
        raise NotImplementedError

    def write(self, value) -> str:
        """The value as text that ``read`` takes back."""
        return str(value)

    def store(self, value):
        """The value as the database holds it."""
        return value

    def load(self, stored):
        """The value from what the database holds; TypeError or ValueError if that is damaged."""
        if not isinstance(stored, self.stored_as):
            raise TypeError(f"{stored!r} is stored where a {self.stored_as.__name__} belongs")
        return stored


@dataclass(frozen=True)
class Number(Rule):
    """A finite number from ``low`` to ``high``, both allowed; text may name another unit of the same quantity."""

    low: float
    high: float
    unit: str = ""
    stored_as = float

    @property
    def span(self) -> str:
        """The range in words, without a unit."""
        return f"{self.low:.10g} to {self.high:.10g}"

    @property
    def allowed(self) -> str:
        return f"a number {self.span} {self.unit}".rstrip()

    def read(self, text: str, field: str) -> float:
        given = text.strip()
        figure, written = split_unit(given)
        number = plain_number(figure)
        if number is None:
            raise BadValueError(field, given, self.allowed + comma_hint(figure))
        factor = self._factor(written)
        if factor is None:
            raise BadValueError(field, given, self.allowed + other_quantity(self.unit, number, written))
        return self._within(number if factor == 1.0 else float(f"{number * factor:.12g}"), field, given)

    def _factor(self, written: str) -> float | None:
        """What one of the unit that was written is in this number's own; None for one that it does not take."""
        return factor_to(self.unit, written)

    def holds(self, number: float) -> bool:
        """Whether a number is within the range."""
        return math.isfinite(number) and self.low <= number <= self.high

    def clean(self, value: object, field: str) -> float:
        if isinstance(value, bool) or not isinstance(value, Real):
            raise BadValueError(field, value, self.allowed)
        return self._within(float(value), field, value)

    def _within(self, number: float, field: str, given: object) -> float:
        if not self.holds(number):
            raise BadValueError(field, given, self.allowed)
        return number + 0.0  # no minus zero

    def write(self, value) -> str:
        return repr(float(value)).removesuffix(".0")


@dataclass(frozen=True)
class Share(Number):
    """A share or a probability; text may say it in per cent."""

    @property
    def allowed(self) -> str:
        return f"a number {self.span}, or {100 * self.low:g}% to {100 * self.high:g}%"

    def _factor(self, written: str) -> float | None:
        return 0.01 if written in ("%", "percent", "per cent") else factor_to(self.unit, written)


@dataclass(frozen=True)
class Temperature(Number):
    """A temperature in deg C; text may say F (or C), which is kept to a hundredth of a degree."""

    unit: str = "C"

    @property
    def allowed(self) -> str:
        low, high = (1.8 * end + 32.0 for end in (self.low, self.high))
        return f"a temperature {self.span} C (or {low:g} F to {high:g} F)"

    def read(self, text: str, field: str) -> float:
        given = text.strip()
        match = _TEMPERATURE.fullmatch(given)
        figure, scale = match.groups() if match else (given, "C")
        number = plain_number(figure)
        if number is None:
            raise BadValueError(field, given, self.allowed + comma_hint(figure))
        return self._within(round((number - 32.0) / 1.8, 2) if scale in "Ff" else number, field, given)


@dataclass(frozen=True)
class Whole(Rule):
    """A whole number from ``low`` to ``high``, both allowed."""

    low: int
    high: int
    stored_as = int

    @property
    def allowed(self) -> str:
        return f"a whole number {self.low} to {self.high}"

    def read(self, text: str, field: str) -> int:
        given = text.strip()
        if not _WHOLE.fullmatch(given) or len(given) > 20:
            raise BadValueError(field, given, self.allowed)
        return self._within(int(float(given)), field, given)

    def clean(self, value: object, field: str) -> int:
        if isinstance(value, bool) or not isinstance(value, Integral):
            raise BadValueError(field, value, self.allowed)
        return self._within(int(value), field, value)

    def _within(self, number: int, field: str, given: object) -> int:
        if not self.low <= number <= self.high:
            raise BadValueError(field, given, self.allowed)
        return number


@dataclass(frozen=True)
class Choice(Rule):
    """One of a few words, in any case; ``also`` maps other spellings (lower case, unspaced) to them."""

    options: tuple[str, ...]
    also: Mapping[str, str] | None = None

    @property
    def allowed(self) -> str:
        return ", ".join(self.options[:-1]) + " or " + self.options[-1]

    def clean(self, value: object, field: str) -> str:
        if isinstance(value, str):
            key = re.sub(r"[\s°º()]", "", value).lower()
            for option in self.options:
                if key == option.lower():
                    return option
            if self.also and key in self.also:
                return self.also[key]
        raise BadValueError(field, value, self.allowed)


class YesNo(Rule):
    """Yes or no."""

    allowed = "yes or no"
    stored_as = int

    def read(self, text: str, field: str) -> bool:
        word = text.strip().lower()
        if word in ("yes", "y", "true", "1"):
            return True
        if word in ("no", "n", "false", "0"):
            return False
        raise BadValueError(field, text, self.allowed)

    def clean(self, value: object, field: str) -> bool:
        if not isinstance(value, bool):
            raise BadValueError(field, value, self.allowed)
        return value

    def write(self, value) -> str:
        return "yes" if value else "no"

    def store(self, value) -> int:
        return int(value)

    def load(self, stored) -> bool:
        return bool(super().load(stored))


class Day(Rule):
    """A calendar date."""

    allowed = DATE_ALLOWED

    def read(self, text: str, field: str) -> date:
        return parse_date(text, field)

    def clean(self, value: object, field: str) -> date:
        day = as_day(value, field)
        if day < EARLIEST:
            raise BadValueError(field, value, f"a date from {EARLIEST} on")
        return day

    def store(self, value) -> str:
        return value.isoformat()

    def load(self, stored) -> date:
        return date.fromisoformat(stored)


@dataclass(frozen=True)
class Text(Rule):
    """Free text of at most ``cap`` characters, stripped; of one line unless ``lines``."""

    cap: int
    lines: bool = False

    @property
    def allowed(self) -> str:
        return f"at most {self.cap} characters, no control characters" + ("" if self.lines else ", one line")

    def clean(self, value: object, field: str) -> str:
        if not isinstance(value, str):
            raise BadValueError(field, value, self.allowed)
        text = value.replace("\r\n", "\n").replace("\r", "\n").strip()
        kept = text.replace("\n", "").replace("\t", "") if self.lines else text
        if len(text) > self.cap or has_control(kept):
            raise BadValueError(field, value, self.allowed)
        return text


@dataclass(frozen=True)
class Name(Rule):
    """A name in any script, 1 to 80 characters, that is safe as part of a file name."""

    cap: int = 80

    @property
    def allowed(self) -> str:
        return f"a name of 1 to {self.cap} characters, without '/', '\\', '..' or control characters"

    def clean(self, value: object, field: str) -> str:
        if not isinstance(value, str):
            raise BadValueError(field, value, self.allowed)
        name = tidy_name(value)
        unsafe = any(part in name for part in ("/", "\\", "..")) or name == "."
        if not 1 <= len(name) <= self.cap or unsafe or has_control(name):
            raise BadValueError(field, value, self.allowed)
        return name


def tidy_name(text: str) -> str:
    """A name as it is kept: composed Unicode (NFC), no spaces around it."""
    return unicodedata.normalize("NFC", text).strip()


def has_control(text: str) -> bool:
    """Whether text holds control or invisible format characters, line breaks or broken Unicode."""
    return any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp") and c not in _JOINERS for c in text)


def split_unit(given: str) -> tuple[str, str]:
    """A text as its figure and the unit behind it, both as written; a text that begins with no figure is all figure.

    >>> split_unit("620 uS/cm"), split_unit("0.75"), split_unit("about 3")
    (('620', 'uS/cm'), ('0.75', ''), ('about 3', ''))
    """
    match = _WITH_UNIT.fullmatch(given)
    return (match[1], match[2].strip()) if match else (given, "")


def plain_number(figure: str) -> float | None:
    """The number that a figure means, its decimal mark a point or, where that is beyond doubt, a comma; else None.

    >>> [plain_number(text) for text in ("1.5", "0,1", "0,125", "1,25", "1,200", "1.200,5", "x")]
    [1.5, 0.1, 0.125, 1.25, None, None, None]
    """
    if _NUMBER.fullmatch(figure):
        return float(figure)
    if _WITH_COMMA.fullmatch(figure) and not _THOUSANDS.fullmatch(figure):
        return float(figure.replace(",", "."))
    return None


def comma_hint(given: str) -> str:
    """What to write instead of a mark of thousands, or of a comma that may be one.

    >>> comma_hint("1.234,5"), comma_hint("1,200")
    ('; write it without marks of thousands, such as 1234.5', '; write 1200, or 1.2 if the comma was a decimal comma')
    """
    if _GROUPED.fullmatch(given):
        *groups, part = re.split("[.,]", given)
        return f"; write it without marks of thousands, such as {''.join(groups)}.{part}"
    if not _THOUSANDS.fullmatch(given):
        return ""
    point = float(given.replace(",", "."))
    return f"; write {given.replace(',', '')}, or {point:g} if the comma was a decimal comma"
