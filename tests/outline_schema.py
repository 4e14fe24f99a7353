"""The published JSON Schemas of the outline document and of the plate, from their declarations.

`python -m tests.outline_schema` writes them again after a part was changed; tests/test_document.py and
tests/test_plate_document.py tell when.
"""

from __future__ import annotations

import json
from pathlib import Path

import msgspec

from digitize.document import plate
from digitize.document.document import SCHEMA_FILE
from digitize.document.outline import VERSION, Outline

DATA = Path(__file__).resolve().parents[1] / "digitize" / "data"
FILE = DATA / SCHEMA_FILE
PLATE_FILE = DATA / plate.SCHEMA_FILE


def generated(
    whole: type = Outline, file: str = SCHEMA_FILE, title: str = f"Outline document, version {VERSION}"
) -> dict:
    """Return the schema as declared, after JSON Schema 2020-12."""
    made = msgspec.json.schema(whole)
    root = made["$defs"].pop(whole.__name__)
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": file, "title": title}
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
    """Return the outline document's file."""
    return (
        json.dumps(
            generated(Outline, SCHEMA_FILE, f"Outline document, version {VERSION}"), indent=1, ensure_ascii=False
        )
        + "\n"
    )


def plate_text() -> str:
    """Return the plate document's file."""
    made = generated(plate.Plate, plate.SCHEMA_FILE, f"Plate document, version {plate.VERSION}")
    return json.dumps(made, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    for path, made in ((FILE, text()), (PLATE_FILE, plate_text())):
        path.write_text(made, encoding="utf-8")
        print(f"wrote {path}")
