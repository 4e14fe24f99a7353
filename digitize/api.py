"""The Python interface: `import digitize; result = digitize.outline("scan.png", square_mm=50)`."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from .errors import DigitizeError
from .records import Finding, FloatArray, Item, Picture, Result, Scale
from .run import FORMATS, Output, Report, make_files, outline_file, read_background
from .settings import HEIGHT_WITHIN_MM, Pair, Settings

if TYPE_CHECKING:
    from shapely import Polygon

    from .camera.profile import LensProfile
    from .cutting.ways import Cutting
    from .write.solid.make import Solid

__all__ = ["DigitizeError", "Outlines", "Output", "Report", "Settings", "outline", "outline_file"]

Frame = Literal["item", "sheet"]


@dataclass(frozen=True, slots=True)
class Outlines:
    """What was found in one picture. `result` holds all of it; the rest is for convenience.

    Lengths are in mm, y up. In the frame "item" the origin is the lower-left corner of the item's own box, in the
    frame "sheet" that of the box around all items, so that they lie as they lay in the picture.
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

        Properties: name, width_mm, height_mm, area_mm2, perimeter_mm, outline_k2_mm, warnings (codes).
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
        formats: tuple[str, ...] = FORMATS,
        separate: bool = False,
        dxf_version: str = "r2010",
        solid: Solid | None = None,
        force: bool = False,
    ) -> tuple[Path, ...]:
        """Write the files the command `digitize outline` writes, the same bytes, and return their paths.

        Parameters
        ----------
        folder
            Made if need be.
        formats
            Of "json", "dxf", "svg", "pdf", "png".
        separate
            One file an item instead of one a picture.
        dxf_version
            "r12", "r2000" or "r2010".
        solid
            Also STL and 3MF of a plate with the pockets, or of plugs: `digitize.write.solid.make.Solid`.
        force
            Also replace files that digitize did not write.

        Raises
        ------
        WriteError
            If a file is in the way or the system refuses; nothing is half-written.
        """
        from .files import write_files
        from .recipe.outline import Outlined

        output = Output(
            folder=Path(folder),
            formats=formats,
            separate=separate,
            dxf_version=dxf_version,
            force=force,
            solid=solid,
        )
        files = make_files(self.picture, Outlined(self.result, self.scale), output)
        return tuple(write_files(output.folder, files, force=force, keep=(self.picture.sha256,)))

    def _rings(self, frame: Frame) -> list[list[FloatArray]]:
        if frame not in ("item", "sheet"):
            raise ValueError(f'frame {frame!r}: expected "item" or "sheet"')
        shift = 1.0 if frame == "sheet" else 0.0
        return [
            [ring + shift * _array(item.sheet_mm) for ring in (item.exterior_mm, *item.holes_mm)] for item in self.items
        ]


def outline(
    picture: str | os.PathLike[str],
    *,
    square_mm: float | Pair | None = None,
    measured_mm: float | Pair | None = None,
    dpi: float | Pair | None = None,
    square_at_px: Pair | None = None,
    item_at_px: Pair | None = None,
    background: str | None = None,
    dust_mm: float = 1.0,
    tolerance_mm: float = 0.02,
    clearance_mm: float | None = None,
    kerf_mm: float | None = None,
    cut_holes: bool = False,
    ideal: bool = False,
    symmetric: bool = False,
    bleed_mm: float | None = None,
    inset_mm: float | None = None,
    cutting: Cutting | None = None,
    taken_with: Literal["camera", "flatbed"] | None = None,
    edge: Literal["outer", "inner"] | None = None,
    item_height_mm: float | None = None,
    height_within_mm: float = HEIGHT_WITHIN_MM,
    edge_height_mm: float | None = None,
    lens: LensProfile | None = None,
    background_photo: str | None = None,
    max_mpx: float = 400.0,
) -> Outlines:
    """Find the true-size outlines of the items in a picture file; nothing is written.

    Parameters
    ----------
    picture
        A scan or photo with a reference beside the items.
    square_mm
        Side of a plain reference square, or its two sides.
    measured_mm
        Calipers' readings of our own printed card, X and Y.
    dpi
        Density where no reference is in the picture; its uncertainty is large.
    square_at_px, item_at_px
        Where the reference is; which item alone is wanted. Pixels, (0, 0) the centre of the top-left one.
    background
        "light", "dark" or "#rrggbb" where it is not found by itself.
    dust_mm
        Specks and hairs up to this size are ignored.
    tolerance_mm
        Largest distance of the lines and arcs from the edge.
    clearance_mm, kerf_mm, cut_holes
        Given one of the first two, each item gets a pocket.
    ideal, symmetric
        Write recognised ideal shapes; write nearly symmetric outlines made exactly so.
    bleed_mm, inset_mm
        Given one of them, each item gets a print area that far outside or inside its edge.
    cutting
        A way of cutting instead of clearance and kerf: `digitize.cutting.ways.Cutting`.
    edge
        Which of two borders to take where both are plausible; None: as measured, and both are said.
    taken_with, item_height_mm, height_within_mm, edge_height_mm, lens, background_photo
        For photos: see `digitize outline --help`.
    max_mpx
        Largest picture that is decoded, in millions of pixels.

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
    >>> found = digitize.outline("scan.png", square_mm=50)  # doctest: +SKIP
    >>> found.items[0].width_mm, found.items[0].uncertainty.profile_k2_mm  # doctest: +SKIP
    (53.291, 0.022)
    >>> found.to_shapely()[0].buffer(0.2).area  # doctest: +SKIP
    1761.2
    """
    settings = Settings(
        square_mm=_pair(square_mm),
        measured_mm=_pair(measured_mm),
        dpi=_pair(dpi),
        square_at_px=square_at_px,
        item_at_px=item_at_px,
        background=background,
        dust_mm=dust_mm,
        tolerance_mm=tolerance_mm,
        clearance_mm=clearance_mm,
        kerf_mm=kerf_mm,
        cut_holes=cut_holes,
        ideal=ideal,
        symmetric=symmetric,
        bleed_mm=bleed_mm,
        inset_mm=inset_mm,
        cutting=cutting,
        taken_with=taken_with,
        edge=edge,
        item_height_mm=item_height_mm,
        height_within_mm=height_within_mm,
        edge_height_mm=edge_height_mm,
        lens=lens,
        background_photo=background_photo,
    )
    from .reading.picture import read_picture
    from .recipe.outline import outline_picture

    read = read_picture(picture, max_mpx=max_mpx)
    outlined = outline_picture(read, settings, empty=read_background(settings, max_mpx=max_mpx))
    return Outlines(read, outlined.result, outlined.scale)


def _pair(value: float | Pair | None) -> Pair | None:
    if value is None:
        return None
    if isinstance(value, int | float):
        return float(value), float(value)
    x, y = value
    return float(x), float(y)


def _array(place: Pair) -> FloatArray:
    import numpy as np

    return np.array(place)


def _properties(item: Item) -> dict[str, Any]:
    return {
        "name": item.name,
        "width_mm": item.width_mm,
        "height_mm": item.height_mm,
        "area_mm2": item.area_mm2,
        "perimeter_mm": item.perimeter_mm,
        "outline_k2_mm": item.uncertainty.profile_k2_mm,
        "warnings": [finding.code for finding in item.findings],
    }
