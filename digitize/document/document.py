"""The outline document: JSON in and out, the interface to whatever comes after.

Its parts are declared in the modules beside this one; here they become text and are read back into the same records
that the writers take. The JSON Schema that follows from the declarations is in the package (`schema`).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any, cast

import msgspec

from ..errors import DocumentError
from ..records import Item, Result
from ..seal import __version__, seal
from .damage import sentence
from .form import Part, UnsoundError
from .outline import FORMAT, VERSION, Outline

SCHEMA_FILE = "outline-v1.schema.json"
LARGEST_BYTES = 512 * 2**20


@dataclass(frozen=True, slots=True)
class Document:
    """An outline document as read."""

    version: int  # of the form
    written_by: str  # "digitize 0.1.0"
    result: Result  # items without `contours`: the edge in the picture is not kept

    @property
    def items(self) -> tuple[Item, ...]:
        """The items in reading order."""
        return self.result.items


def schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of version 1."""
    text = resources.files("digitize").joinpath("data", SCHEMA_FILE).read_text("utf-8")
    return cast("dict[str, Any]", json.loads(text))


def document_bytes(result: Result, *, items: Sequence[Item] | None = None) -> bytes:
    """Return the result as an outline document, UTF-8.

    Keys stand in a fixed order and lengths are rounded to 0.1 um, so that the same result gives
    the same bytes. What is derived (an arc's centre) is derived from the rounded numbers: reading
    a document and writing it again changes nothing.

    Parameters
    ----------
    result : Result
        What to write.
    items : sequence of Item, optional
        Only these.
    """
    return seal(_text(Outline.of(result if items is None else replace(result, items=tuple(items)))).encode())


def document_line(result: Result) -> bytes:
    """Return the same outline document on one line, so that those of several pictures can follow one another."""
    # a line's end never stands within a string of JSON (RFC 8259, section 7)
    return seal((_text(Outline.of(result)).replace("\n", "") + "\n").encode())


def read_document(data: bytes) -> Document:
    """Read an outline document.

    Raises
    ------
    DocumentError
        If `data` is not JSON, not an outline document, of a newer version, or says something that
        the schema does not allow or that cannot be (an open ring, an arc off its centre).
    """
    root = _parsed(data)
    if not isinstance(root, dict) or root.get("format") != FORMAT:
        raise DocumentError(f'this is no outline document: it does not say "format": "{FORMAT}"')
    version = root.get("version")
    if type(version) is not int or version < 1:
        raise DocumentError(f"the outline document does not say which version it is, it says {version!r}")
    if version > VERSION:
        raise DocumentError(
            f"the outline document is of version {version}, this digitize {__version__} reads version {VERSION}: "
            "use a newer digitize"
        )
    try:
        outline = msgspec.json.decode(data, type=Outline)
        return Document(version, outline.written_by, outline.record())
    except msgspec.ValidationError as error:
        raise DocumentError(f"the outline document is damaged: {sentence(error, root, Outline)}") from error
    except UnsoundError as error:
        raise DocumentError(f"the outline document is damaged: {error}") from error
    except msgspec.DecodeError as error:  # it is JSON, but for what RFC 8259 calls unpredictable in section 8.2
        raise DocumentError("the outline document is damaged: a text in it holds half of a character") from error


def _text(outline: Outline) -> str:
    """Return a document as text, a line for each key so that two can be compared."""
    items = "[\n" + ",\n".join(" {" + ",\n  ".join(_lines(item)) + "}" for item in outline.items) + "\n]"
    return "{\n" + ",\n".join(_lines(outline, items=items)) + "\n}\n"


def _lines(part: Part, **made: str) -> list[str]:
    """Return a line for each member of a part; those of `made` are text already."""
    members = _members(part).items()
    return [f"{_json(key)}: {made[key] if key in made else _json(value)}" for key, value in members]


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, default=_members)


def _members(part: Part) -> dict[str, object]:
    """Return what is written of a part: not all at once by `msgspec.to_builtins`, which would copy every ring."""
    config = part.__struct_config__
    tag = {config.tag_field: config.tag} if config.tag_field else {}
    values = zip(part.__struct_encode_fields__, msgspec.structs.astuple(part), strict=True)
    return tag | {key: value for key, value in values if value is not msgspec.UNSET}


def _parsed(data: bytes) -> object:
    if len(data) > LARGEST_BYTES:
        raise DocumentError(
            f"{len(data) / 2**20:.0f} MiB is no outline document: the most is {LARGEST_BYTES >> 20} MiB"
        )
    try:
        return json.loads(data.decode("utf-8"), parse_constant=_no_constant, object_pairs_hook=_no_twins)
    except UnicodeDecodeError as error:
        raise DocumentError("this is no outline document: it is not UTF-8 text") from error
    except json.JSONDecodeError as error:
        raise DocumentError(
            f"this is no outline document, or a damaged one: {error.msg} in line {error.lineno}, column {error.colno}"
        ) from error
    except RecursionError as error:
        raise DocumentError("this is no outline document: it is nested too deeply") from error
    except ValueError as error:  # a constant, a twin, or an integer of thousands of digits
        raise DocumentError(f"this is no outline document, or a damaged one: {error}") from error


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number JSON allows")


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice in one object")
    return found
