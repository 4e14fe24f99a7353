"""The Python interface: `import digitize; result = digitize.outline("scan.png", square_mm=50)`."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from .errors import DigitizeError
from .kinds import FileName, refusal
from .reading.array import Pixels, is_pixels, picture_from_pixels
from .records import Finding, FloatArray, Item, Picture, Result, Scale
from .run import Output, Report, make_files, outline_file, read_background
from .settings import Pair, Reading, Settings

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely import Polygon

    from .camera.profile import LensProfile
    from .cutting.ways import Cutting
    from .hand.steps import Corrections
    from .scanner.profile import ScannerProfile

__all__ = ["DigitizeError", "Outlines", "Output", "Pixels", "Report", "Settings", "outline", "outline_file"]

Frame = Literal["item", "sheet"]


@dataclass(frozen=True, slots=True)
class Outlines:
    """What was found in one picture. `result` holds all of it; the rest is for convenience.

    Lengths are in mm, y up. In the frame "item" the origin is the lower-left corner of the item's own box, in the
    frame "sheet" that of the box around all items, so that they lie as they lay in the picture.

    Examples
    --------
    >>> found = outline("samples/ornament.png", square_mm=30)
    >>> (shape,) = found.to_shapely()
    >>> len(shape.interiors), shape.is_valid, tuple(round(v, 6) for v in shape.bounds[:2])
    (5, True, (0.0, 0.0))
    >>> feature = found.to_geojson()["features"][0]
    >>> feature["geometry"]["type"], feature["properties"]["name"]
    ('Polygon', 'ornament-1')
    >>> found.to_document().splitlines()[1:3]
    ['"format": "digitize-outline",', '"version": 1,']
    >>> found.save("README.md", formats="json")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    digitize.errors.WriteError: README.md cannot be a folder, a file is in the way: ...
    """

    picture: Picture
    result: Result
    scale: Scale

    @property
    def items(self) -> tuple[Item, ...]:
        """The items in reading order."""
        return self.result.items

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything worth saying: about the picture, its items, their pockets."""
        return self.result.all_findings

    @property
    def needs_person(self) -> bool:
        """Whether a finding asks for a person's eye."""
        return any(finding.attention for finding in self.findings)

    def to_shapely(self, *, frame: Frame = "sheet") -> list[Polygon]:
        """Return each item's dense edge as a Shapely polygon, holes included."""
        from shapely import Polygon

        return [Polygon(shell, holes) for shell, *holes in self._rings(frame)]

    def to_geojson(self, *, frame: Frame = "sheet") -> dict[str, Any]:
        """Return the items as a GeoJSON FeatureCollection (RFC 7946), but for the coordinates, which are mm.

        Properties: name, width_mm, height_mm, area_mm2, perimeter_mm, caliper_length_mm, caliper_width_mm,
        outline_k2_mm, warnings (codes).
        """
        features = [
            {
                "type": "Feature",
                "properties": _properties(item),
                "geometry": {"type": "Polygon", "coordinates": [[*ring.tolist(), ring[0].tolist()] for ring in rings]},
            }
            for item, rings in zip(self.items, self._rings(frame), strict=True)
        ]
        return {"type": "FeatureCollection", "features": features}

    def to_document(self) -> str:
        """Return the outline document (JSON), the same text that `save` writes."""
        from .document.document import document_bytes

        return document_bytes(self.result).decode()

    def save(
        self,
        folder: str | os.PathLike[str],
        *,
        formats: str | Sequence[str] = ("json", "dxf", "svg", "pdf", "proof", "png"),
        separate: bool = False,
        dxf_version: str = "r2010",
        paper: Literal["a4", "letter"] = "a4",
        stroke_mm: float | Literal["hairline"] | None = None,
        filled: bool = False,
        notes: Literal["on", "off"] = "on",
        dxf_entities: Literal["polylines", "lines-and-arcs"] = "polylines",
        leads: Literal["joined", "apart"] = "joined",
        origin: Literal["lower-left", "lower-right", "upper-left", "upper-right", "centre"] = "lower-left",
        solid_mm: float | None = None,
        depth_mm: float | None = None,
        force: bool = False,
    ) -> tuple[Path, ...]:
        """Write the files the command `digitize outline` writes, the same bytes, and return their paths.

        Parameters
        ----------
        folder
            Made if need be.
        formats
            Files to write.
        separate
            One file an item instead of one a picture.
        dxf_version
            r12, 2000 or 2010.
        paper
            Proof: a4 or letter, the paper it is printed on.
        stroke_mm
            SVG, PDF: width of item, cut and print lines: hairline (0.025) or mm; 0.18 unless said.
        filled
            SVG, PDF: closed curves as filled areas without lines, holes left open.
        notes
            DXF, SVG: off leaves all text out; SVG keeps it as description.
        dxf_entities
            DXF: polylines, or lines-and-arcs: every line and arc by itself.
        leads
            Laser: each lead-in and its path joined as one line, or apart, the path closed.
        origin
            Zero of the drawings, of the items' box: lower-left, lower-right, upper-left, upper-right or centre.
        solid_mm
            Also STL and 3MF of a plate this thick, in mm, with the pockets in it; with --cut former the plugs, on a
            block this thick. Needs digitize[solid].
        depth_mm
            Depth of the pockets in the solid in mm; all but a floor of 1 mm.
        force
            Overwrite files that digitize did not write.

        Raises
        ------
        UsageError
            If an argument cannot be meant.
        WriteError
            If a file is in the way or the system refuses; nothing is half-written.
        """
        asked = {name: value for name, value in locals().items() if name not in ("self", "folder")}
        from .files import write_files
        from .recipe.outline import Outlined

        output = Output.of(asked).into(Path(FileName().checked(folder, "folder")))
        files = make_files(self.picture, Outlined(self.result, self.scale), output)
        return tuple(write_files(output.folder, files, force=output.force, keep=(self.picture.sha256,)))

    def _rings(self, frame: Frame) -> list[list[FloatArray]]:
        if frame not in ("item", "sheet"):
            raise refusal("frame", frame, "choose from item, sheet")
        shift = 1.0 if frame == "sheet" else 0.0
        return [
            [ring + shift * _array(item.sheet_mm) for ring in (item.exterior_mm, *item.holes_mm)] for item in self.items
        ]


def outline(
    picture: str | os.PathLike[str] | Pixels | npt.ArrayLike,
    *,
    square_mm: float | Pair | None = None,
    disc_mm: float | None = None,
    measured_mm: float | Pair | None = None,
    caliper_error_mm: float = 0.04,
    dpi: float | Pair | None = None,
    clearance_mm: float | None = None,
    kerf_mm: float | None = None,
    cut_holes: bool = False,
    cut: Literal["laser", "router", "knife", "print3d", "former"] | None = None,
    lead_in_mm: float | None = None,
    cutter_mm: float | None = None,
    relief: Literal["diagonal", "side", "none"] | None = None,
    least_radius_mm: float | None = None,
    first_layer_mm: float | None = None,
    draft_deg: float | None = None,
    shrink_percent: float | None = None,
    plug_height_mm: float | None = None,
    notches: int = 0,
    notch_width_mm: float | None = None,
    notch_angle_deg: float | None = None,
    pins: bool = False,
    web_mm: float | None = None,
    node_spacing_mm: float | None = None,
    cutting: str | os.PathLike[str] | Cutting | None = None,
    ideal: bool = False,
    symmetric: bool = False,
    upright: bool = False,
    imaged_face: Literal["print", "back"] = "print",
    cut_from: Literal["front", "back"] = "front",
    bleed_mm: float | None = None,
    inset_mm: float | None = None,
    units: Literal["mm", "inch"] = "mm",
    tolerance_mm: float = 0.02,
    joins: Literal["smooth", "fewest"] = "smooth",
    dust_mm: float = 1.0,
    background: str | None = None,
    square_at_px: Pair | None = None,
    item_at_px: Pair | None = None,
    taken_with: Literal["camera", "flatbed"] | None = None,
    edge: Literal["outer", "inner"] | None = None,
    by_hand: str | os.PathLike[str] | Corrections | None = None,
    item_height_mm: float | None = None,
    edge_height_mm: float | None = None,
    height_within_mm: float | None = None,
    lens: str | os.PathLike[str] | LensProfile | None = None,
    scanner: str | ScannerProfile | None = None,
    background_photo: str | os.PathLike[str] | None = None,
    max_mpx: float = 400.0,
) -> Outlines:
    """Find the true-size outlines of the items in a picture file; nothing is written.

    The keywords are the options of `digitize outline`; two numbers are a tuple.

    Parameters
    ----------
    picture
        A scan or photo with a reference beside the items: a file, or pixels as an array, or what numpy takes for one;
    square_mm
        Sides of a plain reference square in mm: 50 or 49.8x49.9.
    disc_mm
        Scans: diameter of a round reference disc in mm, by calipers: 25.02.
    measured_mm
        Calipers' readings of our card in mm, X and Y: 53.8x53.9.
    caliper_error_mm
        How far off one reading of your calipers may be, mm (k = 2).
    dpi
        Density where no reference is in the picture: 600 (large uncertainty).
    clearance_mm
        Room between item and pocket in mm, each side.
    kerf_mm
        Width the laser takes away in mm; half is compensated.
    cut_holes
        Cut the item's holes too, as pegs.
    cut
        Way of cutting: laser, router, knife, print3d or former, with typical values.
    lead_in_mm
        Laser: length of the lead-in in mm; 0 for none.
    cutter_mm
        Router: diameter of the cutter in mm.
    relief
        Router, at corners it cannot reach: diagonal (along the bisector), side (along the longer side), none
    least_radius_mm
        Knife: no bend tighter than this, mm.
    first_layer_mm
        3D print: spread of the first layer in mm.
    draft_deg
        Former: draft of the plug in degrees.
    shrink_percent
        Former: shrink of the sheet in percent.
    plug_height_mm
        Former: depth of the pocket in mm.
    notches
        Finger notches in the pocket's wall, evenly about the item.
    notch_width_mm
        Width of a finger notch in mm.
    notch_angle_deg
        Direction of the first notch, degrees from +x; away from corners and holes unless said.
    pins
        A pin for each hole of the item: hole less clearance.
    web_mm
        Warn of less sheet than this between pockets, mm.
    node_spacing_mm
        Warn of lines and arcs shorter than this, mm.
    cutting
        Your own values for --cut: edited file from digitize cutting.
    ideal
        Write circles, rectangles, slots, regular polygons as what they are.
    symmetric
        Write a nearly symmetric outline made exactly so.
    upright
        Set every item straight along its mirror axis, else its caliper length: turned by 45 degrees at most.
    imaged_face
        Which face of the items the picture shows: the one to be printed, or the other.
    cut_from
        Which side of the plate is up while it is cut: its front, which will face the printer, or its back.
    bleed_mm
        Print area: this far over the item's edge, mm.
    inset_mm
        Print area: this far inside the item's edge, mm.
    units
        mm or inch: unit of DXF files; with inch the screen shows sizes in both. SVG, PDF and JSON stay in mm.
    tolerance_mm
        Largest distance of the lines and arcs from the edge in mm.
    joins
        smooth: lines and arcs tangent but at corners, for up to 30 % more of them; fewest: as few as the tolerance
        allows.
    dust_mm
        Specks, hairs and holes up to this size in mm are ignored; items are 5 times as long at least.
    background
        light, dark or #rrggbb, where it is not found by itself.
    square_at_px
        X,Y in pixels: the reference square or disc is here.
    item_at_px
        X,Y in pixels: outline only the item here.
    taken_with
        A photo or a scan, where the picture itself does not tell.
    edge
        Where two borders are plausible (rim, bevel, shadow): take the outer or the inner.
    by_hand
        Corrections by hand: steps that the page or you wrote down, or an outline document that holds some.
    item_height_mm
        Photos: height of an item with upright walls in mm, 3.2 or 3.2+-0.3; 0 for a flat one.
    edge_height_mm
        Photos: height of the item's widest line (rounded edges) in mm, 2 or 2+-0.5.
    height_within_mm
        Photos: how well that height is known, mm either way; 0.1 unless said, of a flat item none.
    lens
        Photos: the camera's lens, from digitize profile lens.
    scanner
        Scans: name of the scanner's profile, from digitize profile scanner.
    background_photo
        Photos: the same view without the item, for clear or glossy items.
    max_mpx
        Largest picture to decode, in millions of pixels.

    Returns
    -------
    Outlines
        The records the recipe itself makes.

    Raises
    ------
    UsageError
        If an option cannot be meant.
    PictureError
        If the file cannot be read or is no whole picture.
    ScaleError
        If there is no trustworthy scale.
    OutlineError
        If there is no item to outline.

    Examples
    --------
    >>> import digitize
    >>> found = digitize.outline("samples/fobs.jpg", square_mm=30, clearance_mm=0.2)
    >>> fob = found.items[0]
    >>> round(fob.width_mm, 1), round(fob.uncertainty.profile_k2_mm, 2), len(fob.holes_mm)
    (29.8, 0.02, 1)
    >>> fob.pocket.clearance_mm, found.needs_person
    (0.2, False)

    Pixels that another library has read:

    >>> from PIL import Image
    >>> found = digitize.outline(Image.open("samples/ornament.png"), square_mm=30)
    >>> found.items[0].name, round(found.items[0].width_mm)
    ('pixels-1', 52)

    Nothing is guessed:

    >>> digitize.outline("samples/fobs.jpg")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    digitize.errors.ScaleError: ...
    """
    asked = {name: value for name, value in locals().items() if name not in ("picture", "max_mpx")}
    settings = Settings.of(asked)
    limit = Reading(max_mpx=max_mpx).max_mpx
    from .recipe.outline import outline_picture

    read = _read(picture, limit)
    outlined = outline_picture(read, settings, empty=read_background(settings, max_mpx=limit))
    return Outlines(read, outlined.result, outlined.scale)


def _read(picture: Any, max_mpx: float) -> Picture:
    from .reading.picture import read_picture

    if is_pixels(picture) and not isinstance(picture, os.PathLike):
        return picture_from_pixels(picture, max_mpx=max_mpx)
    return read_picture(FileName().checked(picture, "picture"), max_mpx=max_mpx)


def _array(place: Pair) -> FloatArray:
    import numpy as np

    return np.array(place)


def _calipers(item: Item) -> dict[str, float]:
    read = item.calipers
    return {} if read is None else {"caliper_length_mm": read.length_mm, "caliper_width_mm": read.width_mm}


def _properties(item: Item) -> dict[str, Any]:
    return {
        "name": item.name,
        "width_mm": item.width_mm,
        "height_mm": item.height_mm,
        "area_mm2": item.area_mm2,
        "perimeter_mm": item.perimeter_mm,
        **_calipers(item),
        "outline_k2_mm": item.uncertainty.profile_k2_mm,
        "warnings": [finding.code for finding in item.findings],
    }
