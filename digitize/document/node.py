"""A value inside a JSON document that knows where it stands and says what is wrong with it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from ..records import FloatArray, frozen_array

Choice = TypeVar("Choice", bound=str)


class NodeError(ValueError):
    """A value that is not what it must be, with its place in the document."""


class Node:
    """A value and its place; every method returns what was asked for or raises `NodeError`."""

    __slots__ = ("value", "where")

    def __init__(self, value: object, where: str = "") -> None:
        self.value = value
        self.where = where

    def bad(self, expected: str) -> NodeError:
        """Return the error that says what was expected here and what was found."""
        found = repr(self.value)
        return NodeError(f"{self.where or 'the whole'} should be {expected}, it is {found[:40]}")

    def keys(self, names: Sequence[str], *, optional: Sequence[str] = ()) -> dict[str, Node]:
        """Return the members of an object that has exactly these keys, and perhaps some of the optional ones."""
        if not isinstance(self.value, dict):
            raise self.bad("an object")
        inside = f" in {self.where}" if self.where else ""
        for name in names:
            if name not in self.value:
                raise NodeError(f"'{name}' is missing{inside}")
        for name in self.value:
            if name not in names and name not in optional:
                raise NodeError(f"'{name[:40]}' is not known{inside}")
        there = (*names, *(name for name in optional if name in self.value))
        return {name: Node(self.value[name], f"{self.where}.{name}".lstrip(".")) for name in there}

    def entries(self) -> list[tuple[str, Node]]:
        """Return key and value of every member of an object."""
        if not isinstance(self.value, dict):
            raise self.bad("an object")
        return [(key, Node(value, f"{self.where}.{key}")) for key, value in self.value.items()]

    def list(self, *, least: int = 0) -> list[Node]:
        """Return the members of an array of at least `least`."""
        if not isinstance(self.value, list):
            raise self.bad("a list")
        if len(self.value) < least:
            raise NodeError(f"{self.where} should hold at least {least}, it holds {len(self.value)}")
        return [Node(value, f"{self.where}[{n}]") for n, value in enumerate(self.value)]

    def text(self) -> str:
        """Return a string."""
        if not isinstance(self.value, str):
            raise self.bad("a text")
        return self.value

    def choice(self, among: Sequence[Choice]) -> Choice:
        """Return a string that is one of `among`."""
        for one in among:
            if self.value == one:
                return one
        raise self.bad("one of " + ", ".join(among))

    def flag(self) -> bool:
        """Return true or false."""
        if not isinstance(self.value, bool):
            raise self.bad("true or false")
        return self.value

    def number(self, *, above: float = -math.inf, least: float = -math.inf) -> float:
        """Return a finite number greater than `above` and not less than `least`."""
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise self.bad("a number")
        try:
            found = float(self.value)
        except OverflowError:
            raise self.bad("a number of a sensible size") from None
        if not math.isfinite(found):
            raise self.bad("a finite number")
        if not found > above:
            raise self.bad(f"a number above {above:g}")
        if found < least:
            raise self.bad(f"a number of {least:g} or more")
        return found

    def count(self, *, least: int) -> int:
        """Return a whole number not less than `least`."""
        found = self.number(least=least)
        if found != int(found):
            raise self.bad("a whole number")
        return int(found)

    def pair(self) -> tuple[float, float]:
        """Return two numbers."""
        members = self.list()
        if len(members) != 2:
            raise self.bad("two numbers")
        return members[0].number(), members[1].number()

    def points(self, *, least: int) -> FloatArray:
        """Return a read-only (N, 2) array of at least `least` pairs."""
        if not isinstance(self.value, list) or len(self.value) < least:
            raise self.bad(f"a list of at least {least} points")
        for n, point in enumerate(self.value):
            if not (isinstance(point, list) and len(point) == 2 and all(type(v) in (int, float) for v in point)):
                raise Node(point, f"{self.where}[{n}]").bad("two numbers")
        try:
            return frozen_array(np.array(self.value, dtype=np.float64), columns=2)
        except (ValueError, OverflowError):
            raise self.bad("a list of points of a sensible size") from None
