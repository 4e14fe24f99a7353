"""The published JSON Schema of the outline document, from its declaration.

`python -m tests.outline_schema` writes it again after a part was changed; tests/test_document.py tells when.
"""

from __future__ import annotations

import json
from pathlib import Path

import msgspec

from digitize.document.document import SCHEMA_FILE
from digitize.document.outline import VERSION, Outline

FILE = Path(__file__).resolve().parents[1] / "digitize" / "data" / SCHEMA_FILE


def generated() -> dict:
    """Return the schema as declared, after JSON Schema 2020-12."""
    made = msgspec.json.schema(Outline)
    root = made["$defs"].pop("Outline")
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": SCHEMA_FILE,
        "title": f"Outline document, version {VERSION}",
    }
    return _plain(head | {key: value for key, value in root.items() if key != "title"} | {"$defs": made["$defs"]})


def _plain(part):
    """Return a part in the plainest words for the same: no discriminator (OpenAPI's), whole numbers as integers."""
    if isinstance(part, list):
        return [_plain(value) for value in part]
    if not isinstance(part, dict):
        return part
    made = {key: _plain(value) for key, value in part.items() if key != "discriminator"}
    if made.get("multipleOf") == 1:
        made = {key: value for key, value in made.items() if key != "multipleOf"} | {"type": "integer"}
    if len(made.get("enum", ())) == 1:
        made = {"const" if key == "enum" else key: value[0] if key == "enum" else value for key, value in made.items()}
    if isinstance(made.get("description"), str):
        made["description"] = " ".join(made["description"].split())
    return made


def text() -> str:
    """Return the file's text."""
    return json.dumps(generated(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
    print(f"wrote {FILE}")
