"""Scale of a scan whose scanner is known: the profile's map of the glass, and on it the reference's size."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from ..records import Contribution, Finding, FloatArray, ScaleFacts, frozen_array
from ..steady import inverse, least_squares, nearest_turn, product
from ..words.say import finding_of
from .scale import (
    PRINTED_SD_PART,
    FlatbedScale,
    ScaleEstimate,
    affine_rows,
    of_reference_size,
    require_square,
    scale_from_points,
)

if TYPE_CHECKING:
    from ..scanner.glass import Glass
    from ..scanner.profile import ScannerProfile

_PROVEN = 3.0  # standard deviations by which reference and profile must differ before one of them counts as wrong
_BEYOND_MM = 10.0  # past where the card lay the map's polynomials are still held
TONE_PX = 0.6  # that a step's half level moves for each part of the light's power, at a blur of 1 px; from renders


@dataclass(frozen=True, slots=True)
class GlassScale:
    """A scanner's map and, on its mm, the reference's scale: ``mm = (glass mm - origin) @ matrix.T``."""

    glass: Glass
    matrix: FloatArray  # (2, 2), upper triangular: x stays along the glass
    origin_mm: FloatArray  # (2,) on the glass

    @property
    def kind(self) -> Literal["flatbed", "camera"]:
        """Always "flatbed"."""
        return "flatbed"

    @property
    def mm_per_px(self) -> tuple[float, float]:
        """Scale along the picture's rows and columns, over the whole glass."""
        sx, sy = self.glass.mm_per_px
        return float(self.matrix[0, 0]) * sx, float(self.matrix[1, 1]) * sy

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to (N, 2) mm in the plane frame."""
        return np.asarray(product(self.glass.to_mm(points_px) - self.origin_mm, self.matrix.T))

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map (N, 2) mm in the plane frame to (N, 2) px."""
        return self.glass.to_px(product(np.asarray(points_mm), inverse(self.matrix).T) + self.origin_mm)


def scale_of_scan(
    scanner: ScannerProfile | None, points_px: FloatArray, points_mm: FloatArray, **seen: Any
) -> ScaleEstimate:
    """Scale of a scan from places of a reference, on its scanner's map if that is known.

    Takes what `scale_from_points` takes. Where the reference and the profile agree on the axes, the reference gives one
    size for both, in which the errors of two readings are averaged; one that was not measured gives none, if the
    profile's card was. Where they do not agree that is said, and the reference decides.

    Raises
    ------
    ScaleError
        If the reference is no square within what a flatbed may do to it.
    """
    if scanner is None:
        return scale_from_points(points_px, points_mm, **seen)
    return _Fit(scanner, points_px, points_mm, **seen).estimate()


def scale_of_scanner(scanner: ScannerProfile) -> ScaleEstimate:
    """Scale of a scan without a reference by its scanner's profile alone."""
    scale = GlassScale(scanner.glass, frozen_array(np.eye(2)), frozen_array([0.0, 0.0]))
    said = finding_of("scale-from-scanner", attention=False, value=200 * scanner.size_sd_part, name=scanner.name)
    facts = _facts(scale, words_of(scanner), 0.0, measured=scanner.measured)
    return ScaleEstimate(scale, facts, (_size_of(scanner), *_of_map(scanner)), (said,))


def beyond_map(scanner: ScannerProfile | None, points_px: FloatArray) -> tuple[Finding, ...]:
    """Say where an item lies on a part of the glass that the scanner's profile has not seen."""
    if scanner is None:
        return ()
    left, top, right, bottom = scanner.covered_px
    out = np.maximum((left, top) - points_px, points_px - (right, bottom)).max(axis=1)
    far_mm = float(out.max()) * float(np.mean(scanner.glass.mm_per_px))
    if far_mm <= _BEYOND_MM:
        return ()
    x, y = points_px[out.argmax()].tolist()
    return (finding_of("beyond-scanner-map", value=far_mm, limit=_BEYOND_MM, place_px=(x, y), name=scanner.name),)


def words_of(scanner: ScannerProfile) -> str:
    """Return a scanner's profile in words, for the document."""
    return f"scanner {scanner.name} of {scanner.on.isoformat()}"


class _Fit:
    """A reference fitted on the glass."""

    def __init__(
        self,
        scanner: ScannerProfile,
        points_px: FloatArray,
        points_mm: FloatArray,
        *,
        side_mm: float,
        point_sd_px: float,
        caliper_sd_mm: float,
        reference: str,
        measured: bool,
        shown_corners_px: FloatArray,
    ) -> None:
        self._scanner, self._reference, self._measured = scanner, reference, measured
        self._shown = frozen_array(shown_corners_px)
        places = scanner.glass.to_mm(points_px)
        self._origin = places.mean(axis=0)
        self._own, self._card = places - self._origin, points_mm - points_mm.mean(axis=0)
        self._extent = float(np.ptp(points_mm, axis=0).mean())
        self._corner = math.sqrt(2.0) * point_sd_px * float(np.mean(scanner.glass.mm_per_px)) / self._extent
        self._side = caliper_sd_mm / side_mm if measured else PRINTED_SD_PART  # of one side

    def estimate(self) -> ScaleEstimate:
        solution = least_squares(self._own, self._card)
        free = affine_rows(solution.T)
        rest = float(np.sqrt(((product(self._own, solution) - self._card) ** 2).sum(axis=1).mean()))
        require_square(
            FlatbedScale(frozen_array(free * ((1.0, 1.0), (1.0, -1.0))), frozen_array([0.0, 0.0])),
            rest / self._extent,
            self._reference,
        )
        said = self._disagreement(free)
        by_scanner = not said and not self._measured and self._scanner.measured
        matrix = free if said else np.eye(2) * (1.0 if by_scanner else math.sqrt(float(free[0, 0] * free[1, 1])))
        scale = GlassScale(self._scanner.glass, frozen_array(matrix), frozen_array(self._origin))
        rest = rest if said else self._rest(float(matrix[0, 0]))
        measured = self._measured or by_scanner
        facts = _facts(scale, f"{self._reference} on {words_of(self._scanner)}", rest, measured=measured)
        own = (_size_of(self._scanner),) if by_scanner else self._own_budget(rest, averaged=not said)
        budget = (*own, *_of_map(self._scanner))
        return ScaleEstimate(scale, replace(facts, corners_px=self._shown), budget, said)

    def _own_budget(self, rest_mm: float, *, averaged: bool) -> tuple[Contribution, ...]:
        """What the reference leaves unsure; two readings of one size are averaged."""
        part = self._side / math.sqrt(2.0) if averaged and self._measured else self._side
        return (
            of_reference_size(part, measured=self._measured),
            Contribution("corner fit", length_per_mm=self._corner, acts="with length"),
            Contribution("card flatness", length_per_mm=rest_mm / self._extent, acts="with length"),
        )

    def _disagreement(self, free: FloatArray) -> tuple[Finding, ...]:
        """What is said where the reference's axes or size cannot be the profile's."""
        axes = float(free[0, 0] / free[1, 1]) - 1.0
        size = math.sqrt(float(free[0, 0] * free[1, 1])) - 1.0
        axes_sd = math.hypot(self._scanner.axes_sd_part, math.sqrt(2.0) * self._side, math.sqrt(2.0) * self._corner)
        size_sd = math.hypot(self._scanner.size_sd_part, self._side, self._corner)
        size_sd = math.hypot(size_sd, 0.0 if self._scanner.measured else PRINTED_SD_PART)
        for off, sd, what in ((axes, axes_sd, "one axis against the other"), (size, size_sd, "sizes")):
            if abs(off) > _PROVEN * sd:
                limit = 100 * _PROVEN * sd
                name = self._scanner.name
                return (finding_of("scanner-changed", value=100 * abs(off), limit=limit, what=what, name=name),)
        return ()

    def _rest(self, size: float) -> float:
        """What a turn and one size leave of the corners, RMS in mm (Procrustes)."""
        turn = nearest_turn(product(self._own.T, self._card))
        return float(np.sqrt(((product(size * self._own, turn) - self._card) ** 2).sum(axis=1).mean()))


def _facts(scale: GlassScale, reference: str, residual_mm: float, *, measured: bool) -> ScaleFacts:
    skew = math.degrees(math.atan(scale.glass.skew))
    return ScaleFacts("flatbed", scale.mm_per_px, reference, residual_mm, measured=measured, skew_deg=skew)


def _size_of(scanner: ScannerProfile) -> Contribution:
    """How sure sizes are by the profile alone; of a card that was not measured that is in it."""
    note = "of the card it was made with"
    return Contribution("scanner size", length_per_mm=scanner.size_sd_part, note=note, acts="with length")


def _of_map(scanner: ScannerProfile) -> tuple[Contribution, ...]:
    """What the profile itself leaves unsure."""
    bend = math.hypot(scanner.bend_sd_mm, scanner.rest_mm)
    tone = TONE_PX * scanner.tone_sd * float(np.mean(scanner.glass.mm_per_px))
    axes, over, told = "one against the other", "of its bend over the glass", "by the edges of the scanner's card"
    return (
        Contribution("scanner axes", length_per_mm=scanner.axes_sd_part / 2, note=axes, acts="with length"),
        Contribution("scanner map", bend, math.sqrt(2.0) * bend, note=over, acts="side by side"),
        Contribution("tone curve", tone, 2 * tone, note=told, acts="all round"),
    )
