"""The plate's document: which kinds lie where on it; what the cut drawing, the draft sheet and the template share."""

from __future__ import annotations

from importlib import resources
from typing import Annotated, Any, Literal

from msgspec import UNSET, Meta, UnsetType

from ..plate import corner
from ..plate import plate as records
from ..seal import BLANK, __version__, seal
from .form import FINE, MM, NotNegative, Part, Positive, UnsoundError, about, part_of, record_of, utf8
from .item import Item
from .text import read_part, text_of
from .usual import Usual

FORMAT: Literal["digitize-plate"] = "digitize-plate"
VERSION: Literal[1] = 1
SCHEMA_FILE = "plate-v1.schema.json"


class KindSource(Part, frozen=True, kw_only=True):
    """The picture that a kind was outlined in."""

    file: Annotated[str, about("File name without folder.")]
    sha256: Annotated[str, Meta(pattern="^[0-9a-f]{64}$", description="Of the file's bytes: 64 hexadecimal digits.")]


class Kind(Part, frozen=True, kw_only=True):
    """What goes into some of the pockets."""

    made_of = records.Kind
    name: str
    source: KindSource
    turn_deg: Annotated[float, FINE, about("Counter-clockwise, from the item's frame to upright.")]
    item: Annotated[Item, about("As in its outline document, in its own frame, with its pocket.")]

    @classmethod
    def of(cls, record: records.Kind) -> Kind:
        """Return the part of a record."""
        return part_of(cls, record, source=KindSource(file=utf8(record.source_name), sha256=record.source_sha256))

    def record(self, at: str) -> Any:
        """Return the record of the part; `UnsoundError` if the item has no pocket."""
        if self.item.pocket is None:
            raise UnsoundError(f"{at}.item has no pocket")
        return record_of(self, at, source_name=self.source.file, source_sha256=self.source.sha256)


class Place(Part, frozen=True, kw_only=True):
    """Where one item lies: the middle of the box around the upright item, in the frame of the bed."""

    made_of = records.Place
    kind: Annotated[str, about("Name of one of the kinds.")]
    x_mm: Annotated[float, MM]
    y_mm: Annotated[float, MM]
    turn_deg: Annotated[float, FINE, about("Counter-clockwise, from upright, about that middle.")]


class Hole(Part, frozen=True, kw_only=True):
    """A round hole through the plate, for a pin or a screw, in the frame of the bed."""

    made_of = records.Hole
    x_mm: Annotated[float, MM]
    y_mm: Annotated[float, MM]
    diameter_mm: Annotated[Positive, MM, about("As it is to be when cut.")]


class Corner(Part, frozen=True, kw_only=True):
    """The corner piece at zero that the plate is pushed against, and its key: a tongue, and a notch in the plate."""

    made_of = corner.Corner
    arm_mm: Annotated[Positive, MM, about("From zero along both edges.")]
    wide_mm: Annotated[Positive, MM]
    key_mm: Annotated[Positive, MM, about("Width of the tongue; null: no key.")] | None


class Heights(Part, frozen=True, kw_only=True):
    """What decides how high faces lie above the bed."""

    made_of = records.Heights
    items_mm: Annotated[list[tuple[str, Positive]], MM, about("Each kind, and how thick its items are.")]
    depth_mm: Annotated[Positive, MM, about("Of the pockets; null: they go through.")] | None
    base_mm: Annotated[NotNegative, MM, about("Thickness of what lies under the plate.")]
    head_mm: Annotated[Positive, MM, about("Lowest part of the printer's head, above the bed.")] | None

    @classmethod
    def of(cls, record: records.Heights) -> Heights:
        """Return the part of a record."""
        return part_of(cls, record, items_mm=[(utf8(name), round(mm, 4)) for name, mm in record.items_mm])

    def record(self, at: str) -> Any:
        """Return the record of the part."""
        return record_of(self, at, items_mm=tuple((name, mm) for name, mm in self.items_mm))


class Plate(Part, frozen=True, kw_only=True):
    """Pockets on a plate.

    Lengths in mm. The frame of the bed: x right, y up, the origin its lower-left corner, whichever corner is zero. A
    point p of an item's frame lies on the bed at R(kind.turn + place.turn) p - R(place.turn) m + (x, y), where R turns
    counter-clockwise and m is the middle of the box around R(kind.turn) applied to the item's geometry.
    """

    made_of = records.Plate
    format: Literal["digitize-plate"]
    version: Literal[1]
    written_by: Annotated[str, about("Program and version, for example 'digitize 0.1.0'.")]
    mark: Annotated[
        str,
        Meta(
            pattern="^DIGITIZE_[0-9A-F]{16}$",
            description="First 64 bits of the SHA-256 of the file's bytes with these 16 digits all 0; it also stands "
            "on the drawings that belong to this plate.",
        ),
    ]
    units: Literal["mm"]
    name: str
    label: Annotated[list[str], about("What the user wants to stand on it: revision, date.")]
    bed_mm: Annotated[tuple[Positive, Positive], MM, about("Width and height.")]
    size_mm: Annotated[
        tuple[Positive, Positive], MM, about("Of the plate, which lies in the bed's zero corner: width and height.")
    ]
    zero: Annotated[
        Literal["top-left", "top-right", "bottom-left", "bottom-right"],
        about("The corner of the bed from which is measured: the drawings' zero."),
    ]
    cut_from: Annotated[
        Literal["front", "back"],
        about("The side of the plate that is up when it is cut; all coordinates are as seen from the front."),
    ]
    thickness_mm: Annotated[Positive, MM] | None
    web_mm: Annotated[Positive, MM, about("The least sheet there should be between two pockets.")]
    kinds: Annotated[list[Kind], Meta(min_length=1)]
    places: Annotated[list[Place], Meta(min_length=1, description="In the order of their numbers, from 1.")]
    holes: list[Hole]
    corner: Annotated[Corner | UnsetType, about("Only where there is one.")] = UNSET
    heights: Annotated[Heights | UnsetType, about("Only where they were said.")] = UNSET
    centres: Annotated[
        Literal["box", "centroid", "circle"] | UnsetType, about("Which middle of each item the drawings mark.")
    ] = UNSET
    leads: Annotated[Literal["joined", "apart"] | UnsetType, about("Joined unless said.")] = UNSET
    usual: Annotated[Usual | UnsetType, about("Only where a workshop's file set options that nobody said.")] = UNSET

    @classmethod
    def of(cls, record: records.Plate) -> Plate:
        """Return the part of a record."""
        return part_of(
            cls,
            record,
            format=FORMAT,
            version=VERSION,
            written_by=f"digitize {__version__}",
            mark=BLANK,
            units="mm",
        )

    def record(self, at: str) -> Any:
        """Return the record of the part; `UnsoundError` if a place is of no kind, or two kinds have one name."""
        names = [kind.name for kind in self.kinds]
        if len(set(names)) != len(names):
            raise UnsoundError("two of the kinds have the same name")
        for number, place in enumerate(self.places):
            if place.kind not in names:
                raise UnsoundError(f"places[{number}].kind is {place.kind}, which is none of the kinds")
        if self.size_mm[0] > self.bed_mm[0] or self.size_mm[1] > self.bed_mm[1]:
            raise UnsoundError("the plate is larger than its bed")
        if self.heights is not UNSET and {name for name, _ in self.heights.items_mm} != set(names):
            raise UnsoundError("heights.items_mm does not name each of the kinds")
        return record_of(self, at)


def plate_bytes(plate: records.Plate) -> bytes:
    """Return a plate as its document, UTF-8; the same plate gives the same bytes."""
    whole = Plate.of(plate)
    return seal(text_of(whole, kinds=list(whole.kinds)).encode())


def read_plate(data: bytes) -> records.Plate:
    """Read a plate.

    Raises
    ------
    DocumentError
        If `data` is no plate document, of a newer version, or damaged.
    """
    _, plate = read_part(data, Plate, form=FORMAT, version=VERSION, what="plate document")
    made: records.Plate = plate
    return made


def plate_schema_text() -> str:
    """Return the JSON Schema (2020-12) of version 1, as text."""
    return resources.files("digitize").joinpath("data", SCHEMA_FILE).read_text("utf-8")
