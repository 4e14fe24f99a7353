"""Edges at the foot of upright walls whose shade is not the top's.

Where a wall faces the camera a photo shows three strips across the edge: background, wall, top. The edge stage knows
two levels; where the wall differs from the top by much of what the top differs from the background, it places the edge
off the wall's foot by a part of the blur. How wide the wall looks is known from the item's height and the camera, so
that the foot is found by a profile of two steps. Where it comes out near the edge as traced nothing is moved: there
the edge stage is the better judge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol, Self

import numpy as np

from ..measure.profiles import light_between, normal_cdf_and_bell
from ..measure.ragged import fill_gaps, moving_mean
from ..records import BoolArray, Contour, FloatArray, Picture, frozen_array

# Limits without another source were chosen on renders.
_POOLED = 6  # neighbours on either side whose profiles are averaged
_REACH = 4  # points on either side that tell the direction
_STEP_PX = 0.5  # along a profile
_ROUNDS = 6
_LEAST_WALL = 0.6  # of the blur: a narrower wall is not seen
_WHOLE_WALL = 1.4  # of the blur: from here on the correction counts in full
_SHADE_SD = 0.35  # of a wall's shade about that of the item's widest walls
_LEAST_SHADE = 0.3  # difference of a wall's shade from the top's that is reckoned with at least
_FREE_SHADE_SD = 1.0  # while nothing is known of the shade: anything from background to twice the top
_SAMPLE_SD = 0.02  # noise of a pooled sample, as a part of the contrast
_WIDE_WALL = 2.0  # of the blur: a wall so wide shows its shade by itself
_LEAST_POINTS_SEEN = 4 * _POOLED  # where a wall is seen; fewer make no two profiles that share no neighbour
_LEAST_FEET = 2 * _POOLED
_CLEAR_BLURS = 2.5  # from a step: light farther off is 99 % its own
_CLEAR_PX, _TOP_PX = 0.5, 3.0  # farther off still for the pixel itself; the top is then taken over so much
_ROOM_BLURS, _ROOM_PX = 3.0, 2.5  # of a profile beyond the steps
_ASIDE_MM = 0.05  # a step that tells which way is inward in the picture
_CORNER_BLURS = 3.0  # beside a corner, two edges lie in one profile
_LEG = 14  # points along a side of a corner that tell how sharp it is
_LEAST_WEDGE = np.radians(15.0)  # a sharper one is taken as this sharp
_TIP = np.radians(100.0)  # between both sides: where the edge turns so much it is taken for a corner
_NEAR_PX, _OFF_PX = 0.1, 0.25  # a foot nearer to the edge as traced than the first moves nothing, beyond the second all
_FAR_PX = 1.5  # a foot farther from the edge as traced is not believed
_LEFT_PART = 0.3  # of the correction, as its standard uncertainty: from renders
_UNTOLD_PX = (
    0.06  # standard uncertainty at a wall that is seen, whatever its foot tells: renders are off by 0.02 to 0.1
)
# A wall's shade, as a part of so little contrast, can be anything; it moves the edge by about the blur, or hides all of
# the wall (from renders).
PALE = 0.25  # contrast in linear light, root sum of squares of the channels: an item below is pale
_PALE_RANGE = 0.6  # of it, within which doubt rises to its whole
_PALE_PART = 0.6, 0.9  # of the blur and of the wall's width, as standard uncertainty where there is no contrast
_SQRT_2PI = float(np.sqrt(2.0 * np.pi))


class Camera(Protocol):
    """A photo's mapping on planes parallel to the card's, and back."""

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to mm."""

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map (N, 2) mm to px."""

    def at_height(self, height_mm: float) -> Self:
        """Return the mapping on the plane `height_mm` above."""


@dataclass(frozen=True, slots=True)
class _Walls:
    """The wall above each point of a contour."""

    inward: FloatArray  # (N, 2) unit directions into the item
    width_px: FloatArray  # (N,) how wide the wall looks, below 0 where it is hidden


@dataclass(frozen=True, slots=True)
class _Profiles:
    """Light across the edge at each point."""

    at_px: FloatArray  # (K,) offsets inward
    light: FloatArray  # (N, K): 0 background, 1 top


@dataclass(frozen=True, slots=True)
class _Shade:
    """What is known of the light of a wall: 0 background, 1 top."""

    mean: float
    sd: float


@dataclass(frozen=True, slots=True)
class Footed:
    """A contour with its walls' feet in their places."""

    contour: Contour
    sd_px: float  # standard uncertainty that the walls' shade leaves, RMS along the contour


def with_feet(picture: Picture, contour: Contour, card: Camera, height_mm: float) -> Footed:
    """Move the points at the feet of walls that are seen onto the foot itself.

    Parameters
    ----------
    picture
        That the contour was traced in.
    contour
        Exterior or hole, as traced.
    card
        The mapping on the plane the item stands on.
    height_mm
        Of the item.
    """
    walls = _walls(contour.points_px, card, height_mm)
    seen = walls.width_px > _LEAST_WALL * contour.blur_px
    untold = np.where(seen, _UNTOLD_PX, 0.0)
    if seen.sum() < _LEAST_POINTS_SEEN:
        return Footed(contour, float(np.sqrt((untold**2).mean())))
    doubt = np.hypot(_doubt_of_pale(contour, walls.width_px, seen), untold)
    foot = _believed_feet(picture, contour, walls, seen)
    if foot is None:
        return Footed(contour, float(np.sqrt((doubt**2).mean())))
    part = _part_moved(foot, walls.width_px / contour.blur_px)
    placed = contour.points_px + (foot * part)[:, None] * walls.inward
    left = np.where(seen & (np.abs(foot) > _NEAR_PX), (_LEFT_PART + 1.0 - part) * np.abs(foot), 0.0)
    return Footed(
        replace(contour, points_px=frozen_array(placed, columns=2)), float(np.sqrt((left**2 + doubt**2).mean()))
    )


def _doubt_of_pale(contour: Contour, wall: FloatArray, seen: BoolArray) -> FloatArray:
    """What is left open, px, at each point (N,) where the item is too pale for its wall's shade to tell."""
    pale = float(np.clip((PALE - contour.contrast) / (_PALE_RANGE * PALE), 0.0, 1.0))
    return np.where(seen, pale * np.hypot(_PALE_PART[0] * contour.blur_px, _PALE_PART[1] * wall), 0.0)


def _believed_feet(picture: Picture, contour: Contour, walls: _Walls, seen: BoolArray) -> FloatArray | None:
    """How far inward of the edge as traced the foot lies, px (N,), gaps filled; None where too few are believed."""
    sigma = contour.blur_px
    profiles = _profiles(picture, contour.points_px, walls.inward, np.where(seen, walls.width_px, 0.0), sigma)
    shade = _common_shade(profiles, walls.width_px, seen, sigma)
    foot, _ = _shift(profiles, walls.width_px, sigma, shade)
    deep = float(walls.width_px.max()) + _CLEAR_BLURS * sigma + _CLEAR_PX + _TOP_PX  # of a profile, into the item
    near = _near_corners(contour, _CORNER_BLURS * sigma, deep)
    foot = np.where(seen & ~near & (np.abs(foot) < _FAR_PX), foot, np.nan)
    return fill_gaps(foot[:, None])[:, 0] if np.isfinite(foot).sum() >= _LEAST_FEET else None


def _common_shade(profiles: _Profiles, wall: FloatArray, seen: BoolArray, sigma: float) -> _Shade:
    """The shade of the item's widest walls, which tell it by themselves; a top's where there are too few of them."""
    _, own = _shift(profiles, wall, sigma, _Shade(1.0, _FREE_SHADE_SD))
    wide = seen & (wall > _WIDE_WALL * sigma) & np.isfinite(own)
    shade = float(np.median(own[wide])) if wide.sum() > _LEAST_FEET else 1.0
    return _Shade(shade, _SHADE_SD * max(abs(shade - 1.0), _LEAST_SHADE))


def _part_moved(foot: FloatArray, wall_blurs: FloatArray) -> FloatArray:
    """What part of the way to the foot a point is moved, (N,): none at walls and shifts too small to be told."""
    by_width = np.clip((wall_blurs - _LEAST_WALL) / (_WHOLE_WALL - _LEAST_WALL), 0.0, 1.0)
    return np.asarray(by_width * np.clip((np.abs(foot) - _NEAR_PX) / (_OFF_PX - _NEAR_PX), 0.0, 1.0))


def _walls(points: FloatArray, card: Camera, height_mm: float) -> _Walls:
    mm = card.to_mm(points)
    along = np.roll(mm, -_REACH, axis=0) - np.roll(mm, _REACH, axis=0)
    left = np.column_stack([-along[:, 1], along[:, 0]])  # the material lies on the left of shells and of holes
    left /= np.maximum(np.linalg.norm(left, axis=1), 1e-12)[:, None]
    inward = card.to_px(mm + _ASIDE_MM * left) - card.to_px(mm)
    inward /= np.maximum(np.linalg.norm(inward, axis=1), 1e-12)[:, None]
    rim = card.at_height(height_mm).to_px(mm) - points
    return _Walls(inward, (rim * inward).sum(axis=1))


def _profiles(picture: Picture, points: FloatArray, inward: FloatArray, wall: FloatArray, sigma: float) -> _Profiles:
    """Take the profiles, pooled over neighbours."""
    room = _ROOM_BLURS * sigma + _ROOM_PX
    at = np.arange(-room, float(wall.max()) + room + _STEP_PX, _STEP_PX)
    places = points[:, None, :] + at[None, :, None] * inward[:, None, :]
    light = light_between(picture, places.reshape(-1, 2)).reshape(len(points), len(at), -1)
    flat = light.reshape(len(points), -1)
    pooled = moving_mean(flat, np.ones(len(points)), _POOLED, closed=True)[0].reshape(light.shape)
    outside = pooled[:, at < -_CLEAR_BLURS * sigma - _CLEAR_PX].mean(axis=1)
    beyond = at[None, :] > (wall + _CLEAR_BLURS * sigma + _CLEAR_PX)[:, None]
    near = beyond & (at[None, :] < (wall + _CLEAR_BLURS * sigma + (_CLEAR_PX + _TOP_PX))[:, None])
    top = (pooled * near[:, :, None]).sum(axis=1) / np.maximum(near.sum(axis=1), 1)[:, None]
    across = top - outside
    gain = across / np.maximum((across**2).sum(axis=1), 1e-8)[:, None]
    return _Profiles(at, np.einsum("nkc,nc->nk", pooled - outside[:, None, :], gain))


def _shift(profiles: _Profiles, wall: FloatArray, sigma: float, shade: _Shade) -> tuple[FloatArray, FloatArray]:
    """Foot (px inward of the edge as traced) and shade of the wall between background 0 and top 1, for each profile.

    Gauss-Newton on both; the shade has a prior, or it and the foot could not be told apart at a narrow wall.
    """
    at, value = profiles.at_px, profiles.light
    foot, own = np.zeros(len(value)), np.full(len(value), shade.mean)
    weight = (at[None, :] < (wall + _CLEAR_BLURS * sigma)[:, None]).astype(np.float64)
    prior = _SAMPLE_SD**2 / shade.sd**2
    for _ in range(_ROUNDS):
        low, low_bell = normal_cdf_and_bell((at[None, :] - foot[:, None]) / sigma)
        high, high_bell = normal_cdf_and_bell((at[None, :] - foot[:, None] - wall[:, None]) / sigma)
        rest = (value - own[:, None] * low - (1.0 - own[:, None]) * high) * weight
        by_foot = -(own[:, None] * low_bell + (1.0 - own[:, None]) * high_bell) * weight / (_SQRT_2PI * sigma)
        by_shade = (low - high) * weight
        a = (by_foot**2).sum(axis=1) + 1e-6
        b = (by_foot * by_shade).sum(axis=1)
        c = (by_shade**2).sum(axis=1) + prior
        u = (by_foot * rest).sum(axis=1)
        v = (by_shade * rest).sum(axis=1) + prior * (shade.mean - own)
        det = np.maximum(a * c - b * b, 1e-12)
        foot = foot + np.clip((c * u - b * v) / det, -0.5, 0.5)
        own = own + np.clip((a * v - b * u) / det, -1.0, 1.0)
    return foot, own


def _near_corners(contour: Contour, least_px: float, deep_px: float) -> BoolArray:
    """Points (N,) whose profiles meet the other side of a corner: the farther from it, the sharper it is.

    Also of a tip that is none in the picture, as its foot and its top lie beside each other there.
    """
    points, count = contour.points_px, len(contour.points_px)
    back, ahead = (np.roll(points, shift, axis=0) - points for shift in (_LEG, -_LEG))
    wedge = np.arctan2(np.abs(back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]), (back * ahead).sum(axis=1))
    sharpest = np.min([np.roll(wedge, shift) for shift in range(-_LEG, _LEG + 1)], axis=0)
    corners = {*contour.corners, *np.flatnonzero((wedge == sharpest) & (wedge < _TIP)).tolist()}
    near = np.zeros(count, dtype=bool)
    for corner in corners:
        across = 0.0 if wedge[corner] >= 0.5 * np.pi else deep_px / np.tan(max(wedge[corner], _LEAST_WEDGE))
        reach = int(np.ceil(max(least_px, across))) + _POOLED
        near[(corner + np.arange(-reach, reach + 1)) % count] = True
    return near
