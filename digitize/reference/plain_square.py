"""Scale of a scan by the user's plain square: what may be one, and which of them is meant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..errors import ScaleError
from ..opencv import cv
from ..reading.reduced import Reduced
from ..records import Density, Finding, FloatArray, Picture, ReferenceEdge, eight_bit
from ..settings import Pair, Settings
from ..words.say import finding_of
from .clean import unclean_square
from .on_glass import scale_of_scan
from .quad import Quad, side_lengths
from .refusals import middles_of, no_square, not_there, several_squares
from .scale import Flat, square_places
from .square import find_quads
from .square_fit import LEAST_SUPPORT, Candidate, FittedQuad, fit_quad

_LIKE_OTHERS = 0.5  # contrast of the weakest side over that of the strongest: below, something lies at it
_SURELY_LIKE = 0.75  # below, it may, or a shadow does
_IN_SHADE = 0.3  # where a shadow may: a sheet as thick as card throws one, of 0.4 on a real photo
_WHOLE = 0.9  # part of a side that must lie on its line for it to be whole
_AS_SAID = 0.03  # of its size, how far a square may be off what was said, by the file's density
_BORDER_PX = 3  # reduced px
_UNIFORM = 0.25  # spread of the inside over its contrast: more is no plain square
_NOISE = 0.01  # of linear light, full 1, that is no spread
_IN_OUT = 0.6, 1.2  # of the way from the middle to a corner: where the light of inside and outside is looked at
_INNER, _RIM = 0.85, 1.15  # of the half sides: up to where the inside is looked at, and where the outside is
_ROOM_BLURS = 2.0  # and 1 px: nearer to the picture's border a side has too few pixels beyond it
_MOSTLY = 0.7  # part of a side that must lie on its line, for three of the four
_LEAST_CONTRAST = 0.02  # of linear light, full 1
_LEAST_SEEN = (20, 10)  # samples within and beside a square that its colours are told from; chosen, no source
_SAME, _SAME_PX = 0.02, 2.0  # of a side, and px: fits whose corners lie nearer ended on the same sides


def locate_plain_square(
    picture: Picture, reduced: Reduced, settings: Settings, size_mm: Pair, density: Density | None
) -> Flat:
    """Scale from the one plain square that can be the reference."""
    codes = eight_bit(reduced.codes)
    aspect = size_mm[0] / size_mm[1]
    quads = find_quads(codes, reduced.factor, aspect=aspect)
    chosen = _without_windows(candidates_for(picture, reduced, quads, settings), reduced, size_mm, density)
    if len(chosen) > 1:
        raise ScaleError(several_squares(chosen, density), squares_px=middles_of(chosen))
    if chosen:
        return _located_square(chosen[0], size_mm, settings)
    if settings.square_at_px is not None:
        seen = candidates_for(picture, reduced, quads, replace(settings, square_at_px=None))
        if seen:
            raise ScaleError(not_there(settings.square_at_px, seen, density), squares_px=middles_of(seen))
    refused = [(quad, why) for quad in quads if isinstance(why := _candidate(picture, reduced, quad), str)]
    from .lookalikes import find_lookalike

    lookalike = None if refused else find_lookalike(codes, reduced.factor, aspect=aspect)
    raise ScaleError(no_square(refused, lookalike, size_mm))


def candidates_for(
    picture: Picture,
    reduced: Reduced,
    quads: tuple[Quad, ...],
    settings: Settings,
    *,
    written_on: bool = False,
    in_shade: bool = False,
) -> list[Candidate]:
    """Fit every quad that may be a plain square; where the user pointed, the smallest.

    Also one that is `written_on`, or one along a side of which a shadow may lie.
    """
    if settings.square_at_px is not None:
        quads = _holding(quads, settings.square_at_px)
    looked_at = [_candidate(picture, reduced, quad, written_on=written_on, in_shade=in_shade) for quad in quads]
    chosen = _without_nested([c for c in looked_at if isinstance(c, Candidate)])
    if settings.square_at_px is not None and chosen:
        chosen = [min(chosen, key=lambda c: c.quad.side_px)]
    return chosen


def _without_windows(
    chosen: list[Candidate], reduced: Reduced, size_mm: Pair, density: Density | None
) -> list[Candidate]:
    """Of one square as large as was said, by the file's density, and square windows of items that are not, the square.

    A window shows what the picture's border shows. Else all: one of them has to be pointed at.
    """
    if len(chosen) < 2 or density is None:
        return chosen
    lid = _border_light(reduced)
    squares = [one for one in chosen if one.quad.dark or not _shows(lid, one.quad, reduced)]
    as_said = [one for one in chosen if _is_as_said(one, size_mm, density)]
    return squares if len(squares) == 1 and as_said == squares else chosen


def _border_light(reduced: Reduced) -> FloatArray:
    """What most of the picture's border shows, (C,)."""
    light = reduced.light
    sides = (light[:_BORDER_PX], light[-_BORDER_PX:], light[:, :_BORDER_PX], light[:, -_BORDER_PX:])
    return np.asarray(np.median(np.concatenate([side.reshape(-1, light.shape[2]) for side in sides]), axis=0))


def _shows(lid: FloatArray, quad: Quad, reduced: Reduced) -> bool:
    """Whether a light quad's inside is rather the lid, which falls off, than like the darker thing round it."""
    corners = reduced.to_reduced(quad.corners_px)
    centre = corners.mean(axis=0)
    inside, outside = (_median_light(reduced, centre + by * (corners - centre)) for by in _IN_OUT)
    return bool(np.abs(inside - lid).max() < 0.5 * np.abs(inside - outside).max())


def _median_light(reduced: Reduced, places: FloatArray) -> FloatArray:
    x, y = np.rint(places).astype(int).T
    h, w = reduced.light.shape[:2]
    return np.asarray(np.median(reduced.light[np.clip(y, 0, h - 1), np.clip(x, 0, w - 1)], axis=0), dtype=np.float64)


def _is_as_said(one: Candidate, size_mm: Pair, density: Density) -> bool:
    """Whether a square is as large by the file's density as the user said."""
    seen = side_lengths(one.fit.corners_px)[:2] / (density.x_px_per_mm, density.y_px_per_mm)
    return bool(np.abs(seen / np.array(size_mm) - 1).max() < _AS_SAID)


def _holding(quads: tuple[Quad, ...], place: Pair) -> tuple[Quad, ...]:
    return tuple(q for q in quads if cv().pointPolygonTest(q.corners_px.astype(np.float32), place, False) >= 0)


def refusal_of(picture: Picture, reduced: Reduced, quad: Quad) -> str:
    """Return what is wrong with a quad that may be written on, in words that follow its name; empty if nothing is."""
    found = _candidate(picture, reduced, quad, written_on=True)
    return found if isinstance(found, str) else ""


def _candidate(
    picture: Picture, reduced: Reduced, quad: Quad, *, written_on: bool = False, in_shade: bool = False
) -> Candidate | str:
    """Fit a quad at full resolution; in words what is wrong with it when it is no sharp-cornered square after all."""
    if quad.touches_border:
        return "is cut by the picture's border"
    if not written_on and not _is_uniform(reduced, quad):
        return "has an uneven colour: something lies on it, or it is printed or written on"
    try:
        fit = fit_quad(picture, quad.corners_px, reach=2 * reduced.factor + 6)
    except ValueError:
        room = _room_px(picture, quad.corners_px)
        near = room < 2 * reduced.factor + 6
        return _near_border(room) if near else "shows no clear edge along one side"
    if _room_px(picture, fit.corners_px) < _ROOM_BLURS * fit.blur_px + 1.0:
        return _near_border(_room_px(picture, fit.corners_px))
    if sum(fit.sharp) < 3:
        return "has rounded or covered corners"
    if sorted(s.support for s in fit.sides)[1] < _MOSTLY or min(s.support for s in fit.sides) < LEAST_SUPPORT:
        return "has broken or covered sides"
    if _evenness(fit) < (_IN_SHADE if in_shade else _LIKE_OTHERS):
        return "is touched or covered along one side by an item of nearly its colour"
    return Candidate(quad, fit) if fit.contrast >= _LEAST_CONTRAST else "hardly differs from its background"


def _evenness(fit: FittedQuad) -> float:
    """Contrast of the weakest side over that of the strongest."""
    contrasts = [side.contrast for side in fit.sides]
    return min(contrasts) / max(max(contrasts), 1e-9)


def _room_px(picture: Picture, corners_px: FloatArray) -> float:
    """Pixels between the picture's border and the middle of the side that is nearest to it."""
    x, y = (0.5 * (corners_px + np.roll(corners_px, -1, axis=0))).T + 0.5
    return max(float(np.concatenate([x, picture.width_px - x, y, picture.height_px - y]).min()), 0.0)


def _near_border(room_px: float) -> str:
    return f"has only about {room_px:.0f} px between one side and the picture's border, too few to tell its edge by"


def _is_uniform(reduced: Reduced, quad: Quad) -> bool:
    """Whether the inside is one colour, compared with its contrast to the outside."""
    corners = reduced.to_reduced(quad.corners_px)
    centre = corners.mean(axis=0)
    t = np.linspace(-_INNER, _INNER, 15)
    a, b = 0.5 * (corners[1] - corners[0]), 0.5 * (corners[3] - corners[0])
    grid = centre + np.array([u * a + v * b for u in t for v in t])
    rim = centre + _RIM * np.array(
        [u * a + v * b for u in (-1, 1) for v in t] + [u * a + v * b for u in t for v in (-1, 1)]
    )
    h, w = reduced.light.shape[:2]

    def look(places: FloatArray) -> FloatArray:
        x, y = np.rint(places).astype(int).T
        known = (x >= 0) & (y >= 0) & (x < w) & (y < h)
        return np.asarray(reduced.light[y[known], x[known]], dtype=np.float64)

    inside, outside = look(grid), look(rim)
    if len(inside) < _LEAST_SEEN[0] or len(outside) < _LEAST_SEEN[1]:
        return False
    contrast = np.abs(np.median(inside, axis=0) - np.median(outside, axis=0)).max()
    spread = (np.percentile(inside, 90, axis=0) - np.percentile(inside, 10, axis=0)).max()
    return bool(spread < _UNIFORM * contrast + _NOISE)


def _without_nested(candidates: list[Candidate]) -> list[Candidate]:
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
    return bool(gap.max() < _SAME * side_lengths(one.corners_px).mean() + _SAME_PX)


def _contains(outer: FloatArray, inner: FloatArray) -> bool:
    polygon = outer.astype(np.float32)
    return all(cv().pointPolygonTest(polygon, (float(x), float(y)), False) > 0 for x, y in inner)


def _located_square(chosen: Candidate, size_mm: Pair, settings: Settings) -> Flat:
    fit = chosen.fit
    px, mm = square_places(fit.corners_px, size_mm)
    estimate = scale_of_scan(
        settings.scanner,
        px,
        mm,
        side_mm=float(np.mean(size_mm)),
        point_sd_px=fit.corner_sd_px,
        caliper_sd_mm=settings.caliper_sd_mm,
        reference=f"plain square {size_mm[0]:g} x {size_mm[1]:g} mm",
        measured=True,
        shown_corners_px=px,
    )
    edge = ReferenceEdge(float(np.mean(size_mm)), fit.light, fit.blur_px, fit.sharpened)
    beside = unclean_square(np.array([side.rest for side in fit.sides]), fit.blur_px, fit.corners_px)
    doubts = _doubts(chosen)
    if not any(one.code == "reference-touched" for one in doubts):
        doubts += beside.said
    findings, budget = (*doubts, *estimate.findings), (*estimate.budget, *beside.budget)
    return Flat(replace(estimate, findings=findings, budget=budget, blur_px=fit.blur_px, edge=edge), (fit.corners_px,))


def _doubts(chosen: Candidate) -> tuple[Finding, ...]:
    """What makes a square that can be measured doubtful: hidden corners, broken sides, something along one side."""
    fit, findings = chosen.fit, []
    bad = [i for i in range(4) if not fit.sharp[i]]
    support = min(side.support for side in fit.sides)
    if bad or support < _WHOLE:
        x, y = (fit.corners_px[bad[0]] if bad else chosen.quad.centre_px).tolist()
        findings.append(finding_of("reference-covered", value=support, limit=_WHOLE, place_px=(x, y), x=x, y=y))
    return (*findings, *touched(fit, _SURELY_LIKE))


def touched(fit: FittedQuad, limit: float = _LIKE_OTHERS) -> tuple[Finding, ...]:
    """Say where something lies at a side of a square, or its shadow: its contrast is below so much of the best's."""
    even = _evenness(fit)
    if even >= limit:
        return ()
    weakest = min(range(4), key=lambda i: fit.sides[i].contrast)
    x, y = (0.5 * (fit.corners_px[weakest] + fit.corners_px[(weakest + 1) % 4])).tolist()
    return (finding_of("reference-touched", value=even, limit=limit, place_px=(x, y), x=x, y=y),)
