"""From a fitted reference to the mapping of pixels to millimetres on a flatbed, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, cast

import numpy as np

from ..errors import ScaleError
from ..records import (
    Contribution,
    Density,
    Finding,
    FloatArray,
    ReferenceEdge,
    Scale,
    ScaleFacts,
    frozen_array,
)
from ..steady import inverse, least_squares, norm, product
from ..words.say import finding_of

MAX_AXIS_RATIO = 1.035  # flatbeds differ by 1-2 % between their axes, a card that is not square by more
MAX_SKEW_DEG = 1.5  # more is a picture that was sheared, or no square
SURE_AXIS_RATIO = 1.02  # what no density confirms beyond this is as likely a reference that is not square
MAX_TRAPEZOID = 0.0025  # opposite sides differ by four times this part; more is perspective or no square
AXES_AGREE = 0.01  # a file's density bears out the axes' ratio where it is as near as this
_AGREES = 0.01  # reference and density: scanners' own differ by up to 1 % (as `DPI_ONLY_SD_PART`)
_SIGNATURE = 0.008  # as near to a ratio that a known mistake leaves, it is its likely cause
_FITTED = 0.93, 0.985  # what "fit to page" shrinks a print to; common practice, no source

# Standard uncertainties (k = 1) of a reference's side, mm or part of the length.
PRINTED_SD_PART = 0.003  # an unmeasured print on office paper: humidity 0.1-0.4 %, driver scaling not counted
DPI_ONLY_SD_PART = 0.01  # a scanner's nominal density: axes differ by up to 1-2 % in the wild


@dataclass(frozen=True, slots=True)
class FlatbedScale:
    """x scale, y scale and skew: an affine map that keeps the picture's rows parallel to the mm x axis."""

    matrix: FloatArray  # (2, 2): mm = matrix @ (px - origin_px); [[sx, k], [0, -sy]]
    origin_px: FloatArray  # (2,): the place that maps to (0, 0) mm

    @property
    def kind(self) -> Literal["flatbed", "camera"]:
        """Always "flatbed"."""
        return "flatbed"

    @property
    def mm_per_px(self) -> tuple[float, float]:
        """Scale along the picture's rows and columns."""
        return float(self.matrix[0, 0]), float(-self.matrix[1, 1])

    @property
    def skew_deg(self) -> float:
        """How far the columns lean from the normal to the rows."""
        return float(np.degrees(np.arctan2(self.matrix[0, 1], -self.matrix[1, 1])))

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to (N, 2) mm in the plane frame."""
        return np.asarray(product(points_px - self.origin_px, self.matrix.T))

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map (N, 2) mm in the plane frame to (N, 2) px."""
        return np.asarray(product(points_mm, inverse(self.matrix).T) + self.origin_px)


@dataclass(frozen=True, slots=True)
class ScaleEstimate:
    """A scale with its story: facts for the document, budget lines, findings."""

    scale: Scale
    facts: ScaleFacts
    budget: tuple[Contribution, ...]
    findings: tuple[Finding, ...] = ()
    blur_px: float | None = None  # of the reference's own edges; None where there is none, or in a photo
    edge: ReferenceEdge | None = None  # None where there is none, or it is not known; in a photo
    places_mm: FloatArray | None = (
        None  # that it was fitted to, plane frame, where all that is known of the glass is there
    )


@dataclass(frozen=True, slots=True)
class Flat:
    """A scan's scale and where its reference lies."""

    estimate: ScaleEstimate
    squares_px: tuple[FloatArray, ...]  # (4, 2) outer corners of each reference square
    marks_px: tuple[FloatArray, ...] = ()  # (N, 2) polygons over the further print of a known card


def scale_from_points(
    points_px: FloatArray,
    points_mm: FloatArray,
    *,
    side_mm: float,
    point_sd_px: float,
    caliper_sd_mm: float,
    reference: str,
    measured: bool,
    shown_corners_px: FloatArray,
) -> ScaleEstimate:
    """Scale of a flatbed from places of a reference that are known in both frames, by least squares.

    Parameters
    ----------
    points_px
        (N, 2), N >= 4, corners of one or more squares.
    points_mm
        (N, 2) the same in the reference's own frame, mm, y up.
    side_mm
        Length over which the reference's own error counts: the side of a single square.
    point_sd_px
        Standard deviation of a corner along a side.
    caliper_sd_mm
        Standard deviation of one reading of calipers.
    reference
        The reference in words, for the document.
    measured
        Whether the sides were measured rather than taken from the drawing.
    shown_corners_px
        (4, 2) corners for the check picture.

    Raises
    ------
    ScaleError
        If the reference is no square within what a flatbed may do to it.
    """
    middle_px, middle_mm = points_px.mean(axis=0), points_mm.mean(axis=0)
    solution = least_squares(points_px - middle_px, points_mm - middle_mm)
    to_card = solution.T
    residual = float(
        np.sqrt(((product(points_px - middle_px, solution) - points_mm + middle_mm) ** 2).sum(axis=1).mean())
    )
    scale = FlatbedScale(frozen_array(_rows_along_x(to_card)), frozen_array(middle_px))
    extent = float(np.ptp(points_mm, axis=0).mean())
    require_square(scale, residual / extent, reference)
    facts = ScaleFacts(
        kind="flatbed",
        mm_per_px=scale.mm_per_px,
        reference=reference,
        residual_mm=residual,
        measured=measured,
        skew_deg=scale.skew_deg,
        corners_px=frozen_array(shown_corners_px),
    )
    card = caliper_sd_mm / side_mm * _of_two_readings(to_card) if measured else PRINTED_SD_PART
    budget = _reference_budget(card, extent, scale, point_sd_px, residual, measured=measured)
    return ScaleEstimate(scale, facts, budget, places_mm=frozen_array(scale.to_mm(points_px)))


def _of_two_readings(to_card: FloatArray) -> float:
    """What a length along the picture's rows, or columns, owes to two independent readings, along the card's X and Y.

    At an angle a to X it changes by x cos(a)^2 + y sin(a)^2 (JCGM 100, 5.1.2): both count less of a card that lies
    askew.
    """
    along = to_card[:, 0] / norm(to_card[:, 0])
    return float(np.sqrt((along**4).sum()))


def square_places(corners_px: FloatArray, size_mm: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
    """Corners of a plain square, first side along the picture's rows, with their places in mm (y up)."""
    w, h = size_mm
    return _first_side_along_rows(corners_px), np.array([(0.0, h), (w, h), (w, 0.0), (0.0, 0.0)])


def _first_side_along_rows(corners: FloatArray) -> FloatArray:
    """Rotate the order so that side 0-1 lies nearest the picture's rows, pointing right."""
    sides = np.roll(corners, -1, axis=0) - corners
    return np.roll(corners, -int((sides[:, 0] / np.linalg.norm(sides, axis=1)).argmax()), axis=0)


def _rows_along_x(matrix: FloatArray) -> FloatArray:
    """Turn an affine matrix (a rotation from the left) so that px x maps to mm x and y is flipped."""
    return affine_rows(matrix) * ((1.0, 1.0), (1.0, -1.0))


def affine_rows(matrix: FloatArray) -> FloatArray:
    """Turn an affine matrix (a rotation from the left) so that x maps to x: [[sx, k], [0, sy]], all lengths kept."""
    metric = product(matrix.T, matrix)
    sx = np.sqrt(metric[0, 0])
    k = metric[0, 1] / sx
    return np.array([[sx, k], [0.0, np.sqrt(metric[1, 1] - k**2)]])


def require_square(scale: FlatbedScale, trapezoid: float, name: str) -> None:
    """Refuse a reference that is no square within what a flatbed may do to it, or whose opposite sides differ.

    Raises
    ------
    ScaleError
        Saying by how much.
    """
    sx, sy = scale.mm_per_px
    ratio = max(sx / sy, sy / sx)
    if trapezoid > MAX_TRAPEZOID:
        raise ScaleError(
            f"The reference ({name}) has opposite sides that differ by {400 * trapezoid:.1f} % "
            f"(limit {400 * MAX_TRAPEZOID:.1f} %): it is seen at an angle, curled, no square, or something touches it. "
            "Scan it flat, or photograph it straight from above."
        )
    if ratio > MAX_AXIS_RATIO or abs(scale.skew_deg) > MAX_SKEW_DEG:
        step = (
            "Measure the ring in X and in Y, outer edge to outer edge, and say both: --measured 53.9x53.8."
            if name.startswith("ring card")
            else "Measure both sides and give them as --square 49.8x48.9, or use a true square."
        )
        raise ScaleError(
            f"The reference ({name}) is not square in the picture: its sides differ by {100 * (ratio - 1):.1f} % "
            f"(limit {100 * (MAX_AXIS_RATIO - 1):.1f} %) and its angle by {abs(scale.skew_deg):.1f} degrees "
            f"(limit {MAX_SKEW_DEG:g}). {step}"
        )


def _reference_budget(
    card: float, extent_mm: float, scale: FlatbedScale, point_sd_px: float, residual_mm: float, *, measured: bool
) -> tuple[Contribution, ...]:
    corners = float(np.sqrt(2.0)) * point_sd_px * float(np.mean(scale.mm_per_px)) / extent_mm
    return (
        of_reference_size(card, measured=measured),
        Contribution("corner fit", length_per_mm=corners, acts="with length"),
        Contribution(
            "card flatness", length_per_mm=residual_mm / extent_mm, note="what its corners miss", acts="with length"
        ),
    )


def of_reference_size(part: float, *, measured: bool) -> Contribution:
    """Return the budget's line for the reference's own size, of which a `part` of 1 is its standard uncertainty."""
    if measured:
        return Contribution("card reading", length_per_mm=part, note="side measured with calipers", acts="with length")
    note = "side not measured: paper and printer"
    return Contribution("unmeasured print", length_per_mm=part, note=note, acts="with length")


def scale_from_density(density: Density, height_px: int) -> ScaleEstimate:
    """Scale from a nominal density alone, with its large uncertainty."""
    matrix = np.array([[1 / density.x_px_per_mm, 0.0], [0.0, -1 / density.y_px_per_mm]])
    scale = FlatbedScale(frozen_array(matrix), frozen_array([-0.5, height_px - 0.5]))
    given = 25.4 * density.x_px_per_mm
    facts = ScaleFacts("flatbed", scale.mm_per_px, f"{density.source} ({given:g} dpi)", 0.0, measured=False)
    note = "no reference in the picture"
    budget = (Contribution("nominal density", length_per_mm=DPI_ONLY_SD_PART, note=note, acts="with length"),)
    finding = finding_of(
        "scale-from-density", value=given, attention=False, source=density.source, off=200 * DPI_ONLY_SD_PART
    )
    return ScaleEstimate(scale, facts, budget, (finding,))


# Ratio of the scale by the reference to the scale by the file's density -> likely cause.
_SIGNATURES = (
    (1 / 0.9727, "the card was probably printed with 'fit to page' (A4 on Letter or the reverse)"),
    (1 / 0.9407, "the card was probably printed with 'fit to page' (A4 on Letter or the reverse)"),
    (96 / 72, "a file of 72 dpi was probably taken as 96 dpi"),
    (72 / 96, "a file of 96 dpi was probably taken as 72 dpi"),
    (96 / 90, "90 dpi was probably taken for 96 dpi"),
    (300 / 96, "96 dpi was probably taken for 300 dpi"),
    (300 / 72, "72 dpi was probably taken for 300 dpi"),
    (96 / 300, "300 dpi was probably taken for 96 dpi"),
    (72 / 300, "300 dpi was probably taken for 72 dpi"),
    (25.4, "inches were probably taken for millimetres"),
    (1 / 25.4, "millimetres were probably taken for inches"),
    (2.0, "the picture was probably halved in size after scanning"),
    (0.5, "the picture was probably doubled in size after scanning"),
)


def compare_with_density(scale: FlatbedScale, density: Density | None) -> tuple[Finding, ...]:
    """Say where the reference and the file's density disagree by more than 1 %, and the likely cause."""
    if density is None:
        return ()
    sx, sy = scale.mm_per_px
    rx, ry = sx * density.x_px_per_mm, sy * density.y_px_per_mm
    worst = max(abs(rx - 1), abs(ry - 1))
    if worst <= _AGREES:
        return ()
    ratio = float(np.sqrt(rx * ry))
    nearest, text = min(_SIGNATURES, key=lambda entry: abs(ratio / entry[0] - 1))
    cause = text if abs(ratio / nearest - 1) < _SIGNATURE else None
    if cause is None and _FITTED[0] <= 1 / ratio <= _FITTED[1]:
        cause = "the card was probably printed with 'fit to page'"
    if cause is None and abs(rx - ry) > _SIGNATURE and min(abs(rx - 1), abs(ry - 1)) < _SIGNATURE:
        cause = "one direction only: the scanner's feed, or a card whose sides differ"
    if cause is None:
        cause = "the reference has another size than stated, or the picture was resized after scanning"
    return (
        finding_of(
            "density-disagrees",
            value=ratio,
            limit=_AGREES,
            by_reference=f"{25.4 / sx:.1f} x {25.4 / sy:.1f}",
            source=density.source,
            by_file=f"{25.4 * density.x_px_per_mm:.1f} x {25.4 * density.y_px_per_mm:.1f}",
            off=100 * (ratio - 1),
            cause=cause,
        ),
    )


def doubt_axes(estimate: ScaleEstimate, density: Density | None) -> ScaleEstimate:
    """Say where x and y scale differ by more than scanners do and the file's density does not bear it out.

    Which of the two is right is then not known, so that either may be wrong by the whole difference: half of it
    is taken as the standard uncertainty.
    """
    sx, sy = cast(FlatbedScale, estimate.scale).mm_per_px
    off = max(sx / sy, sy / sx) - 1
    if off <= SURE_AXIS_RATIO - 1 or (density is not None and abs(_claimed_ratio(density) * sx / sy - 1) < AXES_AGREE):
        return estimate
    note = "x and y scale differ, neither confirmed"
    unsure = Contribution("x/y scale", length_per_mm=off / 2, note=note, acts="with length")
    finding = finding_of("axes-differ", value=off, limit=SURE_AXIS_RATIO - 1)
    return replace(estimate, budget=(*estimate.budget, unsure), findings=(*estimate.findings, finding))


def _claimed_ratio(density: Density) -> float:
    """Height over width of a pixel by the file: times sx / sy it is 1 where reference and file agree."""
    return density.x_px_per_mm / density.y_px_per_mm
