"""The photos of the Lantern Row Workshop: a badge beside the ring card, a hanger on the mat, the mat for its lens."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from digitize.card.kinds import card_layout
from digitize.card.parts import CardLayout, lies_in
from tests.truth.camera import Camera, camera
from tests.truth.photo import PhotoScene
from tests.truth.shapes import Shape, circle, rounded, slot

UPRIGHT_PX = (1800, 2400)
FOCAL_PX = 26 / math.hypot(36, 24) * math.hypot(*UPRIGHT_PX)  # of a phone's usual lens, 26 mm equivalent
LENS = {"focal_px": FOCAL_PX, "size_px": UPRIGHT_PX, "k1": 0.031, "k2": -0.006, "principal_shift_px": (5.0, -7.0)}
INK, PAPER, BENCH = 0.04, (0.87, 0.87, 0.85), (0.62, 0.58, 0.52)
MAT_VIEWS = ((18.0, 0.0), (22.0, 95.0), (20.0, 180.0), (24.0, 270.0), (12.0, 45.0), (26.0, 140.0))  # tilt, towards


def badge() -> Shape:
    """Return a shield-shaped badge with a slot for a band."""
    edge = rounded([(-22, 22), (-22, -6), (0, -27), (22, -6), (22, 22)], [4, 14, 3, 14, 4])
    return Shape(edge, (slot(12, 3, (0, 16.5)),), "badge")


def hanger() -> Shape:
    """Return a door hanger's hook: a hole that is open to one side by a notch, and a body with round corners."""
    edge = rounded([(-20, -38), (20, -38), (20, 30), (9, 38), (-9, 38), (-20, 30)], [6, 6, 5, 4, 4, 5])
    return Shape(edge, (circle(22, (0, 18)), circle(4, (-13, -31)), circle(4, (13, -31))), "hanger")


def badge_scene() -> PhotoScene:
    """A badge of 3.2 mm beside the cut-out ring card, on a bench, by hand from above."""
    view = camera((28, -4), 240, tilt_deg=6, tilt_towards_deg=70, roll_deg=93, **LENS)
    scene = PhotoScene(view, background=BENCH, light=(0.06, -0.04), vignette=0.18, noise_codes=1.3, seed=21)
    layout = card_layout("single", "a4")
    x0, y0, x1, y1 = layout.card_box_mm
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    scene.add_paper(x1 - x0, y1 - y0, (0, 0), reflectance=PAPER)
    for polygon in _inked(layout, layout.card_box_mm):
        scene.add_polygon([points - middle for points in polygon], INK)
    scene.add_item(badge(), (72, -6), 12, height_mm=3.2, reflectance=(0.07, 0.10, 0.30), wall=0.7)
    return scene


def hanger_scene() -> PhotoScene:
    """A hanger of 4 mm in the open middle of the mat."""
    scene = _mat_scene(camera((3, -4), 340, tilt_deg=5, tilt_towards_deg=200, roll_deg=2, **LENS), seed=22)
    scene.add_item(hanger(), (3, -6), 24, height_mm=4.0, reflectance=(0.05, 0.20, 0.16), wall=0.75)
    return scene


def mat_scenes() -> Iterator[PhotoScene]:
    """The bare mat from several sides, as for `digitize profile lens`."""
    for number, (tilt, towards) in enumerate(MAT_VIEWS):
        view = camera((0, 0), 400, tilt_deg=tilt, tilt_towards_deg=towards, roll_deg=3 * number - 7, **LENS)
        yield _mat_scene(view, seed=30 + number)


def _mat_scene(view: Camera, *, seed: int) -> PhotoScene:
    scene = PhotoScene(view, background=BENCH, light=(-0.05, 0.05), vignette=0.2, noise_codes=1.3, seed=seed)
    layout = card_layout("mat", "a4")
    scene.add_paper(layout.width_mm, layout.height_mm, (0, 0), reflectance=PAPER)
    middle = np.array([layout.width_mm, layout.height_mm]) / 2
    for polygon in _inked(layout, (0, 0, layout.width_mm, layout.height_mm)):
        scene.add_polygon([points - middle for points in polygon], INK)
    return scene


def _inked(layout: CardLayout, box_mm) -> Iterator[list[np.ndarray]]:
    """Yield the printed areas within a box, each an outer ring and its holes, mm of the sheet."""
    import shapely

    for fill in layout.fills:
        if not lies_in(fill.box_mm, box_mm):
            continue
        area = shapely.Polygon()
        for loop in fill.loops:
            area = shapely.symmetric_difference(area, shapely.Polygon(loop))
        for part in shapely.get_parts(area):
            yield [np.array(one.coords)[:-1] for one in (part.exterior, *part.interiors)]


__all__ = ["badge", "badge_scene", "hanger", "hanger_scene", "mat_scenes"]
