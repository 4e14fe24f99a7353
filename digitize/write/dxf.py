"""DXF: millimetres, closed polylines with bulges, circles, one layer a purpose."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from ..errors import UsageError
from ..records import Circle, Item, OpenPath, Path, Result
from ..seal import __version__
from .dxf_steady import fixed_meta_data, sealed_bytes
from .paths import pieces
from .sheet import LAYERS, Sheet, Text, compose

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.layout import Modelspace

VERSIONS = ("r12", "r2000", "r2010")
Vertex = tuple[float, float, float]  # x, y, bulge


def dxf_bytes(result: Result, *, items: Sequence[Item] | None = None, version: str = "r2010") -> bytes:
    """Return the result as a DXF file.

    Coordinates are those of the sheet, mm, y up, zero at the lower-left of the items' box, written
    to 1e-6 mm. The same result gives the same bytes in every process.

    Parameters
    ----------
    result : Result
        What to write.
    items : sequence of Item, optional
        Only these.
    version : str
        ``r2010``, ``r2000`` or ``r12``. r12 has heavy polylines, no unit in its header and no true
        colours; r2000 has no true colours.

    Raises
    ------
    UsageError
        If the version is none of these.
    """
    release = _release(version)
    sheet = compose(result, items)
    with fixed_meta_data():
        from ezdxf.document import Drawing

        # Not ezdxf.new, which logs a complaint about the unit that an R12 header cannot hold.
        document = Drawing.new(release)
        _head(document, sheet)
        space = document.modelspace()
        _draw(space, sheet, polyline=_heavy if release == "R12" else _light)
        _extents(document, space, sheet)
        return sealed_bytes(document)


def _release(version: str) -> str:
    release = "r" + version.lower().removeprefix("r")
    if release not in VERSIONS:
        raise UsageError(f"DXF version '{version}' is unknown: use one of {', '.join(VERSIONS)}")
    return release.upper()


def _head(document: Drawing, sheet: Sheet) -> None:
    from ezdxf.colors import RGB

    if document.dxfversion > "AC1009":  # an R12 header knows no unit
        document.units = 4  # millimetres: $INSUNITS and the model space
        document.header["$MEASUREMENT"] = 1  # metric
    if document.dxfversion >= "AC1018":
        document.header.custom_vars.append("digitize", __version__)
    used = {layer.name for layer in sheet.used_layers()}
    for layer in (one for one in LAYERS.values() if one.name in used or one.name != "PIN"):
        entry = document.layers.add(layer.name, color=layer.aci)
        if document.dxfversion >= "AC1018":
            entry.rgb = RGB(*layer.rgb)
            entry.description = layer.says


def _extents(document: Drawing, space: Modelspace, sheet: Sheet) -> None:
    low = (_r(sheet.box.left), _r(sheet.box.bottom), 0.0)
    high = (_r(sheet.box.right), _r(sheet.box.top), 0.0)
    # On writing, ezdxf takes the header's $EXTMIN and $EXTMAX from the layout.
    space.reset_extents(low, high)
    document.set_modelspace_vport(
        height=sheet.box.height * 1.1,
        center=((low[0] + high[0]) / 2, (low[1] + high[1]) / 2),
    )


def _draw(space: Modelspace, sheet: Sheet, *, polyline: Any) -> None:
    for layer, curve in sheet.curves:
        look = {"layer": layer}
        if isinstance(curve, Circle):
            space.add_circle((_r(curve.centre_mm[0]), _r(curve.centre_mm[1])), _r(curve.radius_mm), dxfattribs=look)
        else:
            polyline(space, _vertices(curve), look, closed=isinstance(curve, Path))
    for layer, start, end in sheet.lines:
        space.add_line((_r(start[0]), _r(start[1])), (_r(end[0]), _r(end[1])), dxfattribs={"layer": layer})
    for text in sheet.texts:
        attributes = {"layer": text.layer, "height": text.height_mm, "insert": (_r(text.at[0]), _r(text.at[1]))}
        space.add_text(_words(text), dxfattribs=attributes)


def _light(space: Modelspace, vertices: list[Vertex], look: dict[str, str], *, closed: bool) -> None:
    space.add_lwpolyline(vertices, format="xyb", close=closed, dxfattribs=look)


def _heavy(space: Modelspace, vertices: list[Vertex], look: dict[str, str], *, closed: bool) -> None:
    space.add_polyline2d(vertices, format="xyb", close=closed, dxfattribs=look)


def _vertices(curve: Path | OpenPath) -> list[Vertex]:
    found = [(_r(p.start[0]), _r(p.start[1]), round(p.bulge, 10) + 0.0) for p in pieces(curve)]
    if isinstance(curve, OpenPath):
        x, y = curve.points_mm[-1].tolist()
        found.append((_r(x), _r(y), 0.0))
    return found


def _words(text: Text) -> str:
    # In a TEXT entity "%%" and "^" begin control codes.
    return text.words.replace("%%", "% %").replace("^", "'")


def _r(value: float) -> float:
    return round(value, 6) + 0.0
