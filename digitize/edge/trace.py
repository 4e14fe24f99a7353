"""From the border chains of masks to the true edges, point by point, in linear light."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..measure.profiles import USUAL_BLUR_PX, typical_light
from ..measure.ragged import EndToEnd, median
from ..measure.rings import signed_area
from ..records import BoolArray, Contour, Finding, FloatArray, Picture, frozen_array
from ..words.say import finding_of
from .detours import Followed, Strip
from .places import LEVEL_HALF, Measured, base_and_normals, edge_places, evened, rim_places
from .pure import Rough
from .restored import Shaped, even_places, probe_of, shapes_of
from .two_steps import carried
from .untie import untied_rings

LEAST_CHAIN = 24  # px along a border: shorter ones have too few places
_PULLED_SD_PX = 0.5  # of a place that is known to the pixel only
_SOFT_PX = 2.2  # blur of an edge that is soft
_ENOUGH, _LOST = 0.3, 0.05  # part of a border whose places must be found; part without one that is said
_AT_ONCE = 8192  # border pixels: of more at once arrays leave the processor's caches


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
    """As `trace_edges`, of one border; the same whether it is traced by itself or with others."""
    return trace_edges(picture, [Rough(mask, mask_origin, chain, is_hole, rim_px)], blur_px=blur_px)[0]


def trace_edges(picture: Picture, borders: Sequence[Rough], *, blur_px: float | None = None) -> list[Traced | None]:
    """Move every point of border chains onto the edges of their items.

    Parameters
    ----------
    picture
        The picture.
    borders
        As their pixels have them.
    blur_px
        Of the picture, where it is known.

    Returns
    -------
    list of Traced or None
        Each contour counter-clockwise in a y-up frame (clockwise for a hole); None when too short to trace, or where
        on most of its way there is no edge.
    """
    found: list[Traced | None] = [None] * len(borders)
    left, starts = [], []
    for k, border in enumerate(borders):
        start = in_direction(border.chain.astype(np.float64), is_hole=border.is_hole)
        if len(start) >= LEAST_CHAIN and border.rim_px is not None:
            found[k] = trace_rim(picture, start, rim_px=border.rim_px, blur_px=blur_px)
        if len(start) >= LEAST_CHAIN and found[k] is None:
            left.append(k)
            starts.append(start)
    for some in _at_once([len(start) for start in starts]):
        numbers = left[some]
        for k, one in zip(numbers, _traced_at_once(picture, [borders[k] for k in numbers], starts[some]), strict=True):
            found[k] = one
    return found


def _at_once(sizes: Sequence[int]) -> Iterator[slice]:
    """Rings of so many points in a row that are looked at together."""
    first, points = 0, 0
    for k, size in enumerate(sizes):
        if k > first and points + size > _AT_ONCE:
            yield slice(first, k)
            first, points = k, 0
        points += size
    if sizes:
        yield slice(first, len(sizes))


def _traced_at_once(picture: Picture, borders: Sequence[Rough], starts: Sequence[FloatArray]) -> list[Traced | None]:
    """Trace borders together, those of soft edges once more from borders without what wavers within the blur."""
    rings, start = EndToEnd.of(starts), np.concatenate(starts)
    base, normals = base_and_normals(start, rings)
    seen = edge_places(picture, borders, base, normals, rings)
    # the pixels' border wavers within the blur: so would places and directions taken from it
    soft = seen.blur_px > _SOFT_PX
    firm = np.flatnonzero(~soft)
    found: list[Traced | None] = [None] * len(borders)
    for k in np.flatnonzero(soft).tolist():
        found[k] = _traced_soft(picture, borders[k], starts[k], float(seen.blur_px[k]))
    if len(firm):
        some, rows = rings.picked(firm)
        are_holes = [borders[k].is_hole for k in firm.tolist()]
        for k, one in zip(
            firm.tolist(), _traced(picture, base[rows], seen.picked(rows, firm), some, are_holes), strict=True
        ):
            found[k] = one
    return found


def _traced_soft(picture: Picture, border: Rough, start: FloatArray, blur_px: float) -> Traced | None:
    """Trace a soft edge from a border without what wavers within the blur."""
    calm = evened(start, half=int(np.ceil(blur_px)))
    rings = EndToEnd.of([calm])
    base, normals = base_and_normals(calm, rings, half=int(np.ceil(2.0 * blur_px)))
    seen = edge_places(picture, [border], base, normals, rings)
    return _traced(picture, base, seen, rings, [border.is_hole])[0]


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
    rings = EndToEnd.of([line])
    base, normals = base_and_normals(in_direction(line, is_hole=is_hole), rings)
    seen = rim_places(picture, base, normals, rim_px, blur_px or USUAL_BLUR_PX)
    if seen is None:
        return None
    measured, widths = seen
    (traced,) = _traced(picture, base, measured, rings, [is_hole])
    return None if traced is None else replace(traced, rim_px=carried(widths, base, traced.contour.points_px))


def in_direction(ring: FloatArray, *, is_hole: bool) -> FloatArray:
    """Return a ring counter-clockwise seen y up, a hole clockwise."""
    return ring[::-1] if (signed_area(ring) < 0) == is_hole else ring  # y down: the sign is reversed


def _traced(
    picture: Picture, base: FloatArray, seen: Measured, rings: EndToEnd, is_hole: Sequence[bool]
) -> list[Traced | None]:
    """From measured places to contours; None where too few were found."""
    found: list[Traced | None] = [None] * len(rings)
    good = np.isfinite(seen.places[:, 0])
    enough = np.flatnonzero(rings.summed(good) >= _ENOUGH * rings.sizes)
    if not len(enough):
        return found
    if len(enough) < len(rings):
        rings, rows = rings.picked(enough)
        base, seen, good = base[rows], seen.picked(rows, enough), good[rows]
    even = even_places(picture, base, seen, rings)
    shapes = shapes_of(even, seen.blur_px, probe_of(picture, base, seen, rings))
    pulled = untied_rings([one.points for one in shapes], [base[at] for at in rings.slices])
    uneven = _uneven_px(seen, rings)
    for k, (number, at) in enumerate(zip(enough.tolist(), rings.slices, strict=True)):
        points, is_pulled = pulled[k]
        contour = _contour(seen.picked(at, slice(k, k + 1)), base[at], shapes[k], points, is_pulled)
        contour = replace(contour, is_hole=is_hole[number], uneven_px=float(uneven[k]))
        found[number] = _said(contour, base[at], good[at], is_pulled, even.followed.get(k))
    return found


def _contour(seen: Measured, base: FloatArray, shape: Shaped, points: FloatArray, pulled: BoolArray) -> Contour:
    """A contour of what was seen along its border."""
    square, light = seen.shade**2, (typical_light(seen.inside), typical_light(seen.outside))
    steepest = base[int(square.argmax())]
    return Contour(
        points_px=frozen_array(points, columns=2),
        sd_px=frozen_array(np.where(pulled, np.maximum(shape.sd, _PULLED_SD_PX), shape.sd)),
        corners=tuple(corner for corner in shape.corners if not pulled[corner]),
        is_hole=False,
        blur_px=float(seen.blur_px[0]),
        contrast=median(seen.contrast),
        shade=float(np.sqrt(np.mean(square))),
        shade_place_px=(float(steepest[0]), float(steepest[1])),
        halo=float((square * (seen.shade > 0)).sum() / max(float(square.sum()), 1e-12)) if light[0] < light[1] else 0.0,
        light=light,
    )


def _said(contour: Contour, base: FloatArray, good: BoolArray, pulled: BoolArray, followed: Followed | None) -> Traced:
    """A contour with what a person should look at along it; `good` (N,) are the places of `base` where it was found."""
    cut_off: tuple[Strip, ...] = ()
    if followed is not None:
        good, cut_off = good | followed.new, followed.cut_off
    findings = (*_findings(base, good), *_tangled(contour.points_px, pulled), *_cut_off(cut_off))
    lost = float(1 - good.mean() + pulled.mean())
    return Traced(contour, findings, lost, chain_px=base, is_measured=good)


def _uneven_px(seen: Measured, rings: EndToEnd) -> FloatArray:
    """How far places lie off, root mean square, as a side's light is the mean over neighbours, which may differ; (R,).

    A level wrong by a part d of the contrast moves the half level of a blurred step by d / 2 over its steepest slope.
    The light at a place is off the mean by up to half of what it changes by from one end of the neighbours to the
    other; that half is taken: in renders of printed stripes edges are off by one to two times the figure.
    """
    axis = seen.inside - seen.outside
    power = np.maximum((axis**2).sum(axis=1), 1e-12)
    known, square = rings.kept(seen.usable), np.zeros(len(rings))
    for light in (seen.inside, seen.outside):
        change = light[rings.moved(LEVEL_HALF)] - light[rings.moved(-LEVEL_HALF)]
        part = (change * axis).sum(axis=1)[seen.usable] / power[seen.usable]
        square += known.each(np.minimum(part**2, 1.0), lambda one: float(one.mean()) if len(one) else 0.0)
    return 0.5 * seen.blur_px * np.sqrt(2.0 * np.pi * square / 4.0)


def _findings(base: FloatArray, good: npt.NDArray[np.bool_]) -> tuple[Finding, ...]:
    """What a person should look at along this edge."""
    findings = []
    lost = float(1 - good.mean())
    if lost > _LOST:
        x, y = base[np.flatnonzero(~good)[0]].tolist()
        findings.append(finding_of("edge-unclear", value=lost, limit=_LOST, place_px=(float(x), float(y))))
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
