"""DXF: millimetres or inches, closed polylines with bulges or lines and arcs, circles, one layer a purpose."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ..errors import UsageError
from ..kinds import MM_PER_INCH
from ..records import Circle, OpenPath, Path
from ..seal import __version__
from .dxf_steady import fixed_meta_data, sealed_bytes
from .dxf_stored import can_store, lines_and_arcs, rounded, stored_dxf, vertices, words_of
from .look import DXF_VERSIONS, PLAIN, Look
from .sheet import LAYERS, Drawings, Layer, Sheet, scaled_sheet

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.layout import Modelspace


def drawn_dxf(drawings: Drawings, *, version: str, look: Look) -> bytes:
    """Return drawings as a DXF file.

    Coordinates are those of the sheet, mm (inches where the result's options say so), y up, written to 1e-6. The same
    result gives the same bytes in every process.

    Parameters
    ----------
    drawings : Drawings
        What to write.
    version : str
        ``r2010``, ``r2000`` or ``r12``. r12 has heavy polylines, no unit in its header and no true
        colours; r2000 has no true colours.
    look : Look
        How it is drawn.

    Raises
    ------
    UsageError
        If the version is none of these.
    """
    in_inches = drawings.result.in_inches
    sheet = drawings.sheet(replace(look, filled=False), in_inches=in_inches)
    return sheet_dxf(sheet, version=version, look=look, in_inches=in_inches)


def sheet_dxf(sheet: Sheet, *, version: str = "r2010", look: Look = PLAIN, in_inches: bool = False) -> bytes:
    """Return a composed drawing as a DXF file, its zero where the sheet has it."""
    release = _release(version)
    sheet = scaled_sheet(sheet, 1 / MM_PER_INCH) if in_inches else sheet
    if release == "R2010" and can_store(sheet):
        separate = look.dxf_entities == "lines-and-arcs"
        return stored_dxf(sheet, layers_of(sheet), separate=separate, in_inches=in_inches)
    return library_dxf(sheet, release=release, look=look, in_inches=in_inches)


def layers_of(sheet: Sheet) -> list[Layer]:
    """Return the layers that the file has: some only where something lies on them."""
    used = {layer.name for layer in sheet.used_layers()}
    return [one for one in LAYERS.values() if one.name in used or one.name not in ("PIN", "WALL")]


def library_dxf(sheet: Sheet, *, release: str, look: Look, in_inches: bool) -> bytes:
    """Return a drawing in its own unit as ezdxf writes it."""
    with fixed_meta_data():
        from ezdxf.document import Drawing

        # Not ezdxf.new, which logs a complaint about the unit that an R12 header cannot hold.
        document = Drawing.new(release)
        _head(document, sheet, in_inches=in_inches)
        space = document.modelspace()
        polyline = _heavy if release == "R12" else _light
        _draw(space, sheet, draw=_pieces if look.dxf_entities == "lines-and-arcs" else polyline)
        _extents(document, space, sheet)
        return sealed_bytes(document)


def _release(version: str) -> str:
    release = "r" + version.lower().removeprefix("r")
    if release not in DXF_VERSIONS:
        raise UsageError(f"DXF version '{version}' is unknown: use one of {', '.join(DXF_VERSIONS)}")
    return release.upper()


def _head(document: Drawing, sheet: Sheet, *, in_inches: bool) -> None:
    from ezdxf.colors import RGB

    if document.dxfversion > "AC1009":  # an R12 header knows no unit
        document.units = 1 if in_inches else 4  # inches, millimetres: $INSUNITS and the model space
        document.header["$MEASUREMENT"] = 0 if in_inches else 1  # imperial, metric
    if document.dxfversion >= "AC1018":
        document.header.custom_vars.append("digitize", __version__)
    for layer in layers_of(sheet):
        entry = document.layers.add(layer.name, color=layer.aci)
        if not layer.shown:
            entry.off()
        if document.dxfversion >= "AC1018":
            entry.rgb = RGB(*layer.rgb)
            entry.description = layer.says
        if document.dxfversion > "AC1009" and not layer.shown:
            entry.dxf.lineweight = 0  # the thinnest that DXF knows


def _extents(document: Drawing, space: Modelspace, sheet: Sheet) -> None:
    low = (rounded(sheet.box.left), rounded(sheet.box.bottom), 0.0)
    high = (rounded(sheet.box.right), rounded(sheet.box.top), 0.0)
    # On writing, ezdxf takes the header's $EXTMIN and $EXTMAX from the layout.
    space.reset_extents(low, high)
    document.set_modelspace_vport(
        height=sheet.box.height * 1.1,
        center=((low[0] + high[0]) / 2, (low[1] + high[1]) / 2),
    )


def _draw(space: Modelspace, sheet: Sheet, *, draw: Any) -> None:
    for layer, curve in sheet.curves:
        look = {"layer": layer}
        if isinstance(curve, Circle):
            space.add_circle(_at(curve.centre_mm), rounded(curve.radius_mm), dxfattribs=look)
        else:
            draw(space, curve, look)
    for layer, start, end in sheet.lines:
        space.add_line(_at(start), _at(end), dxfattribs={"layer": layer})
    for text in sheet.texts:
        attributes = {"layer": text.layer, "height": text.height_mm, "insert": _at(text.at)}
        space.add_text(words_of(text.words), dxfattribs=attributes)


def _at(place: tuple[float, float]) -> tuple[float, float]:
    return rounded(place[0]), rounded(place[1])


def _light(space: Modelspace, curve: Path | OpenPath, look: dict[str, str]) -> None:
    space.add_lwpolyline(vertices(curve), format="xyb", close=isinstance(curve, Path), dxfattribs=look)


def _heavy(space: Modelspace, curve: Path | OpenPath, look: dict[str, str]) -> None:
    space.add_polyline2d(vertices(curve), format="xyb", close=isinstance(curve, Path), dxfattribs=look)


def _pieces(space: Modelspace, curve: Path | OpenPath, look: dict[str, str]) -> None:
    """Draw every line and arc by itself; arcs run counter-clockwise, as DXF has them."""
    for one in lines_and_arcs(curve):
        if len(one) == 2:
            space.add_line(*one, dxfattribs=look)
        else:
            space.add_arc(*one, dxfattribs=look)
