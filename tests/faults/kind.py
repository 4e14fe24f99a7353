"""What a planted fault is."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault to be planted in a copy of the tree, and the tests that are to notice it."""

    name: str
    file: str
    old: str  # occurs exactly once in the file
    new: str
    tests: tuple[str, ...]  # as pytest takes them
