"""Faults that the tests must notice, a module a room; `tests/mutate.py` plants them."""

from __future__ import annotations

import importlib
import pkgutil

from .kind import Fault


def _all() -> tuple[Fault, ...]:
    found: list[Fault] = []
    for module in sorted(one.name for one in pkgutil.iter_modules(__path__) if one.name != "kind"):
        found += importlib.import_module(f"{__name__}.{module}").FAULTS
    names = [fault.name for fault in found]
    assert len(set(names)) == len(names), "two faults of the same name"
    return tuple(found)


FAULTS = _all()

__all__ = ["FAULTS", "Fault"]
