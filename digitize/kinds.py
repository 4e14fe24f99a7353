"""Kinds of parameters: what may be given for one, in words or from Python, and how it is refused."""

from __future__ import annotations

import math
import numbers
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from .errors import UsageError

_LONGEST = 60  # characters of a value in a message
MM_PER_INCH = 25.4  # the international inch of 1959, exactly (NIST SP 811, B.8)
Json = bool | int | float | str | list[Any] | dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class Kind:
    """What may be given for a parameter, in words and from Python."""

    metavar: ClassVar[str | None] = None  # on the help page; the library's own for text
    hint: ClassVar[str] = "str"  # type of the Python interface's keyword

    def read(self, word: str | bool, name: str) -> object:
        """Return what the word of a command line or a manifest's cell says; `checked` looks at it next."""
        return word

    def checked(self, value: object, name: str) -> Any:
        """Return a value from Python as the field holds it.

        Raises
        ------
        UsageError
            If it cannot be meant: naming the parameter, what was given and what is expected.
        """
        raise NotImplementedError

    def plain(self, value: Any) -> Json:
        """Return a field's value as JSON has it; `checked` takes it back."""
        return value  # type: ignore[no-any-return]

    def word(self, value: Any) -> str:
        """Return a default as on the command line."""
        return str(value)


def refusal(name: str, value: object, expected: str) -> UsageError:
    """Return the error that says what was given and what is expected."""
    return UsageError(f"{name} {shown(value)}: {expected}.")


def shown(value: object) -> str:
    """Return a value as a message shows it."""
    value = native(value)
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple | list) and 0 < len(value) <= 3:
        return ", ".join(shown(one) for one in value)
    if not isinstance(value, int | str | bytes | tuple | list | os.PathLike | None):
        return f"({type(value).__name__})"
    text = value if isinstance(value, str) else repr(value)
    return (text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "...") or '""'


def native(value: Any) -> Any:
    """Return a scalar or short array of numpy, or of what is like it, as Python's own; anything else as it is."""
    dimensions = getattr(value, "ndim", None)
    if dimensions == 0 and hasattr(value, "item"):
        return value.item()
    return value.tolist() if dimensions == 1 and hasattr(value, "tolist") and len(value) <= 3 else value


# --- numbers ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Number(Kind):
    """A number between two limits."""

    low: float
    high: float
    unit: str = ""

    metavar = "<float>"
    hint = "float"

    @property
    def expected(self) -> str:
        """The range in words."""
        return f"{self.low:g} to {self.high:g}{self.unit and ' ' + self.unit}"

    def read(self, word: str | bool, name: str) -> float:
        """Read a number with a point or, as many countries write it, a comma."""
        text, each = in_mm(str(word), self.unit)
        value = number_in(text)
        if value is None:
            raise refusal(name, word, f"expected a number, {self.expected}")
        if each != 1.0:
            return value * each
        thousands = number_in(text.replace(",", "")) if re.fullmatch(r"[1-9]\d{0,2},\d{3}", text) else None
        if thousands is not None and self.low <= value and thousands <= self.high:
            raise refusal(name, word, f"is that {value:g} or {thousands:g}? Write it without the comma")
        return value

    def checked(self, value: object, name: str) -> float:
        """Return a number of any kind but text as a float within the limits."""
        number = as_number(value)
        if number is None:
            raise refusal(name, value, f"expected a number, {self.expected}")
        if not self.low <= number <= self.high:  # nor if it is none (nan)
            raise refusal(name, number, f"expected {self.expected}")
        return number

    def word(self, value: Any) -> str:
        """Return a default as on the command line."""
        return f"{value:g}"


@dataclass(frozen=True, slots=True)
class Whole(Kind):
    """A whole number between two limits."""

    low: int
    high: int

    metavar = "<int>"
    hint = "int"

    def read(self, word: str | bool, name: str) -> object:
        """Read digits, perhaps with a sign."""
        text = str(word).strip()
        return int(text) if re.fullmatch(r"[+-]?[0-9]{1,9}", text) else word

    def checked(self, value: object, name: str) -> int:
        """Return a whole number of any integer kind."""
        plain = native(value)
        if not isinstance(plain, int) or isinstance(plain, bool) or not self.low <= plain <= self.high:
            raise refusal(name, value, f"expected a whole number, {self.low} to {self.high}")
        return plain


@dataclass(frozen=True, slots=True)
class TwoNumbers(Kind):
    """One number or two, such as 50 or 49.8x49.9; one stands for both unless it is said what the two are."""

    low: float
    high: float
    unit: str = ""
    apart: float = 1.1  # two that are meant together differ by this factor at most
    both: str = ""  # what the two are, where one number is not enough to say them

    hint = "float | tuple[float, float]"

    def read(self, word: str | bool, name: str) -> object:
        """Read "50", "49.8x49.9" (also with a multiplication sign, or decimal commas), of lengths "2in" or "2x3in"."""
        text, each = in_mm(str(word), self.unit)
        numbers = [number_in(part) for part in re.split(r"[xX×]", text)]
        if len(numbers) not in (1, 2) or None in numbers:
            two = [number_in(part) for part in re.split("[,;]", text)]
            meant = len(two) == 2 and all(one is not None and self.low <= one <= self.high for one in two)
            such = "x".join(map(shown, two)) if meant else "50 or 49.8x49.9"
            raise refusal(name, word, f"expected one number or two with an x between them, such as {such}")
        self._refuse_two_with_comma(text, name)
        if len(numbers) == 1:
            self._refuse_one(text, name)
        first, last = numbers[0], numbers[-1]
        return None if first is None or last is None else (first * each, last * each)

    def _refuse_two_with_comma(self, text: str, name: str) -> None:
        """Refuse "50,50": it may be one number or two that are nearly alike."""
        left, comma, right = text.partition(",")
        if not comma or not left.isdecimal() or not right.isdecimal() or right.startswith("0"):
            return
        one, two = float(left), float(right)
        if self.low <= two <= self.high and max(one, two) <= self.apart * min(one, two):
            raise refusal(name, text, f"for two numbers write {left}x{right}, for one {left}.{right}")

    def _refuse_one(self, text: str, name: str) -> None:
        """Refuse one number where the two differ as a rule: the other side may just have been left out."""
        if self.both:
            raise refusal(name, text, f"expected {self.both}; if both are {text}, say {text}x{text}")

    def checked(self, value: object, name: str) -> tuple[float, float]:
        """Return two numbers within the limits; one stands for both."""
        number = as_number(value)
        if number is not None:
            self._refuse_one(f"{number:g}", name)
        pair = as_two(value) if number is None else (number, number)
        if pair is None:
            raise refusal(name, value, "expected a number, or two")
        if not all(self.low <= one <= self.high for one in pair):
            unit = self.unit and " " + self.unit
            raise refusal(name, "x".join(map(shown, pair)), f"expected values from {self.low:g} to {self.high:g}{unit}")
        return pair

    def plain(self, value: Any) -> Json:
        """Return the two as a list."""
        return list(value)


@dataclass(frozen=True, slots=True)
class Place(Kind):
    """A place in a picture, in pixels."""

    hint = "tuple[float, float]"
    most: ClassVar[float] = 1e6  # px; no picture is read that is as wide

    def read(self, word: str | bool, name: str) -> object:
        """Read "X,Y"."""
        parts = str(word).split(",")
        numbers = [number_in(part) for part in parts]
        if len(parts) != 2 or None in numbers:
            raise refusal(name, word, "expected two numbers with a comma, such as 1200,850 (pixels)")
        return tuple(numbers)

    def checked(self, value: object, name: str) -> tuple[float, float]:
        """Return x and y."""
        pair = as_two(value)
        if pair is None or not all(abs(one) <= self.most for one in pair):
            raise refusal(name, value, "expected two numbers, x and y, such as 1200,850 (pixels)")
        return pair

    def plain(self, value: Any) -> Json:
        """Return the two as a list."""
        return list(value)


_UNIT = re.compile(r"(?<=[\d.,\s])\s*(mm|cm|in|inch|inches|\"|″)\s*(?=$|[xX×])")
_MM = {"mm": 1.0, "cm": 10.0}


def in_mm(word: str, unit: str) -> tuple[str, float]:
    """Return a length without its unit, and how many mm each is: 1 unless it says cm or inches ("2in", "2x3in")."""
    text = word.strip()
    said = {_MM.get(one, MM_PER_INCH) for one in _UNIT.findall(text)} if unit == "mm" else set()
    if len(said) != 1:
        return text, 1.0
    return _UNIT.sub("", text), said.pop()


_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,3})?", re.ASCII)


def number_in(text: str) -> float | None:
    """Return the number that a text is, with a point or a comma before its decimals; None if it is none."""
    return float(text.strip().replace(",", ".")) if _NUMBER.fullmatch(text.strip()) else None


def as_number(value: object) -> float | None:
    """Return a number of any kind as a float; None for text, truth values and whatever else is none."""
    plain = native(value)
    if isinstance(plain, bool) or not isinstance(plain, numbers.Real):
        return None
    try:
        return float(plain)
    except OverflowError:
        return math.inf


def as_two(value: object) -> tuple[float, float] | None:
    """Return two numbers out of a sequence of two."""
    plain = native(value)
    if not isinstance(plain, Sequence) or isinstance(plain, str | bytes) or len(plain) != 2:
        return None
    first, second = as_number(plain[0]), as_number(plain[1])
    return None if first is None or second is None else (first, second)


# --- words -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Switch(Kind):
    """Yes or no."""

    hint = "bool"

    def read(self, word: str | bool, name: str) -> object:
        """Read a manifest's yes or no; on the command line the option itself says it."""
        return word if isinstance(word, bool) else yes_or_no(word, name)

    def checked(self, value: object, name: str) -> bool:
        """Return a truth value; numbers and words are none."""
        plain = native(value)
        if not isinstance(plain, bool):
            raise refusal(name, value, "expected True or False")
        return plain


@dataclass(frozen=True, slots=True)
class Choice(Kind):
    """One word of several."""

    choices: tuple[str, ...]

    @property
    def hint(self) -> str:  # type: ignore[override]
        """Type of the keyword."""
        quoted = (f'"{one}"' for one in self.choices)
        return f"Literal[{', '.join(quoted)}]"

    def read(self, word: str | bool, name: str) -> object:
        """Return the word that is meant, in capitals too."""
        small = str(word).strip().lower()
        return small if small in self.choices else word

    def checked(self, value: object, name: str) -> str:
        """Return the word."""
        if not isinstance(value, str) or value not in self.choices:
            raise refusal(name, value, f"choose from {', '.join(self.choices)}")
        return value


@dataclass(frozen=True, slots=True)
class Either(Choice):
    """One of two words; on the command line two options, in a manifest yes (the first) or no."""

    def read(self, word: str | bool, name: str) -> object:
        """Read which of the two options was given, or a manifest's yes or no."""
        yes = word if isinstance(word, bool) else yes_or_no(word, name)
        return self.choices[0 if yes else 1]


@dataclass(frozen=True, slots=True)
class FileName(Kind):
    """The path of a file."""

    hint = "str | os.PathLike[str]"

    def checked(self, value: object, name: str) -> str:
        """Return the path as text."""
        text = os.fspath(value) if isinstance(value, str | os.PathLike) else None
        if not isinstance(text, str) or not text.strip() or "\0" in text:
            raise refusal(name, value, "expected the path of a file")
        return text


def yes_or_no(word: str, name: str) -> bool:
    """Read a manifest's cell.

    Raises
    ------
    UsageError
        If it is neither.
    """
    if word.strip().lower() not in ("yes", "no"):
        raise refusal(name, word, "expected yes or no")
    return word.strip().lower() == "yes"
