"""What every part of the outline document is made of, and how it is told from a record and back.

Each part of the document is declared once, as a `Part`: its members in the order they are written, their kinds, limits
and digits, and what they mean. From that follow the check of what is read, the text that is written, the way from the
records and back, and the JSON Schema (`python -m tests.outline_schema`). Only what no schema can say is code: where
the document is ordered otherwise than the records, and what must agree (a ring is closed, an arc has its centre where
its ends say).

The declarations are msgspec Structs. Weighed by the processor time they add to the imports of `digitize outline`:
msgspec 0.22 adds 3 to 4 ms (0.7 MB, no dependencies) and generates the schema, the declarations themselves 4 to 5;
pydantic 2 would add 45 before anything is declared; jsonschema 45, and it checks against a schema but makes no
records of it; attrs with cattrs makes no schema. The text is written by `json` of the standard library, as msgspec
cannot put a line for each key and writes small numbers otherwise; but for rings, which it writes four times as quickly.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterator, Sequence
from typing import Annotated, Any, ClassVar, Self, TypeVar, get_args

from msgspec import UNSET, Meta, Struct, UnsetType, structs

from .. import records
from ..words.say import MESSAGES, step_of

LENGTH_DIGITS = 4  # 0.1 um, also areas in mm2 and places in px
FINE_DIGITS = 9  # ratios: mm per px, parts per mm, degrees of an arc
_DIGITS = "digits"


class UnsoundError(ValueError):
    """What is in itself a valid part of a document contradicts itself or another; says where."""


def about(words: str) -> Meta:
    """Return what is said of a member in the schema."""
    return Meta(description=words)


MM = Meta(extra={_DIGITS: LENGTH_DIGITS})
FINE = Meta(extra={_DIGITS: FINE_DIGITS})
Positive = Annotated[float, Meta(gt=0)]
NotNegative = Annotated[float, Meta(ge=0)]
WHOLE = {_DIGITS: 0}  # with `multiple_of`, as JSON does not tell 1 from 1.0
Count = Annotated[float, Meta(ge=1, multiple_of=1, extra=WHOLE)]
Pair = Annotated[tuple[float, float], MM, about("x, y.")]


class Part(Struct, frozen=True, forbid_unknown_fields=True):
    """An object of the document with exactly the members declared.

    A member has the name of the record's field; where the document calls it otherwise, ``field(name=...)`` says how. A
    member that may be absent is so where the record has its default.
    """

    made_of: ClassVar[type]  # the record
    of_rings: ClassVar[bool] = False  # it holds rings of lengths, thousands of them, and nothing that may be null

    @classmethod
    def of(cls, record: Any) -> Self:
        """Return the part of a record."""
        return part_of(cls, record)

    def record(self, at: str) -> Any:
        """Return the record of the part that stands at a place of a document.

        Raises
        ------
        UnsoundError
            If it contradicts itself.
        """
        return record_of(self, at)


P = TypeVar("P", bound=Part)


def part_of(kind: type[P], record: Any, **own: Any) -> P:
    """Return the part of a record, rounded; the members of `own` are made already."""
    own |= {one.name: one.written(getattr(record, one.name)) for one in _members(kind) if one.name not in own}
    return kind(**own)


def record_of(part: Part, at: str, **own: Any) -> Any:
    """Return the record of a part at a place; the fields of `own` are made already."""
    fields = {one.name for one in dataclasses.fields(part.made_of)} - own.keys()
    found = [(one, getattr(part, one.name)) for one in _members(type(part)) if one.name in fields]
    own |= {one.name: one.read(value, f"{at}.{one.called}".lstrip(".")) for one, value in found if value is not UNSET}
    try:
        return part.made_of(**own)
    except ValueError as error:  # what the record itself refuses
        raise UnsoundError(f"{at} cannot be: {error}") from error


@dataclasses.dataclass(frozen=True, slots=True)
class _Member:
    """What is declared of a member."""

    name: str
    called: str  # in the document
    digits: int | None
    parts: tuple[type[Part], ...]
    left_out: tuple[Any, ...]  # the record's default where the member may be absent

    def written(self, value: Any) -> Any:
        """Return a record's value as the document has it."""
        made = self._written(value)
        if not self.left_out:
            return made
        return UNSET if made in self.left_out or value in self.left_out else made

    def _written(self, value: Any) -> Any:
        if type(value) is float:  # most of what there is
            return self._rounded(value) if self.digits else value
        for part in self.parts:
            if type(value) is part.made_of:
                return part.of(value)
        if isinstance(value, tuple | list):
            return [self._written(one) for one in value]
        if isinstance(value, dict):
            return {utf8(key): self._written(one) for key, one in value.items()}
        if isinstance(value, str):
            return utf8(value)
        return self._rounded(value) if self.digits and value is not None else value

    def _rounded(self, value: float) -> float:
        return round(float(value), self.digits) + 0.0  # never -0.0

    def read(self, value: Any, at: str) -> Any:
        """Return a member's value as the record has it."""
        if isinstance(value, Part):
            return value.record(at)
        if isinstance(value, list):
            return tuple(self.read(one, f"{at}[{n}]") for n, one in enumerate(value))
        return int(value) if self.digits == 0 and value is not None else value


@functools.cache
def _members(kind: type[Part]) -> tuple[_Member, ...]:
    defaults = {one.name: one for one in dataclasses.fields(kind.made_of)}
    return tuple(_member(one, defaults.get(one.name)) for one in structs.fields(kind))


def _member(declared: structs.FieldInfo, of: dataclasses.Field[Any] | None) -> _Member:
    leaves = tuple(_leaves(declared.type))
    digits = [one.extra[_DIGITS] for one in leaves if isinstance(one, Meta) and one.extra]
    parts = tuple(one for one in leaves if isinstance(one, type) and issubclass(one, Part))
    default = (of.default,) if of is not None and UnsetType in leaves else ()
    return _Member(declared.name, declared.encode_name, digits[0] if digits else None, parts, default)


def _leaves(kind: Any) -> Iterator[Any]:
    """Yield what a type is put together of: types without arguments, and what is said of them."""
    inside = get_args(kind)
    if not inside:
        yield kind
    for one in inside:
        yield from _leaves(one)


def mm(value: float) -> float:
    """Return a length, an area or a place, rounded, and never -0.0."""
    return round(float(value), LENGTH_DIGITS) + 0.0


def fine(value: float) -> float:
    """Return a ratio or a small quantity, rounded, and never -0.0."""
    return round(float(value), FINE_DIGITS) + 0.0


def pair(values: Sequence[float]) -> tuple[float, float]:
    """Return a place, rounded."""
    x, y = values
    return mm(x), mm(y)


def utf8(text: str) -> str:
    """Replace what UTF-8 cannot hold: the odd bytes of a file name."""
    return text if text.isascii() else text.encode("utf-8", "replace").decode("utf-8")


class Finding(Part, frozen=True, kw_only=True):
    """Something worth saying."""

    made_of = records.Finding
    code: Annotated[str, Meta(pattern="^[a-z0-9]+(-[a-z0-9]+)*$", description="Lower-case words joined by hyphens.")]
    message: Annotated[str, about("What happened.")]
    next_step: (
        Annotated[
            str,
            Meta(min_length=1, description="What to do; follows from the code, and from whether it is of a photo."),
        ]
        | UnsetType
    ) = UNSET
    value: Annotated[float, FINE] | None
    limit: Annotated[float, FINE] | None
    place_px: Pair | None
    attention: Annotated[bool, about("True: a person should look. False: a remark.")]
    detail: Annotated[str | UnsetType, about("Figures for experts.")] = UNSET

    @classmethod
    def of(cls, record: records.Finding) -> Finding:
        """Return the part of a record, with the next step that the table of messages has for its code."""
        row = MESSAGES.get(record.code)
        told = UNSET if row is None else step_of(record.code, of_photo=record.of_photo)
        return part_of(cls, record, next_step=told)
