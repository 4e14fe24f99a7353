"""Which reference the picture holds, and the scale it gives: our coded rings, else the user's plain square."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast

import numpy as np
import numpy.typing as npt

from .card import CardLayout, Ring, layout_for_codes, take_readings
from .errors import ScaleError
from .opencv import cv
from .records import Density, Finding, FloatArray, Picture
from .reduced import Reduced
from .ring import SeenCode, expected_ring_corners, find_codes
from .scale import (
    FlatbedScale,
    ScaleEstimate,
    compare_with_density,
    scale_from_density,
    scale_from_points,
    square_places,
)
from .settings import Pair, Settings
from .square import FittedQuad, Quad, find_quads, fit_quad, side_lengths

if TYPE_CHECKING:
    from .camera.estimate import CameraEstimate

_UNIFORM = 0.25  # spread of the inside over its contrast: more is no plain square
_FILLER_PX_PER_MM = 4.0  # 100 dpi: what is stated below may be filler, no scanner's density
_LEAST_SUPPORT = 0.5  # part of a side that must lie on its line


@dataclass(frozen=True, slots=True)
class Located:
    """A scale and where its reference lies."""

    estimate: ScaleEstimate
    squares_px: tuple[FloatArray, ...]  # (4, 2) outer corners of each reference square
    marks_px: tuple[FloatArray, ...]  # (N, 2) polygons over the further print of a known card
    camera: CameraEstimate | None = None  # of a photo
    sheet_px: FloatArray | None = None  # (N, 2) outline of the mat's sheet in a photo


def locate_reference(picture: Picture, reduced: Reduced, settings: Settings) -> Located:
    """Find the scale by the best evidence the picture and the user give.

    Raises
    ------
    ScaleError
        If there is none that can be trusted; the message says what was seen and how to go on.
    """
    density = _density(picture, settings)
    seen = find_codes(grey(reduced)) if settings.square_at_px is None else ()
    why = None if settings.taken_with == "flatbed" else _photo_evidence(picture, settings)
    if why is not None and (seen or settings.square_mm is not None):
        return _in_photo(picture, reduced, seen, settings, why)
    try:
        return _in_scan(picture, reduced, seen, settings, density)
    except ScaleError as error:
        if settings.taken_with == "flatbed" or not _may_be_photo(density, seen, settings):
            raise
        return _photo_after_all(picture, reduced, seen, settings, error)


def _in_scan(
    picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings, density: Density | None
) -> Located:
    """Scale of a flatbed by rings, square or density."""
    if seen:
        located = _from_rings(picture, reduced, seen, settings)
    elif settings.square_mm is not None:
        located = _from_square(picture, reduced, settings, settings.square_mm, density)
    elif settings.dpi is not None and density is not None:
        return Located(scale_from_density(density, picture.height_px), (), ())
    else:
        raise ScaleError(_no_reference(picture))
    more = compare_with_density(cast(FlatbedScale, located.estimate.scale), density)
    return replace(located, estimate=replace(located.estimate, findings=(*located.estimate.findings, *more)))


def _photo_evidence(picture: Picture, settings: Settings) -> str | None:
    """Why the picture is taken as a photo, in words; None when nothing says so before the card is looked at."""
    if settings.taken_with == "camera":
        return "--camera was said"
    if settings.wants_camera:
        return "an option for photos was given"
    tag = picture.camera
    if settings.dpi is not None or tag is None or (tag.focal_35mm is None and tag.focal_mm is None):
        return None
    return "its EXIF holds a focal length"


def _may_be_photo(density: Density | None, seen: tuple[SeenCode, ...], settings: Settings) -> bool:
    """Whether a picture that failed as a scan may be a photo without EXIF: no scanner's density, something to see."""
    scanned = density is not None and (density.x_px_per_mm > _FILLER_PX_PER_MM or settings.dpi is not None)
    return not scanned and (bool(seen) or settings.square_mm is not None)


def _in_photo(picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings, why: str) -> Located:
    """Scale of a photo by rings or square."""
    from .reference_camera import locate_rings, locate_square

    if seen:
        found = locate_rings(picture, reduced, seen, settings, why)
    elif settings.square_mm is not None:
        found = locate_square(picture, reduced, settings, settings.square_mm, why)
    else:
        raise ScaleError(_no_reference(picture))
    return Located(found.estimate, found.squares_px, found.marks_px, found.camera, found.sheet_px)


def _photo_after_all(
    picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings, error: ScaleError
) -> Located:
    """Try a photo; when a square cannot be found that way either, say what was said of the scan."""
    try:
        return _in_photo(picture, reduced, seen, settings, "the reference is seen at an angle")
    except ScaleError:
        if seen:
            raise
        raise error from None


def _density(picture: Picture, settings: Settings) -> Density | None:
    if settings.dpi is None:
        return picture.density
    return Density(settings.dpi[0] / 25.4, settings.dpi[1] / 25.4, "--dpi")


def grey(reduced: Reduced) -> npt.NDArray[np.uint8]:
    """Return the reduced picture in shades of grey, (h, w)."""
    codes = reduced.codes if reduced.codes.dtype == np.uint8 else (reduced.codes >> 8).astype(np.uint8)
    return np.ascontiguousarray(codes[..., 0] if codes.shape[2] == 1 else cv().cvtColor(codes, cv().COLOR_RGB2GRAY))


def _no_reference(picture: Picture) -> str:
    text = (
        "The picture shows no reference card of ours and no --square was given, so its scale is unknown. "
        "Lay the printed card (digitize card) beside the item, or a plain black square and say its side: --square 50."
    )
    if picture.density is not None:
        dpi = 25.4 * picture.density.x_px_per_mm
        text += f" To trust the file's own density, to about 2 %, say --dpi {dpi:.0f}."
    return text


def _from_rings(picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], settings: Settings) -> Located:
    """Scale from every ring of the card in the picture."""
    side = None if settings.square_mm is None else float(np.mean(settings.square_mm))
    layout = layout_for_codes([code.code for code in seen], square_mm=side)
    measured = settings.measured_mm
    if measured is None and side is not None and abs(side / layout.rings[0].side_mm - 1) > 0.01:
        measured = settings.square_mm
    fitted, findings = _fit_rings(picture, reduced, seen, layout)
    if not fitted:
        raise ScaleError(
            "A ring of the reference card was recognised but its edges could not be fitted: it is covered, blurred or "
            "cut off. Lay the whole card in view, flat and clean."
        )
    factor_x, factor_y, words = _print_factors(layout, measured, fitted)
    stretch = np.array([factor_x, factor_y])
    px = np.concatenate([0.5 * (outer.corners_px + inner.corners_px) for _, outer, inner in fitted])
    mm = np.concatenate([_middle_corners(ring) for ring, _, _ in fitted]) * stretch
    if measured is None:
        findings.append(_unmeasured(layout))
    estimate = scale_from_points(
        px,
        mm,
        side_mm=layout.rings[0].outer_mm,
        point_sd_px=float(np.mean([0.7 * outer.corner_sd_px for _, outer, _ in fitted])),
        reference=f"ring card ({layout.kind}, {layout.paper}), {words}",
        measured=measured is not None,
        shown_corners_px=fitted[0][1].corners_px,
    )
    marks = _card_marks(layout, px, mm / stretch)
    squares = tuple(outer.corners_px for _, outer, _ in fitted)
    return Located(replace(estimate, findings=tuple(findings)), squares, marks)


def _fit_rings(
    picture: Picture, reduced: Reduced, seen: tuple[SeenCode, ...], layout: CardLayout
) -> tuple[list[tuple[Ring, FittedQuad, FittedQuad]], list[Finding]]:
    """Outer and inner square of every recognised ring; what could not be fitted is said."""
    fitted, findings = [], []
    for code in seen:
        ring = next(r for r in layout.rings if r.code == code.code)
        outer, inner = (reduced.to_full(corners) for corners in expected_ring_corners(code, ring))
        band = float(np.linalg.norm(outer - inner, axis=1).min()) / 1.42
        reach = int(min(2.5 * reduced.factor + 4, 0.8 * band))
        try:
            pair = fit_quad(picture, outer, reach=reach), fit_quad(picture, inner, reach=reach)
        except ValueError:
            pair = None
        if pair is None or min(s.support for quad in pair for s in quad.sides) < _LEAST_SUPPORT:
            place = outer.mean(axis=0)
            findings.append(
                Finding(
                    "ring-left-out",
                    f"The ring at {place[0]:.0f},{place[1]:.0f} px is covered or cut off and was left out.",
                    place_px=(float(place[0]), float(place[1])),
                    attention=False,
                )
            )
            continue
        fitted.append((ring, *pair))
    return fitted, findings


def _print_factors(
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


def _middle_corners(ring: Ring) -> FloatArray:
    return 0.5 * (ring.outer_corners_mm + ring.inner_corners_mm)


def _unmeasured(layout: CardLayout) -> Finding:
    outer = layout.rings[0].outer_mm
    return Finding(
        "card-not-measured",
        "The card was not measured: paper and printer may be off by 0.3 % and more. Measure the ring's outer sides "
        f"with calipers and say them, for example --measured {outer - 0.2:.1f}x{outer - 0.1:.1f}.",
        attention=False,
    )


def _card_marks(layout: CardLayout, px: FloatArray, mm: FloatArray) -> tuple[FloatArray, ...]:
    """Boxes of everything printed on the card, mapped into the picture by an affine fit."""
    design = np.column_stack([mm, np.ones(len(mm))])
    matrix, *_ = np.linalg.lstsq(design, px, rcond=None)
    # a single is cut out along its box: all of that is card
    card = [layout.card_box_mm] if layout.kind == "single" else []
    boxes = []
    for x0, y0, x1, y1 in [*card, *layout.marks_mm]:
        corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        boxes.append(np.column_stack([corners, np.ones(4)]) @ matrix)
    return tuple(boxes)


@dataclass(frozen=True, slots=True)
class _Candidate:
    quad: Quad
    fit: FittedQuad


def _from_square(
    picture: Picture, reduced: Reduced, settings: Settings, size_mm: Pair, density: Density | None
) -> Located:
    """Scale from the one plain square that can be the reference."""
    codes = reduced.codes if reduced.codes.dtype == np.uint8 else (reduced.codes >> 8).astype(np.uint8)
    quads = find_quads(codes, reduced.factor, aspect=size_mm[0] / size_mm[1])
    if settings.square_at_px is not None:
        quads = _holding(quads, settings.square_at_px)
    chosen = candidates_for(picture, reduced, quads, settings)
    if not chosen:
        raise ScaleError(_no_square(quads, settings))
    if len(chosen) > 1:
        raise ScaleError(several_squares(chosen, density))
    return _located_square(chosen[0], size_mm)


def candidates_for(
    picture: Picture, reduced: Reduced, quads: tuple[Quad, ...], settings: Settings, *, written_on: bool = False
) -> list[_Candidate]:
    """Fit every quad that may be a plain square (or one that is `written_on`); where the user pointed, the smallest."""
    if settings.square_at_px is not None:
        quads = _holding(quads, settings.square_at_px)
    likely = [q for q in quads if not q.touches_border and (written_on or _is_uniform(reduced, q))]
    fitted = [c for quad in likely if (c := _candidate(picture, reduced, quad)) is not None]
    chosen = _without_nested(fitted)
    if settings.square_at_px is not None and chosen:
        chosen = [min(chosen, key=lambda c: c.quad.side_px)]
    return chosen


def _holding(quads: tuple[Quad, ...], place: Pair) -> tuple[Quad, ...]:
    return tuple(q for q in quads if cv().pointPolygonTest(q.corners_px.astype(np.float32), place, False) >= 0)


def _candidate(picture: Picture, reduced: Reduced, quad: Quad) -> _Candidate | None:
    """Fit a quad at full resolution; None when it is no sharp-cornered square after all."""
    try:
        fit = fit_quad(picture, quad.corners_px, reach=2 * reduced.factor + 6)
    except ValueError:
        return None
    if sum(fit.sharp) < 3 or sorted(s.support for s in fit.sides)[1] < 0.7 or fit.contrast < 0.02:
        return None
    return _Candidate(quad, fit) if min(s.support for s in fit.sides) >= _LEAST_SUPPORT else None


def _is_uniform(reduced: Reduced, quad: Quad) -> bool:
    """Whether the inside is one colour, compared with its contrast to the outside."""
    corners = reduced.to_reduced(quad.corners_px)
    centre = corners.mean(axis=0)
    t = np.linspace(-0.85, 0.85, 15)
    a, b = 0.5 * (corners[1] - corners[0]), 0.5 * (corners[3] - corners[0])
    grid = centre + np.array([u * a + v * b for u in t for v in t])
    rim = centre + 1.15 * np.array(
        [u * a + v * b for u in (-1, 1) for v in t] + [u * a + v * b for u in t for v in (-1, 1)]
    )
    h, w = reduced.light.shape[:2]

    def look(places: FloatArray) -> FloatArray:
        x, y = np.rint(places).astype(int).T
        known = (x >= 0) & (y >= 0) & (x < w) & (y < h)
        return np.asarray(reduced.light[y[known], x[known]], dtype=np.float64)

    inside, outside = look(grid), look(rim)
    if len(inside) < 20 or len(outside) < 10:
        return False
    contrast = np.abs(np.median(inside, axis=0) - np.median(outside, axis=0)).max()
    spread = (np.percentile(inside, 90, axis=0) - np.percentile(inside, 10, axis=0)).max()
    return bool(spread < _UNIFORM * contrast + 0.01)


def _without_nested(candidates: list[_Candidate]) -> list[_Candidate]:
    """Of one square seen twice keep one, of a dark square on its light sheet the square, of a frame its outer side."""
    dropped = set()
    for i, outer in enumerate(candidates):
        for j, inner in enumerate(candidates):
            if i == j or i in dropped or j in dropped:
                continue
            if _same(outer.fit, inner.fit):
                dropped.add(j)
                continue
            if not _contains(outer.fit.corners_px, inner.fit.corners_px):
                continue
            if inner.quad.dark and not outer.quad.dark:
                dropped.add(i)
            elif outer.quad.dark and not inner.quad.dark:
                dropped.add(j)
    return [c for i, c in enumerate(candidates) if i not in dropped]


def _same(one: FittedQuad, other: FittedQuad) -> bool:
    """Whether two fits ended on the same sides."""
    gap = np.linalg.norm(one.corners_px[:, None, :] - other.corners_px[None, :, :], axis=2).min(axis=1)
    return bool(gap.max() < 0.02 * side_lengths(one.corners_px).mean() + 2.0)


def _contains(outer: FloatArray, inner: FloatArray) -> bool:
    polygon = outer.astype(np.float32)
    return all(cv().pointPolygonTest(polygon, (float(x), float(y)), False) > 0 for x, y in inner)


def _no_square(quads: tuple[Quad, ...], settings: Settings) -> str:
    where = "" if settings.square_at_px is None else f" at {settings.square_at_px[0]:g},{settings.square_at_px[1]:g} px"
    advice = (
        "Lay a plain square with sharp, uncovered corners flat beside the item, at least 25 px a side, well inside the "
        "picture and clear of the item."
    )
    cut = [q for q in quads if q.touches_border]
    if cut:
        x, y = cut[0].centre_px
        return f"The only square seen{where} (at {x:.0f},{y:.0f} px) is cut by the picture's border. {advice}"
    if quads:
        x, y = quads[0].centre_px
        return (
            f"No square fit to measure by was found{where}: the nearest to one, at {x:.0f},{y:.0f} px with sides of "
            f"about {quads[0].side_px:.0f} px, has rounded or covered corners, uneven colour or broken sides. {advice}"
        )
    return f"No reference square was found{where}. {advice}"


def several_squares(candidates: list[_Candidate], density: Density | None) -> str:
    """Say which squares were seen where only one can be meant."""
    lines = []
    for c in candidates:
        x, y = c.quad.centre_px
        w, h = side_lengths(c.fit.corners_px)[:2]
        size = f"{w:.0f} x {h:.0f} px"
        if density is not None:
            size += f" (about {w / density.x_px_per_mm:.1f} x {h / density.y_px_per_mm:.1f} mm by the file's density)"
        lines.append(f"at {x:.0f},{y:.0f} px: {size}")
    return (
        f"{len(candidates)} shapes in the picture may be the reference square; none was picked: {'; '.join(lines)}. "
        "Point at the right one with --square-at X,Y, or cover the others."
    )


def _located_square(chosen: _Candidate, size_mm: Pair) -> Located:
    fit = chosen.fit
    px, mm = square_places(fit.corners_px, size_mm)
    estimate = scale_from_points(
        px,
        mm,
        side_mm=float(np.mean(size_mm)),
        point_sd_px=fit.corner_sd_px,
        reference=f"plain square {size_mm[0]:g} x {size_mm[1]:g} mm",
        measured=True,
        shown_corners_px=px,
    )
    findings = []
    bad = [i for i in range(4) if not fit.sharp[i]]
    weak = [s for s in fit.sides if s.support < 0.9]
    if bad or weak:
        x, y = fit.corners_px[bad[0]] if bad else chosen.quad.centre_px
        findings.append(
            Finding(
                "reference-covered",
                f"The reference square is covered or damaged near {x:.0f},{y:.0f} px; it was measured by the rest of "
                "its sides. Uncover it and take the picture again to be sure.",
                value=min(s.support for s in fit.sides),
                limit=0.9,
                place_px=(float(x), float(y)),
            )
        )
    return Located(replace(estimate, findings=tuple(findings)), (fit.corners_px,), ())
