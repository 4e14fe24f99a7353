"""From measured places to contours: even, smoothed, corners put back, and the blur's pull on curves undone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..measure.profiles import light_between
from ..measure.ragged import TO_SD, EndToEnd, IntArray, median
from ..records import FloatArray, Picture
from .corners import Corner, Edges, Probe, find_corners
from .detours import Followed, half_level, with_detours
from .places import Measured
from .smoothing import correlate_rings, normals_of_rings, quadratic_weights, resample_rings, smooth_rings

STEP_PX = 1.0  # spacing of the points of a contour
_CORNER_NOISE_PX = 0.5  # noise of a place, above which a sharp corner cannot be told from a round one
_LEFT = 0.64  # of the noise of a place, that shows beside the mean of five: half of it is kept; some to spare
_LEAST_NOISE_PX = 0.003  # of a place
_STRAY, _STRAY_PX = 5.0, 0.15  # times the noise, and px, off its neighbours: a place farther off is left out
_STRAIGHT, _TIGHT = 1e-4, 0.03  # 1/px of curvature: less moves no edge; more is told by a short window
_FAR = 2.0**21  # px, farther than any picture is wide
_PURE_BLURS, _PURE_PX, _PURE_FAR_PX = 4, 3, 20  # from a place, times the blur and px more: where its levels are pure


@dataclass(frozen=True, slots=True)
class Even:
    """Evenly spaced places along edges, which lie end to end."""

    rings: EndToEnd
    places: FloatArray  # (M, 2)
    noise: FloatArray  # (R,) of a place along the normal
    followed: dict[int, Followed]  # what was followed where no place was found, of some of the edges


def even_places(picture: Picture, base: FloatArray, seen: Measured, rings: EndToEnd) -> Even:
    """Evenly spaced places along the edges, outliers dropped, and what was followed between them.

    `base` (N, 2) are the borders' pixels, `seen` what was measured at each.
    """
    index, noise = _near_others(seen, rings)
    own, places = _kept(rings, index), seen.places[index]
    followed = _followed(picture, base, seen, rings, own, index)
    if followed:
        parts = [followed[k].places_px if k in followed else places[at] for k, at in enumerate(own.slices)]
        own, places = EndToEnd.of(parts), np.concatenate(parts)
    smooth = np.empty_like(places)
    halves = np.minimum(4, (own.sizes - 1) // 2)
    for numbers, some, rows in own.alike(halves):
        smooth[rows] = correlate_rings(places[rows], some, quadratic_weights(int(halves[numbers[0]])))
    forward = smooth[own.moved(1)] - smooth[own.moved(-1)]
    step = ((places[own.moved(1)] - places) * forward).sum(axis=1)
    ahead = step > 0  # where the profile turns from rows to columns neighbours may swap
    even, own = resample_rings(places[ahead], own.kept(ahead), STEP_PX, path=smooth[ahead])
    even, own = resample_rings(even, own, STEP_PX)
    return Even(own, even, noise, followed)


def _kept(rings: EndToEnd, index: IntArray) -> EndToEnd:
    """The rings with those rows alone."""
    return EndToEnd(np.bincount(rings.owner[index], minlength=len(rings)))


def _near_others(seen: Measured, rings: EndToEnd) -> tuple[IntArray, FloatArray]:
    """Which places lie where their neighbours have them, and the noise of one along the normal (R,)."""
    index = np.flatnonzero(np.isfinite(seen.places[:, 0]))
    noise = np.empty(len(rings))
    left = np.arange(len(rings))
    for _ in range(2):
        own, rows = _kept(rings, index).picked(left)
        places = seen.places[index[rows]]
        # a short window: a longer one would take a tight curve for noise
        smooth = correlate_rings(places, own, quadratic_weights(2))
        rest = np.abs(((places - smooth) * normals_of_rings(smooth, own, 4)).sum(axis=1))
        spread = TO_SD * own.each(rest, median) / _LEFT
        noise[left] = np.maximum(spread, _LEAST_NOISE_PX)
        keep = rest < own.rows(_STRAY * spread + _STRAY_PX)
        flags = np.ones(len(index), bool)
        flags[rows] = keep
        index = index[flags]
        left = left[own.summed(~keep) > 0]
        if not len(left):
            break
    return index, noise


def _followed(
    picture: Picture, base: FloatArray, seen: Measured, rings: EndToEnd, own: EndToEnd, index: IntArray
) -> dict[int, Followed]:
    """What was followed round tips and slits, of the edges on which places are missing in a row."""
    missing = (index[own.moved(1)] - index - 1) % rings.sizes[own.owner]
    found = {}
    for k in np.flatnonzero(own.summed(missing >= 2)).tolist():
        at, good = rings.slices[k], index[own.slices[k]]
        find = half_level(picture, base[at], seen.usable[at], seen.contrast[at], seen.inside[at], seen.outside[at])
        found[k] = with_detours(seen.places[good], good - at.start, base[at], find)
    return found


def probe_of(picture: Picture, base: FloatArray, seen: Measured, rings: EndToEnd) -> Probe:
    """Look at the picture with the levels of an edge some way off a place, where they are pure."""
    near, far = (_PURE_BLURS * seen.blur_px + px for px in (_PURE_PX, _PURE_FAR_PX))
    order = np.lexsort((base[:, 0], rings.owner))
    x = _FAR * rings.owner[order] + base[order, 0]
    sides = np.concatenate([seen.inside, seen.outside], axis=1)

    def look(ring: IntArray, places: FloatArray, about: FloatArray) -> FloatArray:
        start = _FAR * ring + about[:, 0]
        first = x.searchsorted(start - far[ring])
        across = EndToEnd(x.searchsorted(start + far[ring], side="right") - first)
        at = order[first[across.owner] + across.within]
        who = across.owner
        beside = np.abs(base[at, 1] - about[who, 1]) < far[ring[who]]  # few of a long edge are left to be measured
        at, who = at[beside], who[beside]
        distance = np.linalg.norm(base[at] - about[who], axis=1)
        about_it = (distance > near[ring[who]]) & (distance < far[ring[who]]) & seen.usable[at]
        levels = _medians(sides[at[about_it]], EndToEnd(np.bincount(who[about_it], minlength=len(ring))))
        inside, outside = np.split(levels, 2, axis=1)
        direction = inside - outside
        light = light_between(picture, places.reshape(-1, 2)).reshape(*places.shape[:2], -1)
        power = np.maximum(np.einsum("qc,qc->q", direction, direction), 1e-9)
        return np.asarray(np.einsum("qkc,qc->qk", light - outside[:, None], direction) / power[:, None])

    return look


def _medians(values: FloatArray, rings: EndToEnd) -> FloatArray:
    """Medians of each ring's rows (N, C), (R, C); 0 of a ring without any."""
    laid = np.full((len(rings), values.shape[1], max(1, int(rings.sizes.max(initial=0)))), np.inf)
    laid[rings.owner, :, rings.within] = values
    laid.sort(axis=2)
    every = np.arange(len(rings))
    upper, lower = rings.sizes // 2, np.maximum(rings.sizes - 1, 0) // 2
    found = (laid[every, :, lower] + laid[every, :, upper]) / 2
    return np.asarray(np.where(rings.sizes[:, None] > 0, found, 0.0))


@dataclass(frozen=True, slots=True)
class Shaped:
    """One contour: its points, smoothed, and which of them are restored corners."""

    points: FloatArray  # (N, 2)
    sd: FloatArray  # (N,)
    corners: tuple[int, ...]


def shapes_of(even: Even, blur: FloatArray, probe: Probe) -> list[Shaped]:
    """Smooth places, put corners back, and undo what the blur (R,) does to curves."""
    rings = even.rings
    light = correlate_rings(even.places, rings, quadratic_weights(2))
    normals = -normals_of_rings(light, rings, 3)
    points, sd = smooth_rings(even.places, normals, rings, even.noise)
    edges = Edges(rings, points, even.places, blur, even.noise)
    corners = find_corners(edges, probe, np.flatnonzero(even.noise < _CORNER_NOISE_PX))
    points = points + _curvature_shift(points, normals, rings, blur, corners)[:, None] * normals
    return [
        _with_corners(points[at], sd[at], _without_crossing(points[at], own))
        for at, own in zip(rings.slices, corners, strict=True)
    ]


def _without_crossing(points: FloatArray, corners: list[Corner]) -> list[Corner]:
    """Leave out corners that, carried on to where their sides meet, reach through a narrow neck or gap."""
    import shapely

    if not corners or shapely.is_simple(shapely.linearrings(_with_corners(points, points[:, 0], corners).points)):
        return corners
    return [corner for corner in corners if not _reaches_through(points, corner)]


def _reaches_through(points: FloatArray, corner: Corner) -> bool:
    import shapely

    count = len(points)
    between = (corner.last - corner.first) % count
    others = points[(corner.last + 1 + np.arange(count - between - 1)) % count]
    return bool(shapely.intersects(shapely.linestrings(others), shapely.linestrings(corner.points_px)))


def _curvature_shift(
    points: FloatArray, normals: FloatArray, rings: EndToEnd, blur: FloatArray, corners: Sequence[Sequence[Corner]]
) -> FloatArray:
    """Outward shift that undoes the blur's pull toward the centre of curvature, px; (N,).

    The half level of a blurred curved edge lies sigma^2 / 2R inside; a profile along a row at angle phi to the
    normal adds half of that times tan(phi)^2, as the edge curves away from it on both sides.
    """
    curvature, halves = np.empty(len(points)), np.minimum(8, (rings.sizes - 1) // 2)
    for numbers, some, rows in rings.alike(halves):
        curvature[rows] = _curvatures(points[rows], normals[rows], some, int(halves[numbers[0]]))
    curvature[np.abs(curvature) < _STRAIGHT] = 0.0
    least, most = np.sort(np.abs(normals), axis=1).T
    sigma = rings.rows(blur)
    shift = 0.5 * sigma**2 * curvature * (1.0 + 0.5 * (least / np.maximum(most, 1e-9)) ** 2)
    for k, own in enumerate(corners):
        for corner in own:
            size, half = int(rings.sizes[k]), int(halves[k])
            count = (corner.last - corner.first) % size + 1 + 2 * half
            shift[rings.starts[k] + (corner.first - half + np.arange(count)) % size] = 0.0
    return np.asarray(np.clip(shift, -0.5, 0.5))


def _curvatures(points: FloatArray, normals: FloatArray, rings: EndToEnd, half: int) -> FloatArray:
    curvature = _curvature(points, normals, rings, half)
    # on a tight curve the long window sees less than there is
    tight = np.abs(curvature) > _TIGHT
    if half > 4 and tight.any():
        return np.where(tight, _curvature(points, normals, rings, 4), curvature)
    return curvature


def _curvature(points: FloatArray, normals: FloatArray, rings: EndToEnd, half: int) -> FloatArray:
    """Curvature, 1/px, positive where the outline is convex; (N,)."""
    second = correlate_rings(points, rings, quadratic_weights(half, 2)) / STEP_PX**2
    return np.asarray(-(second * normals).sum(axis=1))


def _with_corners(points: FloatArray, sd: FloatArray, corners: list[Corner]) -> Shaped:
    """Replace the rounded stretches by the restored corners."""
    if not corners:
        return Shaped(points, sd, ())
    ordered = sorted(corners, key=lambda c: c.first)
    count = len(points)
    pieces, deviations, apexes, length = [], [], [], 0
    for corner, following in zip(ordered, ordered[1:] + ordered[:1], strict=True):
        run = (following.first - corner.last) % count + 1
        if run > count - 3 and len(ordered) > 1:
            run = 0  # neighbouring corners share their stretch
        kept = (corner.last + np.arange(run)) % count
        apexes.append(length + corner.apex)
        pieces += [corner.points_px, points[kept]]
        deviations += [np.full(len(corner.points_px), 2.0 * float(sd[corner.first])), sd[kept]]
        length += len(corner.points_px) + run
    return Shaped(np.vstack(pieces), np.concatenate(deviations), tuple(apexes))
