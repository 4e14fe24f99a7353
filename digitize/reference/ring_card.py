"""Scale of a scan by our ring card: every ring's outer and inner square fitted, and what calipers said of the print."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..card.kinds import CardLayout, Ring, layout_for_codes, take_readings
from ..card.which import unlikely_readings
from ..errors import ScaleError, UsageError
from ..reading.reduced import Reduced
from ..records import Finding, FloatArray, Picture, ReferenceEdge
from ..settings import Pair, Settings
from ..steady import least_squares, product
from ..words.say import finding_of
from .codes import SeenCode, expected_ring_corners
from .on_glass import scale_of_scan
from .quad import BAND_ROOM, RING_REACH, band_px, side_lengths
from .refusals import card_cut
from .scale import PRINTED_SD_PART, Flat
from .square_fit import LEAST_SUPPORT, FittedQuad, fit_quad

OF_TWO = 0.7  # deviation of the mean of an outer and an inner corner over that of one: 1 / sqrt(2)
_AS_SAID = 0.01  # of a ring's side: a length this near is the card's own


def locate_ring_card(picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings) -> Flat:
    """Scale from every ring of the card in the picture."""
    side = None if settings.square_mm is None else float(np.mean(settings.square_mm))
    layout = layout_for_codes([code.code for code in seen], square_mm=side)
    measured = readings_said(layout, settings)
    fitted, findings = fit_rings(picture, reduced, seen, layout)
    if not fitted:
        outer = [reduced.to_full(expected_ring_corners(code, layout.ring(code.code))[0]) for code in seen]
        cut = next((words for corners in outer if (words := card_cut(corners, picture))), None)
        raise ScaleError(
            cut
            or "The reference card was recognised, but the edges of its frame are not seen: it is covered or blurred. "
            "Lay the whole card in view, flat and clean."
        )
    factor_x, factor_y, words = print_factors(layout, measured, fitted)
    if measured is not None:
        findings += unlikely_readings(layout, measured)
    stretch = np.array([factor_x, factor_y])
    px = np.concatenate([0.5 * (outer.corners_px + inner.corners_px) for _, outer, inner in fitted])
    mm = np.concatenate([middle_corners(ring) for ring, _, _ in fitted]) * stretch
    if measured is None and (settings.scanner is None or not settings.scanner.measured):
        findings.append(_unmeasured(layout))
    estimate = scale_of_scan(
        settings.scanner,
        px,
        mm,
        side_mm=layout.rings[0].outer_mm,
        point_sd_px=float(np.mean([OF_TWO * outer.corner_sd_px for _, outer, _ in fitted])),
        caliper_sd_mm=settings.caliper_sd_mm,
        reference=f"ring card ({layout.kind}, {layout.paper}), {words}",
        measured=measured is not None,
        shown_corners_px=fitted[0][1].corners_px,
    )
    marks = _card_marks(layout, px, mm / stretch)
    squares = tuple(outer.corners_px for _, outer, _ in fitted)
    blur = float(np.median([quad.blur_px for _, outer, inner in fitted for quad in (outer, inner)]))
    edge = _edge(fitted, blur, layout.rings[0].outer_mm if _counts_from_ink(layout, measured) else np.inf)
    said = (*findings, *estimate.findings)
    return Flat(replace(estimate, findings=said, blur_px=blur, edge=edge), squares, marks)


def _counts_from_ink(layout: CardLayout, measured: Pair | None) -> bool:
    """Whether the scale counts from the ring's outer side, as calipers read it; else from the middle of its frame.

    What moves all edges all round leaves that where it is, and a bar's reading is of no edge of the ring.
    """
    return measured is not None and any(reading.of == "ring" for reading in take_readings(layout, measured))


def _edge(fitted: list[tuple[Ring, FittedQuad, FittedQuad]], blur_px: float, side_mm: float) -> ReferenceEdge:
    quads = [outer for _, outer, _ in fitted]
    inside, outside = np.median([quad.light for quad in quads], axis=0).tolist()
    return ReferenceEdge(side_mm, (inside, outside), blur_px, float(np.median([quad.sharpened for quad in quads])))


def readings_said(layout: CardLayout, settings: Settings) -> Pair | None:
    """What calipers said of the card: `--measured`, or `--square` where it is not the mid-line's side.

    Raises
    ------
    ScaleError
        If `--square` is no length of this card: a plain square beside it may be meant.
    UsageError
        If `--measured` is none.
    """
    said, ring = settings.square_mm, layout.rings[0]
    if settings.measured_mm is not None or said is None or abs(float(np.mean(said)) / ring.side_mm - 1) <= _AS_SAID:
        return settings.measured_mm
    try:
        take_readings(layout, said)
    except UsageError as error:
        raise ScaleError(
            f"The picture holds our ring card, of which --square {said[0]:g} x {said[1]:g} is no length (outer side "
            f"{ring.outer_mm:g} mm, middle of the frame {ring.side_mm:g}). To use the card, leave --square out; to use "
            "a plain square beside it, point at that with --square-at X,Y, or cover the card's code."
        ) from error
    return said


def fit_rings(
    picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], layout: CardLayout
) -> tuple[list[tuple[Ring, FittedQuad, FittedQuad]], list[Finding]]:
    """Outer and inner square of every recognised ring; what could not be fitted is said."""
    fitted, findings = [], []
    for code in seen:
        ring = next(r for r in layout.rings if r.code == code.code)
        outer, inner = (reduced.to_full(corners) for corners in expected_ring_corners(code, ring))
        reach = int(min(RING_REACH * reduced.factor + 4, BAND_ROOM * band_px(outer, inner)))
        try:
            pair = fit_quad(picture, outer, reach=reach), fit_quad(picture, inner, reach=reach)
        except ValueError:
            pair = None
        if pair is None or min(s.support for quad in pair for s in quad.sides) < LEAST_SUPPORT:
            x, y = outer.mean(axis=0).tolist()
            findings.append(finding_of("ring-left-out", place_px=(x, y), attention=False, x=x, y=y))
            continue
        fitted.append((ring, *pair))
    return fitted, findings


def print_factors(
    layout: CardLayout, measured: Pair | None, fitted: list[tuple[Ring, FittedQuad, FittedQuad]]
) -> tuple[float, float, str]:
    """True over drawn size of the print in X and Y.

    A reading across a ring includes the spread of the ink; the ratio of mid-line to outer side as seen
    takes it out.
    """
    if measured is None:
        return 1.0, 1.0, "not measured"
    factors = []
    for axis, reading in enumerate(take_readings(layout, measured)):
        if reading.of == "bar":
            factors.append(reading.scale)
            continue
        outer = np.mean([side_lengths(o.corners_px)[axis::2].mean() for _, o, _ in fitted])
        inner = np.mean([side_lengths(i.corners_px)[axis::2].mean() for _, _, i in fitted])
        factors.append(reading.length_mm * float(0.5 * (outer + inner) / outer) / layout.rings[0].side_mm)
    return factors[0], factors[1], f"measured {measured[0]:g} x {measured[1]:g} mm"


def middle_corners(ring: Ring) -> FloatArray:
    """Corners of the middle of a ring's frame, (4, 2) in the card's frame: spread of the ink does not move them."""
    return 0.5 * (ring.outer_corners_mm + ring.inner_corners_mm)


def _unmeasured(layout: CardLayout) -> Finding:
    return finding_of(
        "card-not-measured", attention=False, off=100 * 2 * PRINTED_SD_PART, outer=layout.rings[0].outer_mm
    )


def _card_marks(layout: CardLayout, px: FloatArray, mm: FloatArray) -> tuple[FloatArray, ...]:
    """Boxes of everything printed on the card, mapped into the picture by an affine fit."""
    design = np.column_stack([mm, np.ones(len(mm))])
    matrix = least_squares(design, px)
    # a single is cut out along its box: all of that is card
    card = [layout.card_box_mm] if layout.kind == "single" else []
    boxes = []
    for x0, y0, x1, y1 in [*card, *layout.marks_mm]:
        corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        boxes.append(product(np.column_stack([corners, np.ones(4)]), matrix))
    return tuple(boxes)
