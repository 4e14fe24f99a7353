"""What is wrong with a document, as a sentence: where in it, what was expected there and what was found."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import msgspec
from msgspec import inspect

_LONGEST = 40  # characters shown of what was found
_KINDS = {
    "object": "an object",
    "array": "a list",
    "str": "a text",
    "bool": "true or false",
    "int": "a whole number",
    "float": "a number",
    "null": "null",
}
_LIMITS = {">=": "of {} or more", ">": "above {}", "<=": "of {} or less", "<": "below {}"}
_ERROR = re.compile(r"(?P<said>.*?)(?: - at (?:`key` in )?`\$(?P<path>.*)`)?", re.DOTALL)
_EXPECTED = re.compile(r"Expected `(?P<kinds>.*?)`(?: (?P<limit>>=|<=|>|<) (?P<bound>\S+)| (?P<more>.*))?(?:, got .*)?")


def sentence(error: msgspec.ValidationError, root: object, kind: type) -> str:
    """Return what `error`, raised on reading `root` as `kind`, means to a person."""
    match = _ERROR.fullmatch(str(error))
    said, path = (match["said"], match["path"] or "") if match else (str(error), "")
    where = path.lstrip(".")
    for named, meaning in (("missing required", "is missing"), ("contains unknown", "is not known")):
        if named in said:
            return f"'{said.split('`')[1][:_LONGEST]}' {meaning}{f' in {where}' if where else ''}"
    return f"{where or 'the whole'} should be {_expected(said, path, kind)}{_found(path, root)}"


def _expected(said: str, path: str, kind: type) -> str:
    """Return what may stand there."""
    if said.startswith("Invalid"):
        return "one of " + ", ".join(sorted(_choices(inspect.type_info(kind), _steps(path))))
    match = _EXPECTED.fullmatch(said)
    if match is None:
        return "a finite number" if "out of range" in said else f"what the schema says ({said})"
    if match["more"] == "that's a multiple of 1.0":
        return "a whole number"
    words = " or ".join(_KINDS.get(one, one) for one in match["kinds"].split(" | "))
    if match["limit"]:
        return f"{words} " + _LIMITS[match["limit"]].format(f"{float(match['bound']):g}")
    length = re.match(r"of length (>= )?(\d+)", match["more"] or "")
    if length:
        return f"{words} of {'at least ' if length[1] else ''}{length[2]}"
    pattern = re.match(r"matching regex '(.*)'", match["more"] or "")
    return f"{words} of the form {pattern[1].strip('^$')}" if pattern else words


def _found(path: str, root: object) -> str:
    """Return what stands there; nothing where the path does not tell which member it is."""
    value = root
    for step in _steps(path):
        if step == "..." or not isinstance(value, list | dict):
            return ""
        value = value[step]  # type: ignore[index]
    return f", it is {json.dumps(value, ensure_ascii=False)[:_LONGEST]}"


def _steps(path: str) -> list[str | int]:
    """Return the keys and numbers of ``.items[0].width_mm``; "..." is a member of unknown key."""
    return [
        key or (number if number == "..." else int(number)) for key, number in re.findall(r"\.(\w+)|\[(.*?)\]", path)
    ]


def _choices(kind: inspect.Type, steps: list[str | int]) -> Iterator[str]:
    """Yield the words that may stand at a place of a declaration."""
    if isinstance(kind, inspect.Metadata):
        yield from _choices(kind.type, steps)
    elif isinstance(kind, inspect.UnionType):
        for one in kind.types:
            yield from _choices(one, steps)
    elif isinstance(kind, inspect.LiteralType) and not steps:
        yield from map(str, kind.values)
    elif isinstance(kind, inspect.DictType):
        yield from _choices(kind.value_type if steps else kind.key_type, steps[1:])
    elif isinstance(kind, inspect.StructType) and steps:
        if [kind.tag_field] == steps:
            yield str(kind.tag)
        for field in kind.fields:
            if field.encode_name == steps[0]:
                yield from _choices(field.type, steps[1:])
    elif isinstance(kind, inspect.ListType) and steps:
        yield from _choices(kind.item_type, steps[1:])
