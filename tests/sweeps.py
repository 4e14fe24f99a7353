"""Sweeps: of many like cases the tests try those that differ most; `python -m tests.bench.sweeps` tries all."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable

import pytest

ALL = "DIGITIZE_ALL_OF_SWEEPS"


def tried(few: int, *, of: int) -> int:
    """How many of the random examples of a test marked as a sweep are tried: all where asked."""
    return of if os.environ.get(ALL) else few


def sweep(names, cases: Iterable, kept: Collection, *, ids: Callable[[object], str] | None = None):
    """Parametrize a test by those of the cases that are kept, as values or, with `ids`, by name; by all where asked."""
    every = list(cases)
    called = every if ids is None else [ids(case) for case in every]
    assert all(one in called for one in kept), "kept is what is no case"
    chosen = every if os.environ.get(ALL) else [case for case, name in zip(every, called, strict=True) if name in kept]

    said = None if ids is None else [ids(case) for case in chosen]

    def mark(test):
        return pytest.mark.sweep(pytest.mark.parametrize(names, chosen, ids=said)(test))

    return mark
