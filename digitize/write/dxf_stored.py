"""DXF 2010 from a stored drawing that holds no entities: the library that made it takes longer to import than to use.

``data/drawing.dxf`` is what ezdxf writes of an empty drawing of ours, with fields in place of what differs from one
drawing to the next; ``python -m tests.dxf_stored`` makes it again. What is written so is byte for byte what ezdxf
writes (tests/test_dxf_stored.py); what cannot be is left to it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from functools import cache

from ..packaged import packaged
from ..records import Circle, OpenPath, Path
from ..seal import BLANK, __version__, seal
from .paths import pieces
from .sheet import Layer, Sheet

FIELD = re.compile(r"@\{(\w+)\}")
FIRST = 0x2F  # handle of the first layer of ours; the next one is that of the mark by which layers have descriptions
_SPACE = "17"  # handle of the model space

Point = tuple[float, float]


def can_store(sheet: Sheet) -> bool:
    """Whether every word of a sheet is written as it is: nothing that cannot be printed."""
    return all(text.words.isprintable() for text in sheet.texts)


def stored_dxf(sheet: Sheet, layers: Sequence[Layer], *, separate: bool, in_inches: bool) -> bytes:
    """Return a composed drawing as DXF 2010.

    Parameters
    ----------
    sheet
        What `can_store` says yes to, in the drawing's unit.
    layers
        Those that the file is to have.
    separate
        Lines and arcs in place of polylines.
    in_inches
        Whether the unit is the inch and not the millimetre.
    """
    drawn = list(_entities(sheet, separate=separate))
    first = FIRST + 1 + len(layers)
    after = first + len(drawn)
    box = sheet.box
    left, bottom, right, top = (rounded(v) for v in (box.left, box.bottom, box.right, box.top))
    fields = {
        "version": __version__,
        "metric": 0 if in_inches else 1,
        "unit": 1 if in_inches else 4,
        "left": left,
        "bottom": bottom,
        "right": right,
        "top": top,
        "middle_x": (left + right) / 2,
        "middle_y": (bottom + top) / 2,
        "view": box.height * 1.1,
        "layer_count": 2 + len(layers),
        "layers": "".join(_layer(FIRST + k + (k > 0), layer) for k, layer in enumerate(layers)),
        "mark": BLANK,
        "entities": "".join(f"  0\n{kind}\n  5\n{first + k:X}\n{rest}" for k, (kind, rest) in enumerate(drawn)),
    }

    def filled(match: re.Match[str]) -> str:
        name = match[1]
        return f"{after + int(name[1:]):X}" if name[0] == "h" and name[1:].isdigit() else str(fields[name])

    return seal(FIELD.sub(filled, _skeleton()).encode())


@cache
def _skeleton() -> str:
    return packaged("drawing.dxf").decode()


def rounded(value: float) -> float:
    """Return a coordinate as it is written."""
    return round(value, 6) + 0.0


def vertices(curve: Path | OpenPath) -> list[tuple[float, float, float]]:
    """Return x, y and bulge of every point of a polyline, as they are written."""
    found = [(rounded(p.start[0]), rounded(p.start[1]), round(p.bulge, 10) + 0.0) for p in pieces(curve)]
    if isinstance(curve, OpenPath):
        x, y = curve.points_mm[-1].tolist()
        found.append((rounded(x), rounded(y), 0.0))
    return found


def lines_and_arcs(curve: Path | OpenPath) -> Iterator[tuple[Point, Point] | tuple[Point, float, float, float]]:
    """Yield the ends of a line, or centre, radius and angles (degrees) of an arc, counter-clockwise as DXF has them."""
    for one in pieces(curve):
        if one.bulge == 0.0:
            first, last = ((rounded(x), rounded(y)) for x, y in (one.start, one.end))
            yield first, last
        else:
            (x, y), ends = one.centre, (one.start, one.end) if one.bulge > 0 else (one.end, one.start)
            begin, end = (math.degrees(math.atan2(to[1] - y, to[0] - x)) for to in ends)
            yield (rounded(x), rounded(y)), rounded(one.radius), begin, end


def words_of(words: str) -> str:
    """Return words without what begins control codes in a TEXT: "%%" and "^"."""
    return words.replace("%%", "% %").replace("^", "'")


def _layer(handle: int, layer: Layer) -> str:
    red, green, blue = layer.rgb
    colour = f" 62\n{layer.aci if layer.shown else -layer.aci}\n420\n{red << 16 | green << 8 | blue}\n"
    return (
        f"  0\nLAYER\n  5\n{handle:X}\n330\n1\n100\nAcDbSymbolTableRecord\n100\nAcDbLayerTableRecord\n"
        f"  2\n{layer.name}\n 70\n0\n{colour}"
        f"  6\nContinuous\n370\n{-3 if layer.shown else 0}\n390\n13\n347\n21\n"
        f"1001\nAcAecLayerStandard\n1000\n\n1000\n{layer.says}\n"
    )


def _entities(sheet: Sheet, *, separate: bool) -> Iterator[tuple[str, str]]:
    """Yield every entity's kind, and its tags after the handle."""
    for layer, curve in sheet.curves:
        if isinstance(curve, Circle):
            centre = rounded(curve.centre_mm[0]), rounded(curve.centre_mm[1])
            yield "CIRCLE", _head(layer, "Circle") + _place(10, centre) + f" 40\n{rounded(curve.radius_mm)}\n"
        elif separate:
            yield from _separate(layer, curve)
        else:
            yield "LWPOLYLINE", _head(layer, "Polyline") + _polyline(curve)
    for layer, start, end in sheet.lines:
        yield _line(layer, (rounded(start[0]), rounded(start[1])), (rounded(end[0]), rounded(end[1])))
    for text in sheet.texts:
        place = _place(10, (rounded(text.at[0]), rounded(text.at[1])))
        said = f" 40\n{text.height_mm}\n  1\n{words_of(text.words)}\n100\nAcDbText\n"
        yield "TEXT", _head(text.layer, "Text") + place + said


def _separate(layer: str, curve: Path | OpenPath) -> Iterator[tuple[str, str]]:
    for one in lines_and_arcs(curve):
        if len(one) == 2:
            yield _line(layer, *one)
        else:
            centre, radius, begin, end = one
            turn = f" 40\n{radius}\n100\nAcDbArc\n 50\n{begin}\n 51\n{end}\n"
            yield "ARC", _head(layer, "Circle") + _place(10, centre) + turn


def _line(layer: str, start: Point, end: Point) -> tuple[str, str]:
    return "LINE", _head(layer, "Line") + _place(10, start) + _place(11, end)


def _polyline(curve: Path | OpenPath) -> str:
    found = vertices(curve)
    rows = (f" 10\n{x}\n 20\n{y}\n" + (f" 42\n{bulge}\n" if bulge else "") for x, y, bulge in found)
    return f" 90\n{len(found)}\n 70\n{int(isinstance(curve, Path))}\n{''.join(rows)}"


def _head(layer: str, kind: str) -> str:
    return f"330\n{_SPACE}\n100\nAcDbEntity\n  8\n{layer}\n100\nAcDb{kind}\n"


def _place(code: int, at: Point) -> str:
    return f" {code}\n{at[0]}\n {code + 10}\n{at[1]}\n {code + 20}\n0.0\n"
