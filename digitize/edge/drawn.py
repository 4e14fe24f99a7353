"""Lines between places that a hand set: straight, curved on from both sides, or along the picture's own edge."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..measure.profiles import (
    ALONG,
    CLEAR_BLURS,
    light_between,
    mid_crossing,
    normalise,
    take_profiles,
)
from ..measure.ragged import moving_mean
from ..measure.step_fits import fit_steps
from ..records import BoolArray, FloatArray, Picture
from ..steady import polynomial, product
from .smoothing import quadratic_weights

_STEP_PX = 1.0  # between the places of a guide
_AWAY_PX, _ALONG_PX = 3, 18  # points past a place, whose bend tells which way the edge runs at the place
_MOST_TURN = 2.6  # radians, of what is drawn as one arc
_REACH_PART, _LEAST_REACH_PX, _MOST_REACH_PX = 0.1, 6, 20  # of a line's length: how far beside it an edge is looked for
_PLAIN = 0.06  # rise a px, parts of the contrast, from which an edge is plain: of two such the nearer is meant
_SIDEWAYS, _AWAY = 0.3, 0.3  # what a px sideways costs, and the farthest way off, in points of a plain edge
_OFF_PX = 3.0  # from the way found to the fitted edge: farther it is another edge
_ODD = 0.1  # rest of a profile over its contrast: more is no edge
_LEAST_CONTRAST = 0.2  # of the usual along the line
_LEVELS = 3  # neighbours either way whose light of both sides is pooled: few, as it changes where shadows begin
_HALF = 4  # of the window that evens fitted places


@dataclass(frozen=True, slots=True)
class Line:
    """An open line of about 1 px spacing, both ends included."""

    points_px: FloatArray  # (N, 2)
    sd_px: FloatArray  # (N,) of what was fitted; 0 where nothing was
    lost: float = 0.0  # part of it along which no edge was found


def straight(places: FloatArray) -> Line:
    """Return straight lines through places (K, 2)."""
    parts = [places[:1]]
    for start, end in pairwise(places):
        count = max(1, round(float(np.hypot(*(end - start))) / _STEP_PX))
        parts.append(start + (np.arange(1, count + 1) / count)[:, None] * (end - start))
    points = np.concatenate(parts)
    return Line(points, np.zeros(len(points)))


def curved(places: FloatArray, before: FloatArray, after: FloatArray) -> Line:
    """Return a smooth line through places (K, 2) that begins and ends along two directions (2,): cubics of Hermite."""
    ways = [_unit(before), *(_unit(c - a) for a, c in zip(places[:-2], places[2:], strict=True)), _unit(after)]
    parts = [places[:1]]
    for (start, end), (out, into) in zip(pairwise(places), pairwise(ways), strict=True):
        chord = float(np.hypot(*(end - start)))
        # as long as an arc that turns by so much wants it: 4 r tan(turn / 4), its chord 2 r sin(turn / 2)
        turn = min(float(np.arccos(np.clip(product(out, into), -1.0, 1.0))), _MOST_TURN)
        pull = chord / np.cos(turn / 4) ** 2
        count = max(2, round(chord / np.cos(turn / 4) / _STEP_PX))
        t = (np.arange(1, count + 1) / count)[:, None]
        parts.append(
            (1 + 2 * t) * (1 - t) ** 2 * start
            + t * (1 - t) ** 2 * pull * out
            + t**2 * (3 - 2 * t) * end
            + t**2 * (t - 1) * pull * into
        )
    points = np.concatenate(parts)
    return Line(points, np.zeros(len(points)))


def _unit(way: FloatArray) -> FloatArray:
    return np.asarray(way / max(float(np.hypot(*way)), 1e-9))


def way_at(points: FloatArray, index: int, *, back: bool) -> FloatArray:
    """Return which way a closed line runs at one of its points, (2,), by what lies before (`back`) or after it."""
    sign = -1 if back else 1
    steps = np.arange(_AWAY_PX, min(_ALONG_PX, max(len(points) // 4, _AWAY_PX + 4)))
    beside = points[(index + sign * steps) % len(points)]
    slope = polynomial(steps.astype(np.float64), beside, 2)[1]
    return np.asarray(sign * slope)


def along_edge(
    picture: Picture, places: FloatArray, before: FloatArray, after: FloatArray, *, outward: FloatArray, blur_px: float
) -> Line:
    """Return the picture's edge between places (K, 2), each of which it passes.

    About the smooth line through two places the nearest way of plainly rising light is taken (dynamic programming, a
    px sideways at most for each px along), and the edge of the picture's blur fitted about it, as everywhere.

    Parameters
    ----------
    picture
        The picture.
    places, before, after
        As for `curved`, in the order in which an outline, counter-clockwise seen y up, runs through them.
    outward
        (C,) light beyond the edge less that within.
    blur_px
        Of the picture.
    """
    guide = curved(places, before, after).points_px
    ends = [0, *(int(np.hypot(*(guide - place).T).argmin()) for place in places[1:-1]), len(guide) - 1]
    legs = [_leg(picture, guide[a : b + 1], outward, blur_px) for a, b in pairwise(ends)]
    points = [legs[0].points_px[:1], *(leg.points_px[1:] for leg in legs)]
    sd = [legs[0].sd_px[:1], *(leg.sd_px[1:] for leg in legs)]
    lengths = [len(leg.points_px) for leg in legs]
    lost = float(np.average([leg.lost for leg in legs], weights=lengths))
    return Line(np.concatenate(points), np.concatenate(sd), lost)


def edge_beside(picture: Picture, guide: FloatArray, *, outward: FloatArray, blur_px: float) -> Line:
    """Return the picture's edge beside a guide (N, 2) of about 1 px spacing, its ends too; as `along_edge` finds it."""
    points, sd, lost = _fitted(picture, _steepest(picture, guide, outward, blur_px, is_free=True), blur_px)
    return Line(points, sd, float(lost.mean()))


def _leg(picture: Picture, line: FloatArray, outward: FloatArray, blur_px: float) -> Line:
    if len(line) < 2 * _HALF + 3:
        return Line(line, np.zeros(len(line)), 1.0)
    guide = _steepest(picture, line, outward, blur_px)
    for _ in range(2):
        guide, sd, lost = _fitted(picture, guide, blur_px)
    guide[0], guide[-1] = line[0], line[-1]
    return Line(guide, sd, float(lost.mean()))


def _steepest(
    picture: Picture, guide: FloatArray, outward: FloatArray, blur_px: float, *, is_free: bool = False
) -> FloatArray:
    """Move a guide sideways onto the nearest plain edge, from its first point to its last, or these too (`is_free`)."""
    reach = int(np.clip(_REACH_PART * len(guide), _LEAST_REACH_PX, _MOST_REACH_PX))
    normals, at = normals_of(guide), np.arange(-reach - 1, reach + 2)
    light = light_between(picture, (guide[:, None] + at[None, :, None] * normals[:, None]).reshape(-1, 2))
    seen = product(light.reshape(len(guide), len(at), -1), outward / max(float(product(outward, outward)), 1e-12))
    half = max(1, round(blur_px))
    seen = moving_mean(seen, np.ones(len(guide)), half, closed=False)[0]
    rise = 0.5 * (seen[:, 2:] - seen[:, :-2])  # (N, 2 reach + 1), positive where the light goes the right way
    rise = np.minimum(rise / _PLAIN, 1.0) - _AWAY * (np.arange(-reach, reach + 1) / reach) ** 2
    best = np.full(rise.shape[1], 0.0 if is_free else -np.inf)
    best[reach] = 0.0
    came = np.zeros(rise.shape, np.int64)
    for row in range(1, len(guide)):
        steps = np.stack([np.append(-np.inf, best[:-1]) - _SIDEWAYS, best, np.append(best[1:], -np.inf) - _SIDEWAYS])
        choice = steps.argmax(axis=0)
        came[row] = choice - 1
        best = steps[choice, np.arange(rise.shape[1])] + rise[row]
    way = np.zeros(len(guide), np.int64)
    here = int(best.argmax()) if is_free else reach
    for row in range(len(guide) - 1, 0, -1):
        way[row] = here - reach
        here += int(came[row, here])
    way[0] = here - reach
    found = moving_mean(way[:, None].astype(np.float64), np.ones(len(way)), 2, closed=False)[0]
    return np.asarray(guide + found * normals)


def _fitted(picture: Picture, guide: FloatArray, blur_px: float) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Fit a step of the picture's blur across a guide: points, their standard deviations, where none was found."""
    normals = normals_of(guide)
    clear = CLEAR_BLURS * blur_px + 0.5
    profiles = take_profiles(picture, guide, normals, reach=int(np.ceil(ALONG * clear)) + 4)
    away = np.arange(-profiles.reach, profiles.reach + 1)[None, :] * profiles.cosine[:, None]
    steps = normalise(profiles, away <= -clear, away >= clear, half=_LEVELS, closed=False)
    fit = fit_steps(steps.value, profiles.cosine, blur_px, mid_crossing(steps.value))
    places = profiles.base_px + np.nan_to_num(fit.offset_px)[:, None] * profiles.step
    across = ((places - guide) * normals).sum(axis=1)
    lost = ~np.isfinite(fit.offset_px) | (fit.residual > _ODD) | ~steps.usable | (np.abs(across) > _OFF_PX)
    lost |= steps.contrast < _LEAST_CONTRAST * float(np.median(steps.contrast))
    if lost.all():
        return guide.copy(), np.zeros(len(guide)), lost
    index = np.arange(len(guide))
    even = _evened(np.interp(index, index[~lost], across[~lost]))
    return guide + even[:, None] * normals, np.where(lost, 0.0, fit.sd_px), lost


def _evened(values: FloatArray) -> FloatArray:
    """Even values along an open line by local quadratics, mirrored through its ends (Savitzky and Golay)."""
    before, behind = 2 * values[0] - values[_HALF:0:-1], 2 * values[-1] - values[-2 : -_HALF - 2 : -1]
    padded = np.concatenate([before, values, behind])
    weights = quadratic_weights(_HALF)
    return np.asarray(product(np.lib.stride_tricks.sliding_window_view(padded, len(weights)), weights))


def normals_of(points: FloatArray) -> FloatArray:
    """Return unit normals out of an item whose outline, counter-clockwise seen y up, runs along a line; (N, 2)."""
    count = len(points)
    before, behind = np.maximum(np.arange(count) - 4, 0), np.minimum(np.arange(count) + 4, count - 1)
    along = points[behind] - points[before]
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])
