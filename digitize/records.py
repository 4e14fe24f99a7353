"""The frozen data passed between the stages; read this module first.

Frames
------
px : (x, y), x right, y down, (0, 0) is the centre of the top-left pixel of the upright picture.
mm : (x, y), x right, y up. The *plane* frame is whatever the scale maps to (origin arbitrary);
    the *sheet* frame has its origin at the lower-left corner of the box around all items;
    an *item* frame has its origin at the lower-left corner of that item's own box.
Rings are (N, 2) float64 arrays without a repeated last point; in mm an outer ring runs
counter-clockwise and a hole clockwise. All record arrays are read-only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Literal, Protocol

import numpy as np
import numpy.typing as npt

from .sound import unsound
from .steady import product

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]
ByteArray = npt.NDArray[np.uint8]


def frozen_array(values: npt.ArrayLike, *, columns: int | None = None) -> FloatArray:
    """Return a read-only float64 copy of `values`, checked finite (and of shape (N, `columns`) if given).

    Raises
    ------
    ValueError
        If a value is not finite or the shape is wrong.
    """
    array = np.array(values, dtype=np.float64)
    if columns is not None and (array.ndim != 2 or array.shape[1] != columns):
        raise ValueError(f"expected an (N, {columns}) array, got shape {array.shape}")
    if not np.isfinite(array).all():
        raise ValueError("array holds NaN or infinity")
    array.setflags(write=False)
    return array


def eight_bit(codes: npt.NDArray[Any]) -> ByteArray:
    """Return uint8 or uint16 codes as uint8 (not copied if they are): the upper byte, as for showing and finding."""
    return codes if codes.dtype == np.uint8 else (codes >> 8).astype(np.uint8)


def turning(angle: float) -> FloatArray:
    """Return the (2, 2) matrix that turns rows of x, y counter-clockwise, radians: ``places @ turning(angle)``."""
    cos, sin = math.cos(angle), math.sin(angle)
    return np.array([(cos, sin), (-sin, cos)])


@dataclass(frozen=True, slots=True)
class Finding:
    """Something worth saying about a result that exists all the same."""

    code: str  # stable, lower-case-with-hyphens
    message: str  # what happened, a sentence from the table in `digitize.words`; what to do stands there by the code
    value: float | None = None
    limit: float | None = None
    place_px: tuple[float, float] | None = None
    attention: bool = True  # False: a remark; True: a person should look
    detail: str = ""  # figures for experts
    of_photo: bool = False  # else of a scan: another next step may hold; a `Result` tells its findings


Why = Literal["rim", "soft", "stain", "shade", "small", "thin", "cut", "many", "pale", "crisp"]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A patch larger than dust that differs from the background and is no part of an item or of the card."""

    box_px: tuple[int, int, int, int]  # x0, y0, x1, y1
    place_px: tuple[float, float]  # where it is widest
    area_mm2: float
    why: Why  # rim of the picture or lid; soft-edged; a stain; an item's shade; too small; too thin; cut by the border;
    # one of too many; pale beside an item's edge; as pale as shade, but with a crisp edge
    place_mm: tuple[float, float] = (0.0, 0.0)  # that place in the sheet frame, once that is known
    along_px: tuple[tuple[float, float, float, float], ...] = ()  # of a strip along the border its middle, x0, y0, x1,
    # y1 for each side of the picture that it runs along


@dataclass(frozen=True, slots=True)
class Density:
    """Pixel density the file claims for the upright picture."""

    x_px_per_mm: float
    y_px_per_mm: float
    source: str  # "PNG pHYs", "JFIF", "TIFF", "EXIF", "--dpi"


@dataclass(frozen=True, slots=True)
class CameraTag:
    """What EXIF says of the camera; None where it says nothing."""

    make: str | None = None
    model: str | None = None
    focal_mm: float | None = None
    focal_35mm: float | None = None
    focal_px: float | None = None  # as long in pixels of the picture as it was taken
    taken_px: tuple[float, float] | None = None  # its width and height, as the sensor lies
    orientation: int = 1  # EXIF, 1 to 8: how the sensor's pixels were turned to stand upright


@dataclass(frozen=True, slots=True)
class Picture:
    """A decoded picture, upright, with the way from its codes to linear light."""

    name: str  # file name without folder
    sha256: str  # of the file's bytes, hex
    pixels: npt.NDArray[Any]  # (H, W, C) uint8 or uint16, C = 1 (grey) or 3 (R, G, B), C-contiguous
    to_linear: npt.NDArray[np.float32]  # (256 or 65536, C): code -> linear light, 0..1
    density: Density | None = None
    camera: CameraTag | None = None
    findings: tuple[Finding, ...] = ()
    curve_stated: bool = True  # False: the file says nothing of its curve to linear light, and sRGB's was taken

    @property
    def width_px(self) -> int:
        """Width in pixels."""
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        """Height in pixels."""
        return int(self.pixels.shape[0])


class Scale(Protocol):
    """The mapping between picture and plane; `to_px` is the inverse of `to_mm`."""

    @property
    def kind(self) -> Literal["flatbed", "camera"]:
        """Which model this is."""

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to (N, 2) mm in the plane frame."""

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map (N, 2) mm in the plane frame to (N, 2) px."""


@dataclass(frozen=True, slots=True)
class Contour:
    """One closed edge of an item in the picture, at sub-pixel places."""

    points_px: FloatArray  # (N, 2), dense (about 1 px apart)
    sd_px: FloatArray  # (N,), standard deviation across the edge, random part only
    corners: tuple[int, ...]  # indices of points restored as sharp corners
    is_hole: bool
    blur_px: float  # standard deviation of the blur, pixel aperture included
    contrast: float  # linear-light difference inside to outside, median along the edge
    shade: float = 0.0  # root mean square of the light's trend just outside, parts of the contrast per px
    shade_place_px: tuple[float, float] | None = None  # where it is steepest
    by_hand: BoolArray | None = None  # (N,) which points a hand set; None: none
    uneven_px: float = 0.0  # standard uncertainty of its place for light that changes along it: print, grain
    light: tuple[float, float] | None = None  # inside and outside, of full light, mean of the channels; None: not told


@dataclass(frozen=True, slots=True)
class ReferenceEdge:
    """The edges the scale counts from: where they move all round, all lengths grow or shrink with them."""

    side_mm: float
    light: tuple[float, float]  # inside and outside, of full light
    blur_px: float
    sharpened: float  # how much a driver has sharpened, 0 to 1


@dataclass(frozen=True, slots=True)
class Path:
    """A closed path of straight lines and circular arcs.

    Segment i runs from ``points_mm[i]`` to ``points_mm[(i + 1) % N]``; ``bulges[i]`` is
    tan(angle / 4) of its arc, positive counter-clockwise, 0 for a straight line.
    """

    points_mm: FloatArray  # (N, 2), N >= 2
    bulges: FloatArray  # (N,)


@dataclass(frozen=True, slots=True)
class Circle:
    """A full circle."""

    centre_mm: tuple[float, float]
    radius_mm: float


@dataclass(frozen=True, slots=True)
class OpenPath:
    """Straight lines and circular arcs from a first to a last point; bulges as in `Path`, one a segment."""

    points_mm: FloatArray  # (N, 2), N >= 2
    bulges: FloatArray  # (N - 1,)


Curve = Path | Circle


ShapeKind = Literal["circle", "regular polygon", "slot", "rectangle", "rounded rectangle"]


@dataclass(frozen=True, slots=True)
class IdealShape:
    """An ideal shape that explains a measured ring within the tolerance."""

    kind: ShapeKind
    sizes_mm: dict[str, float]  # by name: diameter, inscribed_diameter, length, width, corner_radius
    sd_mm: dict[str, float]  # standard deviations of the fit, same names; the scale's part is not in them
    sides: int | None  # of a regular polygon
    centre_mm: tuple[float, float]  # item frame
    angle_deg: float  # of the longer side, or of the way from the centre to a side; 0 for a circle
    deviation_mm: float  # largest distance of a point of the ring from the shape
    written: bool = False  # whether the ring's path is such a shape


@dataclass(frozen=True, slots=True)
class Symmetry:
    """What leaves a ring where it is, within a tolerance."""

    centre_mm: tuple[float, float]
    turns: int  # rotations by 360 / turns degrees; 1 for none, 0 for any (a circle)
    turn_deviation_mm: float  # largest distance after one such rotation; 0 if there is none
    axes_deg: tuple[float, ...]  # mirror axes through the centre, 0 <= angle < 180; empty for a circle: any
    axis_deviations_mm: tuple[float, ...]  # largest distance after each mirroring
    with_holes: bool = True  # whether all of it holds for the holes too
    moved_mm: float | None = None  # largest distance of the symmetric path written from the measured edge


# How far along an item's edge an error is one and the same: it grows with the length; it moves all edges outward or
# inward alike; it moves each side by its own; it is each point's own.
Acts = Literal["with length", "all round", "side by side", "point by point"]


@dataclass(frozen=True, slots=True)
class Contribution:
    """One line of the uncertainty budget (JCGM 100): a standard uncertainty and where it comes from.

    Lines are independent of one another. What is correlated within a line is in its two figures: an error all round
    counts twice in a length, one of each side as the root of 2, one of each point hardly at all (5.2.2 of the guide).
    """

    name: str
    profile_mm: float = 0.0  # standard uncertainty (k = 1) of an edge point
    length_mm: float = 0.0  # constant part for a length
    length_per_mm: float = 0.0  # part proportional to the length
    note: str = ""
    acts: Acts | None = None  # None of one read from a document that does not tell


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Expanded uncertainty, k = 2."""

    profile_k2_mm: float
    length_offset_k2_mm: float
    length_per_metre_k2_mm: float  # mm per metre of length
    budget: tuple[Contribution, ...] = ()


@dataclass(frozen=True, slots=True)
class Allowance:
    """One link of the chain from the item to the path that is cut; positive is outward."""

    name: str  # "lot", "clearance", "kerf", "cutter", "draft", "shrink"
    offset_mm: float
    scale: float = 1.0  # for what is no offset: everything before it times this, about the middle of the item's box


@dataclass(frozen=True, slots=True)
class Relief:
    """A corner the cutter cannot reach, relieved: the centre of the cutter goes out to `tip_mm` and back."""

    corner_mm: tuple[float, float]  # where the cutter's centre turns, item frame
    tip_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Uncut:
    """What a round cutter leaves standing inside a pocket."""

    ring_mm: FloatArray  # (N, 2), counter-clockwise, item frame
    area_mm2: float
    depth_mm: float  # from the wall the cutter leaves to the farthest point of what was wanted


@dataclass(frozen=True, slots=True)
class Notch:
    """A round notch in the pocket's wall for a finger."""

    centre_mm: tuple[float, float]  # on the pocket's wall, item frame
    width_mm: float
    angle_deg: float  # from the item's middle, counter-clockwise from +x


@dataclass(frozen=True, slots=True)
class Pocket:
    """The path to cut, and how it came about."""

    curves: tuple[Curve, ...]  # item frame
    chain: tuple[Allowance, ...]
    clearance_mm: float
    kerf_mm: float
    cutter_mm: float = 0.0
    findings: tuple[Finding, ...] = ()
    way: str = ""  # of cutting: "laser", "router", "knife", "print3d", "former"; empty: none was named
    leads: tuple[OpenPath, ...] = ()  # each ends where a curve begins
    reliefs: tuple[Relief, ...] = ()  # the curves run into them
    uncut: tuple[Uncut, ...] = ()
    notches: tuple[Notch, ...] = ()  # the curves run around them
    pins: tuple[Circle, ...] = ()  # to be made and set under the item's holes
    plug_top: tuple[Curve, ...] = ()  # former: edge of the plug's upper face; the curves are that of its foot
    plug_height_mm: float = 0.0  # former: from the plug's foot to its upper face
    wall: tuple[Curve, ...] = ()  # edges of the finished pocket, what stands inside it (pegs) running clockwise
    notes: tuple[str, ...] = ()  # what to know before cutting, a sentence each


@dataclass(frozen=True, slots=True)
class Calipers:
    """What calipers read of an item's exterior; a round one has its diameter twice."""

    length_mm: float  # extent along the jaws
    width_mm: float  # distance of the jaws, the least of all directions
    direction_deg: float  # of the length, counter-clockwise from +x of the item frame, 0 <= direction < 180
    length_k2_mm: float  # expanded uncertainty (k = 2)
    width_k2_mm: float


@dataclass(frozen=True, slots=True)
class LeastSure:
    """A place where the edge in the picture is least sure."""

    at_px: tuple[float, float]
    k2_mm: float  # expanded uncertainty (k = 2) of the edge's place there, its random part only


@dataclass(frozen=True, slots=True)
class Item:
    """One item's outline in its own frame (origin at the lower-left of its box, y up, mm)."""

    name: str
    exterior_mm: FloatArray  # (N, 2) dense, counter-clockwise
    holes_mm: tuple[FloatArray, ...]  # each (N, 2) dense, clockwise
    path: Curve  # exterior as lines and arcs, counter-clockwise
    hole_paths: tuple[Curve, ...]  # one per hole, clockwise (a Circle has no direction)
    sheet_mm: tuple[float, float]  # where this frame's origin lies in the sheet frame
    origin_px: tuple[float, float]  # where this frame's origin lies in the picture
    width_mm: float
    height_mm: float
    area_mm2: float  # holes taken out
    perimeter_mm: float  # exterior only
    centroid_mm: tuple[float, float]
    uncertainty: Uncertainty
    contours: tuple[Contour, ...] = ()  # exterior first, then holes, as measured in the picture
    other_px: tuple[FloatArray, ...] = ()  # each (N, 2), open lines: where another border may be meant; not drawn
    least_sure: tuple[tuple[LeastSure, ...], ...] = ()  # of each contour a few, the least sure first
    pocket: Pocket | None = None
    print_area: tuple[Curve, ...] = ()
    print_offset_mm: float | None = None  # of its edge from the item's, outward (bleed); None: no print area
    findings: tuple[Finding, ...] = ()
    shapes: tuple[IdealShape | None, ...] = ()  # exterior first, then holes; None where a ring is none
    symmetry: Symmetry | None = None  # of the exterior; None where it has none, or was not looked for
    calipers: Calipers | None = None  # None of items read from a document that does not tell
    mirrored: bool = False  # whether left and right were exchanged after that turn: x runs leftwards in the picture
    rotation_deg: float = 0.0  # how far it was turned, counter-clockwise, from how it lay; its frame is the turned one
    by_hand_mm: tuple[FloatArray, ...] = ()  # each (N, 2), open lines: where a hand set the edge
    by_hand_px: tuple[FloatArray, ...] = ()  # the same in the picture

    def __post_init__(self) -> None:
        """Refuse an outline that cannot be cut, whoever made it.

        Raises
        ------
        ValueError
            If rings cross, touch, lie outside the outline or run the wrong way round, or the area is not above 0.
        """
        wrong = unsound(self.exterior_mm, self.holes_mm)
        if wrong or not self.area_mm2 > 0:
            raise ValueError(f"{self.name} is no outline: {wrong or f'its area is {self.area_mm2:g} mm2'}")

    def as_laid(self, places_mm: FloatArray) -> FloatArray:
        """Return places (N, 2) of the item frame as offsets from its origin in the plane frame: turned back."""
        if self.mirrored:
            places_mm = places_mm * (-1.0, 1.0)
        if not self.rotation_deg:
            return places_mm
        return np.asarray(product(places_mm, turning(-math.radians(self.rotation_deg))))


@dataclass(frozen=True, slots=True)
class FailedItem:
    """What was seen as an item and has no sound outline: nothing is written of it but where it is, and why."""

    box_px: tuple[float, float, float, float]  # left, top, right, bottom
    reason: Finding
    rings_px: tuple[FloatArray, ...] = ()  # each (N, 2), exterior first: its border as far as it was followed
    lost_px: tuple[FloatArray, ...] = ()  # each (N, 2), open lines of it: where it could not be measured


@dataclass(frozen=True, slots=True)
class ScaleFacts:
    """What the document says about the scale."""

    kind: Literal["flatbed", "camera"]
    mm_per_px: tuple[float, float]
    reference: str  # in words: "plain square 50 x 50 mm", "ring card, measured 53.8 x 53.9 mm", "--dpi 600"
    residual_mm: float
    measured: bool
    skew_deg: float = 0.0
    corners_px: FloatArray | None = None  # (4, 2) outer corners of the reference, for the check picture


@dataclass(frozen=True, slots=True)
class LotSample:
    """One blank of a lot, laid on the mean of all."""

    name: str  # of the item
    source_name: str  # of its picture
    source_sha256: str
    turn_deg: float  # counter-clockwise, onto the mean
    turned_over: bool
    larger_mm: float  # a side, than the mean, on the whole
    form_mm: float  # root mean square of what its form differs by besides
    most_mm: float  # the largest distance from the mean
    is_odd: bool  # far from what the others are like


@dataclass(frozen=True, slots=True)
class LotFacts:
    """How the blanks of a lot differ, where the item is their mean."""

    samples: tuple[LotSample, ...]
    sd_mm: float  # between samples, at the place where it is largest
    range_along_mm: FloatArray  # (N,) from the smallest to the largest sample, at each point of the item's exterior
    tolerance_factor: float | None  # standard deviations that hold 95 % of all blanks, 95 % sure; None of one sample
    largest_mm: FloatArray  # (L, 2) edge of all together, item frame
    smallest_mm: FloatArray  # (S, 2) edge of what all have in common, item frame

    @property
    def range_mm(self) -> float:
        """The range where it is largest."""
        return float(self.range_along_mm.max())


@dataclass(frozen=True, slots=True)
class Usual:
    """What a workshop's file of usual options set, where nobody said otherwise."""

    file: str  # its name without folder
    folder: Literal["working", "settings"]  # where it lay
    options: dict[str, str | bool]  # by the option's name, as the file has them; of a card its reading too


def _of_photo(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    return tuple(replace(one, of_photo=True) for one in findings)


def _item_of_photo(item: Item) -> Item:
    pocket = item.pocket
    told = (*item.findings, *(() if pocket is None else pocket.findings))
    if all(one.of_photo for one in told):
        return item
    if pocket is not None:
        pocket = replace(pocket, findings=_of_photo(pocket.findings))
    return replace(item, findings=_of_photo(item.findings), pocket=pocket)


@dataclass(frozen=True, slots=True)
class Result:
    """All that was found in one picture; what the writers write."""

    source_name: str
    source_sha256: str
    width_px: int
    height_px: int
    scale: ScaleFacts
    items: tuple[Item, ...]  # reading order, each sound
    tolerance_mm: float
    findings: tuple[Finding, ...] = ()
    left_out: tuple[LeftOut, ...] = ()  # the largest first
    options: dict[str, Any] = field(
        default_factory=dict
    )  # the options that shaped the result, as given, as JSON has it
    usual: Usual | None = None  # which of them nobody said, but a workshop's file
    failed: tuple[FailedItem, ...] = ()  # reading order
    lot: LotFacts | None = None  # the one item is the mean of several blanks
    imaged: Literal["print", "back"] = "print"  # face of the items that the picture shows
    mirrored: bool = False  # whether all is drawn with left and right exchanged

    def __post_init__(self) -> None:
        """Let every finding know whether it is of a photo or of a scan."""
        if self.scale.kind != "camera":
            return
        failed = tuple(replace(one, reason=replace(one.reason, of_photo=True)) for one in self.failed)
        for name, value in (
            ("failed", failed),
            ("findings", _of_photo(self.findings)),
            ("items", tuple(map(_item_of_photo, self.items))),
        ):
            object.__setattr__(self, name, value)

    @property
    def in_inches(self) -> bool:
        """Whether drawings that have a unit of their own are asked for in inches."""
        return self.options.get("units") == "inch"

    @property
    def all_findings(self) -> tuple[Finding, ...]:
        """Why items failed, findings of the picture, then of each item and its pocket in order."""
        found = [*(one.reason for one in self.failed), *self.findings]
        for item in self.items:
            found += item.findings
            if item.pocket is not None:
                found += item.pocket.findings
        return tuple(found)
