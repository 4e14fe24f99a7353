"""What every part of the outline document is made of: numbers as they are rounded, and what they may be.

Each part of the document is declared once, as a `Part`: its members in the order they are written, their kinds and
limits, and what they mean. From that follow the check of what is read, the text that is written and the JSON Schema
(`python -m tests.outline_schema`). Only what no schema can say is code: how a part is made `of` a record, rounded, and
what its `record` must agree with (a ring is closed, an arc has its centre where its ends say).

The declarations are msgspec Structs. Weighed: msgspec 0.22 adds 3 to 5 ms to the imports of `digitize outline` (0.7 MB,
no dependencies) and generates the schema; pydantic 2 does the same for 40 ms; attrs with cattrs makes no schema;
jsonschema checks against one, but says neither what is meant nor makes records, for 100 ms. The text itself is written
by `json` of the standard library: msgspec cannot put a line for each key.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from msgspec import Meta, Struct

from .. import records

LENGTH_DIGITS = 4  # 0.1 um, also areas in mm2 and places in px
FINE_DIGITS = 9  # ratios: mm per px, parts per mm, degrees of an arc


class UnsoundError(ValueError):
    """What is in itself a valid part of a document contradicts itself or another; says where."""


class Part(Struct, frozen=True, forbid_unknown_fields=True):
    """An object of the document with exactly the members declared."""


def about(words: str) -> Meta:
    """Return what is said of a member in the schema."""
    return Meta(description=words)


Pair = Annotated[tuple[float, float], about("x, y.")]
Positive = Annotated[float, Meta(gt=0)]
NotNegative = Annotated[float, Meta(ge=0)]
Count = Annotated[float, Meta(ge=1, multiple_of=1)]  # JSON does not tell 1 from 1.0


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
    return text.encode("utf-8", "replace").decode("utf-8")


def plain(value: Any) -> Any:
    """Return a value of an option with every text in it as UTF-8 can hold it."""
    if isinstance(value, dict):
        return {utf8(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    return utf8(value) if isinstance(value, str) else value


class Finding(Part, frozen=True, kw_only=True):
    """Something worth saying."""

    code: Annotated[str, Meta(pattern="^[a-z0-9]+(-[a-z0-9]+)*$", description="Lower-case words joined by hyphens.")]
    message: str
    value: float | None
    limit: float | None
    place_px: Pair | None
    attention: Annotated[bool, about("True: a person should look. False: a remark.")]

    @classmethod
    def of(cls, finding: records.Finding) -> Finding:
        """Return the part of a record."""
        return cls(
            code=finding.code,
            message=utf8(finding.message),
            value=None if finding.value is None else fine(finding.value),
            limit=None if finding.limit is None else fine(finding.limit),
            place_px=None if finding.place_px is None else pair(finding.place_px),
            attention=finding.attention,
        )

    def record(self) -> records.Finding:
        """Return the record of the part."""
        return records.Finding(self.code, self.message, self.value, self.limit, self.place_px, self.attention)
