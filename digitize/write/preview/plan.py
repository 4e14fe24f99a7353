"""Plans of a photo's items: each seen straight from above at its true shape, with its outline, for the check picture.

The outline is measured in the picture as it was taken; only what is shown here is rectified.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, Self, cast

import numpy as np

from ...opencv import cv
from ...records import FloatArray, Picture, Result, Scale
from .marks import EDGE, HOLE, draw_pockets, draw_rings, pocket_marks
from .view import Pixels, View, as_colour

MOST = 6
FILLED = 0.8  # of the panel's width or height, by the item
NODE = 16  # view px between places that are mapped exactly; between them the map is as good as straight
LEAST_STEP = 0.25  # picture px: magnified further, there is nothing more to see


class Planes(Protocol):
    """A photo's mapping on any plane parallel to the card's."""

    @property
    def top_mm(self) -> float:
        """How high the items' outlines lie above the card's plane."""

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        """Map (N, 2) px to mm."""

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Map (N, 2) mm to px."""

    def at_height(self, height_mm: float) -> Self:
        """Return the mapping on the plane `height_mm` above the card's."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A rectified view; its `step` is mm, its places are mm with y down."""

    view: View
    number: int  # of the item, counted from 1
    height_mm: float  # of the plane above the card's

    @property
    def px_per_mm(self) -> float:
        """Panel px a mm."""
        return 1.0 / self.view.step


def plans(picture: Picture, result: Result, scale: Scale, size: tuple[int, int]) -> list[Plan]:
    """Return a plan of each of the first items, `size` (width, height) px, on the plane of the items' tops.

    There a top's own edge lies under the outline all round; walls are seen beside it where they face the
    camera.
    """
    planes = cast(Planes, scale)
    marks = pocket_marks(result, _Flat(planes))
    found = []
    for number, item in enumerate(result.items[:MOST], 1):
        zero = planes.to_mm(np.array([item.origin_px]))[0]
        rings = [(item.as_laid(ring) + zero) * (1.0, -1.0) for ring in (item.exterior_mm, *item.holes_mm)]
        view = _rectified(picture, planes.at_height(planes.top_mm), rings[0], size, min(result.scale.mm_per_px))
        draw_pockets(view, marks)
        draw_rings(view, rings[1:], HOLE)
        draw_rings(view, rings[:1], EDGE)
        found.append(Plan(view, number, planes.top_mm))
    return found


@dataclass(frozen=True, slots=True)
class _Flat:
    """A scale whose px are mm with y down: what is drawn with it lies in the plan."""

    planes: Planes

    @property
    def kind(self) -> Literal["flatbed", "camera"]:
        return "camera"

    def to_mm(self, points_px: FloatArray) -> FloatArray:
        return self.planes.to_mm(points_px)

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        return np.asarray(points_mm * (1.0, -1.0))


def _rectified(picture: Picture, plane: Planes, ring: FloatArray, size: tuple[int, int], mm_per_px: float) -> View:
    """View of the plane around a ring (mm, y down), as wide as fits."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    step = max(float(((high - low) / size).max()) / FILLED, LEAST_STEP * mm_per_px)
    corner = (low + high - step * np.array(size)) / 2.0
    nodes = _nodes(plane, corner, step, size)
    return View(
        _sampled(picture, nodes, size, max(1, int(step / mm_per_px))), step, (float(corner[0]), float(corner[1]))
    )


def _nodes(plane: Planes, corner: FloatArray, step: float, size: tuple[int, int]) -> FloatArray:
    """(h, w, 2) px of the picture for the middles of blocks of `NODE` view px, with a rim of one block."""
    columns, rows = (-(-side // NODE) + 2 for side in size)
    x = corner[0] + step * NODE * (np.arange(columns) - 0.5)
    y = corner[1] + step * NODE * (np.arange(rows) - 0.5)
    places = np.stack(np.meshgrid(x, -y), axis=-1).reshape(-1, 2)
    return plane.to_px(places).reshape(rows, columns, 2)


def _sampled(picture: Picture, nodes: FloatArray, size: tuple[int, int], block: int) -> Pixels:
    """Look the picture up, averaged over blocks of `block` px where the view is that much coarser."""
    whole = np.array([picture.width_px, picture.height_px])
    low = np.clip(np.floor(nodes.min(axis=(0, 1))).astype(int) - block, 0, whole - 1)
    high = np.clip(np.ceil(nodes.max(axis=(0, 1))).astype(int) + block + 1, low + 1, whole)
    part = as_colour(picture.pixels[low[1] : high[1], low[0] : high[0]])
    if block > 1:
        columns, rows = np.maximum((high - low) // block, 1).tolist()
        part = cv().resize(part[: rows * block, : columns * block], (columns, rows), interpolation=cv().INTER_AREA)
    places = ((nodes - low - (block - 1) / 2.0) / block).astype(np.float32)
    fine = cv().resize(places, (nodes.shape[1] * NODE, nodes.shape[0] * NODE), interpolation=cv().INTER_LINEAR)
    fine = fine[NODE : NODE + size[1], NODE : NODE + size[0]]
    grey = (128, 128, 128)
    return np.ascontiguousarray(
        cv().remap(part, fine, None, cv().INTER_LINEAR, borderMode=cv().BORDER_CONSTANT, borderValue=grey)
    )
