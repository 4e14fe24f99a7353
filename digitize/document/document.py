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

from ..records import Item, Result
from ..seal import seal
from .outline import FORMAT, VERSION, Outline
from .text import read_part, text_of

SCHEMA_FILE = "outline-v1.schema.json"


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
    part, result = read_part(data, Outline, form=FORMAT, version=VERSION, what="outline document")
    return Document(VERSION, part.written_by, result)


def _text(outline: Outline) -> str:
    return text_of(outline, items=list(outline.items))
