"""What else an item's border may be in a photo: a shadow's rim, a bevel, an edge in glare; said, and in the budget."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..edge.runner import RunnerUp, find_runner_ups
from ..edge.stretches import outward_normals, stretches_along
from ..edge.thrown import farther_of, find_thrown
from ..edge.washed import soft_stretches, washed_outs
from ..records import Contour, Contribution, FloatArray, Picture, Scale
from ..reference.locate import Located
from ..words.say import finding_of
from .other import LOOK_MM, Bordered, covering, lines_of, said_of_washed

_AT_WALL_PX = 2.0  # a second border so near to where a wall's own ends is that; chosen, no source
_LEAST_BEYOND = 0.1  # of the border, along which a second one of a photo is no wall: a shadow is widest on one side;
# chosen, no source
_LEAST_APART_PX = 1.4  # two borders in a photo, whose blur is not the same everywhere; chosen, no source
_LENS, _SOFT = 1.3, 1.6  # times the reference's blur: of an edge by the lens alone; what is said. Chosen, no source
_RAMP = math.sqrt(12.0)  # width of an even ramp over its standard deviation (JCGM 100, 4.3.7)
_LEAST_WALL_PX = 0.3  # a wall as wide is seen; chosen, no source


def with_other_border_in_photo(
    picture: Picture, contours: tuple[Contour, ...], located: Located, height_mm: float
) -> Bordered:
    """Look for a second border of an item in a photo that is no wall of it: the rim of a shadow, of a bevel.

    A wall is seen within the border on the side that faces the point below the camera, as wide as the item's height
    tells. No curve is asked about, as in a scan, and softness only where it is far more than the reference's: a lens is
    not as sharp everywhere. Which of two borders is meant is not asked for: of a shadow that grows and fades along the
    border no line is followed.
    """
    estimate, contour, camera = located.estimate, contours[0], located.camera
    assert camera is not None
    pixel = float(np.mean(estimate.facts.mm_per_px))
    (light,) = stretches_along(picture, [contour], pixel)
    # what is softer by more is softened by something else than the lens
    sharp = replace(contour, blur_px=min(contour.blur_px, _LENS * camera.blur_px))
    (two,) = find_runner_ups([sharp], [light], blur_px=None)
    walls = _walls_px(contour, estimate.scale, height_mm)
    two = None if two is None else _beyond_walls(two, walls)
    thrown = find_thrown(sharp, light, blur_px=None, mm_per_px=pixel, hidden=walls > _LEAST_WALL_PX)
    two = farther_of(two, thrown)
    seen = _softened(contours, camera.blur_px, pixel) if two is None else _two(contours, two, pixel)
    faint = washed_outs(picture, contours, mm_per_px=pixel)
    if two is None:  # beside two borders an edge is soft anyhow
        faint += soft_stretches(picture, contours, mm_per_px=pixel)
    return replace(seen, findings=(*seen.findings, *said_of_washed(faint)))


def _two(contours: tuple[Contour, ...], two: RunnerUp, mm_per_px: float) -> Bordered:
    """Contours in a photo with a second border of the exterior."""
    contour = contours[0]
    far, (x, y) = two.farthest_px() * mm_per_px, contour.points_px[int(np.argmax(two.doubtful))].tolist()
    said = finding_of("shadow-suspected", value=far, limit=LOOK_MM, place_px=(x, y))
    budget = covering(two, mm_per_px, "a shadow's rim was taken, or a border of the item")
    return Bordered(contours, (said,), budget, lines_of(two, contour))


def _softened(contours: tuple[Contour, ...], lens_px: float, mm_per_px: float) -> Bordered:
    """Contours in a photo, the exterior's edge said and counted where it is far softer than the lens makes edges."""
    blur_px = contours[0].blur_px
    if blur_px <= _SOFT * lens_px:
        return Bordered(contours)
    far, (x, y) = _RAMP * math.sqrt(blur_px**2 - lens_px**2) * mm_per_px, contours[0].points_px[0].tolist()
    said = finding_of("shadow-suspected", value=far, limit=LOOK_MM, place_px=(x, y))
    note = "far softer than the reference: in its own shade, or out of focus"
    return Bordered(contours, (said,), (Contribution("soft edge", 0.5 * far, far, note=note, acts="all round"),))


def _beyond_walls(two: RunnerUp, walls_px: FloatArray) -> RunnerUp | None:
    """Two borders, where they are farther apart than a wall there is wide."""
    beyond = two.doubtful & (
        two.outer_px - two.inner_px > walls_px + np.where(walls_px > 0, _AT_WALL_PX, _LEAST_APART_PX)
    )
    return replace(two, doubtful=beyond) if beyond.mean() >= _LEAST_BEYOND else None


def _walls_px(contour: Contour, scale: Scale, height_mm: float) -> FloatArray:
    """How wide a wall of this height is seen within the border at each point, px; 0 where it faces away; (N,)."""
    from ..camera.scale import CameraScale

    points = contour.points_px
    if not height_mm or not isinstance(scale, CameraScale):
        return np.zeros(len(points))
    top = scale.at_height(height_mm).to_px(scale.to_mm(points))
    return np.asarray(np.maximum(-((top - points) * outward_normals(points)).sum(axis=1), 0.0))
