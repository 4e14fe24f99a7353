"""From declared parameters to a command's options and a manifest's columns, and back to what they say."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from inspect import Parameter as Argument
from typing import Annotated, Any, Generic, Protocol, Self, TypeVar, get_args, get_origin

import typer

from .kinds import Either, FileName, Switch
from .parameters import Parameter, by_keyword, declared


class Group(Protocol):
    """A dataclass whose fields are declared parameters."""

    @classmethod
    def of(cls, options: Mapping[str, object]) -> Self:
        """Return what options ask for."""
        ...


T = TypeVar("T", bound=Group)


@dataclass(frozen=True, slots=True)
class Said(Generic[T]):
    """What a user said of a group's parameters: words as they were typed, by keyword; a switch is a truth value."""

    group: type[T]
    words: Mapping[str, str | bool | None]  # of all parameters, or only of those that a command takes

    def made(self) -> T:
        """Return what is asked for.

        Raises
        ------
        UsageError
            If a word cannot be meant.
        """
        known = declared(self.group)
        words: dict[str, str | bool] = by_keyword(self.group, self.words)
        return self.group.of({key: known[key].kind.read(word, known[key].name) for key, word in words.items()})

    def said(self) -> list[str]:
        """Return the options that say something, as on the command line."""
        known = declared(self.group)
        words: dict[str, str | bool] = by_keyword(self.group, self.words)
        return [
            known[key].name
            for key, word in words.items()
            if known[key].is_said(known[key].kind.read(word, known[key].name))
        ]

    def with_words(self, words: Mapping[str, str | bool]) -> Said[T]:
        """Return the same with other words, by keyword, for those of its parameters that they name."""
        return replace(self, words={**self.words, **{key: word for key, word in words.items() if key in self.words}})

    def with_cells(self, cells: Mapping[str, str]) -> Said[T]:
        """Return the same with the cells of one row of a manifest, by column, in their place."""
        keys = {one.option: key for key, one in declared(self.group).items()}
        return replace(self, words={**self.words, **{keys[column]: cell for column, cell in cells.items()}})


def columns(group: type) -> tuple[str, ...]:
    """Return a manifest's columns: the options' names as on the command line, without the dashes in front."""
    return tuple(one.option for one in declared(group).values())


def file_columns(group: type) -> tuple[str, ...]:
    """Return those of a manifest's columns whose cells name files."""
    return tuple(one.option for one in declared(group).values() if isinstance(one.kind, FileName))


def spread(command: Callable[..., int] | None = None, *, only: Collection[str] | None = None) -> Callable[..., Any]:
    """Let a command take what was said of a group as one argument: on the command line each parameter is an option.

    Of `only` some, where they are named by their keywords; what they have in common with a group counts.
    """
    if command is None:
        return functools.partial(spread, only=only)
    signature = inspect.signature(command, eval_str=True)
    groups: dict[str, type] = {
        name: get_args(one.annotation)[0]
        for name, one in signature.parameters.items()
        if get_origin(one.annotation) is Said
    }

    @functools.wraps(command)
    def run(**given: Any) -> int:
        for name, group in groups.items():
            given[name] = Said(group, {key: given.pop(key) for key in _taken(group, only)})
        return command(**given)

    shown: list[Argument] = []
    for name, one in signature.parameters.items():
        shown += _arguments(groups[name], only) if name in groups else [one.replace(kind=Argument.KEYWORD_ONLY)]
    run.__signature__ = signature.replace(parameters=shown)  # type: ignore[attr-defined]
    run.__annotations__ = {one.name: one.annotation for one in shown}
    return run


def _taken(group: type, only: Collection[str] | None) -> dict[str, Parameter]:
    """Return the parameters of a group that a command takes: all of one that has none in common with `only`."""
    known = dict(declared(group))
    if only is None or not known.keys() & set(only):
        return known
    return {key: one for key, one in known.items() if key in only}


def _arguments(group: type, only: Collection[str] | None) -> list[Argument]:
    return [_argument(key, one) for key, one in _taken(group, only).items()]


def _argument(key: str, one: Parameter) -> Argument:
    """Return a parameter as the command-line library wants it."""
    kind: Any = str | None
    name, default = one.name, None if one.unsaid is None else one.kind.word(one.unsaid)
    if isinstance(one.kind, Switch):
        kind, default = bool, one.unsaid
    elif isinstance(one.kind, Either):
        kind, name = bool | None, "/".join(f"--{word}" for word in one.kind.choices)
    shown = {} if isinstance(one.kind, Switch | Either) else {"metavar": one.kind.metavar}
    annotation = Annotated[kind, typer.Option(name, help=one.help, **shown)]
    return Argument(key, Argument.KEYWORD_ONLY, default=default, annotation=annotation)
