"""The reference in a photo: our rings, else the user's plain square, and the camera that follows from it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ..camera.estimate import SPREAD_SD_MM, CameraEstimate, Print, RingReport, Square, estimate_camera
from ..camera.focal import LensKnowledge, lens_from_exif
from ..camera.scale import CameraScale
from ..card.kinds import CardLayout, layout_for_codes, take_readings
from ..card.parts import square_corners
from ..card.which import unlikely_readings
from ..errors import ScaleError
from ..reading.reduced import Reduced
from ..records import Contribution, Finding, FloatArray, Picture, ScaleFacts, frozen_array
from ..settings import Pair, Settings
from ..steady import norm
from ..words.say import finding_of
from .camera_findings import camera_findings, require_usable, true_sides
from .clean import unclean_square
from .codes import SeenCode, expected_ring_corners
from .photo_square import find_square, require_size
from .quad import BAND_ROOM, RING_REACH, band_px, side_lengths
from .refusals import card_cut
from .ring_card import readings_said
from .scale import PRINTED_SD_PART, ScaleEstimate, of_reference_size, square_places
from .uncut import printed_there

_BARE_MM = 2.0  # round a ring the card is bare paper
_MARK_STEP_MM = 5.0  # printed marks are drawn into the picture with places this near, as the lens bends them
_ROOM = 0.2  # of the shortest side of a plain square: so far on either side nothing else is taken to lie
_RING_MM = 80  # a longer reading is that of a card's bar, not of a ring


@dataclass(frozen=True, slots=True)
class LocatedCamera:
    """The camera over the card, and where the card's print lies in the picture."""

    estimate: ScaleEstimate
    camera: CameraEstimate
    squares_px: tuple[FloatArray, ...]
    marks_px: tuple[FloatArray, ...]
    sheet_px: FloatArray | None = None  # of a mat


def locate_rings(
    picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings, why: str
) -> LocatedCamera:
    """Find the camera by every ring of the card in the picture.

    Raises
    ------
    ScaleError
        If the card cannot be measured, or not trusted; the message says why and what to do.
    """
    side = None if settings.square_mm is None else float(np.mean(settings.square_mm))
    layout = layout_for_codes([code.code for code in seen], square_mm=side)
    squares = _ring_squares(reduced, seen, layout)
    measured = readings_said(layout, settings)
    print_ = _print_of(layout, measured, settings.caliper_sd_mm)
    outer = [s.corners_px for s in squares if s.ink > 0]
    if len(outer) == 1 and (cut := card_cut(outer[0], picture)):
        raise ScaleError(cut)
    smallest = min(float(side_lengths(corners).min()) for corners in outer)
    require_size(smallest)
    camera = estimate_camera(picture, squares, _lens(picture, settings), print_, reach=_reach(reduced))
    words = "not measured" if measured is None else f"measured {measured[0]:g} x {measured[1]:g} mm"
    reference = f"ring card ({layout.kind}, {layout.paper}), {words}"
    to_px = _card_to_px(camera, print_)
    outlines = tuple(to_px(_dense(ring.outer_corners_mm)) for ring in layout.rings if _is_seen(ring.code, seen))
    shown = to_px(layout.ring(seen[0].code).outer_corners_mm)
    of_ring = measured is None or max(measured) < _RING_MM
    length = layout.rings[0].outer_mm if of_ring else layout.bars[0].length_mm
    finish = _Finish(picture, settings, camera, reference, measured is not None, length, shown, why)
    names = {i: _place_words(squares, i) for i in {s.ring for s in squares}}
    said = (_unmeasured(layout),) if measured is None else unlikely_readings(layout, measured)
    sheet = to_px(_dense(_box_corners(*layout.card_box_mm))) if layout.kind == "mat" else None
    marks = (*_marks(layout.marks_mm, to_px), *_sheet_marks(layout, reduced, to_px))
    return LocatedCamera(finish.estimate(names, said), camera, outlines, marks, sheet)


def camera_of_rings(picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...]) -> CameraEstimate:
    """Solve for the camera by the rings of an unmeasured card and what EXIF says, for a lens profile."""
    layout = layout_for_codes([code.code for code in seen])
    known = lens_from_exif(picture.camera, picture.width_px, picture.height_px)
    squares = _ring_squares(reduced, seen, layout)
    return estimate_camera(picture, squares, known, _print_of(layout, None), reach=_reach(reduced))


def _reach(reduced: Reduced) -> int:
    """How far a ring's side may be from where its marker tells, px."""
    return int(RING_REACH * reduced.factor + 4)


def locate_square(picture: Picture, reduced: Reduced, settings: Settings, size_mm: Pair, why: str) -> LocatedCamera:
    """Find the camera by the user's plain square.

    Raises
    ------
    ScaleError
        If there is none, if it is not fit to measure by, or if several may be meant.
    """
    known = _lens(picture, settings)
    corners, touched = find_square(picture, reduced, settings, size_mm, known)
    px, mm = square_places(corners, size_mm)
    square = Square(0, np.asarray(mm, dtype=np.float64), px, 0.0, _ROOM * float(side_lengths(px).min()))
    side = float(np.mean(size_mm))
    print_ = Print(lambda _: (1.0, 1.0), float(np.sqrt(2.0)) * settings.caliper_sd_mm / side, 0.0)
    camera = estimate_camera(picture, (square,), known, print_, reach=2 * reduced.factor + 6)
    shape, doubts = true_sides(camera, size_mm)
    beside = unclean_square(camera.rest, camera.blur_px, corners)
    to_px = _card_to_px(camera, print_)
    reference = f"plain square {size_mm[0]:g} x {size_mm[1]:g} mm"
    finish = _Finish(picture, settings, camera, reference, True, side, to_px(square.corners_mm), why)
    names = {0: _place_words((square,), 0)}
    found = finish.estimate(names, (*(touched or beside.said), *doubts))
    lines = beside.budget
    if shape:
        note = "sides not in the ratio that was said"
        lines += (Contribution("x/y scale", length_per_mm=shape, note=note, acts="with length"),)
    found = replace(found, budget=(*found.budget, *lines))
    return LocatedCamera(found, camera, (to_px(_dense(square.corners_mm)),), ())


def _lens(picture: Picture, settings: Settings) -> LensKnowledge:
    if settings.lens is None:
        return lens_from_exif(picture.camera, picture.width_px, picture.height_px)
    orientation = 1 if picture.camera is None else picture.camera.orientation
    return settings.lens.knowledge(picture.width_px, picture.height_px, orientation)


def _is_seen(code: int, seen: tuple[SeenCode, ...]) -> bool:
    return any(one.code == code for one in seen)


def _ring_squares(reduced: Reduced, seen: tuple[SeenCode, ...], layout: CardLayout) -> tuple[Square, ...]:
    """Outer and inner square of each ring that was recognised once; rings count in the order seen."""
    squares = []
    for index, code in enumerate(seen):
        if sum(other.code == code.code for other in seen) > 1:
            raise ScaleError(
                f"The ring with code {code.code} is in the picture more than once. Leave one card in view and take "
                "mirrors and screens that show it away."
            )
        ring = layout.ring(code.code)
        outer, inner = (reduced.to_full(corners) for corners in expected_ring_corners(code, ring))
        room = BAND_ROOM * band_px(outer, inner)
        squares.append(Square(index, ring.outer_corners_mm, outer, 1.0, room))
        squares.append(Square(index, ring.inner_corners_mm, inner, -1.0, room))
    return tuple(squares)


def _print_of(layout: CardLayout, measured: Pair | None, caliper_sd_mm: float = 0.0) -> Print:
    """What is known of our card's print: nothing but the drawing, or two readings.

    A reading across a ring includes the spread of the ink on both edges; one of a bar does not.
    """
    if measured is None:
        return Print(lambda _: (1.0, 1.0), PRINTED_SD_PART, SPREAD_SD_MM)
    readings = take_readings(layout, measured)
    aspect_sd = caliper_sd_mm * math.hypot(*(1.0 / r.length_mm for r in readings))

    def factors(spread: float) -> tuple[float, float]:
        x, y = ((r.length_mm - (2 * spread if r.of == "ring" else 0.0)) / r.nominal_mm for r in readings)
        return x, y

    return Print(factors, aspect_sd, SPREAD_SD_MM)


def _unmeasured(layout: CardLayout) -> Finding:
    return finding_of(
        "card-not-measured",
        value=2 * PRINTED_SD_PART,
        attention=False,  # the stated figure holds it
        off=100 * 2 * PRINTED_SD_PART,
        outer=layout.rings[0].outer_mm,
    )


def _place_words(squares: tuple[Square, ...], ring: int) -> tuple[float, float]:
    """Middle of a ring in the picture."""
    x, y = np.concatenate([s.corners_px for s in squares if s.ring == ring]).mean(axis=0)
    return float(x), float(y)


def _card_to_px(camera: CameraEstimate, print_: Print) -> Callable[[FloatArray], FloatArray]:
    """Map of places of the drawing (card frame, mm) to px, the print's size put in."""
    model = camera.solution.model
    stretch = np.array(print_.factors(model.spread_mm)) * np.exp([0.5 * model.aspect, -0.5 * model.aspect])
    scale = camera.scale

    def to_px(points_mm: FloatArray) -> FloatArray:
        return frozen_array(scale.to_px((np.asarray(points_mm) - camera.middle_mm) * stretch), columns=2)

    return to_px


def _dense(corners: FloatArray) -> FloatArray:
    """A polygon's outline with places `_MARK_STEP_MM` apart, for the lens bends it; its corners among them."""
    after = np.roll(corners, -1, axis=0)
    pieces = []
    for a, b in zip(corners, after, strict=True):
        count = max(1, int(np.ceil(norm(b - a) / _MARK_STEP_MM)))
        pieces.append(a + np.arange(count)[:, None] / count * (b - a))
    return np.vstack(pieces)


def _box_corners(x0: float, y0: float, x1: float, y1: float) -> FloatArray:
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _marks(boxes_mm: FloatArray, to_px: Callable[[FloatArray], FloatArray]) -> tuple[FloatArray, ...]:
    """Polygons over what is printed in boxes of the drawing."""
    return tuple(to_px(_dense(_box_corners(*box))) for box in boxes_mm)


def _sheet_marks(
    layout: CardLayout, reduced: Reduced, to_px: Callable[[FloatArray], FloatArray]
) -> tuple[FloatArray, ...]:
    """Polygons over what is printed beside a card that was not cut out of its sheet; of one cut out: its own sheet."""
    if layout.kind == "mat":
        return ()
    ring = layout.rings[0]
    bare = to_px(_dense(square_corners(ring.centre_mm, ring.outer_mm + 2 * _BARE_MM)))
    there = printed_there(reduced, _marks(layout.sheet_marks_mm, to_px), bare)
    return tuple(there) if there else _marks(np.array([layout.card_box_mm]), to_px)


# --- the plain square ------------------------------------------------------------------------------------------


# --- facts and findings ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Finish:
    """What the document says of the scale."""

    picture: Picture
    settings: Settings
    camera: CameraEstimate
    reference: str
    measured: bool
    length_mm: float  # that the calipers' error counts over
    shown_px: FloatArray
    why: str

    def estimate(self, names: dict[int, tuple[float, float]], more: tuple[Finding, ...]) -> ScaleEstimate:
        """Facts, budget and findings; refuses what cannot be trusted."""
        top = self.settings.item_height_mm or self.settings.edge_height_mm or 0.0
        scale = replace(rows_along_x(self.camera.scale, self.picture), top_mm=top)
        sx, sy = scale.mm_per_px_at(self.shown_px.mean(axis=0))
        residual = self.camera.solution.rms_px * float(np.hypot(sx, sy)) / float(np.sqrt(2.0))
        require_usable(self.camera, self.settings, residual)
        facts = ScaleFacts(
            "camera", (sx, sy), self.reference, residual, measured=self.measured, corners_px=frozen_array(self.shown_px)
        )
        # what both readings share: where they differ is in the pose, as the print's ratio of X to Y
        card = self.settings.caliper_sd_mm / self.length_mm / math.sqrt(2.0) if self.measured else PRINTED_SD_PART
        budget = (of_reference_size(card, measured=self.measured),)
        findings = camera_findings(self.camera, scale, self.settings, residual, names, self.why)
        return ScaleEstimate(scale, facts, budget, (*findings, *more))


def rows_along_x(scale: CameraScale, picture: Picture) -> CameraScale:
    """Turn the plane's axes so that the picture's rows run along x near the middle of the picture."""
    x, y = picture.width_px / 2.0, picture.height_px / 2.0
    a, b = scale.to_mm(np.array([(x - 1.0, y), (x + 1.0, y)]))
    angle = float(np.arctan2(b[1] - a[1], b[0] - a[0]))
    return replace(scale, pose=scale.pose.with_axes_turned(angle))


__all__ = ["LocatedCamera", "RingReport", "locate_rings", "locate_square", "rows_along_x"]
