"""Words of the command line made what our commands declare: text, paths and lists of them, nothing else.

The library of the command line has another one check them, from 0.29 on, whose import alone takes as long as numpy's.
Where it has no such place, or a command declares something else, it is left to do as it does.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_ONE: tuple[type, ...] = (str, Path)
_MANY: dict[Any, type] = {list[str]: str, list[Path]: Path}


@dataclass(frozen=True, slots=True)
class _Plain:
    """In the place of the library's own: text as it is, or as a path."""

    kind: type
    many: bool

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        """Return a parameter's value, or its values."""
        if self.many:
            return () if value is None else [self.kind(one) for one in value]
        return None if value is None else self.kind(value)


@dataclass(frozen=True, slots=True)
class _Unsaid:
    """In the place of the library's own: a switch that nobody touched; a word for one is left to the library."""

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        """Return no value, or the library's."""
        if value is None:
            return None
        param._runtime_param = None
        return param.get_runtime_param().coerce(value, param=param, ctx=ctx)


def take_plainly(parameters: Iterable[Any]) -> None:
    """Make parameters of text and paths take their words without further checks: none is asked for."""
    for one in parameters:
        kind = getattr(getattr(one, "type_descriptor", None), "annotation", None)
        if getattr(one, "_runtime_param", kind) is not None:
            continue
        if kind in _ONE:
            one._runtime_param = _Plain(kind, many=False)
        elif kind in _MANY:
            one._runtime_param = _Plain(_MANY[kind], many=True)
        elif kind is bool:
            one._runtime_param = _Unsaid()
