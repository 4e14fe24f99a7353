"""Parameters that declare themselves: kind, range, unit, help and default stand once, beside the field they fill.

A dataclass declares its fields with `option`. The command's options, a manifest's columns, the checks, the Python
interface's keywords and the README's tables follow from there (`declared`), and so do the tests of what is refused.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import Field, dataclass, field, fields, replace
from typing import Any, Self, TypeVar

from .errors import UsageError
from .kinds import Json, Kind, native, shown

T = TypeVar("T")
_MARK = "parameter"  # key of a field's metadata


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter: where it stands and what may be given."""

    kind: Kind
    help: str
    field: str = ""  # of the dataclass that declares it
    option: str = ""  # on the command line, without the dashes; also a manifest's column
    keyword: str = ""  # of the Python interface
    default: Any = None
    words: str = ""  # what it is called in a sentence
    tables: tuple[str, ...] = ()  # of the file of ways of cutting
    group: type | None = None  # a dataclass of further parameters, of which the field holds one

    @property
    def name(self) -> str:
        """What messages call it."""
        return f"--{self.option}"

    @property
    def unsaid(self) -> Any:
        """What a command or keyword has where nothing is said; None where a table says what holds then."""
        return None if self.tables or self.group else self.default

    def is_said(self, value: object) -> bool:
        """Tell a value from one that says nothing."""
        plain = native(value)
        return plain is not None and not (type(plain) is type(self.unsaid) and plain == self.unsaid)

    def checked(self, value: object) -> Any:
        """Return a value as the field holds it; None where that stands for what is not given.

        Raises
        ------
        UsageError
            If it cannot be meant.
        """
        return None if value is None and self.default is None else self.kind.checked(value, self.name)

    def said(self, value: Any) -> str:
        """Return a value in words: ``kerf 0.2 mm``."""
        unit = getattr(self.kind, "unit", "")
        return f"{self.words} {shown(value)}{unit and ' ' + unit}"


def option(
    default: Any,
    kind: Kind,
    help: str,
    *,
    name: str = "",
    keyword: str = "",
    words: str = "",
    tables: tuple[str, ...] = (),
    group: type | None = None,
) -> Any:
    """Declare a field of a dataclass as a parameter.

    Parameters
    ----------
    default
        What holds if nothing is given.
    kind, help
        What may be given; what it is for. Without help the field is no option itself, only those of its group are.
    name, keyword
        Option and keyword, where they do not follow from the field's name.
    words, tables, group
        See `Parameter`.
    """
    one = Parameter(kind, help, "", name, keyword, default, words, tables, group)
    return field(default=default, metadata={_MARK: one})


_UNIT = re.compile("_(mm|px|deg|percent)$")


def own_parameters(of: Any) -> tuple[Parameter, ...]:
    """Return the parameters that a dataclass itself declares."""
    return tuple(_placed(one) for one in fields(of) if _MARK in one.metadata)


def _placed(one: Field[Any]) -> Parameter:
    held: Parameter = one.metadata[_MARK]
    name = held.option or _UNIT.sub("", one.name).replace("_", "-")
    return replace(held, field=one.name, option=name, keyword=held.keyword or one.name)


def declared(of: Any) -> Mapping[str, Parameter]:
    """Return all parameters of a dataclass by keyword, those of its groups in their place."""
    found: dict[str, Parameter] = {}
    for one in own_parameters(of):
        found |= {} if one.group is None else declared(one.group)
        if one.help:
            found[one.keyword] = one
    return found


def check_fields(record: Any, *, but: Collection[str] = ()) -> None:
    """Check the parameters of a frozen record that is being made, `but` some, and put them there as their kinds do.

    Raises
    ------
    UsageError
        At the first that cannot be meant.
    """
    for one in own_parameters(type(record)):
        if one.field not in but:
            object.__setattr__(record, one.field, one.checked(getattr(record, one.field)))


def given(record: Any) -> dict[str, Json]:
    """Return the parameters of a record that are not as if nothing were given, by field, as JSON has them."""
    return {
        one.field: one.kind.plain(value)
        for one in own_parameters(type(record))
        if (value := getattr(record, one.field)) != one.default
    }


def by_keyword(of: type, values: Mapping[str, T | None]) -> dict[str, T]:
    """Return values under their keywords; they may be named by keyword, option or field. None is left out.

    Raises
    ------
    UsageError
        If a name is not known, or is there twice.
    """
    names = {name: key for key, one in declared(of).items() for name in (one.option, one.field)}
    names |= {key: key for key in declared(of)}
    found: dict[str, T] = {}
    for name, value in values.items():
        if name not in names:
            raise UsageError(f"{shown(name)} is no option. There are {', '.join(declared(of))}.")
        if names[name] in found:
            raise UsageError(f"{name} is given twice, under two names.")
        if value is not None:
            found[names[name]] = value
    return found


class Declared:
    """What a frozen dataclass of declared parameters is by default: checked as it is made, and made of options."""

    __slots__ = ()

    def __post_init__(self) -> None:
        """Refuse values that cannot be meant.

        Raises
        ------
        UsageError
            Naming the option, what was given and what is expected.
        """
        check_fields(self)

    @classmethod
    def of(cls, options: Mapping[str, object]) -> Self:
        """Return what options ask for; they may be named by keyword, option or field, and None is not given.

        Raises
        ------
        UsageError
            If a name is not known or a value cannot be meant.
        """
        return cls(**by_keyword(cls, options))
