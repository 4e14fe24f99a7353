"""Recognise our coded rings in a grey picture: which card, which ring, which way up, and roughly where.

The marker's corners are never used to measure: they only say where to look for the ring's own edges.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from ..card.marker import BITS
from ..card.parts import MARKER_TO_SIDE, Ring
from ..opencv import cv
from ..records import FloatArray, frozen_array
from ..steady import norm, product
from .quad import intersect_lines, robust_line

_MOVED_PX = 2.0  # a corner that its sides put farther off than this was pulled by something that lies there: a hair
_SIDE_PARTS = np.linspace(0.08, 0.92, 41)  # of a marker's side: where its edge is looked for
_LOOK_PART, _LOOK_PX = 0.1, 5.0  # of the side, or px: how far from the corners' line
_FLOOR_PX = 0.5  # deviation of an edge told to whole px from its line
_UNIT = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)])  # y down, as in the picture


@dataclass(frozen=True, slots=True)
class SeenCode:
    """A coded marker found in a picture."""

    code: int
    corners_px: FloatArray  # (4, 2) top-left, top-right, bottom-right, bottom-left as printed upright; about 1 px


def find_codes(grey: npt.NDArray[np.uint8]) -> tuple[SeenCode, ...]:
    """Find the markers of our cards.

    Parameters
    ----------
    grey
        (H, W) uint8, any brightness; about 1600 px wide is plenty. A marker is read when its cells are
        4 px or larger. Light markers on dark (an inverted print) and mirrored ones are not accepted.

    Returns
    -------
    tuple of SeenCode
        In reading order of their centres' rows, then columns; codes that no card carries are left out.
        A code seen twice is returned twice.
    """
    corners, codes, _ = _detector().detectMarkers(np.ascontiguousarray(grey))
    if codes is None:
        return ()
    smooth = cv().GaussianBlur(grey, (3, 3), 0)
    seen = [
        _seen(int(code), _steadied(smooth, quad.reshape(4, 2).astype(np.float64)))
        for code, quad in zip(codes.ravel(), corners, strict=True)
    ]
    known = [one for one in seen if one.code in BITS]
    return tuple(sorted(known, key=lambda one: one.corners_px.mean(axis=0)[::-1].tolist()))


def _steadied(smooth: npt.NDArray[np.uint8], quad: FloatArray) -> FloatArray:
    """Corners where a marker's sides meet, if one of the detector's is off: a hair at a corner pulls it outward."""
    sides = [_side(smooth, quad[i], quad[(i + 1) % 4], quad.mean(axis=0)) for i in range(4)]
    try:
        met = np.array([intersect_lines(*sides[i - 1], *sides[i]) for i in range(4)])
    except ValueError:
        return quad
    return met if np.linalg.norm(met - quad, axis=1).max() > _MOVED_PX else quad


def _side(
    smooth: npt.NDArray[np.uint8], start: FloatArray, end: FloatArray, middle: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """A point of a marker's side and its direction: the line along which most of the steps from dark to light lie."""
    along = end - start
    length = norm(along)
    along /= length
    outward = np.array([along[1], -along[0]])
    outward *= np.sign(product(0.5 * (start + end) - middle, outward)) or 1.0
    reach = max(_LOOK_PX, _LOOK_PART * length)
    off = np.arange(-reach, reach + 1.0)
    t = _SIDE_PARTS * length
    places = start + t[:, None, None] * along + off[None, :, None] * outward
    x, y = (np.clip(np.rint(places[..., k]), 0, smooth.shape[1 - k] - 1).astype(int) for k in (0, 1))
    steps = np.diff(smooth[y, x].astype(np.float64), axis=1)
    slope, level = robust_line(t, off[:-1][np.argmax(steps, axis=1)] + 0.5, _FLOOR_PX)
    return start + level * outward, along + slope * outward


def expected_ring_corners(seen: SeenCode, ring: Ring) -> tuple[FloatArray, FloatArray]:
    """Predict a ring's corners in the picture from its marker.

    The marker's corners give a projective map (exact for a flat card and a lens without distortion);
    the ring lies outside the marker, so that their error grows 1.5 to 1.8 times on the way out.

    Returns
    -------
    outer, inner
        (4, 2) px each, top-left, top-right, bottom-right, bottom-left of the ring as printed upright.
    """
    matrix = cv().getPerspectiveTransform(_UNIT.astype(np.float32), seen.corners_px.astype(np.float32))
    unit = ring.side_mm * MARKER_TO_SIDE
    return _mapped(matrix, _UNIT * (ring.outer_mm / unit)), _mapped(matrix, _UNIT * (ring.inner_mm / unit))


def _mapped(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """(N, 2) points through a 3 x 3 projective matrix."""
    homogeneous = product(np.column_stack([points, np.ones(len(points))]), matrix.T)
    return frozen_array(homogeneous[:, :2] / homogeneous[:, 2:], columns=2)


def _seen(code: int, quad: FloatArray) -> SeenCode:
    """Keep a marker."""
    return SeenCode(code, frozen_array(quad, columns=2))


@lru_cache(maxsize=1)
def _detector() -> Any:
    """Make the detector once."""
    cv2 = cv()
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.cornerRefinementWinSize = 3
    parameters.detectInvertedMarker = False
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return cv2.aruco.ArucoDetector(dictionary, parameters)
