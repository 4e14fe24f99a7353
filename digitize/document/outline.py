"""The outline document as a whole: what the picture was, what its scale rests on, what was asked for, the items."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, Literal

from msgspec import UNSET, Meta, UnsetType, field

from .. import records
from ..records import frozen_array
from ..seal import BLANK, __version__
from .form import (
    FINE,
    MM,
    Count,
    Finding,
    NotNegative,
    Pair,
    Part,
    Positive,
    UnsoundError,
    about,
    pair,
    part_of,
    record_of,
    utf8,
)
from .item import Item
from .lot import Lot
from .usual import Usual

FORMAT: Literal["digitize-outline"] = "digitize-outline"
VERSION: Literal[1] = 1
WRITTEN_BY = f"digitize {__version__}"


class Source(Part, frozen=True, kw_only=True):
    """The picture, upright."""

    file: Annotated[str, about("File name without folder.")]
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$", description="Of the file's bytes: 64 hexadecimal digits.")]
    width_px: Count
    height_px: Count


class Scale(Part, frozen=True, kw_only=True):
    """What the scale is and rests on."""

    made_of = records.ScaleFacts
    kind: Literal["flatbed", "camera"]
    mm_per_px: Annotated[tuple[Positive, Positive], FINE, about("Along x and along y; of a camera, at the reference.")]
    reference: Annotated[str, about("What the scale rests on, in words.")]
    residual_mm: Annotated[NotNegative, FINE, about("Root mean square misfit of the reference.")]
    measured: Annotated[bool, about("Whether the reference was measured, or its nominal size believed.")]
    skew_deg: Annotated[float, FINE, about("Deviation of the picture's axes from a right angle.")]
    corners_px: Annotated[tuple[Pair, Pair, Pair, Pair] | None, about("Outer corners of the reference in the picture.")]

    @classmethod
    def of(cls, record: records.ScaleFacts) -> Scale:
        """Return the part of a record."""
        corners = None if record.corners_px is None else [pair(corner) for corner in record.corners_px.tolist()]
        return part_of(cls, record, corners_px=corners)

    def record(self, at: str) -> Any:
        """Return the record of the part."""
        corners = None if self.corners_px is None else frozen_array(self.corners_px, columns=2)
        return record_of(self, at, corners_px=corners)


class Face(Part, frozen=True, kw_only=True):
    """Which way the outline is seen."""

    imaged: Annotated[Literal["print", "back"], about("Which face of the item the picture shows.")]
    mirrored: Annotated[
        bool,
        about(
            "Whether left and right are exchanged against the picture, in all coordinates: the item's x then runs "
            "leftwards in the picture from `origin_px`, once it is turned back."
        ),
    ]


class FailedItem(Part, frozen=True, kw_only=True):
    """An item that was seen and has no sound outline: nothing else is written of it."""

    made_of = records.FailedItem
    box_px: Annotated[
        tuple[float, float, float, float], MM, about("Left, top, right, bottom of the item in the picture.")
    ]
    reason: Finding


class LeftOut(Part, frozen=True, kw_only=True):
    """A patch larger than dust that differs from the background and is no part of an item or of the card."""

    made_of = records.LeftOut
    place_mm: Annotated[Pair, about("Where it is widest, x, y from where items have their `sheet_mm`.")]
    place_px: Annotated[Pair, about("The same place in the picture.")]
    box_px: Annotated[tuple[float, float, float, float], MM, about("Left, top, right, bottom in the picture.")]
    area_mm2: Annotated[NotNegative, MM]
    along_px: Annotated[
        list[Annotated[tuple[float, float, float, float], MM]] | UnsetType,
        about("Of a strip along the border its middle: x0, y0, x1, y1 for each side of the picture it runs along."),
    ] = UNSET
    why: Annotated[
        records.Why,
        about(
            "A rim of the picture or of the lid; without a sharp edge; a stain; the shade of an item; too small; too "
            "thin; cut by the border; one of too many; pale beside the edge of an item."
        ),
    ]


class Outline(Part, frozen=True, kw_only=True):
    """True-size outlines of the items in one picture.

    Lengths in mm, y up. Unless said otherwise, coordinates are in the item's own frame, whose origin is the lower-left
    corner of the item's bounding box. Lengths are rounded to 0.0001 mm.
    """

    made_of = records.Result
    format: Literal["digitize-outline"]
    version: Literal[1]
    written_by: Annotated[str, about("Program and version, for example 'digitize 0.1.0'.")]
    mark: Annotated[
        str,
        Meta(
            pattern="^DIGITIZE_[0-9A-F]{16}$",
            description="First 64 bits of the SHA-256 of the file's bytes with these 16 digits all 0. Tells a file as "
            "written from one changed since; a reader may ignore it.",
        ),
    ]
    units: Literal["mm"]
    source: Source
    scale: Scale
    face: Face
    tolerance_mm: Annotated[
        Positive, UnsoundError, about("Largest distance between a path and the dense edge it stands for.")
    ]
    options: Annotated[
        dict[str, Any],
        about(
            "The options that shaped the result, as given: by name, with all digits; a way of cutting and a lens with "
            "all their values, of a photo without items file and SHA-256. `digitize outline --again` reads them."
        ),
    ]
    usual: Annotated[Usual | UnsetType, about("Only where a workshop's file set options that nobody said.")] = UNSET
    items: Annotated[list[Item], about("In reading order.")]
    failed: Annotated[list[FailedItem], Meta(min_length=1)] | UnsetType = UNSET
    lot: Annotated[Lot | UnsetType, about("Only where the one item is the mean of several blanks.")] = UNSET
    left_out: (
        Annotated[list[LeftOut], Meta(min_length=1, description="What is no item, the largest first.")] | UnsetType
    ) = UNSET
    findings: list[Finding] = field(name="warnings")

    @classmethod
    def of(cls, record: records.Result) -> Outline:
        """Return the document of a result, with a blank mark."""
        source = Source(
            file=utf8(record.source_name),
            sha256=record.source_sha256,
            width_px=record.width_px,
            height_px=record.height_px,
        )
        return part_of(
            cls,
            record,
            format=FORMAT,
            version=VERSION,
            written_by=WRITTEN_BY,
            mark=BLANK,
            units="mm",
            source=source,
            face=Face(imaged=record.imaged, mirrored=record.mirrored),
        )

    def record(self, at: str = "") -> Any:
        """Return the record of the document; `UnsoundError` where its parts contradict one another."""
        items = (item.record(f"items[{n}]") for n, item in enumerate(self.items))
        return record_of(
            self,
            at,
            items=tuple(replace(item, mirrored=self.face.mirrored) for item in items),
            imaged=self.face.imaged,
            mirrored=self.face.mirrored,
            source_name=self.source.file,
            source_sha256=self.source.sha256,
            width_px=int(self.source.width_px),
            height_px=int(self.source.height_px),
        )
