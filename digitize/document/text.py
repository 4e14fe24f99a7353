"""A document of ours as text, a line for each key, and back: what outline documents and plates have in common."""

from __future__ import annotations

import json
from typing import Any, TypeVar

import msgspec

from ..errors import DocumentError
from ..seal import __version__
from .damage import sentence
from .form import Part, UnsoundError

LARGEST_BYTES = 512 * 2**20
P = TypeVar("P", bound=Part)


def read_part(data: bytes, kind: type[P], *, form: str, version: int, what: str) -> tuple[P, Any]:
    """Return a document as its part and as its record.

    Parameters
    ----------
    data
        The file.
    kind, form, version
        The declaration of the whole, what its "format" says, and the newest version that can be read.
    what
        What it is called in messages: "outline document".

    Raises
    ------
    DocumentError
        If `data` is not JSON, not such a document, of a newer version, or says what the schema does not allow or what
        cannot be.
    """
    root = _parsed(data, what)
    if not isinstance(root, dict) or root.get("format") != form:
        raise DocumentError(f'this is no {what}: it does not say "format": "{form}"')
    _check_version(root.get("version"), version, what)
    try:
        part = msgspec.json.decode(data, type=kind)
        return part, part.record("")
    except msgspec.ValidationError as error:
        raise DocumentError(f"the {what} is damaged: {sentence(error, root, kind)}") from error
    except UnsoundError as error:
        raise DocumentError(f"the {what} is damaged: {error}") from error
    except msgspec.DecodeError as error:  # it is JSON, but for what RFC 8259 calls unpredictable in section 8.2
        raise DocumentError(f"the {what} is damaged: a text in it holds half of a character") from error


def _check_version(version: object, newest: int, what: str) -> None:
    if type(version) is not int or version < 1:
        raise DocumentError(f"the {what} does not say which version it is, it says {version!r}")
    if version > newest:
        raise DocumentError(
            f"the {what} is of version {version}, this digitize {__version__} reads version {newest}: "
            "use a newer digitize"
        )


def text_of(whole: Part, **listed: list[Part]) -> str:
    """Return a document as text, a line for each key so that two can be compared; those of `listed` parts too."""
    made = {
        key: "[\n" + ",\n".join(" {" + ",\n  ".join(_lines(one)) + "}" for one in parts) + "\n]"
        for key, parts in listed.items()
    }
    return "{\n" + ",\n".join(_lines(whole, **made)) + "\n}\n"


def _lines(part: Part, **made: str) -> list[str]:
    """Return a line for each member of a part; those of `made` are text already."""
    members = _members(part).items()
    return [f'"{key}": {made[key] if key in made else _json(value)}' for key, value in members]


def _json(value: object) -> str:
    return _of_rings(value) if isinstance(value, Part) and value.of_rings else _ENCODER.encode(value)


def _of_rings(part: Part) -> str:
    """Return a part with rings: rounded lengths look the same by msgspec, but for what is no number."""
    text = msgspec.json.format(msgspec.json.encode(part), indent=0).decode()
    if "null" in text:
        raise ValueError("a ring holds what is no number")
    return text


def _members(part: Part) -> dict[str, object]:
    """Return what is written of a part: not all at once by `msgspec.to_builtins`, which would copy every ring."""
    config = part.__struct_config__
    found: dict[str, object] = {config.tag_field: config.tag} if config.tag_field else {}
    for key, value in zip(part.__struct_encode_fields__, msgspec.structs.astuple(part), strict=True):
        if value is not msgspec.UNSET:
            found[key] = value
    return found


_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, default=_members)


def _parsed(data: bytes, what: str) -> object:
    if len(data) > LARGEST_BYTES:
        raise DocumentError(f"{len(data) / 2**20:.0f} MiB is no {what}: the most is {LARGEST_BYTES >> 20} MiB")
    try:
        return json.loads(data.decode("utf-8"), parse_constant=_no_constant, object_pairs_hook=_no_twins)
    except UnicodeDecodeError as error:
        raise DocumentError(f"this is no {what}: it is not UTF-8 text") from error
    except json.JSONDecodeError as error:
        raise DocumentError(
            f"this is no {what}, or a damaged one: {error.msg} in line {error.lineno}, column {error.colno}"
        ) from error
    except RecursionError as error:
        raise DocumentError(f"this is no {what}: it is nested too deeply") from error
    except ValueError as error:  # a constant, a twin, or an integer of thousands of digits
        raise DocumentError(f"this is no {what}, or a damaged one: {error}") from error


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number JSON allows")


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice in one object")
    return found
