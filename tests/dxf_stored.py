"""Make the stored DXF drawing again, from what ezdxf writes of an empty one: ``python -m tests.dxf_stored``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import digitize
from digitize.records import Circle
from digitize.seal import BLANK, PREFIX, __version__
from digitize.write.dxf import layers_of, library_dxf
from digitize.write.dxf_stored import FIRST
from digitize.write.look import PLAIN
from digitize.write.sheet import Box, Sheet

PLACE = Path(digitize.__file__).parent / "data" / "drawing.dxf"
BOX = Box(-101.25, -202.5, 404.75, 909.125)  # nothing else in the file is like any of these
PLAIN_FIELDS = {
    "left": -101.25,
    "bottom": -202.5,
    "right": 404.75,
    "top": 909.125,
    "middle_x": (404.75 - 101.25) / 2,
    "middle_y": (909.125 - 202.5) / 2,
    "view": (909.125 + 202.5) * 1.1,
}


def skeleton() -> str:
    """Return the drawing with its fields."""
    empty = Sheet("", (), (), (), (), BOX)
    full = replace(empty, curves=(("OUTLINE", Circle((1.0, 2.0), 3.0)),))
    layers = layers_of(empty)
    first = FIRST + 1 + len(layers)
    lines, more, inches = (_lines(one, units) for one, units in ((empty, False), (full, False), (empty, True)))
    at = more.index("ENTITIES") + 1
    del more[at : more.index("ENDSEC", at) - 1]
    for k, (one, other, inch) in enumerate(zip(lines, more, inches, strict=True)):
        if one.startswith(PREFIX):
            lines[k] = "@{mark}"
        elif one != other:
            lines[k] = f"@{{h{int(one, 16) - first}}}"
        elif one != inch:
            lines[k] = {"4": "@{unit}", "1": "@{metric}"}.get(one, one)
        elif lines[k - 1 : k + 1] == ["  1", __version__]:
            lines[k] = "@{version}"
    named = {str(value): name for name, value in PLAIN_FIELDS.items()}
    lines = [f"@{{{named[one]}}}" if one in named else one for one in lines]
    _cut_layers(lines, layers)
    lines[lines.index("ENTITIES")] = "ENTITIES\n@{entities}"
    return "\n".join(lines).replace("@{entities}\n", "@{entities}").replace("@{layers}\n", "@{layers}")


def _lines(sheet: Sheet, in_inches: bool) -> list[str]:
    sheet = replace(sheet, box=Box(*(25.4 * v for v in vars_of(BOX)))) if in_inches else sheet
    data = library_dxf(sheet, release="R2010", look=PLAIN, in_inches=in_inches)
    return data.decode().split("\n")


def vars_of(box: Box) -> tuple[float, ...]:
    return box.left, box.bottom, box.right, box.top


def _cut_layers(lines: list[str], layers) -> None:
    """Put a field in the place of our layers, and one in that of their number."""
    begin = lines.index(layers[0].name)
    while lines[begin : begin + 2] != ["  0", "LAYER"]:
        begin -= 1
    end = lines.index("ENDTAB", begin) - 1
    lines[begin:end] = ["@{layers}"]
    table = max(k for k in range(begin) if lines[k] == "AcDbSymbolTable")
    lines[table + 2] = "@{layer_count}"


if __name__ == "__main__":
    assert BLANK.startswith(PREFIX)
    PLACE.write_text(skeleton(), encoding="utf-8")
    print(f"wrote {PLACE}")
