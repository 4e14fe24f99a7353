"""From the border chain of a mask to the true edge, point by point, in linear light."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..measure.profiles import (
    Steps,
    estimate_blur,
    fit_steps,
    light_between,
    mid_crossing,
    moving_mean,
    normal_cdf,
    normalise,
    side_slopes,
    take_out_slopes,
    take_profiles,
    typical_light,
)
from ..measure.rings import rolled, signed_area
from ..records import BoolArray, Contour, Finding, FloatArray, Picture, frozen_array
from ..steady import product
from ..words.say import finding_of
from .by_hue import told_by_hue
from .corners import Corner, Probe, find_corners
from .detours import Followed, HalfLevel, Strip, half_level, with_detours
from .pure import pure_samples
from .smoothing import closed_normals, correlate_closed, quadratic_weights, resample_closed, smooth_closed
from .two_steps import carried, fit_two_steps
from .untie import untied

LEAST_CHAIN = 24  # px along a border: shorter ones have too few places
STEP_PX = 1.0  # spacing of the points of a contour
_CORNER_NOISE_PX = 0.5  # noise of a place, above which a sharp corner cannot be told from a round one
LEVEL_HALF = 10  # neighbours on either side whose light makes the level of a side
_PULLED_SD_PX = 0.5  # of a place that is known to the pixel only
_USUAL_BLUR_PX = 0.9
_SOFT_PX = 2.2  # blur of an edge that is soft
_CALM = 0.12  # noise over contrast up to which a single profile's crossing can be told


@dataclass(frozen=True, slots=True)
class Traced:
    """A contour with what was seen along it."""

    contour: Contour
    findings: tuple[Finding, ...]
    lost: float = 0.0  # part of the edge that could not be measured and is bridged
    rim_px: FloatArray | None = None  # (N,) width of the rim at each point, where it is a rim's outer edge
    chain_px: FloatArray | None = None  # (M, 2) along which it was measured
    is_measured: BoolArray | None = None  # (M,) where an edge was found

    def unmeasured(self, points: FloatArray) -> BoolArray:
        """Return at which of some points (K, 2) along it no edge was found, (K,)."""
        import shapely

        if self.chain_px is None or self.is_measured is None:
            return np.zeros(len(points), bool)
        tree = shapely.STRtree(np.asarray(shapely.points(self.chain_px)))
        return np.asarray(~self.is_measured[tree.nearest(np.asarray(shapely.points(points)))])


def trace_edge(
    picture: Picture,
    mask: npt.NDArray[np.uint8],
    mask_origin: tuple[int, int],
    chain: npt.NDArray[np.int64],
    *,
    is_hole: bool,
    rim_px: float | None = None,
    blur_px: float | None = None,
) -> Traced | None:
    """Move every point of a border chain onto the edge of the item.

    Parameters
    ----------
    picture
        The picture.
    mask
        (h, w) uint8 crop, 1 on the item.
    mask_origin
        px of the crop's first pixel.
    chain
        (N, 2) whole px of the item's border pixels, in order.
    is_hole
        Whether the chain runs round a hole.
    rim_px
        Width of a rim within the chain: the edge is its outer one, from the rim's own light to the ground's.
    blur_px
        Of the picture, where it is known.

    Returns
    -------
    Traced or None
        The contour counter-clockwise in a y-up frame (clockwise for a hole); None when too short to trace.
    """
    start = in_direction(chain.astype(np.float64), is_hole=is_hole)
    if len(start) < LEAST_CHAIN:
        return None
    if rim_px is not None:
        rim = trace_rim(picture, start, rim_px=rim_px, blur_px=blur_px)
        if rim is not None:
            return rim
    base, normals = _base_and_normals(start)
    seen = _edge_places(picture, mask, mask_origin, base, normals)
    if (
        seen.blur_px > _SOFT_PX
    ):  # the pixels' border wavers within the blur: so would places and directions taken from it
        evened = _evened(start, half=int(np.ceil(seen.blur_px)))
        base, normals = _base_and_normals(evened, half=int(np.ceil(2.0 * seen.blur_px)))
        seen = _edge_places(picture, mask, mask_origin, base, normals)
    return _traced(picture, base, seen, is_hole=is_hole)


def trace_rim(
    picture: Picture, line: FloatArray, *, rim_px: float, blur_px: float | None = None, is_hole: bool = False
) -> Traced | None:
    """Trace the outer edge of a rim, from the rim's own light to the ground's; None of one too narrow for that.

    Parameters
    ----------
    picture
        The picture.
    line
        (N, 2) px about 1 px apart, within 2 px of that edge.
    rim_px
        Width of the rim, within 2 px.
    blur_px
        Of the picture, where it is known.
    is_hole
        Whether the line runs round a hole; outer is out of the material, into the hole.
    """
    base, normals = _base_and_normals(in_direction(line, is_hole=is_hole))
    seen = _rim_places(picture, base, normals, rim_px, blur_px or _USUAL_BLUR_PX)
    if seen is None:
        return None
    measured, widths = seen
    traced = _traced(picture, base, measured, is_hole=is_hole)
    return None if traced is None else replace(traced, rim_px=carried(widths, base, traced.contour.points_px))


def in_direction(ring: FloatArray, *, is_hole: bool) -> FloatArray:
    """Return a ring counter-clockwise seen y up, a hole clockwise."""
    return ring[::-1] if (signed_area(ring) < 0) == is_hole else ring  # y down: the sign is reversed


def _traced(picture: Picture, base: FloatArray, seen: _Measured, *, is_hole: bool) -> Traced | None:
    """From measured places to the contour; None where too few were found."""
    good = np.isfinite(seen.places[:, 0])
    if good.sum() < 0.3 * len(good):
        return None
    find = half_level(picture, base, seen.steps)
    places, noise, followed = _even_places(seen.places, good, seen.sd_px, base, find)
    good |= followed.new
    points, sd, corners = _shape(places, noise, seen.blur_px, _probe(picture, base, seen.steps, seen.blur_px))
    steepest = base[int(seen.shade.argmax())]
    points, pulled = untied(points, base)
    contour = Contour(
        points_px=frozen_array(points, columns=2),
        sd_px=frozen_array(np.where(pulled, np.maximum(sd, _PULLED_SD_PX), sd)),
        corners=tuple(corner for corner in corners if not pulled[corner]),
        is_hole=is_hole,
        blur_px=seen.blur_px,
        contrast=float(np.median(seen.steps.contrast)),
        shade=float(np.sqrt(np.mean(seen.shade**2))),
        shade_place_px=(float(steepest[0]), float(steepest[1])),
        uneven_px=_uneven_px(seen.steps, seen.blur_px),
        light=(typical_light(seen.steps.inside), typical_light(seen.steps.outside)),
    )
    findings = (*_findings(base, good), *_tangled(points, pulled), *_cut_off(followed.cut_off))
    lost = float(1 - good.mean() + pulled.mean())
    return Traced(contour, findings, lost, chain_px=base, is_measured=good)


def _uneven_px(steps: Steps, blur_px: float) -> float:
    """How far places lie off, root mean square, as a side's light is the mean over neighbours, which may differ.

    A level wrong by a part d of the contrast moves the half level of a blurred step by d / 2 over its steepest slope.
    The light at a place is off the mean by up to half of what it changes by from one end of the neighbours to the
    other; that half is taken: in renders of printed stripes edges are off by one to two times the figure.
    """
    axis = steps.inside - steps.outside
    power = np.maximum((axis**2).sum(axis=1), 1e-12)
    square = 0.0
    for light in (steps.inside, steps.outside):
        change = rolled(light, -LEVEL_HALF) - rolled(light, LEVEL_HALF)
        part = (change * axis).sum(axis=1)[steps.usable] / power[steps.usable]
        square += float(np.mean(np.minimum(part**2, 1.0))) if part.size else 0.0
    return 0.5 * blur_px * float(np.sqrt(2.0 * np.pi * square / 4.0))


def _base_and_normals(start: FloatArray, *, half: int = 4) -> tuple[FloatArray, FloatArray]:
    """Chain pixels and the smoothed chain's outward normals.

    Oriented counter-clockwise in y-up, outward lies to the right of travel there, which is to the left in
    y-down picture coordinates.
    """
    half = int(np.clip((len(start) - 9) // 2, 1, half))
    box = np.full(2 * half + 1, 1.0 / (2 * half + 1))
    smooth = correlate_closed(correlate_closed(start, box), box)
    return start, -closed_normals(smooth, min(4, half))


def _evened(chain: FloatArray, *, half: int) -> FloatArray:
    """The chain without what wavers within so many pixels either way, its points 1 px apart again."""
    half = int(np.clip((len(chain) - 9) // 2, 1, half))
    box = np.full(2 * half + 1, 1.0 / (2 * half + 1))
    return resample_closed(correlate_closed(correlate_closed(chain, box), box), 1.0)


@dataclass(frozen=True, slots=True)
class _Measured:
    """What the profiles along a chain gave."""

    places: FloatArray  # (N, 2) px, NaN where no edge was found
    sd_px: FloatArray  # (N,)
    blur_px: float
    steps: Steps
    shade: FloatArray  # (N,), trend of the light outside, parts of the contrast per px


def _edge_places(
    picture: Picture,
    mask: npt.NDArray[np.uint8],
    origin: tuple[int, int],
    base: FloatArray,
    normals: FloatArray,
) -> _Measured:
    """Measure where the edge is at each chain pixel."""
    reach, blur = 9, _USUAL_BLUR_PX
    for _ in range(3):
        profiles = take_profiles(picture, base, normals, reach=reach)
        inside, outside = pure_samples(mask, origin, profiles, max(2.5, 2.6 * blur + 0.5))
        steps = normalise(profiles, inside, outside, half=LEVEL_HALF, closed=True)
        steps = told_by_hue(profiles, steps, outside, half=LEVEL_HALF)
        blur = estimate_blur(steps.value, profiles.cosine, start_px=blur)
        needed = int(np.ceil(1.41 * (2.6 * blur + 0.5))) + 4
        if needed <= reach:
            break
        reach = needed
    start = mid_crossing(_calmed(steps.value, outside))
    fit = fit_steps(steps.value, profiles.cosine, blur, start)
    offsets = np.arange(-profiles.reach, profiles.reach + 1)
    places = np.where(np.isfinite(fit.offset_px), fit.offset_px, 0.0)
    distance = (offsets - places[:, None]) * profiles.cosine[:, None]
    # the blur's own tail is no trend of the light
    rest = steps.value - 1.0 + normal_cdf(distance / blur)
    within = side_slopes(rest, distance, inside, half=40)
    beyond = side_slopes(rest, distance, outside, half=40)
    if within.slope.any() or beyond.slope.any():
        value = take_out_slopes(steps.value, distance, blur, within, beyond)
        fit = fit_steps(value, profiles.cosine, blur, start)
    typical = float(np.median(fit.residual))
    odd = (fit.residual > 4 * typical + 0.05) | ~steps.usable | (steps.contrast < 0.2 * np.median(steps.contrast))
    odd |= np.abs(fit.offset_px) > 4 + 2 * blur
    places = profiles.base_px + fit.offset_px[:, None] * profiles.step
    places[odd] = np.nan
    return _Measured(places, fit.sd_px, blur, steps, np.abs(beyond.slope))


def _rim_places(
    picture: Picture, base: FloatArray, normals: FloatArray, rim_px: float, blur_px: float
) -> tuple[_Measured, FloatArray] | None:
    """Measure where a rim's outer edge is at each chain pixel, and its width; None of one too narrow for that."""
    two = fit_two_steps(picture, base, normals, rim_px, blur_px)
    if two is None:
        return None
    profiles, reach = two.profiles, two.profiles.reach
    places = profiles.base_px + two.outer_px[:, None] * profiles.step
    steps = Steps(np.zeros((len(base), 0)), np.isfinite(two.outer_px), two.contrast, two.rim, two.ground)
    axis = (two.rim - two.ground) / np.maximum(two.contrast, 1e-6)[:, None] ** 2
    value = np.einsum("nkc,nc->nk", profiles.light - two.ground[:, None], axis)
    distance = np.arange(-reach, reach + 1) - np.nan_to_num(two.outer_px)[:, None]
    distance *= profiles.cosine[:, None]
    beyond = side_slopes(value, distance, distance > 2.6 * two.blur_px + 0.5, half=40)
    return _Measured(places, two.sd_px, two.blur_px, steps, np.abs(beyond.slope)), two.width_px


def _calmed(value: FloatArray, outside: npt.NDArray[np.bool_]) -> FloatArray:
    """Average neighbouring profiles as far as their noise would hide the crossing."""
    rest = value[outside]
    noise = 1.4826 * float(np.median(np.abs(rest))) if rest.size else 0.0
    if noise < _CALM:
        return value
    half = min(12, int(np.ceil(0.5 * (noise / _CALM) ** 2)))
    return moving_mean(value, np.ones(len(value)), half, closed=True)[0]


def _even_places(
    raw: FloatArray, good: npt.NDArray[np.bool_], sd: FloatArray, base: FloatArray, find: HalfLevel
) -> tuple[FloatArray, float, Followed]:
    """Evenly spaced places along the edge, outliers dropped; the noise of one along the normal; what was followed."""
    index = np.flatnonzero(good)
    places = raw[index]
    noise = float(np.median(sd[good]))
    for _ in range(2):
        # a short window: a longer one would take a tight curve for noise
        smooth = correlate_closed(places, quadratic_weights(2))
        normals = closed_normals(smooth, 4)
        rest = ((places - smooth) * normals).sum(axis=1)
        spread = 1.4826 * float(np.median(np.abs(rest))) / 0.64  # the window keeps half of the noise; some to spare
        noise = max(spread, 0.003)
        keep = np.abs(rest) < 5 * spread + 0.15
        if keep.all():
            break
        index = index[keep]
        places = raw[index]
    followed = with_detours(places, index, base, find)
    places = followed.places_px
    smooth = correlate_closed(places, quadratic_weights(min(4, (len(places) - 1) // 2)))
    forward = rolled(smooth, -1) - rolled(smooth, 1)
    step = ((rolled(places, -1) - places) * forward).sum(axis=1)
    ahead = step > 0  # where the profile turns from rows to columns neighbours may swap
    even = resample_closed(places[ahead], STEP_PX, path=smooth[ahead])
    return resample_closed(even, STEP_PX), noise, followed


def _probe(picture: Picture, base: FloatArray, steps: Steps, blur: float) -> Probe:
    """Look at the picture with the levels of the edge some way off a place, where they are pure."""
    near, far = 4 * blur + 3, 4 * blur + 20
    order = np.argsort(base[:, 0], kind="stable")
    x = base[order, 0]
    sides = np.concatenate([steps.inside, steps.outside], axis=1)

    def look(places: FloatArray, about: FloatArray) -> FloatArray:
        at = order[x.searchsorted(about[0] - far) : x.searchsorted(about[0] + far, side="right")]
        at = at[np.abs(base[at, 1] - about[1]) < far]  # few of a long edge are left to be measured
        distance = np.linalg.norm(base[at] - about, axis=1)
        ring = at[(distance > near) & (distance < far) & steps.usable[at]]
        if not len(ring):
            return np.zeros(len(places))
        inside, outside = np.split(np.median(sides[ring], axis=0), 2)
        direction = inside - outside
        light = light_between(picture, places)
        return np.asarray(product(light - outside, direction) / max(float(product(direction, direction)), 1e-9))

    return look


def _shape(
    places: FloatArray, noise: float, blur: float, probe: Probe
) -> tuple[FloatArray, FloatArray, tuple[int, ...]]:
    """Smoothed points, their standard deviation, and the indices of restored corners."""
    light = correlate_closed(places, quadratic_weights(2))
    normals = -closed_normals(light, 3)
    points, sd = smooth_closed(places, normals, noise)
    corners = find_corners(points, places, blur, noise, probe) if noise < _CORNER_NOISE_PX else []
    points = points + _curvature_shift(points, normals, blur, corners)[:, None] * normals
    return _with_corners(points, sd, _without_crossing(points, corners))


def _without_crossing(points: FloatArray, corners: list[Corner]) -> list[Corner]:
    """Leave out corners that, carried on to where their sides meet, reach through a narrow neck or gap."""
    import shapely

    if not corners or shapely.is_simple(shapely.linearrings(_with_corners(points, points[:, 0], corners)[0])):
        return corners
    return [corner for corner in corners if not _reaches_through(points, corner)]


def _reaches_through(points: FloatArray, corner: Corner) -> bool:
    import shapely

    count = len(points)
    between = (corner.last - corner.first) % count
    others = points[(corner.last + 1 + np.arange(count - between - 1)) % count]
    return bool(shapely.intersects(shapely.linestrings(others), shapely.linestrings(corner.points_px)))


def _curvature_shift(points: FloatArray, normals: FloatArray, blur: float, corners: list[Corner]) -> FloatArray:
    """Outward shift that undoes the blur's pull toward the centre of curvature, px; (N,).

    The half level of a blurred curved edge lies sigma^2 / 2R inside; a profile along a row at angle phi to the
    normal adds half of that times tan(phi)^2, as the edge curves away from it on both sides.
    """
    half = min(8, (len(points) - 1) // 2)
    curvature = _curvature(points, normals, half)
    # on a tight curve the long window sees less than there is
    tight = np.abs(curvature) > 0.03
    if half > 4 and tight.any():
        curvature = np.where(tight, _curvature(points, normals, 4), curvature)
    curvature[np.abs(curvature) < 1e-4] = 0.0
    least, most = np.sort(np.abs(normals), axis=1).T
    shift = 0.5 * blur**2 * curvature * (1.0 + 0.5 * (least / np.maximum(most, 1e-9)) ** 2)
    for corner in corners:
        count = (corner.last - corner.first) % len(points) + 1 + 2 * half
        shift[(corner.first - half + np.arange(count)) % len(points)] = 0.0
    return np.asarray(np.clip(shift, -0.5, 0.5))


def _curvature(points: FloatArray, normals: FloatArray, half: int) -> FloatArray:
    """Curvature, 1/px, positive where the outline is convex; (N,)."""
    second = correlate_closed(points, quadratic_weights(half, 2)) / STEP_PX**2
    return np.asarray(-(second * normals).sum(axis=1))


def _with_corners(
    points: FloatArray, sd: FloatArray, corners: list[Corner]
) -> tuple[FloatArray, FloatArray, tuple[int, ...]]:
    """Replace the rounded stretches by the restored corners."""
    if not corners:
        return points, sd, ()
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
    return np.vstack(pieces), np.concatenate(deviations), tuple(apexes)


def _findings(base: FloatArray, good: npt.NDArray[np.bool_]) -> tuple[Finding, ...]:
    """What a person should look at along this edge."""
    findings = []
    lost = float(1 - good.mean())
    if lost > 0.05:
        place = base[np.flatnonzero(~good)[0]]
        findings.append(finding_of("edge-unclear", value=lost, limit=0.05, place_px=(float(place[0]), float(place[1]))))
    return tuple(findings)


def _tangled(points: FloatArray, pulled: BoolArray) -> tuple[Finding, ...]:
    """What to say where the edge crossed itself."""
    if not pulled.any():
        return ()
    x, y = points[int(pulled.argmax())].tolist()
    return (finding_of("edge-tangled", value=float(pulled.mean()), limit=0.0, place_px=(x, y), case="near"),)


def _cut_off(strips: tuple[Strip, ...]) -> tuple[Finding, ...]:
    """What to say of strips that may be hairs, the longest of them."""
    if not strips:
        return ()
    longest = max(strips, key=lambda strip: strip.long_px)
    x, y = longest.tip_px
    wide, long = longest.wide_px, longest.long_px
    return (finding_of("thin-strip", place_px=(x, y), x=x, y=y, wide=wide, long=long),)
