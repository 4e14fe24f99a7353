"""A scanner's profile from several scans of the card, by one adjustment of all of them."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..card.kinds import CardLayout, Ring, layout_for_codes
from ..errors import PictureError, ScaleError
from ..measure.profiles import linear_pixels
from ..reading.reduced import reduce_picture
from ..records import FloatArray, Picture
from ..reference.codes import SeenCode, find_codes
from ..reference.locate import grey
from ..reference.ring_card import OF_TWO, fit_rings, middle_corners, print_factors
from ..reference.scale import PRINTED_SD_PART
from ..reference.square_fit import FittedQuad
from ..scanner.adjust import LEAST_SD_MM, Adjusted, Printed, Seen, adjust
from ..scanner.profile import ScannerProfile, curve_of, density_of, device_of
from ..scanner.tone import Edge, reach_px, tone_of
from ..settings import Pair
from ..steady import norm, product

LEAST_SCANS = 4  # of one card, turned between them
_BAR_READ = 1.2  # of a ring's outer side: a longer reading is that of a bar
MOST_BEND_SD_MM = 0.03  # a map that is less sure than this is no better than none
_CORNER_SD_MM = {"single": 0.02, "mat": 0.06}  # of a corner in an office printer's print; common practice, no source
_PART = 0.8  # of a side from which light is taken
_MOST_PX = 40_000  # of a side's pixels
_ROOM_PX = 4.0  # from the taken pixels to the other side of the ring's frame

Fitted = tuple[Ring, FittedQuad, FittedQuad]


@dataclass(frozen=True, slots=True)
class _Scan:
    """A scan, and the card's rings in it."""

    picture: Picture
    layout: CardLayout
    codes: tuple[SeenCode, ...]
    rings: tuple[Fitted, ...]


def make_scanner_profile(
    pictures: Sequence[Picture], name: str, *, today: datetime.date, measured_mm: Pair | None, caliper_sd_mm: float
) -> ScannerProfile:
    """Map and tone of a scanner from scans of one ring card, or of the mat, in several places on its glass.

    Parameters
    ----------
    pictures
        At least four, each of the whole glass, the same way scanned; the card turned from one to the next.
    name, today
        What it is to be called, and the day to be kept with it.
    measured_mm, caliper_sd_mm
        What calipers read of the card, and the standard deviation of one such reading.

    Raises
    ------
    PictureError
        If the pictures are too few, or do not fit together.
    ScaleError
        If the card is not found in one of them, or they do not tell the map.
    """
    _require_alike(pictures)
    scans = [_scan(picture) for picture in pictures]
    kinds = {(scan.layout.kind, scan.layout.paper) for scan in scans}
    if len(kinds) > 1:
        raise PictureError("The scans show different cards: scan one and the same card in several places.")
    tone, tone_sd = _tone(scans)
    lit = [_again(scan, tone) for scan in scans]
    found = _adjusted(lit, measured_mm, caliper_sd_mm)
    if found.bend_sd_mm > MOST_BEND_SD_MM:
        raise ScaleError(
            f"The scans tell the scanner's map to {2 * found.bend_sd_mm:.2f} mm (limit {2 * MOST_BEND_SD_MM:.2f}): "
            "the card lay in too few places. Scan it in more, in the corners too, turned by a quarter each time."
        )
    first = pictures[0]
    return ScannerProfile(
        name=name,
        on=today,
        device=device_of(first),
        dpi=density_of(first),
        curve=curve_of(first),
        tone=tone,
        tone_sd=tone_sd,
        glass=found.glass,
        measured=measured_mm is not None,
        size_sd_part=found.size_sd_part,
        axes_sd_part=found.axes_sd_part,
        bend_sd_mm=found.bend_sd_mm,
        rest_mm=found.rest_mm,
        covered_px=found.covered_px,
        scans=len(pictures),
    )


def _require_alike(pictures: Sequence[Picture]) -> None:
    if len(pictures) < LEAST_SCANS:
        raise PictureError(
            f"A scanner's profile needs at least {LEAST_SCANS} scans of the card, better 8; given: {len(pictures)}. "
            "Lay it in other places of the glass, turned by a quarter from one to the next."
        )
    for what, values in (
        ("sizes", {f"{p.width_px} x {p.height_px} px" for p in pictures}),
        ("densities", {f"{x:g} x {y:g} dpi" for p in pictures for x, y in [density_of(p) or (0.0, 0.0)]}),
        ("scanners", {device_of(p) for p in pictures}),
        ("colour profiles", {str(curve_of(p)) for p in pictures}),
    ):
        if len(values) > 1:
            said = "" if what == "colour profiles" else f" ({', '.join(sorted(values))})"
            raise PictureError(
                f"The scans have different {what}{said}: scan the whole glass each time, with the same settings."
            )
    if len({picture.sha256 for picture in pictures}) < len(pictures):
        raise PictureError("One scan was given twice: each must be a scan of its own, with the card in another place.")


def _scan(picture: Picture) -> _Scan:
    reduced = reduce_picture(picture)
    seen = find_codes(grey(reduced))
    if not seen:
        raise ScaleError(f"{picture.name}: no ring card was recognised. Scan the whole card, flat, lid closed.")
    layout = layout_for_codes([code.code for code in seen])
    fitted, _ = fit_rings(picture, reduced, seen, layout)
    if not fitted:
        raise ScaleError(f"{picture.name}: the card's frame shows no clear edges. Lay it flat and whole on the glass.")
    return _Scan(picture, layout, seen, tuple(fitted))


def _again(scan: _Scan, tone: float) -> _Scan:
    """The same with the rings fitted in the light that the scanner has."""
    table = np.power(scan.picture.to_linear, np.float32(tone))
    picture = replace(scan.picture, to_linear=table)
    fitted, _ = fit_rings(picture, reduce_picture(picture), scan.codes, scan.layout)
    return replace(scan, picture=picture, rings=tuple(fitted) or scan.rings)


# --- the map ---------------------------------------------------------------------------------------------------


def _adjusted(scans: Sequence[_Scan], measured_mm: Pair | None, caliper_sd_mm: float) -> Adjusted:
    layout = scans[0].layout
    factors = np.mean([print_factors(layout, measured_mm, list(scan.rings))[:2] for scan in scans], axis=0)
    places = {ring.code: number for number, ring in enumerate(layout.rings)}
    drawn = np.concatenate([middle_corners(ring) for ring in layout.rings])
    size_sd = PRINTED_SD_PART if measured_mm is None else caliper_sd_mm / layout.rings[0].outer_mm
    if measured_mm is not None and min(measured_mm) > _BAR_READ * layout.rings[0].outer_mm:
        size_sd = caliper_sd_mm / layout.bars[0].length_mm
    printed = Printed((drawn - drawn.mean(axis=0)) * factors, (size_sd, size_sd), _CORNER_SD_MM[layout.kind])
    pixel = float(np.mean(_nominal(scans[0], printed.points_mm, places)))
    seen = [_corners(scan, places, pixel) for scan in scans]
    picture = scans[0].picture
    return adjust(seen, printed, (picture.width_px, picture.height_px), (pixel, pixel))


def _corners(scan: _Scan, places: dict[int, int], pixel_mm: float) -> Seen:
    px = np.concatenate([0.5 * (outer.corners_px + inner.corners_px) for _, outer, inner in scan.rings])
    which = np.concatenate([4.0 * places[ring.code] + np.arange(4) for ring, _, _ in scan.rings])
    sd = OF_TWO * float(np.mean([outer.corner_sd_px for _, outer, _ in scan.rings])) * pixel_mm
    return Seen(px, which, float(np.hypot(sd, LEAST_SD_MM)))


def _nominal(scan: _Scan, points_mm: FloatArray, places: dict[int, int]) -> tuple[float, float]:
    """About what a pixel is, by one scan alone."""
    ring, outer, inner = scan.rings[0]
    px = 0.5 * (outer.corners_px + inner.corners_px)
    mm = points_mm[4 * places[ring.code] : 4 * places[ring.code] + 4]
    sides = [np.linalg.norm(np.roll(one, -1, axis=0) - one, axis=1).mean() for one in (mm, px)]
    return float(sides[0] / sides[1]), float(sides[0] / sides[1])


# --- the tone --------------------------------------------------------------------------------------------------


def _tone(scans: Sequence[_Scan]) -> tuple[float, float]:
    """How the codes follow the light, by every side of every ring."""
    edges = []
    for scan in scans:
        for _, outer, inner in scan.rings[:3]:
            band = float(np.linalg.norm(outer.corners_px - inner.corners_px, axis=1).min()) / np.sqrt(2.0)
            if band < reach_px() + _ROOM_PX:
                continue
            for quad, lighter_out in ((outer, True), (inner, False)):
                edges += [_edge(scan.picture, quad, side, lighter_out=lighter_out) for side in range(4)]
    try:
        return tone_of(edges)
    except ValueError as error:
        raise ScaleError(
            "The scans do not tell how codes follow the light: scan at 200 dpi or more, the card a little turned."
        ) from error


def _edge(picture: Picture, quad: FittedQuad, number: int, *, lighter_out: bool) -> Edge:
    """The pixels across one side, its ends left out."""
    a, b = quad.corners_px[number], quad.corners_px[(number + 1) % 4]
    along = (b - a) / norm(b - a)
    normal = np.array([-along[1], along[0]])
    if product(normal, 0.5 * (a + b) - quad.corners_px.mean(axis=0)) < 0:
        normal = -normal
    reach, half = reach_px(), 0.5 * _PART * norm(b - a)
    low, high = np.minimum(a, b) - reach, np.maximum(a, b) + reach
    x, y = np.meshgrid(
        np.arange(max(int(low[0]), 0), min(int(high[0]) + 2, picture.width_px)),
        np.arange(max(int(low[1]), 0), min(int(high[1]) + 2, picture.height_px)),
    )
    off = np.column_stack([x.ravel(), y.ravel()]) - 0.5 * (a + b)
    held = (np.abs(product(off, normal)) < reach) & (np.abs(product(off, along)) < half)
    chosen = np.flatnonzero(held)
    chosen = chosen[:: max(1, len(chosen) // _MOST_PX)]
    light = linear_pixels(picture, x.ravel()[chosen], y.ravel()[chosen]).mean(axis=1, dtype=np.float64)
    return Edge((product(off[chosen], normal)) * (1.0 if lighter_out else -1.0), light)
