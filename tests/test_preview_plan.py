"""Plans on the check picture: a photo's item at its true shape, against the renderer's own truth."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely

from digitize.camera.scale import CameraScale
from digitize.recipe.outline import outline_picture
from digitize.write.preview.picture import check_png_bytes
from digitize.write.preview.plan import plans
from tests.made import FlatScale
from tests.test_camera_photo import SQUARE, beside_square, eye, read
from tests.truth.light import linear_light

SIZE = (700, 420)


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """A tilted photo of a 3 mm item, and what is true of it: its shape, the background's and the top's light."""
    scene, truth = beside_square(eye(tilt=12.0), shape="tag")
    picture = read(tmp_path_factory.mktemp("plan"), scene)
    return scene, truth, picture, outline_picture(picture, SQUARE)


def places(plan, points_mm):
    """Plan px (row, column) of places in the plan's own mm (y up)."""
    return np.rint(plan.view.placed(np.asarray(points_mm) * (1.0, -1.0))).astype(int)[:, ::-1]


def plane_points(outlined, ring_mm):
    """An item frame's points in the plane frame."""
    return ring_mm + outlined.scale.to_mm(np.array([outlined.result.items[0].origin_px]))


def test_the_top_fills_the_outline_and_nothing_else(measured):
    """0.7 mm inside the outline all is top, 0.7 mm outside and away from the walls seen there is none of it."""
    scene, _, picture, outlined = measured
    (plan,) = plans(picture, outlined.result, outlined.scale, SIZE)
    item = outlined.result.items[0]
    shape = shapely.Polygon(item.exterior_mm, item.holes_mm)
    light = linear_light(plan.view.pixels)[..., 0]
    prism = scene.prisms[0]
    for inset in (-0.7, 0.7):
        around = np.array(shape.buffer(inset).exterior.coords)
        at = places(plan, plane_points(outlined, around))
        seen = light[at[:, 0], at[:, 1]]
        if inset < 0:
            assert np.quantile(np.abs(seen - prism.reflectance[0]), 0.95) < 0.07
        else:
            assert np.quantile(seen, 0.3) > 1.6 * prism.reflectance[0]


def test_a_plan_on_the_wrong_plane_would_show(measured):
    """The test above is no formality: 3 mm of height move the far edge by 0.5 mm and more in this view."""
    _, _, picture, outlined = measured
    assert isinstance(outlined.scale, CameraScale)
    assert outlined.scale.top_mm == 3.0
    right, wrong = (plans(picture, outlined.result, replace(outlined.scale, top_mm=t), SIZE)[0] for t in (3.0, 0.0))
    assert np.abs(right.view.pixels.astype(int) - wrong.view.pixels).max(axis=2).mean() > 1.0


def test_a_plan_is_true_to_scale(measured):
    """The 50 mm square's sides are 50 mm in the plan of its own plane."""
    scene, _, picture, outlined = measured
    item = outlined.result.items[0]
    zero = outlined.scale.to_mm(np.array([item.origin_px]))[0]
    px = scene.camera.to_px(scene.squares[0].points)
    corners = outlined.scale.to_mm(px) - zero
    around = corners.mean(axis=0) + 1.15 * (corners - corners.mean(axis=0))  # so that nothing is drawn on the square
    flat = replace(item, exterior_mm=around, holes_mm=())
    result = replace(outlined.result, items=(flat,))
    (plan,) = plans(picture, result, replace(outlined.scale, top_mm=0.0), SIZE)
    dark = linear_light(plan.view.pixels)[..., 0] < 0.4  # half-way from the square's 0.03 to the table's 0.78
    _, labels = cv2.connectedComponents(dark.astype(np.uint8))
    square = labels == labels[SIZE[1] // 2, SIZE[0] // 2]
    assert np.sqrt(square.sum()) / plan.px_per_mm == pytest.approx(50.0, abs=0.15)
    contour = np.vstack(cv2.findContours(square.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0])
    sides = (np.array(cv2.minAreaRect(contour)[1]) + 1.0) / plan.px_per_mm
    assert sides == pytest.approx((50.0, 50.0), abs=1.5 / plan.px_per_mm)


def test_the_plan_of_a_photo_is_on_the_check_picture(measured):
    _, _, picture, outlined = measured
    with_plan = cv2.imdecode(np.frombuffer(check_png_bytes(picture, outlined.result, outlined.scale), np.uint8), 1)
    scanned = FlatScale()  # a scan is a plan already
    without = cv2.imdecode(np.frombuffer(check_png_bytes(picture, outlined.result, scanned), np.uint8), 1)
    assert with_plan.shape[1] == without.shape[1]
    assert with_plan.shape[0] - without.shape[0] > 400


@pytest.mark.parametrize("count", [2, 3, 4, 9])
def test_many_items_have_plans_in_rows(measured, count):
    _, _, picture, outlined = measured
    result = replace(outlined.result, items=outlined.result.items * count)
    page = cv2.imdecode(np.frombuffer(check_png_bytes(picture, result, outlined.scale), np.uint8), 1)
    assert np.isfinite(page).all()
    assert len(plans(picture, result, outlined.scale, SIZE)) == min(count, 6)
